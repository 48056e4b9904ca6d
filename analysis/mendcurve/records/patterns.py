"""Species nobody knows, and stays of which nothing was heard for long."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.errors import nearest
from mendcurve.records.chronology import ends, stay_of
from mendcurve.records.review import Review, looked_up, positions, worded
from mendcurve.records.species import lookup
from mendcurve.records.words import TEXT

SILENT_DAYS = 365
# Where nothing is written of animals in care, a stay is long only beside twice the longest of those that ended.
LONGEST, TIMES, ENOUGH, UNKNOWN_DAYS = 0.99, 2.0, 20, 730


def check_species(review: Review, known: pd.DataFrame) -> None:
    """Note each species that the reference table does not have, once, with its count and the nearest known."""
    words = lookup(known)
    for table in ("intakes", "requests"):
        frame = review.tables[table]
        strange = frame[frame["species"].notna() & ~frame["species"].isin(known["name"])]
        for name, rows in strange.groupby("species", sort=True):
            close = nearest(str(name).lower(), words)
            review.ledger.note(
                rows["source_file"].iloc[0],
                rows["source_sheet"].iloc[0],
                table=table,
                column="species",
                value=str(name),
                rule=f"{len(rows)} row{'s name' if len(rows) > 1 else ' names'} a species that is not in the "
                "reference table; kept, taxon group unknown",
                what_to_do="Add it to the dictionary or to records.toml under [[species]], or correct the name."
                + close,
            )


def check_forgotten(review: Review, as_of: pd.Timestamp) -> None:
    """Doubt stays without an outcome of which nothing at all was written for a year.

    Notes
    -----
    A rescue that writes nothing between intake and outcome is silent about every tortoise: there twice the time that
    99 % of the stays that ended took, and no less than a year, is allowed; two years where too few have ended.
    """
    tables = review.tables
    span = ends(tables["intakes"], tables["outcomes"])
    days = _silent_days(tables, span)
    frame = tables["intakes"]
    never = np.iinfo("int64").min
    last = np.where(frame["intake_date"] <= as_of, _seconds(frame["intake_date"]), never)
    for table, column, path in (
        ("outcomes", "outcome_date", ()),
        ("conditions", "found_on", ()),
        ("conditions", "ended_on", ()),
        ("weighings", "weighed_on", ()),
        ("moves", "moved_on", ()),
        ("checks", "checked_on", ("conditions",)),
        ("doses", "given_at", ("courses", "conditions")),
    ):
        rows = tables[table]
        at = positions(stay_of(tables, rows, path).astype(TEXT), frame["stay_id"])
        use = (at >= 0) & (rows[column] <= as_of).to_numpy(dtype=bool)
        np.maximum.at(last, at[use], _seconds(rows[column])[use])
    home = frame["stay_id"].isin(tables["periods"].loc[tables["periods"]["what"] == "permanent resident", "stay_id"])
    heard = pd.Series(last.astype("datetime64[s]"), index=frame.index)
    silent = looked_up(frame["stay_id"], span["end"]).isna() & ~home & ((as_of - heard).dt.days > days)
    rule = worded(
        "an animal in care should be heard of within {days} days; nothing was written about {stay} after {heard}"
        if days > SILENT_DAYS
        else "an animal in care should be heard of within a year; nothing was written about {stay} after {heard}",
        silent,
        stay=frame["stay_id"],
        heard=heard,
        days=pd.Series(days, index=frame.index),
    )
    do = "Write down its outcome, if it left."
    review.doubt("intakes", silent, "stay_id", rule, do, "its outcome was not written down")


def _seconds(days: pd.Series) -> np.ndarray:
    return days.to_numpy().astype("datetime64[s]").astype("int64")


def _silent_days(tables: dict[str, pd.DataFrame], span: pd.DataFrame) -> int:
    """Return for how many days nothing may be written of an animal in care."""
    if any(len(tables[name]) for name in ("weighings", "moves", "checks", "doses")):
        return SILENT_DAYS
    took = (span["end"] - span["intake_date"]).dt.days.dropna()
    return max(SILENT_DAYS, round(TIMES * took.quantile(LONGEST))) if len(took) >= ENOUGH else UNKNOWN_DAYS
