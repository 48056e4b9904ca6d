"""Intake dates that are wrong: everything written of the stay is dated before it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.chronology import DURING, stay_of
from mendcurve.records.likely import likely_day
from mendcurve.records.review import Review, positions, worded
from mendcurve.records.words import TEXT

# So many entries of one stay before its intake, and none after, say that the intake's date is wrong, not theirs.
FEWEST = 3
# An animal is first written of at most this long after it came.
FIRST_ENTRY_DAYS = 60


def check_intake_dates(review: Review) -> None:
    """Doubt the intake date of stays of which all entries are dated before it."""
    frame = review.tables["intakes"]
    entries = []
    for table, column, path in DURING:
        part = review.tables[table]
        if len(part):
            at = positions(stay_of(review.tables, part, path).astype(TEXT), frame["stay_id"])
            day = part[column].to_numpy().astype("datetime64[D]")
            use = (at >= 0) & ~np.isnat(day)
            entries.append((at[use], day[use].astype("int64")))
    if not entries:
        return
    first, last, n = (pd.Series(values, index=frame.index) for values in _spans(entries, len(frame)))
    bad = (last < frame["intake_date"]) & (n >= FEWEST)
    rule = worded(
        "all {n} entries of {stay} are dated before its intake, from {first} to {last}",
        bad,
        n=n.astype("Int64"),
        stay=frame["stay_id"],
        first=first,
        last=last,
    )
    likely = likely_day(frame["intake_date"], bad, first - pd.Timedelta(days=FIRST_ENTRY_DAYS), first)
    review.doubt("intakes", bad, "intake_date", rule, "Correct the date of intake.", likely)


def _spans(entries: list[tuple[np.ndarray, np.ndarray]], stays: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return first and last day (missing where there is none) and number of the entries of each stay."""
    n = np.zeros(stays, dtype="float64")
    first, last = np.full(stays, np.iinfo("int64").max), np.full(stays, np.iinfo("int64").min)
    for at, day in entries:
        n += np.bincount(at, minlength=stays)
        np.minimum.at(first, at, day)
        np.maximum.at(last, at, day)
    days = [np.where(n > 0, day, np.iinfo("int64").min).astype("datetime64[D]") for day in (first, last)]
    return days[0].astype("datetime64[s]"), days[1].astype("datetime64[s]"), n
