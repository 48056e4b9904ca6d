"""A column of dates read in every order, with the parts of those that leave the order open."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.records.dates import parse_dates

ORDERS = ("dmy", "mdy", "ymd")
_PARTS = re.compile(r"(\d{1,2})([-/. ])(\d{1,2})\2(\d{4}|\d{2})(?![\d/])")
_ABSENT = -1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DateColumn:
    """A column of dates as text, each in every order.

    Attributes
    ----------
    heading : str
    text : ndarray of object, shape (rows,)
        As written, trimmed.
    row : ndarray of int, shape (rows,)
        Row numbers as the spreadsheet shows them.
    first, second, third : ndarray of int, shape (rows,)
        Parts of a date of three numbers with the year last or of two digits ("3/4/24"); -1 elsewhere.
    long_year : bool
        Some of these dates write the year last with four digits, so the year is last.
    days : mapping of order -> ndarray of datetime64[D], shape (rows,)
        The date read in that order; NaT where there is none. ISO dates and month names are the same in each.
    """

    heading: str
    text: np.ndarray
    row: np.ndarray
    first: np.ndarray
    second: np.ndarray
    third: np.ndarray
    long_year: bool
    days: dict[str, np.ndarray]

    @property
    def numeric(self) -> np.ndarray:
        """Rows whose date is three numbers with no year of four digits in front."""
        return self.first != _ABSENT

    @property
    def open(self) -> np.ndarray:
        """Rows whose date could have the day or the month first, and is not the same either way."""
        return self.numeric & (self.first <= 12) & (self.second <= 12) & (self.first != self.second)

    @property
    def settled(self) -> np.ndarray:
        """Rows whose date has one reading: year first with four digits, or the month as a name."""
        return ~self.numeric & ~np.isnat(self.days["dmy"])


def date_column(heading: str, text: pd.Series, rows: np.ndarray) -> DateColumn:
    """Read a column of text in every order; each distinct text is read once."""
    places, unique = pd.factorize(text.str.strip().to_numpy(dtype=object))
    parts = [_PARTS.match(word) for word in unique]
    numbers = np.array(
        [[int(m[1]), int(m[3]), int(m[4])] if m else [_ABSENT] * 3 for m in parts], dtype="int64"
    ).reshape(-1, 3)
    return DateColumn(
        heading=heading,
        text=np.asarray(unique, dtype=object)[places],
        row=np.asarray(rows),
        first=numbers[places, 0],
        second=numbers[places, 1],
        third=numbers[places, 2],
        long_year=any(m is not None and len(m[4]) == 4 for m in parts),
        days={order: _days(unique, order)[places] for order in ORDERS},
    )


def _days(unique: np.ndarray, order: str) -> np.ndarray:
    found = parse_dates(pd.Series(unique, dtype=object), order).found
    return np.array([None if value is None else value[0] for value in found], dtype="datetime64[D]")


def examples(column: DateColumn, mask: np.ndarray, most: int = 3) -> str:
    """Return the first few dates of ``mask`` with their rows: 'row 4 "13/02/2024", row 9 "14/02/2024"'."""
    at = np.flatnonzero(mask)[:most]
    return ", ".join(f'row {column.row[i]} "{column.text[i]}"' for i in at)
