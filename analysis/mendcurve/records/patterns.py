"""Checks of whole columns: a value that marks every row, an outcome nobody wrote down, a species nobody knows."""

from __future__ import annotations

import pandas as pd

from mendcurve.errors import nearest
from mendcurve.records.chronology import ends, stay_of
from mendcurve.records.review import Review, looked_up, worded
from mendcurve.records.species import lookup

# Columns of which the same value in every row says that a form filled it in, not a person.
_VARIED = {
    "intakes": ("sex", "life_stage", "hatched_on_kind"),
    "conditions": ("severity", "primary"),
    "weighings": ("circumstance", "condition_score", "length_mm"),
}
_DATES = {
    "intakes": ("hatched_on", "intake_date"),
    "conditions": ("found_on", "vet_seen_on"),
    "outcomes": ("outcome_date",),
}
ENOUGH = 50
SHARE_OF_ONE_DAY = 0.3
SILENT_DAYS = 365


def check_defaults(review: Review, recorded: frozenset[tuple[str, str]]) -> None:
    """Note columns that one value fills, and one date that many rows have."""
    for table, columns in _VARIED.items():
        for column in columns:
            values = review.tables[table][column].dropna()
            if (table, column) in recorded and len(values) >= ENOUGH and _one_word(values):
                _note(
                    review,
                    table,
                    column,
                    str(values.iloc[0]),
                    f"all {len(values)} rows have the same {column}: a form may have filled it in",
                )
    for table, columns in _DATES.items():
        for column in columns:
            values = review.tables[table][column].dropna()
            top = values.value_counts().head(1)
            if len(values) >= ENOUGH and top.iloc[0] >= SHARE_OF_ONE_DAY * len(values):
                _note(
                    review,
                    table,
                    column,
                    f"{top.index[0]:%Y-%m-%d}",
                    f"{top.iloc[0]} of {len(values)} rows have the same {column}: it may stand for 'not known'",
                )


def _one_word(values: pd.Series) -> bool:
    return values.iloc[0] != "" and bool((values == values.iloc[0]).all())


def _note(review: Review, table: str, column: str, value: str, rule: str) -> None:
    frame = review.tables[table]
    review.ledger.note(
        frame["source_file"].iloc[0],
        frame["source_sheet"].iloc[0],
        table=table,
        column=column,
        value=value,
        rule=rule,
        what_to_do="Leave the cell empty where it is not known.",
    )


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
    """Doubt stays without an outcome of which nothing at all was written for a year."""
    tables = review.tables
    span = ends(tables["intakes"], tables["outcomes"])
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
    silent = looked_up(frame["stay_id"], span["end"]).isna() & ~home & ((as_of - heard).dt.days > SILENT_DAYS)
    rule = worded(
        "an animal in care should be heard of within a year; nothing was written about {stay} after {heard}",
        silent,
        stay=frame["stay_id"],
        heard=heard,
    )
    review.doubt("intakes", silent, "stay_id", rule, "Write down its outcome, if it left.")
