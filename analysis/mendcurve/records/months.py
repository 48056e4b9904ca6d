"""Dates of which only the month is known: told once where a heading is the month, and no day of them is a last day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from mendcurve.records.clock import EVENTS
from mendcurve.records.dates import MONTH_ONLY
from mendcurve.records.findings import Ledger
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
    tables: Mapping[str, pd.DataFrame], places: Iterable[tuple[str, str, str, np.ndarray]], ledger: Ledger
) -> dict[str, pd.DataFrame]:
    """Return the tables with no assumed day among the days of what happened.

    Parameters
    ----------
    tables : mapping of str to DataFrame
    places : iterable of (table, file, sheet, source rows)
        Where the day of ``clock.EVENTS`` is assumed.
    ledger : Ledger

    Notes
    -----
    Such a day is left out. A month later than every sure day gives its last day, which is told: an earlier one would
    cut its own records off.
    """
    out = dict(tables)
    later: dict[str, pd.Series] = {}
    for table, file, sheet, rows in places:
        if table not in EVENTS:  # nothing that happened stands in it
            continue
        frame, column = out[table], EVENTS[table]
        here = (frame["source_file"] == file) & (frame["source_sheet"] == sheet) & frame["source_row"].isin(rows)
        later[table] = later.get(table, pd.Series(False, index=frame.index)) | here
        out[table] = frame.assign(**{column: frame[column].mask(here)})
    last = pd.concat([out[t][c].dropna() for t, c in EVENTS.items()]).max()
    for table, here in later.items():
        day = tables[table][EVENTS[table]].where(here)
        beyond = day.notna() if pd.isna(last) else day > last
        if beyond.any():
            end = (day[beyond] + pd.offsets.MonthEnd(0)).astype(day.dtype)
            out[table] = out[table].assign(**{EVENTS[table]: out[table][EVENTS[table]].mask(beyond, end)})
            rule = f"the latest {table} name a month and no day; the last day of that month may be the as-of date"
            ledger.note(
                "", "", column="dates.as_of", rule=rule, what_to_do="Write as_of under [dates] in records.toml."
            )
    return out
