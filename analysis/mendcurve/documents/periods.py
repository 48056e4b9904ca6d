"""The period a report is about."""

from __future__ import annotations

import pandas as pd

from mendcurve.documents.opening import day
from mendcurve.errors import InputError
from mendcurve.questions import wording
from mendcurve.questions.spans import refuse_before_records
from mendcurve.records import Records
from mendcurve.timelines.period import Period


def reporting_period(records: Records, start: str | None = None, end: str | None = None) -> Period:
    """Return the period from ``start`` to ``end``, both counted.

    Parameters
    ----------
    records : Records
    start, end : str, optional
        Days such as "2025-11-01". Left out: the last 12 whole months up to the end, or up to the as-of date; all of
        the records where not one whole month lies in them.

    Notes
    -----
    A period that begins before the records is cut to their first day.

    Raises
    ------
    InputError
        If a day cannot be read, the period ends after the as-of date or before the records begin, or its days are
        the wrong way round.
    """
    begin = min(records.records_start, records.as_of)
    whole = twelve_months(records.as_of)
    if start is None and end is None and whole.end < begin:
        return Period(begin, records.as_of)
    last = whole.end if end is None else day("to", end)
    if last > records.as_of:
        raise InputError(
            "A period must end on or before the as-of date, the last day on which the records are complete.",
            [f"to {wording.day(last)}, as of {wording.day(records.as_of)}"],
            "Give an earlier --to, or records that reach further.",
        )
    first = twelve_months(last).start if start is None else day("from", start)
    if first > records.as_of:
        raise InputError(
            "A period must begin on or before the as-of date, the last day on which the records are complete.",
            [f"from {wording.day(first)}, as of {wording.day(records.as_of)}"],
            "Give an earlier --from, or records that reach further.",
        )
    asked = Period(first, last)
    refuse_before_records(records, asked)
    return Period(max(first, begin), last)


def twelve_months(as_of: pd.Timestamp) -> Period:
    """Return the last 12 whole months that end on or before ``as_of``."""
    end = as_of if as_of.is_month_end else as_of - pd.offsets.MonthEnd(1)
    start = end - pd.offsets.MonthEnd(12) + pd.Timedelta(days=1)
    return Period(start.as_unit("s"), end.as_unit("s"))
