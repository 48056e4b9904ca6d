"""One sheet as it was read: text cells under headings, with the row numbers the spreadsheet shows."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
import pandas as pd
from openpyxl.utils import get_column_letter

from mendcurve.errors import InputError
from mendcurve.records.bodies import Body, body_from
from mendcurve.records.dates import EPOCH_1900
from mendcurve.records.findings import CHANGED, DOUBTFUL, NOTE
from mendcurve.records.folding import heading as fold_heading
from mendcurve.records.headings import below_groups, heading_names, repeated, repeated_rule, spread
from mendcurve.records.merging import Merge
from mendcurve.records.moved_names import DO, GONE, RULE, without_moved_names
from mendcurve.records.notes import ERRORS, error_note
from mendcurve.records.notes import Note as Note  # for those who make a Sheet
from mendcurve.records.privacy import about_a_person, masked
from mendcurve.records.second_tables import begins_below, beside_rule, stands_beside
from mendcurve.records.words import merged as merged_words


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A file, or a sheet of a workbook, as text.

    Attributes
    ----------
    cells : DataFrame
        One column a heading that is no person's, one row a record; every cell text, "" where empty. Columns are
        categories, which hold each distinct text once.
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
    merges : tuple of Merge
        Data cells merged over several rows.
    second : int
        Number of the row that begins a second table below the first; 0 for none.
    beside : tuple of str
        Headings of a second table beside the first, which is not read.
    taken_out : frozenset of int
        Row numbers of records that the rescue's corrections say should not be.
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
    merges: tuple[Merge, ...] = ()
    second: int = 0
    beside: tuple[str, ...] = ()
    taken_out: frozenset[int] = frozenset()

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
        cells = self.cells
        if self.merged:
            at = heading_at(cells, self.rows, heading_row, place_of(self.file, self.name))
            at = below_groups(cells, self.rows, self.merged, at) if heading_row is None else at
            cells = [*cells[:at], spread(cells, self.rows, self.merged, at), *cells[at + 1 :]]
            heading_row = self.rows[at]
        out = sheet_from(
            cells,
            self.rows,
            file=self.file,
            name=self.name,
            counted=self.counted,
            heading_row=heading_row,
            epoch=self.epoch,
            notes=self.notes,
        )
        return replace(out, merges=self._merges(out, heading_row or 0)) if self.merged else out

    def _merges(self, sheet: Sheet, heading_row: int) -> tuple[Merge, ...]:
        of_column = {letter: heading for heading, letter in sheet.letters.items() if heading in sheet.cells.columns}
        areas = (
            (of_column.get(get_column_letter(c1)), r1, r2) for r1, c1, r2, _ in self.merged if r2 > r1 > heading_row
        )
        return tuple(Merge(heading, r1, r2) for heading, r1, r2 in areas if heading is not None)


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
    at = heading_at(grid, rows, heading_row, where)
    return sheet_below(
        grid[at],
        body_from(grid[at + 1 :], rows[at + 1 :], len(grid[at])),
        file=file,
        name=name,
        counted=counted,
        above=[has_text(record) for record in grid[:at]],
        epoch=epoch,
        notes=notes,
    )


def sheet_below(
    heading: Sequence[str],
    body: Body,
    *,
    file: str,
    name: str,
    counted: int,
    above: Sequence[bool] = (),
    epoch: datetime = EPOCH_1900,
    notes: Sequence[Note] = (),
) -> Sheet:
    """Make a Sheet of the cells of the heading row and the rows below it.

    Parameters
    ----------
    above : sequence of bool
        Whether each row above the headings holds text.
    """
    headings = heading_names(heading)
    width, pairs = len(headings), repeated(headings, heading)
    filled = body.filled()
    again = body.like(heading) & filled
    totals = body.totals(filled)
    records, errors = _without_errors(body.take(filled & ~again & ~totals))
    people = tuple(h for h in headings if about_a_person(h))
    columns = dict(zip(headings, records.columns, strict=False))
    cells, moved = without_moved_names(
        {h: column for h, column in columns.items() if h not in people}, [columns[h] for h in people if h in columns]
    )
    letters = {h: get_column_letter(i) for i, h in enumerate(headings, start=1)}
    away = [
        Note(row=int(records.rows[at]), column=letters[h], value=GONE, rule=RULE, what_to_do=DO, effect=CHANGED)
        for at, h in moved
    ]
    return Sheet(
        file=file,
        sheet=name,
        cells=pd.DataFrame({h: c.series() for h, c in cells.items()}, index=pd.RangeIndex(len(records.rows))),
        row=records.rows,
        people=people,
        twin=records.twins(width),
        longer=records.longer_than(width),
        counted=counted,
        blank=len(above) - sum(above) + int((~filled).sum()),
        headings=1 + sum(above) + int(again.sum()),
        totals=int((totals & ~again).sum()),
        epoch=epoch,
        notes=(*notes, *errors, *away, *_repeated_headings(heading, headings, records)),
        letters=letters,
        second=begins_below(headings, records),
        beside=tuple(headings[at] for at in pairs) if stands_beside(pairs) else (),
    )


def heading_at(grid: Sequence[Sequence[str]], rows: Sequence[int], heading_row: int | None, where: str) -> int:
    """Return the position of the headings among raw rows: row ``heading_row``, else the first with text in two cells.

    Raises
    ------
    InputError
        If no row has text, or there is no row ``heading_row``.
    """
    first = next((at for at, record in enumerate(grid) if has_text(record)), None)
    if first is None:
        raise InputError(f"{where}: the sheet is empty.", remedy="Give it headings and rows, or take it away.")
    if heading_row is not None:
        if heading_row not in rows:
            raise InputError(
                f"{where}: there is no row {heading_row} to hold the headings.",
                remedy="Correct heading_row in records.toml.",
            )
        return list(rows).index(heading_row)
    # A title above the headings fills one cell; the headings of a table of one column fill one, too.
    return next((at for at, record in enumerate(grid) if several_cells(record)), first)


def has_text(record: Sequence[str]) -> bool:
    """Whether any cell of a raw row has text."""
    return any(cell and not cell.isspace() for cell in record)


def several_cells(record: Sequence[str]) -> bool:
    """Whether two cells of a raw row or more have text."""
    return sum(bool(cell.strip()) for cell in record) > 1


def _repeated_headings(heading: Sequence[str], names: Sequence[str], body: Body) -> Iterator[Note]:
    pairs = repeated(names, heading)
    beside = stands_beside(pairs)
    if beside:
        block = Body(body.columns[beside[0] : beside[1] + 1], body.rows)
        yield Note(
            effect=NOTE,
            rule=beside_rule(beside, int(block.filled().sum())),
            what_to_do="Move it below the first, under the same headings, or to a sheet of its own.",
        )
        return
    for place, first in pairs.items():
        one, two = (body.columns[at] for at in (first, place))
        different = int((one.words[one.places] != two.words[two.places]).sum())
        yield Note(
            column=names[place],
            effect=DOUBTFUL if different else NOTE,
            rule=repeated_rule(names, place, first, different),
            what_to_do="Rename one of them; or say in records.toml, under columns, which of the two is meant.",
        )


def _without_errors(body: Body) -> tuple[Body, list[Note]]:
    """Return the rows with cells that hold a spreadsheet's error emptied, and a note for each."""
    columns, notes = [], []
    for place, column in enumerate(body.columns):
        wrong = column.rows_of(ERRORS.__contains__)
        if wrong.any():
            notes += [
                error_note(int(row), get_column_letter(place + 1), str(column.words[at]))
                for row, at in zip(body.rows[wrong], column.places[wrong], strict=True)
            ]
            column = merged_words(column.places, ["" if word in ERRORS else word for word in column.words])
        columns.append(column)
    return Body(tuple(columns), body.rows), notes


def named(headings: Sequence[str], wanted: str) -> str | None:
    """Return the heading equal to ``wanted`` when case, spaces and underscores do not count."""
    plain = fold_heading(wanted)
    return next((h for h in headings if fold_heading(h) == plain), None)
