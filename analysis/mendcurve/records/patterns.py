"""Species nobody knows, and stays of which nothing was heard for long."""

from __future__ import annotations

import pandas as pd

from mendcurve.errors import nearest
from mendcurve.records.chronology import ends, stay_of
from mendcurve.records.review import Review, looked_up, worded
from mendcurve.records.species import lookup

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
                what_to_do=f"Add it to records.toml under [[species]], or correct the name.{close}",
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
    seen = [tables["intakes"].set_index("stay_id")["intake_date"]]
    for table, column, path in (
        ("outcomes", "outcome_date", ()),
        ("conditions", "found_on", ()),
        ("conditions", "ended_on", ()),
        ("weighings", "weighed_on", ()),
        ("moves", "moved_on", ()),
        ("checks", "checked_on", ("conditions",)),
        ("doses", "given_at", ("courses", "conditions")),
    ):
        frame = tables[table]
        seen.append(pd.Series(frame[column].to_numpy(), index=stay_of(tables, frame, path).to_numpy(dtype=object)))
    heard_of = [s.dropna().rename_axis("stay_id").reset_index(name="day") for s in seen]
    every = pd.concat([part for part in heard_of if len(part)] or heard_of[:1], ignore_index=True)
    last = every[every["day"] <= as_of].groupby("stay_id")["day"].max()
    frame = tables["intakes"]
    home = frame["stay_id"].isin(tables["periods"].loc[tables["periods"]["what"] == "permanent resident", "stay_id"])
    heard = looked_up(frame["stay_id"], last)
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


def _silent_days(tables: dict[str, pd.DataFrame], span: pd.DataFrame) -> int:
    """Return for how many days nothing may be written of an animal in care."""
    if any(len(tables[name]) for name in ("weighings", "moves", "checks", "doses")):
        return SILENT_DAYS
    took = (span["end"] - span["intake_date"]).dt.days.dropna()
    return max(SILENT_DAYS, round(TIMES * took.quantile(LONGEST))) if len(took) >= ENOUGH else UNKNOWN_DAYS
