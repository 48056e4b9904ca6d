"""The span of days an answer speaks of, in words, and the earlier spans it is set against."""

from __future__ import annotations

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.questions.wording import day
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period


def span(records: Records, period: Period | None) -> Period:
    """Return the period, or all of the records where none is given.

    Raises
    ------
    InputError
        If the period ends after the as-of date or before the records begin: what happened then is not known.
    """
    if period is None:
        return Period(min(records.records_start, records.as_of), records.as_of)
    if period.end > records.as_of:
        raise InputError(
            "A period must end on or before the as-of date, the last day on which the records are complete.",
            [f"period ends {day(period.end)}, as-of date {day(records.as_of)}"],
            "Choose an earlier --to, or a later as_of in records.toml if the records are complete to then.",
        )
    refuse_before_records(records, period)
    return period


def refuse_before_records(records: Records, period: Period) -> None:
    """Refuse a period that ends before the records begin.

    Raises
    ------
    InputError
        With the dates of both.
    """
    if period.end < records.records_start:
        raise InputError(
            "A period must reach into the records; nothing is known of the days before they begin.",
            [
                f"the period is {from_to(period)}",
                f"the records begin on {day(records.records_start)} and are complete up to {day(records.as_of)}",
            ],
            "Choose days between these two, or an earlier records_start in records.toml if they are complete from it.",
        )


def begins_with_records(records: Records, period: Period) -> str:
    """Return what a period that begins on the records' first day leaves out; empty for one that begins later."""
    if period.start > records.records_start:
        return ""
    return f"The records begin on {day(records.records_start)}, so what happened before is not in these figures."


def from_to(period: Period) -> str:
    """Return 'from 1 May 2025 to 31 October 2025'."""
    if period.start == period.end:
        return f"on {day(period.start)}"
    return f"from {day(period.start)} to {day(period.end)}"


def earlier(records: Records, period: Period) -> dict[str, Period]:
    """Return the period before and the same days a year earlier, those that lie in the records from end to end."""
    known = {"the period before": period.previous(), "the year before": period.year_before()}
    # a leap day must not print the same year twice
    if abs((known["the period before"].start - known["the year before"].start).days) <= 1:
        del known["the period before"]
    return {name: one for name, one in known.items() if one.start >= records.records_start}


def sentence_case(text: str) -> str:
    """Return ``text`` with its first letter large."""
    return text[:1].upper() + text[1:]


def in_care_on(frame: pd.DataFrame, on: pd.Timestamp) -> pd.Series:
    """Return which rows of ``stays`` are in care at the end of a day: in <= day < out."""
    return (frame["intake_date"] <= on) & (frame["outcome_date"].isna() | (frame["outcome_date"] > on))
