"""Workbooks (.xlsx): cells with their types, turned into the text a person sees; formulas are never run."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.cell import Cell
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from mendcurve.errors import InputError, nearest
from mendcurve.records.accounting import count_workbook_rows, formulas_in
from mendcurve.records.dates import EPOCH_1900, EPOCH_1904
from mendcurve.records.findings import CHANGED
from mendcurve.records.sheets import Grid, Note, Sheet

SUFFIXES = (".xlsx", ".xlsm")


class Book:
    """An open workbook; sheets are read when asked for."""

    def __init__(self, path: Path):
        self.path = path
        self.book = _open(path, values=True)
        self._formulas: Workbook | None = None

    @property
    def names(self) -> list[str]:
        """Names of the sheets."""
        return [sheet.title for sheet in self.book.worksheets]

    def read(self, name: str, *, heading_row: int | None = None) -> Sheet:
        """Read one sheet as records under headings; notes and errors as ``grid``."""
        return self.grid(name).sheet(heading_row)

    def grid(self, name: str) -> Grid:
        """Read the raw rows of one sheet.

        Notes
        -----
        A number shown with leading zeros keeps them. An error cell, a formula whose result was never saved, a cell
        merged over several rows and a hidden row are findings; the row is read.

        Raises
        ------
        InputError
            If there is no such sheet, or it is empty.
        """
        if name not in self.names:
            raise InputError(
                f'{self.path.name}: there is no sheet "{name}".',
                remedy=f"Sheets: {', '.join(self.names)}.{nearest(name, self.names)}",
            )
        sheet = self.book[name]
        grid, rows, notes = [], [], []
        for record in sheet.iter_rows():
            if any(cell.value is not None for cell in record):
                grid.append([_text(cell) for cell in record])
                rows.append(record[0].row)
                notes += [_error_cell(c) for c in record if getattr(c, "data_type", "") == "e"]
        unknown = list(self._not_calculated(name))
        for row in sorted({n.row for n in unknown if n.row is not None} - set(rows)):
            grid.append([""] * sheet.max_column)
            rows.append(row)
        order = sorted(range(len(rows)), key=rows.__getitem__)
        grid, rows = [grid[i] for i in order], [rows[i] for i in order]
        counted = count_workbook_rows(self.path, name)
        if counted != len(rows):
            raise InputError(
                f'{self.path.name}, sheet "{name}": read {len(rows)} rows, but counted {counted}.',
                remedy="Open the workbook in a spreadsheet and save it again.",
            )
        notes += [*unknown, *_merged(sheet), *_hidden(sheet, rows)]
        epoch = EPOCH_1904 if self.book.epoch.year == 1904 else EPOCH_1900
        return Grid(
            file=self.path.name,
            name=name,
            cells=grid,
            rows=rows,
            counted=counted,
            epoch=epoch,
            notes=tuple(notes),
            merged=tuple((a.min_row, a.min_col, a.max_row, a.max_col) for a in sheet.merged_cells.ranges),
        )

    def _not_calculated(self, name: str) -> Iterator[Note]:
        if not formulas_in(self.path, name):
            return
        self._formulas = self._formulas or _open(self.path, values=False)
        for record in self._formulas[name].iter_rows():
            for cell in record:
                if cell.data_type == "f" and self.book[name][cell.coordinate].value is None:
                    yield Note(
                        row=cell.row,
                        column=cell.column_letter,
                        value=str(cell.value),
                        effect=CHANGED,
                        rule="a formula's result must be saved in the workbook; this one was never calculated "
                        "and is read as empty",
                        what_to_do="Open the workbook in a spreadsheet and save it.",
                    )


def _open(path: Path, *, values: bool) -> Workbook:
    try:
        return load_workbook(path, data_only=values)
    except PermissionError as error:
        raise InputError(
            f"{path.name}: the workbook cannot be opened.", remedy="Close it in other programs and run again."
        ) from error
    except (InvalidFileException, zipfile.BadZipFile, KeyError, OSError, ValueError) as error:
        raise InputError(
            f"{path.name}: this is not a workbook that can be read.",
            remedy="Open it in a spreadsheet (give the password if it asks) and save it as .xlsx, without a password.",
        ) from error


def _text(cell: Cell) -> str:
    value: Any = cell.value
    if value is None or getattr(cell, "data_type", "") == "e":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="seconds").removesuffix(" 00:00:00")
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, (int, float)):
        shown = str(int(value)) if float(value).is_integer() else f"{value:.15g}"
        zeros = re.fullmatch(r"0{2,}", str(cell.number_format))
        return shown.zfill(len(zeros[0])) if zeros else shown
    return str(value)


def _error_cell(cell: Cell) -> Note:
    return Note(
        row=cell.row,
        column=cell.column_letter,
        value=str(cell.value),
        effect=CHANGED,
        rule="a cell must hold a value; this one shows an error and is read as empty",
        what_to_do="Correct the formula, or type the value.",
    )


def _merged(sheet: Worksheet) -> Iterator[Note]:
    for area in sheet.merged_cells.ranges:
        if area.max_row > area.min_row:
            value = sheet.cell(area.min_row, area.min_col).value
            for row in range(area.min_row + 1, area.max_row + 1):
                yield Note(
                    row=row,
                    column=str(area),
                    value="" if value is None else str(value),
                    rule=f"each row must hold its own values; {area} is merged, so only row {area.min_row} "
                    "has the value",
                    what_to_do="Unmerge the cells and fill in each row.",
                )


def _hidden(sheet: Worksheet, rows: list[int]) -> Iterator[Note]:
    for row in rows:
        if row in sheet.row_dimensions and sheet.row_dimensions[row].hidden:
            yield Note(
                row=row,
                rule="the row is hidden in the sheet; it was read like any other",
                what_to_do="Show the row, and delete it if it should not count.",
            )
