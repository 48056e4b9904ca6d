"""Intake dates that are wrong: everything written of the stay is dated before it."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.chronology import DURING, stay_of
from mendcurve.records.likely import likely_day
from mendcurve.records.review import Review, looked_up, worded

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
            days = pd.DataFrame({"stay_id": stay_of(review.tables, part, path), "day": part[column].dt.floor("D")})
            entries.append(days.dropna().astype({"stay_id": object}))
    if not entries:
        return
    every = pd.concat(entries, ignore_index=True)
    span = every.groupby("stay_id", sort=False)["day"].agg(["min", "max", "size"])
    first, last, n = (looked_up(frame["stay_id"], span[name]) for name in ("min", "max", "size"))
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
