"""Spending dated before the stay it names began, or long after that stay ended."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.chronology import ends
from mendcurve.records.likely import likely_day
from mendcurve.records.review import Review, by_id, looked_up, worded

# A bill comes late; one this many days after the animal left is likelier another stay's. Common practice, no source.
BILL_DAYS = 90
_EARLY = "spent_on should be on or after the intake of {stay}, {came} (intakes, row {row})"
_LATE = (
    f"spent_on should be within {BILL_DAYS} days of the day {{stay}} left, {{left}} ({{how}}; outcomes, row {{row}})"
)


def check_spending(review: Review, as_of: pd.Timestamp) -> None:
    """Doubt spending dated before its stay began or more than ``BILL_DAYS`` after it ended."""
    frame = review.tables["spending"]
    if not len(frame):
        return
    span = ends(review.tables["intakes"], review.tables["outcomes"])
    episode = by_id(review.tables["conditions"], "episode_id")["stay_id"]
    stay = frame["stay_id"].where(frame["stay_id"].notna(), looked_up(frame["episode_id"], episode))
    day = frame["spent_on"].dt.floor("D")
    came, left = looked_up(stay, span["intake_date"]), looked_up(stay, span["end"])
    early, late = day < came, day > left + pd.Timedelta(days=BILL_DAYS)
    if not (early | late).any():
        return
    likely = likely_day(day, early | late, came, left.fillna(as_of))
    rule = worded(_EARLY, early, stay=stay, came=came, row=looked_up(stay, span["row"]))
    review.doubt("spending", early, "spent_on", rule, "Correct the date, the intake's, or the stay it names.", likely)
    rule = worded(
        _LATE, late, stay=stay, left=left, how=looked_up(stay, span["outcome"]),
        row=looked_up(stay, span["end_row"]),
    )  # fmt: skip
    review.doubt("spending", late, "spent_on", rule, "Correct the date, or the stay it names.", likely)
