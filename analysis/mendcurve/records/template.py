"""An empty workbook to keep records in: a sheet a table, drop-down lists, meanings, and one worked row of each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from pathlib import Path

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from mendcurve.errors import InputError
from mendcurve.records import dictionary
from mendcurve.records.schemas import TABLES, Column, Table
from mendcurve.records.species import reference
from mendcurve.records.template_rows import HOW_TO, WORKED, WORKED_WORDS
from mendcurve.records.template_rules import KIND_WORDS, LISTS, number_format, rule_of, word_rules

__all__ = ["HOW_TO", "WORKED", "WORKED_WORDS", "write_template"]

_NEEDED = PatternFill("solid", fgColor="FFCFE3D3")
_OTHER = PatternFill("solid", fgColor="FFE8E8E8")
_LINE = Side(style="thin", color="FF9A9A9A")
# The font is named: one that is not becomes a serif in some programs.
_FONT = {"name": "Calibri", "size": 11}
_BOLD = Font(**_FONT, bold=True)
_WRAPPED = Alignment(wrap_text=True, vertical="top")
_GUIDE_COLUMNS = 8
# Characters of the guide that fit one line.
_ONE_LINE = 150
_WIDTHS = {"date": 13, "datetime": 18, "count": 11, "number": 11, "money": 12, "yes_no": 10, "list": 28, "id": 12}
_MEANING_WIDTHS = (12, 24, 9, 42, 10, 62, 62)
_GREEN, _GREY = "FF6FA37A", "FFB5B5B5"


def write_template(path: str | Path) -> Path:
    """Write an empty workbook with every table of Mendcurve.

    Raises
    ------
    InputError
        If ``path`` does not end in .xlsx, or a file is there already.
    """
    path = Path(path)
    if path.suffix.lower() != ".xlsx":
        raise InputError(
            f'The template is a workbook, but "{path.name}" does not end in .xlsx.', remedy=f'Write "{path.stem}.xlsx".'
        )
    if path.exists():
        raise InputError(f'"{path.name}" is there already, and is not written over.', remedy="Give another name.")
    book = Workbook()
    guide = book.active
    guide.title = "How to"
    _guide(guide)
    _meanings(book.create_sheet("Meanings"))
    for table in TABLES.values():
        _table(book.create_sheet(table.name), table)
    _dictionary(book.create_sheet(dictionary.NAME))
    _lists(book.create_sheet("Lists"))
    book.save(path)
    return path


def _guide(sheet: Worksheet) -> None:
    sheet.column_dimensions["A"].width = 13
    for place in range(2, _GUIDE_COLUMNS + 2):
        sheet.column_dimensions[get_column_letter(place)].width = 17
    sheet.cell(1, 1, "How to keep these records").font = Font(name="Calibri", size=14, bold=True)
    row = 3
    for number, line in enumerate(HOW_TO, start=1):
        sheet.cell(row, 1, f"{number}.").alignment = Alignment(horizontal="right", vertical="top")
        sheet.cell(row, 2, line).alignment = _WRAPPED
        sheet.merge_cells(start_row=row, start_column=2, end_row=row, end_column=_GUIDE_COLUMNS + 1)
        sheet.row_dimensions[row].height = 17 if len(line) < _ONE_LINE else 33
        row += 1
    row += 1
    parted = row
    for table in TABLES.values():
        parted = row if table.name == "weighings" else parted
        needed = {c.name for c in table.columns if c.required}
        row = _worked(sheet, row, table.name, f"one line: {table.row_is}", WORKED[table.name], needed)
    _worked(sheet, row, dictionary.NAME, "one line: a word", WORKED_WORDS, {"kind", "word"})
    _printed(sheet, repeat=False)
    # One page across would be cut within a table; two pages hold it, parted before the weighings.
    sheet.sheet_properties.pageSetUpPr.fitToPage = False
    sheet.page_setup.scale = 66
    sheet.row_breaks.append(Break(id=parted - 1))


def _worked(sheet: Worksheet, row: int, name: str, row_is: str, values: Mapping[str, object], needed: set[str]) -> int:
    """Write the filled-in columns of one worked row, a few columns a line; return the next free row."""
    sheet.cell(row, 1, name).font = _BOLD
    sheet.cell(row, 2, row_is).font = Font(**_FONT, italic=True)
    row += 1
    filled = list(values.items())
    for start in range(0, len(filled), _GUIDE_COLUMNS):
        for place, (heading, value) in enumerate(filled[start : start + _GUIDE_COLUMNS], start=2):
            top, below = sheet.cell(row, place, heading), sheet.cell(row + 1, place, str(value))
            top.font, top.fill = _BOLD, _NEEDED if heading in needed else _OTHER
            below.alignment = _WRAPPED
            for cell in (top, below):
                cell.border = Border(left=_LINE, right=_LINE, top=_LINE, bottom=_LINE)
        row += 2
    return row + 1


def _meanings(sheet: Worksheet) -> None:
    headings = ("sheet", "column", "needed", "what to write", "unit", "words", "meaning")
    lines = [
        (t.name, c.name, "yes" if c.required else "", KIND_WORDS[c.kind], c.unit, ", ".join(c.codes), c.meaning)
        for t in TABLES.values()
        for c in t.columns
    ]
    lines += [
        (dictionary.NAME, name, "yes" if name in ("kind", "word") else "", "text", _unit(name), "", meaning)
        for name, meaning in dictionary.COLUMNS.items()
    ]
    for place, (text, width) in enumerate(zip(headings, _MEANING_WIDTHS, strict=True), start=1):
        cell = sheet.cell(1, place, text)
        cell.font, cell.fill = _BOLD, _OTHER
        sheet.column_dimensions[get_column_letter(place)].width = width
    for row, line in enumerate(lines, start=2):
        for place, text in enumerate(line, start=1):
            sheet.cell(row, place, text).alignment = _WRAPPED
        # Some programs do not fit a row to its wrapped text by themselves.
        deep = max(math.ceil(len(text) / width) for text, width in zip(line, _MEANING_WIDTHS, strict=True))
        sheet.row_dimensions[row].height = 15 * max(deep, 1)
    sheet.freeze_panes = "A2"
    _printed(sheet)


def _unit(name: str) -> str:
    return "g" if name.endswith("_g") else "days" if name.endswith("_days") else ""


def _table(sheet: Worksheet, table: Table) -> None:
    sheet.sheet_properties.tabColor = _GREEN if table.name == "intakes" else _GREY
    for place, column in enumerate(table.columns, start=1):
        note = f"{column.meaning} ({KIND_WORDS[column.kind]}){f' Unit: {column.unit}.' if column.unit else ''}"
        _heading(sheet, place, column.name, column.required, note)
        letter = get_column_letter(place)
        sheet.column_dimensions[letter].width = max(_width(column), len(column.name) + 3)
        shown = number_format(column)
        if shown:
            sheet.column_dimensions[letter].number_format = shown
        sheet.add_data_validation(rule_of(table, column, letter))
    sheet.freeze_panes = "B2"
    _printed(sheet)


def _width(column: Column) -> int:
    longest = max(map(len, column.codes), default=0) if column.kind == "code" else 0
    return max(_WIDTHS.get(column.kind, 16), min(longest + 4, 30))


def _heading(sheet: Worksheet, place: int, name: str, needed: bool, note: str) -> None:
    cell = sheet.cell(1, place, name)
    cell.font, cell.fill = _BOLD, _NEEDED if needed else _OTHER
    cell.border = Border(bottom=_LINE, right=_LINE)
    cell.comment = Comment(note, "Mendcurve", width=320, height=90)


def _dictionary(sheet: Worksheet) -> None:
    sheet.sheet_properties.tabColor = _GREY
    for place, (name, meaning) in enumerate(dictionary.COLUMNS.items(), start=1):
        unit = f" Unit: {_unit(name)}." if _unit(name) else ""
        _heading(sheet, place, name, name in ("kind", "word"), meaning + unit)
        sheet.column_dimensions[get_column_letter(place)].width = 24 if name in ("word", "means", "note") else 16
    for rule in word_rules():
        sheet.add_data_validation(rule)
    sheet.freeze_panes = "C2"
    _printed(sheet)


def _lists(sheet: Worksheet) -> None:
    """Write the words that drop-down lists show and that are too many for a rule; the sheet is hidden."""
    columns: dict[str, Iterable[str]] = {"species": sorted(reference()["name"]), "kind": dictionary.kinds()}
    for name, words in columns.items():
        for row, word in enumerate((name, *words), start=1):
            sheet[f"{LISTS[name]}{row}"] = word
    sheet.sheet_state = "hidden"


def _printed(sheet: Worksheet, *, repeat: bool = True) -> None:
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.center.text = "&A, page &P of &N"
    if repeat:
        sheet.print_title_rows = "1:1"
