"""Dates of which only the month is known: told once where a heading is the month, and no day of them is a last day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from mendcurve.records.clock import EVENTS
from mendcurve.records.dates import MONTH_ONLY
from mendcurve.records.parsing import Parsed


def assumed(parsed: Parsed) -> np.ndarray:
    """Return the rows of a column of dates whose day is assumed, shape (rows,)."""
    return np.array([t is not None and t.rule.startswith(MONTH_ONLY) for t in parsed.faults], dtype=bool)[parsed.places]


def told_once(parsed: Parsed) -> Parsed:
    """Return the column without what is said of each date of which only the month is known."""
    faults = parsed.faults.copy()
    faults[[t is not None and t.rule.startswith(MONTH_ONLY) for t in faults]] = None
    return Parsed(parsed.places, parsed.distinct, faults)


def rule_of(cells: int, headings: int) -> str:
    """Return what to say of the cells below headings that are months."""
    return (
        f"{cells:,} cell{'s stand' if cells != 1 else ' stands'} under "
        f"{f'{headings} headings that name' if headings != 1 else 'a heading that names'} a month and no day; the "
        "middle of the month is taken"
    )


def sure_days(
    tables: Mapping[str, pd.DataFrame], places: Iterable[tuple[str, str, str, np.ndarray]]
) -> dict[str, pd.DataFrame]:
    """Return the tables with the days of what happened emptied where they are assumed.

    Parameters
    ----------
    tables : mapping of str to DataFrame
    places : iterable of (table, file, sheet, source rows)
        Where the day of ``clock.EVENTS`` is assumed.
    """
    out = dict(tables)
    for table, file, sheet, rows in places:
        frame, column = out[table], EVENTS[table]
        here = (frame["source_file"] == file) & (frame["source_sheet"] == sheet) & frame["source_row"].isin(rows)
        out[table] = frame.assign(**{column: frame[column].mask(here)})
    known = any(out[table][column].notna().any() for table, column in EVENTS.items())
    return out if known else dict(tables)
