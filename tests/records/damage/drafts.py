"""Records on their way to a file: rows that can be damaged, and how they are written as CSV or as a workbook."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from mendcurve.records.schemas import TABLES
from records.damage.clean import Clean

CSV, BOOK = "csv", "workbook"
BOOK_NAME = "rescue.xlsx"


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula, with the result that was saved with it (None: never calculated)."""

    text: str
    saved: str | None = None


@dataclass(frozen=True, slots=True)
class Shown:
    """A typed value under a number format of its own."""

    value: Any
    format: str


@dataclass(slots=True, eq=False)
class Line:
    """One row of a sheet.

    Attributes
    ----------
    cells : dict of column -> value
        As it will be written; text is written as it is.
    truth : dict of column -> value, or None
        The clean row; None for a row that damage added.
    sort : str
        "row", "title", "heading", "total" or "blank".
    who : str
        Animal, grant or the like: see ``Clean``.
    written : list, optional
        The cells one by one, where they no longer stand under their headings.
    literal : str, optional
        The line as it stands in the file.
    """

    cells: dict[str, Any]
    truth: dict[str, Any] | None = None
    sort: str = "row"
    who: str = ""
    written: list[Any] | None = None
    literal: str | None = None


@dataclass(slots=True, eq=False)
class Sheet:
    """One table's file or sheet."""

    table: str
    columns: list[str]
    headings: dict[str, str]
    lines: list[Line]
    delimiter: str = ","
    encoding: str = "utf-8"
    newline: str = "\r\n"
    bytes_to: Callable[[bytes], bytes] | None = None
    format_book: list[Callable[[Worksheet, dict[int, int]], None]] = field(default_factory=list)

    @property
    def rows(self) -> list[Line]:
        """The records, damaged or not."""
        return [line for line in self.lines if line.sort == "row"]

    def values(self, line: Line) -> list[Any]:
        """The cells of a line in order."""
        if line.written is not None:
            return line.written
        if line.sort == "heading":
            return [self.headings[c] for c in self.columns]
        return [line.cells.get(c) for c in self.columns]


@dataclass(slots=True, eq=False)
class Draft:
    """A rescue's records on their way to files.

    Attributes
    ----------
    toml : dict of section -> lines
    busy : set of str
        "_who" of rows that some damage has touched, directly or through what hangs on them.
    closed : set of str
        Tables in which no further cell may be damaged.
    sheets_taken : set of str
        Tables whose whole sheet has been damaged.
    secrets : list of str
        People's details that may stand in no output.
    renumbered : bool
        Lines run into each other: rows are not where they were written.
    """

    sheets: dict[str, Sheet]
    form: str
    as_of: date
    draw: np.random.Generator
    toml: dict[str, list[str]] = field(default_factory=dict)
    busy: set[str] = field(default_factory=set)
    closed: set[str] = field(default_factory=set)
    sheets_taken: set[str] = field(default_factory=set)
    secrets: list[str] = field(default_factory=list)
    epoch_1904: bool = False
    renumbered: bool = False

    def free(self, table: str, column: str = "", fits: Callable[[Line], bool] = lambda line: True) -> list[Line]:
        """Return the undamaged rows of ``table`` with a value in ``column`` that ``fits``, in random order."""
        rows = [
            line
            for line in self.sheets[table].rows
            if line.truth is not None
            and table not in self.closed
            and line.who not in self.busy
            and (not column or line.truth[column] is not None)
            and fits(line)
        ]
        return [rows[i] for i in self.draw.permutation(len(rows))]


def draft_of(clean: Clean, form: str, seed: int) -> Draft:
    """Return the clean records as a draft, one sheet a table that has rows."""
    sheets = {}
    for table, rows in clean.rows.items():
        columns = list(TABLES[table].names)
        head = Line({}, sort="heading")
        lines = [Line({c: row[c] for c in columns}, truth=row, who=row["_who"]) for row in rows]
        sheets[table] = Sheet(table, columns, {c: c for c in columns}, [head, *lines])
    draft = Draft(sheets, form, clean.as_of, np.random.default_rng([seed, 1]))
    first = min(row["intake_date"] for row in clean.rows["intakes"])
    draft.toml["dates"] = [f"as_of = {clean.as_of}", f"records_start = {first}"]
    draft.toml["rescue"] = ['name = "An Invented Rescue"', 'date_order = "dmy"']
    return draft


