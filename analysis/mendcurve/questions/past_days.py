"""Days looked back on: when to look, how often a range said then held, and the verdict in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pandas as pd

from mendcurve.methods.scores_censored import censored_coverage
from mendcurve.questions.wording import day, percent
from mendcurve.records.records import Records

LEVELS = (0.5, 0.8, 0.9)
COLUMNS = ("level", "held", "low", "high", "looks")
FIRST_AFTER = 90
"""No day is looked at that has fewer days of records behind it."""


def past_days(records: Records, *, every: int, looks: int) -> Iterator[pd.Timestamp]:
    """Yield at most ``looks`` days, ``every`` days apart, the last as many days before the as-of date."""
    last = records.as_of - pd.Timedelta(days=every)
    for origin in pd.date_range(end=last, periods=looks, freq=f"{every}D"):
        if origin >= records.records_start + pd.Timedelta(days=FIRST_AFTER):
            yield origin


def held(looks: pd.DataFrame, cluster: str, title: str) -> pd.DataFrame:
    """Return, for each level, how often the range held: columns ``COLUMNS``, 95 % interval by ``cluster``.

    ``looks`` has pit_low, pit_high and ended, as :func:`censored_coverage` takes them.
    """
    ends = (looks["pit_low"], looks["pit_high"], looks["ended"])
    whose = looks[cluster].to_numpy(dtype=object)
    lines = [(level, *censored_coverage(*ends, level, cluster=whose), len(looks)) for level in LEVELS if len(looks)]
    frame = pd.DataFrame(lines, columns=list(COLUMNS))
    units = {**dict.fromkeys(COLUMNS[:4], "proportion"), "looks": "looks"}
    frame.attrs.update(title=title, units=units)
    return frame


def span_of(origins: Sequence[pd.Timestamp]) -> str:
    """Return 'from 1 May 2025 to 2 October 2026'."""
    return f"from {day(origins[0])} to {day(origins[-1])}"


def verdict(frame: pd.DataFrame, of: str) -> str:
    """Return how often the 80 % range held of ``of`` (such as '593 looks'), and whether it was too wide or narrow."""
    row = frame[frame["level"] == 0.8].iloc[0]
    text = (
        f"the 80 % range held for {percent(row['held'])} of {of} (95 % interval {percent(row['low'])} to "
        f"{percent(row['high'])})"
    )
    if row["low"] > 0.8 or row["high"] < 0.8:
        return f"{text}, so it was too {'wide' if row['low'] > 0.8 else 'narrow'}."
    return f"{text}; nothing speaks against it."
