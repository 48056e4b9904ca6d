"""Dates after the as-of date that one slip of the year explains: the row is left out, and that is said at the row."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from mendcurve.records.chronology import ends, stay_of
from mendcurve.records.clock import EVENTS
from mendcurve.records.findings import NOTE
from mendcurve.records.likely import likely_day
from mendcurve.records.review import Review, as_text, looked_up, worded

# A table with more rows than this after the as-of date simply goes on after it.
MOST, SHARE = 3, 0.01
# Later than everything else by this many days.
LONE_DAYS = 30
_PATHS = {"checks": ("conditions",), "doses": ("courses", "conditions")}


def check_later(review: Review, whole: Mapping[str, pd.DataFrame], as_of: pd.Timestamp) -> None:
    """Note single rows dated after the as-of date whose year, or day and month, may have slipped."""
    span = ends(whole["intakes"], whole["outcomes"])
    for table, column in EVENTS.items():
        frame = whole[table]
        day = frame[column].dt.floor("D")
        late = day > as_of + pd.Timedelta(days=LONE_DAYS)
        if not late.any() or (day > as_of).sum() > max(MOST, SHARE * len(frame)):
            continue
        if table == "intakes" or "stay_id" in frame.columns or table in _PATHS:
            stay = stay_of(dict(whole), frame, _PATHS.get(table, ()))
            low, high = looked_up(stay, span["intake_date"]), looked_up(stay, span["end"]).fillna(as_of)
            own = table in ("intakes", "outcomes")
            low = day.where(pd.Series(False, index=frame.index)) if table == "intakes" else low
            high = high.where(high < as_of, as_of) if not own else pd.Series(as_of, index=frame.index)
        else:
            low, high = day.where(pd.Series(False, index=frame.index)), pd.Series(as_of, index=frame.index)
        # A date far back would fit anything that has no other bound.
        low = low.fillna(as_of - pd.Timedelta(days=731))
        likely = likely_day(day, late, low, high)
        slip = late & (likely != "")
        rows = frame[slip]
        rule = worded("{day} is later than the as-of date; the row is left out", slip, day=day)
        review.ledger.add(
            rows,
            table=table,
            column=column,
            value=as_text(rows[column]),
            rule=rule[slip],
            what_to_do="Correct the date, if it slipped.",
            effect=NOTE,
            likely=likely[slip],
        )