def text_of(value: Any) -> str:
    """Return a clean value as a careful person types it."""
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)


def write(draft: Draft, folder: Path) -> dict[int, tuple[str, str, int]]:
    """Write the draft into ``folder``; return by ``id(line)`` the file, sheet and row the spreadsheet shows."""
    folder.mkdir(parents=True, exist_ok=True)
    toml = "\n".join(f"[{section}]\n" + "\n".join(lines) for section, lines in draft.toml.items())
    (folder / "records.toml").write_text(toml + "\n", encoding="utf-8")
    return _book(draft, folder) if draft.form == BOOK else _texts(draft, folder)


def _texts(draft: Draft, folder: Path) -> dict[int, tuple[str, str, int]]:
    where = {}
    for sheet in draft.sheets.values():
        file = f"{sheet.table}.csv"
        out = io.StringIO()
        for number, line in enumerate(sheet.lines, start=1):
            where[id(line)] = (file, "", number)
            if line.literal is not None:
                out.write(line.literal + sheet.newline)
            else:
                csv.writer(out, delimiter=sheet.delimiter, lineterminator=sheet.newline).writerow(
                    [text_of(v) for v in sheet.values(line)] if line.sort != "blank" else []
                )
        raw = out.getvalue().encode(sheet.encoding)
        (folder / file).write_bytes(sheet.bytes_to(raw) if sheet.bytes_to else raw)
    return where


def _book(draft: Draft, folder: Path) -> dict[int, tuple[str, str, int]]:
    where: dict[int, tuple[str, str, int]] = {}
    book = Workbook()
    book.remove(book.active)
    if draft.epoch_1904:
        book.epoch = datetime(1904, 1, 1)
    saved: dict[tuple[str, str], str] = {}
    for sheet in draft.sheets.values():
        page = book.create_sheet(sheet.table)
        at = {}
        for number, line in enumerate(sheet.lines, start=1):
            where[id(line)] = (BOOK_NAME, sheet.table, number)
            at[id(line)] = number
            for column, value in enumerate(sheet.values(line) if line.sort != "blank" else [], start=1):
                _put(page.cell(number, column), value, saved)
        for change in sheet.format_book:
            change(page, at)
    path = folder / BOOK_NAME
    book.save(path)
    if saved:
        _save_results(path, book, saved)
    return where


def _put(cell: Cell, value: Any, saved: dict[tuple[str, str], str]) -> None:
    if value is None or value is False or value == "":
        return
    if isinstance(value, Formula):
        cell.value = value.text
        if value.saved is not None:
            saved[cell.parent.title, cell.coordinate] = value.saved
    elif isinstance(value, Shown):
        cell.value = value.value
        cell.number_format = value.format
    elif isinstance(value, str) and value.startswith("#"):
        cell.value = value  # an error, by its word
    elif isinstance(value, str):
        cell.value = value
        cell.data_type = "s"
    elif value is True:
        cell.value = True
    elif isinstance(value, (int, float, date)):
        cell.value = value
    else:
        cell.value = float(value)


def _save_results(path: Path, book: Workbook, saved: dict[tuple[str, str], str]) -> None:
    """Write the results of formulas beside them, as a spreadsheet does when it saves."""
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    for nth, page in enumerate(book.worksheets, start=1):
        name = f"xl/worksheets/sheet{nth}.xml"
        text = parts[name].decode("utf-8")
        for (title, at), result in saved.items():
            if title == page.title:
                text, n = re.subn(rf'(<c r="{at}"[^>]*><f>[^<]*</f>)<v ?/>', rf"\g<1><v>{result}</v>", text)
                assert n == 1, (title, at)
        parts[name] = text.encode("utf-8")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, content in parts.items():
            new.writestr(name, content)
