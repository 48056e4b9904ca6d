"""The likely slip behind a date that does not fit: day and month swapped, or a year that slipped."""

from __future__ import annotations

import numpy as np
import pandas as pd

SWAPPED, YEAR, DIGIT = "if day and month were swapped", "if the year slipped", "if a digit of the year slipped"


def candidates(day: pd.Series) -> list[tuple[pd.Series, str]]:
    """Return the dates each of ``day`` could have been, each with its reason; missing where there is no such date.

    Notes
    -----
    In order: day and month swapped, the year before or after, the last two digits of the year swapped or one of them
    another (2052 for 2025, 2035 for 2025).
    """
    year, month, date = day.dt.year, day.dt.month, day.dt.day
    tens, ones = year % 100 // 10, year % 10
    turned = year - year % 100 + ones * 10 + tens
    return [
        (_date(year, date, month).where(month != date), SWAPPED),
        (_date(year + 1, month, date), YEAR),
        (_date(year - 1, month, date), YEAR),
        (_date(turned, month, date).where(turned != year), DIGIT),
        (_date(year - 10, month, date), DIGIT),
        (_date(year + 10, month, date), DIGIT),
    ]


def likely_day(
    day: pd.Series, mask: pd.Series, low: pd.Series, high: pd.Series | pd.Timestamp | None = None
) -> pd.Series:
    """Return, for the dates of ``mask``, what was meant if one slip brings them between ``low`` and ``high``.

    Parameters
    ----------
    day : Series of datetime
    mask : Series of bool
    low, high : Series of datetime, or one date
        Bounds, both included; a missing bound binds nothing. No ``high``: the latest of the other dates, as no record
        speaks of later days, and no more than the next year is tried.

    Returns
    -------
    Series of str
        Such as "3 April 2024, if day and month were swapped"; two that fit are joined by "; or"; empty for none.
    """
    out = pd.Series("", index=day.index, dtype=object)
    rows = day.index[mask & day.notna()]
    if not len(rows):
        return out
    some, first = day.loc[rows].dt.floor("D"), low.loc[rows]
    latest = day[~mask].max() if high is None else high
    last = latest.loc[rows] if isinstance(latest, pd.Series) else pd.Series(latest, index=rows, dtype="datetime64[s]")
    found = pd.Series("", index=rows, dtype=object)
    for meant, why in candidates(some)[: 6 if high is not None else 3]:
        fits = meant.notna() & ~(meant < first) & ~(meant > last)
        said = pd.Series(in_words(meant), index=rows, dtype=object) + ", " + why
        new = found.mask(fits & (found == ""), said)
        # Two are enough to look for in the paper record.
        found = new.mask(fits & (found != "") & ~found.str.contains("; or "), found + "; or " + said)
    out.loc[rows] = found
    return out


def in_words(days: pd.Series) -> list[str]:
    """Return dates as "4 March 2025", empty where missing."""
    return ["" if pd.isna(d) else f"{d.day} {d:%B %Y}" for d in days]


def _date(year: pd.Series, month: pd.Series, day: pd.Series) -> pd.Series:
    fine = (month >= 1) & (month <= 12) & (year >= 1900) & (year <= 2100)
    parts = pd.DataFrame({"year": year.where(fine, 2000), "month": month.where(fine, 1), "day": day.where(fine, 1)})
    made = pd.to_datetime(parts.astype("int64"), errors="coerce").astype("datetime64[s]")
    return made.where(fine & np.asarray(made.notna()))
