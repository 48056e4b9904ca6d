"""Workbooks (.xlsx): cells with their types, turned into the text a person sees; formulas are never run."""

from __future__ import annotations

import warnings
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils.cell import coordinate_from_string
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.workbook import Workbook

from mendcurve.errors import InputError, nearest
from mendcurve.records.accounting import Formula, count_workbook_rows, formulas_in, strikes_in, struck_parts_in
from mendcurve.records.appearance import error_cells, hidden, shown, struck, struck_in_part
from mendcurve.records.dates import EPOCH_1900, EPOCH_1904
from mendcurve.records.findings import CHANGED
from mendcurve.records.sheets import Grid, Note, Sheet

SUFFIXES = (".xlsx", ".xlsm")
# What a damaged, encrypted or foreign file makes the unpacker, the XML parser and openpyxl raise.
_DAMAGED = (
    *(InvalidFileException, zipfile.BadZipFile, zlib.error, ParseError, EOFError, OSError, RuntimeError),
    *(LookupError, ValueError, TypeError, AttributeError),
)


class Book:
    """An open workbook; sheets are read when asked for."""

    def __init__(self, path: Path):
        self.path = path
        self.book = _open(path)

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
        Cells are read as a person sees them (``appearance.shown``). An error cell, a formula whose result was never
        saved, merged cells, what is hidden and what is struck through are findings; the row is read.

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
        grid: list[list[str]] = []
        rows: list[int] = []
        notes: list[Note] = []
        strikes = strikes_in(self.path)
        for record in sheet.iter_rows():
            if any(cell.value is not None for cell in record):
                grid.append([shown(cell) for cell in record])
                rows.append(record[0].row)
                notes += error_cells(record)
                notes += struck(record) if strikes else ()
        formulas = formulas_in(self.path, name)
        for row in sorted({coordinate_from_string(f.cell)[1] for f in formulas if f.cell} - set(rows)):
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
        notes += [
            *self._not_calculated(formulas),
            *hidden(sheet, rows),
            *struck_in_part(struck_parts_in(self.path, name)),
        ]
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

    def _not_calculated(self, formulas: list[Formula]) -> Iterator[Note]:
        for formula in formulas:
            if not formula.calculated and formula.cell:
                column, row = coordinate_from_string(formula.cell)
                yield Note(
                    row=row,
                    column=column,
                    value=f"={formula.text}",
                    effect=CHANGED,
                    rule="a formula's result must be saved in the workbook; this one was never calculated "
                    "and is read as empty",
                    what_to_do="Open the workbook in a spreadsheet and save it.",
                )


def _open(path: Path) -> Workbook:
    try:
        # Opened here, since openpyxl leaves a file open where it fails.
        with path.open("rb") as file, warnings.catch_warnings():
            # Of what openpyxl leaves out: look and lists of choices. A day no calendar has it makes an error cell.
            warnings.simplefilter("ignore", UserWarning)
            return load_workbook(file, data_only=True)
    except PermissionError as error:
        raise InputError(
            f"{path.name}: the workbook cannot be opened.", remedy="Close it in other programs and run again."
        ) from error
    except _DAMAGED as error:
        raise InputError(
            f"{path.name}: this is not a workbook that can be read.",
            remedy="Open it in a spreadsheet (give the password if it asks) and save it as .xlsx, without a password.",
        ) from error
