"""What a person sees of a cell: numbers as their format shows them, errors, strike-outs, what is hidden."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time
from functools import lru_cache
from typing import Any

from openpyxl.cell import Cell
from openpyxl.utils import get_column_letter
from openpyxl.utils.cell import coordinate_from_string
from openpyxl.worksheet.worksheet import Worksheet

from mendcurve.records.findings import DOUBTFUL
from mendcurve.records.notes import Note, error_note

_FORMAT_PARTS = re.compile(r'"([^"]*)"|\\(.)|[_*].|\[[^\]]*\]|(.)', re.S)
_DIGITS = frozenset("0#?,. ")
# Hidden rows beyond this many are told of together.
_EACH = 20


def shown(cell: Cell) -> str:
    """Return a cell's value as text: what a person sees, to the precision that is held.

    Notes
    -----
    Leading zeros and words of the number format ('000', '0.0" kg"') are part of it. A first of a month that is shown
    as month and year is that month only. Formulas are their saved results; errors are empty.
    """
    value: Any = cell.value
    if value is None or getattr(cell, "data_type", "") == "e":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        if value.day == 1 and _month_only(_format_of(cell)):
            return f"{value:%Y-%m}"
        return value.isoformat(sep=" ", timespec="seconds").removesuffix(" 00:00:00")
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, (int, float)):
        number = str(int(value)) if float(value).is_integer() else f"{value:.15g}"
        before, zeros, after = _words_around(_format_of(cell))
        return f"{before}{number.zfill(zeros + (value < 0))}{after}"
    return str(value)


def _format_of(cell: Cell) -> str:
    try:
        return str(cell.number_format)
    except IndexError:  # a damaged list of formats: the number says what it is
        return ""


@lru_cache(maxsize=1024)
def _month_only(number_format: str) -> bool:
    plain = "".join(m[3] or "" for m in _FORMAT_PARTS.finditer(number_format)).lower()
    return "m" in plain and "y" in plain and not set("dhs") & set(plain)


@lru_cache(maxsize=1024)
def _words_around(number_format: str) -> tuple[str, int, str]:
    """Return the words a format writes before a number, how many digits it shows at least, and the words behind."""
    before, after, digits = "", "", ""
    for quoted, escaped, plain in _FORMAT_PARTS.findall(number_format.split(";")[0]):
        if plain and plain not in _DIGITS:
            return "", 0, ""  # a date, a share, General: the number says it all
        digits += plain.strip()
        words = quoted + escaped + (plain if plain == " " else "")
        before, after = (before, after + words) if digits else (before + words, after)
    zeros = len(digits) if re.fullmatch(r"0{2,}", digits) else 0
    lettered = [part if re.search(r"[^\W\d_]", part) else "" for part in (before, after)]
    return lettered[0], zeros, lettered[1].rstrip()


def error_cells(record: Sequence[Cell]) -> Iterator[Note]:
    """Yield a finding for each error of a row."""
    for cell in record:
        if getattr(cell, "data_type", "") == "e":
            yield error_note(cell.row, cell.column_letter, str(cell.value))


def struck(record: Sequence[Cell]) -> Iterator[Note]:
    """Yield the finding of a row in which filled cells are struck through."""
    filled = [cell for cell in record if cell.value is not None]
    lines = [cell for cell in filled if cell.font.strike]
    if lines:
        what = "the row is" if len(lines) == len(filled) else "the cell is" if len(lines) == 1 else "these cells are"
        yield Note(
            row=lines[0].row,
            column="" if len(lines) == len(filled) else ", ".join(cell.column_letter for cell in lines),
            effect=DOUBTFUL,
            rule=f"{what} struck through; nobody can tell what that means, so it was read like any other",
            what_to_do="Delete what should not count, or take the line away.",
        )


def struck_in_part(cells: Iterable[str]) -> Iterator[Note]:
    """Yield the finding of each cell ("B7") of which a part is struck through."""
    for cell in cells:
        column, row = coordinate_from_string(cell)
        yield Note(
            row=row,
            column=column,
            effect=DOUBTFUL,
            rule="a part of the cell is struck through; all of it was read",
            what_to_do="Delete the part that should not count.",
        )


def hidden(sheet: Worksheet, rows: Sequence[int]) -> Iterator[Note]:
    """Yield findings of what a sheet holds and does not show; all of it is read."""
    if sheet.sheet_state != "visible":
        yield Note(
            rule="the sheet is hidden in the workbook; it was read like any other",
            what_to_do="Show the sheet, and look whether it should count.",
        )
    dark = [row for row in rows if row in sheet.row_dimensions and sheet.row_dimensions[row].hidden]
    by_filter = bool(sheet.auto_filter.ref)
    if dark and (by_filter or len(dark) > _EACH):
        how = "hidden by a filter" if by_filter else "hidden"
        places = ", ".join(map(str, dark[:5])) + (" and more" if len(dark) > 5 else "")
        yield Note(
            rule=f"{len(dark)} row{'s are' if len(dark) > 1 else ' is'} {how} in the sheet (row {places}), "
            "and read like any other",
            what_to_do=f"{'Clear the filter' if by_filter else 'Show the rows'}, and delete what should not count.",
        )
    else:
        for row in dark:
            yield Note(
                row=row,
                rule="the row is hidden in the sheet; it was read like any other",
                what_to_do="Show the row, and delete it if it should not count.",
            )
    for place in sheet.column_dimensions.values():
        for column in range(place.min or 1, min(place.max or 1, sheet.max_column) + 1) if place.hidden else ():
            letter = get_column_letter(column)
            yield Note(
                column=letter,
                rule=f"column {letter} is hidden in the sheet; it was read like any other",
                what_to_do="Show the column, and look whether it should count.",
            )
