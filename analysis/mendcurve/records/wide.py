"""Sheets with one column a weighing, turned long: each filled cell becomes a row of its own."""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records.dates import order_of, parse_dates
from mendcurve.records.parsing import none
from mendcurve.records.schemas import Table
from mendcurve.records.sheets import Sheet, named

KINDS = ("dates", "months", "weeks", "days", "pairs")
_KEYS = {
    "into": "Our column that takes the date.",
    "values": "Our column that takes the cell.",
    "headings": f"What the headings say: {', '.join(KINDS)}.",
    "start": "For weeks and days: the heading of the day they are counted from.",
    "first": "For weeks and days: the number that stands for the start day itself.",
    "year": "For months: the year of all of them.",
    "pairs": 'For pairs: "heading of the value" = "heading of its date".',
}
_NUMBERED = {
    "weeks": re.compile(r"(?:week|wk|w)\s*[.#_-]?\s*(\d{1,3})(?:\s*\(?(?:g|kg|oz|lb)\)?)?", re.I),
    "days": re.compile(r"(?:day|d)\s*[.#_-]?\s*(\d{1,4})(?:\s*\(?(?:g|kg|oz|lb)\)?)?", re.I),
}
_MONTHS = [month.casefold() for month in calendar.month_name]
_STEP = {"weeks": 7, "days": 1}
_AGAIN = re.compile(r" \(\d+\)$")
# A cell's row number carries its column in the high bits while records are checked, so that every cell is a row.
_SHIFT = 32
_LOW = (1 << _SHIFT) - 1
_CODED = re.compile(r"\b\d{10,15}\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wide:
    """How the columns of a sheet become rows; fields as the keys of ``wide`` in records.toml (``value``: values)."""

    into: str
    value: str
    headings: str
    start: str = ""
    first: int = 1
    year: int = 0
    pairs: Mapping[str, str] = field(default_factory=dict)


def wide_from(given: Mapping[str, Any], table: Table, place: str) -> Wide:
    """Return the parsed ``wide`` of one section.

    Raises
    ------
    InputError
        For an unknown key, a column the table does not have, or a part that is missing.
    """
    for key in given:
        if key not in _KEYS:
            raise InputError(
                f'{place}: wide: "{key}" is not a key of it.', remedy=f"Known: {', '.join(_KEYS)}.{nearest(key, _KEYS)}"
            )
    for key in ("into", "values"):
        if given.get(key) not in table.names:
            raise InputError(
                f'{place}: wide: {key} must be a column of {table.name}, but it is "{given.get(key, "")}".',
                remedy=f"Known: {', '.join(table.names)}.{nearest(str(given.get(key, '')), table.names)}",
            )
    kind = given.get("headings")
    if kind not in KINDS:
        raise InputError(
            f'{place}: wide: headings must be one of {", ".join(KINDS)}, but it is "{kind}".', remedy=_KEYS["headings"]
        )
    lacking = {"weeks": "start", "days": "start", "pairs": "pairs", "months": "year"}.get(kind, "")
    if lacking and not given.get(lacking):
        raise InputError(f"{place}: wide: {kind} need {lacking}.", remedy=_KEYS[lacking])
    numbers = {"first": given.get("first", 1), "year": given.get("year", 0)}
    for key, number in numbers.items():
        if not isinstance(number, int) or isinstance(number, bool):
            raise InputError(f"{place}: wide: {key} must be a whole number, but it is {number!r}.", remedy=_KEYS[key])
    pairs = given.get("pairs", {})
    if not isinstance(pairs, Mapping):
        raise InputError(f"{place}: wide: pairs must be a section.", remedy=_KEYS["pairs"])
    return Wide(
        into=given["into"],
        value=given["values"],
        headings=kind,
        start=str(given.get("start", "")),
        first=numbers["first"],
        year=numbers["year"],
        pairs={str(k): str(v) for k, v in pairs.items()},
    )


def date_in(heading: str) -> str:
    """Return the text of ``heading`` that may be a date: without the number a repeated heading gets."""
    return _AGAIN.sub("", heading)


def number_in(heading: str, kind: str) -> int | None:
    """Return the number of a heading of weeks or days ("Wk 3" is 3), or None."""
    match = _NUMBERED[kind].fullmatch(heading.strip())
    return int(match[1]) if match else None


def month_in(heading: str) -> int | None:
    """Return the month a heading names ("Sept", "march"), 1 to 12, or None; the English names and their beginnings."""
    word = date_in(heading).strip().rstrip(".").casefold()
    found = [n for n, name in enumerate(_MONTHS) if n and len(word) >= 3 and name.startswith(word)]
    return found[0] if found else None


def value_headings(headings: list[str], wide: Wide, order: str) -> list[str]:
    """Return the headings of which each cell is one row, in their order."""
    if wide.headings == "dates":
        texts = pd.Series([date_in(h) for h in headings], dtype=object)
        return [h for h, lost in zip(headings, none(parse_dates(texts, order).found), strict=True) if not lost]
    if wide.headings == "months":
        return [h for h in headings if month_in(h)]
    if wide.headings == "pairs":
        wanted = {named(headings, value) for value in wide.pairs}
        return [h for h in headings if h in wanted]
    return [h for h in headings if number_in(h, wide.headings) is not None]


def spread(sheet: Sheet, wide: Wide, declared: str) -> Sheet:
    """Return ``sheet`` with each filled cell below a value heading as a record.

    Parameters
    ----------
    declared : str
        Order of day and month, or "" to have the headings prove it.

    Notes
    -----
    Row numbers carry the column (see ``plain_rows``). In the account a row counts once for each of its weighing
    columns, and an empty cell counts as blank, so the account balances cell by cell.

    Raises
    ------
    InputError
        If no heading is of the kind, a heading that is named is not there, or the order of dates is not known.
    """
    present = list(sheet.cells.columns)
    order = _order(present, declared, sheet.where) if wide.headings == "dates" else declared
    values = value_headings(present, wide, order)
    if not values:
        raise InputError(
            f"{sheet.where}: records.toml reads one column a weighing from headings that are {wide.headings}, but no "
            "heading is.",
            [f"headings: {', '.join(present)}"],
            "Correct wide in records.toml.",
        )
    text = sheet.cells[values].to_numpy(dtype=object)
    filled = np.array([[bool(cell.strip()) for cell in row] for row in text], dtype=bool).reshape(text.shape)
    place, which = np.nonzero(filled)
    when = _dates(sheet, wide, values, order)
    gone = {*values, *(named(present, h) for h in wide.pairs.values()), wide.into, wide.value}
    kept = sheet.cells[[h for h in present if h not in gone]].iloc[place].reset_index(drop=True)
    cells = kept.assign(**{wide.into: when[place, which], wide.value: text[place, which]})
    spare = len(sheet.row) * (len(values) - 1)
    return replace(
        sheet,
        cells=cells.astype(object),
        row=sheet.row[place] + ((which.astype("int64") + 1) << _SHIFT),
        twin=sheet.twin[place],
        longer=sheet.longer[place],
        counted=sheet.counted + spare,
        blank=sheet.blank + int((~filled).sum()),
        spread=tuple(values),
    )


def _order(headings: list[str], declared: str, where: str) -> str:
    texts = pd.Series([date_in(h) for h in headings], dtype=object)
    rows = pd.Series(["of the headings"] * len(texts), dtype=object)
    return order_of({"headings": (texts, rows)}, declared, where)


def _dates(sheet: Sheet, wide: Wide, values: list[str], order: str) -> np.ndarray:
    """Return the date of each cell as text, shape (rows, values)."""
    rows = len(sheet.row)
    present = list(sheet.cells.columns)
    if wide.headings == "dates":
        return np.tile(np.array([date_in(h) for h in values], dtype=object), (rows, 1))
    if wide.headings == "months":
        # A month without a day is read as any other: its middle, and doubtful.
        return np.tile(np.array([f"{wide.year}-{month_in(h) or 0:02d}" for h in values], dtype=object), (rows, 1))
    if wide.headings == "pairs":
        by_value = {named(present, value): date for value, date in wide.pairs.items()}
        found = [_heading(sheet, by_value[h]) for h in values]
        return sheet.cells[found].to_numpy(dtype=object)
    start = sheet.cells[_heading(sheet, wide.start)]
    order = order_of({wide.start: (start, pd.Series(sheet.row))}, order, sheet.where)
    days = parse_dates(start, order, epoch=sheet.epoch).found
    step = _STEP[wide.headings]
    out = np.full((rows, len(values)), "", dtype=object)
    for at, heading in enumerate(values):
        number = number_in(heading, wide.headings)
        shift = timedelta(days=step * ((number or 0) - wide.first))
        known = {day: f"{day[0] + shift:%Y-%m-%d}" for day in {d for d in days if d is not None}}
        out[:, at] = [known.get(day, "") for day in days]
    return out


def _heading(sheet: Sheet, wanted: str) -> str:
    found = named(list(sheet.cells.columns), wanted)
    if found is None:
        raise InputError(
            f'{sheet.where}: wide in records.toml names "{wanted}", but there is no such heading.',
            [f"headings: {', '.join(sheet.cells.columns)}"],
            "Correct it." + nearest(wanted, sheet.cells.columns),
        )
    return found


def plain_rows(rows: pd.Series) -> pd.Series:
    """Return row numbers as the spreadsheet shows them, the column taken out."""
    return rows & _LOW if len(rows) and (rows.fillna(0) > _LOW).any() else rows


def column_of(rows: pd.Series) -> np.ndarray:
    """Return which of ``Sheet.spread`` each row number carries, from 0; -1 where it carries none."""
    return rows.fillna(0).to_numpy(dtype="int64") // (1 << _SHIFT) - 1


def rows_shown(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return ``frame`` with the row numbers of ``column`` as the spreadsheet shows them, in sentences too."""
    carried = frame[column]
    rows = plain_rows(carried)
    if rows is carried:
        return frame
    said = {
        name: frame[name].map(_told, na_action="ignore").astype(frame[name].dtype)
        for name in ("rule", "what_to_do", "reason", "likely", "changes")
        if name in frame.columns
    }
    return frame.assign(**{column: rows}, **said)


def _told(sentence: str) -> str:
    return _CODED.sub(lambda m: str(int(m[0]) & _LOW) if int(m[0]) > _LOW else m[0], sentence)
