"""One sheet as it was read: text cells under headings, with the row numbers the spreadsheet shows."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pandas as pd
from openpyxl.utils import get_column_letter

from mendcurve.errors import InputError
from mendcurve.records.dates import EPOCH_1900
from mendcurve.records.folding import folded
from mendcurve.records.folding import heading as fold_heading
from mendcurve.records.privacy import about_a_person, masked

_TOTALS = frozenset(("total", "totals", "sum", "grand total", "subtotal", "sub total", "count", "total:"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Note:
    """Something found while a cell, row or file was opened."""

    rule: str
    what_to_do: str
    row: int | None = None
    column: str = ""
    value: str = ""
    effect: str = "note"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A file, or a sheet of a workbook, as text.

    Attributes
    ----------
    cells : DataFrame
        One column a heading that is no person's, one row a record; every cell text, "" where empty.
    row : ndarray of int
        Row number of each record, as the spreadsheet shows it.
    people : tuple of str
        Headings of people's columns, dropped as they were read.
    twin : ndarray of int
        For a record that repeats an earlier one cell for cell (dropped columns too): that one's row number, else 0.
    longer : ndarray of bool
        The record has more cells than there are headings.
    spread : tuple of str
        Headings whose cells became records, where the sheet has one column a weighing (see ``wide``).
    counted, blank, headings, totals : int
        Raw rows by the dumb counter; rows without text; heading (and title) rows; rows of totals.
    letters : mapping of str to str
        Heading -> letter of its column in the spreadsheet; empty for a file that no spreadsheet shows.
    """

    file: str
    sheet: str
    cells: pd.DataFrame
    row: np.ndarray
    people: tuple[str, ...]
    twin: np.ndarray
    longer: np.ndarray
    counted: int
    blank: int
    headings: int
    totals: int
    epoch: datetime = EPOCH_1900
    notes: tuple[Note, ...] = field(default=())
    letters: Mapping[str, str] = field(default_factory=dict)
    spread: tuple[str, ...] = ()

    @property
    def where(self) -> str:
        """File and sheet, as an error names them."""
        return place_of(self.file, self.sheet)

    def verbatim(self, place: np.ndarray) -> list[str]:
        """Return the records at positions ``place`` as JSON text, people's details taken out."""
        rows = self.cells.iloc[place].to_dict("records")
        return [json.dumps({k: masked(v)[0] for k, v in row.items() if v}, ensure_ascii=False) for row in rows]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Raw rows of text of a file or a sheet, before anybody has said where its headings are.

    Attributes
    ----------
    cells : sequence of sequences of str
        One sequence a row; rows may differ in length.
    rows : sequence of int
        Row number of each, as the spreadsheet shows it.
    counted : int
        Raw rows by the dumb counter.
    merged : tuple of (first row, first column, last row, last column)
        Areas of merged cells; columns count from 1.
    """

    file: str
    name: str
    cells: Sequence[Sequence[str]]
    rows: Sequence[int]
    counted: int
    epoch: datetime = EPOCH_1900
    notes: tuple[Note, ...] = ()
    merged: tuple[tuple[int, int, int, int], ...] = ()

    def sheet(self, heading_row: int | None = None) -> Sheet:
        """Return the records below the headings; errors as ``sheet_from``."""
        return sheet_from(
            self.cells,
            self.rows,
            file=self.file,
            name=self.name,
            counted=self.counted,
            heading_row=heading_row,
            epoch=self.epoch,
            notes=self.notes,
        )


def place_of(file: str, sheet: str) -> str:
    """Return file and sheet, as an error names them."""
    return f'{file}, sheet "{sheet}"' if sheet else file


def sheet_from(
    grid: Sequence[Sequence[str]],
    rows: Sequence[int],
    *,
    file: str,
    name: str,
    counted: int,
    heading_row: int | None = None,
    epoch: datetime = EPOCH_1900,
    notes: Sequence[Note] = (),
) -> Sheet:
    """Make a Sheet of raw rows of text.

    Raises
    ------
    InputError
        If there is no row with text, or no row ``heading_row``.
    """
    where = place_of(file, name)
    filled = [any(cell and not cell.isspace() for cell in record) for record in grid]
    at = _heading_at(grid, rows, filled, heading_row, where)
    headings = _headings(grid[at])
    plain = [folded(cell) for cell in grid[at]]
    body = range(at + 1, len(grid))
    again = {i for i in body if filled[i] and _begins_as(grid[i], plain) and [folded(c) for c in grid[i]] == plain}
    totals = _totals(grid, filled, at)
    use = [i for i in body if filled[i] and i not in again and i not in totals]
    width = len(headings)
    longer = np.array([any(cell.strip() for cell in grid[i][width:]) for i in use], dtype=bool)
    # A spreadsheet leaves out empty cells at the end of a row.
    table = [tuple(grid[i][:width]) + ("",) * (width - len(grid[i])) for i in use]
    cells = (
        pd.DataFrame(table, columns=headings, dtype=object)
        if table
        else pd.DataFrame({h: pd.Series(dtype=object) for h in headings})
    )
    people = tuple(h for h in headings if about_a_person(h))
    number = np.array([rows[i] for i in use], dtype="int64")
    return Sheet(
        file=file,
        sheet=name,
        cells=cells.drop(columns=list(people)),
        row=number,
        people=people,
        twin=_twins(table, number),
        longer=longer,
        counted=counted,
        blank=sum(not f for f in filled),
        headings=1 + sum(filled[:at]) + len(again),
        totals=len(totals),
        epoch=epoch,
        notes=tuple(notes),
        letters={h: get_column_letter(i) for i, h in enumerate(headings, start=1)},
    )


def _begins_as(record: Sequence[str], plain: Sequence[str]) -> bool:
    # A cheap look before the whole record is folded.
    return record[0].strip().casefold()[:12] == plain[0][:12]


def _heading_at(
    grid: Sequence[Sequence[str]], rows: Sequence[int], filled: list[bool], heading_row: int | None, where: str
) -> int:
    if not any(filled):
        raise InputError(f"{where}: the sheet is empty.", remedy="Give it headings and rows, or take it away.")
    if heading_row is not None:
        if heading_row not in rows:
            raise InputError(
                f"{where}: there is no row {heading_row} to hold the headings.",
                remedy="Correct heading_row in records.toml.",
            )
        return list(rows).index(heading_row)
    # A title above the headings fills one cell; the headings of a table of one column fill one, too.
    wide = (i for i, f in enumerate(filled) if f and sum(bool(c.strip()) for c in grid[i]) > 1)
    return next(wide, filled.index(True))


def _headings(record: Sequence[str]) -> list[str]:
    width = max((i + 1 for i, cell in enumerate(record) if cell.strip()), default=0)
    out: list[str] = []
    for i, cell in enumerate(record[:width]):
        name = " ".join(cell.split()) or f"column {i + 1}"
        out.append(name if name not in out else f"{name} ({i + 1})")
    return out


def _totals(grid: Sequence[Sequence[str]], filled: list[bool], at: int) -> set[int]:
    found: set[int] = set()
    for i in range(len(grid) - 1, at, -1):
        if filled[i]:
            first = next(cell for cell in grid[i] if cell.strip())
            if folded(first).rstrip(":") not in _TOTALS:
                break
            found.add(i)
    return found


def _twins(table: list[tuple[str, ...]], number: np.ndarray) -> np.ndarray:
    first: dict[int, int] = {}
    seen: dict[tuple[str, ...], int] = {}
    for place, record in enumerate(table):
        earlier = seen.setdefault(record, place)
        if earlier != place:
            first[place] = earlier
    out = np.zeros(len(table), dtype="int64")
    for place, earlier in first.items():
        out[place] = number[earlier]
    return out


def named(headings: Sequence[str], wanted: str) -> str | None:
    """Return the heading equal to ``wanted`` when case, spaces and underscores do not count."""
    plain = fold_heading(wanted)
    return next((h for h in headings if fold_heading(h) == plain), None)
