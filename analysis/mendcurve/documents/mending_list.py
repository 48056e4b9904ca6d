"""The mending list: a workbook a volunteer works through, which comes back as the rescue's corrections."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from urllib.parse import quote

import pandas as pd
from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from mendcurve.questions.rows import each
from mendcurve.questions.wording import count
from mendcurve.records import Records
from mendcurve.records.correction_lines import DELETE
from mendcurve.records.findings import CORRECTED, NOTE, SET_ASIDE
from mendcurve.records.saving import put_text, save

# Nobody works through more; findings.csv holds them all.
MOST = 5000
TO_MEND, TO_KNOW, HOW_TO = "Mending list", "To know", "How to"
# Heading, width in characters. Those from "now" on are for the volunteer.
COLUMNS = (
    ("file", 15),
    ("sheet", 11),
    ("row", 6),
    ("cell", 7),
    ("record", 10),
    ("column", 14),
    ("typed", 16),
    ("what is odd, and what to do", 46),
    ("likely slip", 22),
    ("what it changes in the reports", 32),
    ("now", 16),
    ("who", 10),
    ("when", 11),
    ("why", 22),
)
_FIRST_OF_VOLUNTEER = 11
_NOTES = (("file", 20), ("sheet", 14), ("row", 7), ("column", 18), ("typed", 20), ("what", 70), ("what to do", 50))
HELP = (
    "First save this workbook as corrections.xlsx in the folder of your records: its links are ways from there.",
    "Each line of the mending list is one cell of your records. Click its cell to open the file there.",
    "Look at the paper record. Then write under 'now' what the cell should say, under 'who' your initials, under "
    "'when' the day, and under 'why' how you know.",
    "If the cell is right as it is, write the same again under 'now', and say why: the doubt is settled.",
    "If the cell should be empty, write (empty) under 'now'.",
    f"If the row should not be there at all, because it stands twice, write {DELETE} under 'now'. It stays in your "
    "file, and is set aside as taken out by you.",
    "Leave the other columns as they are: they say which cell is meant.",
    "Save, and run check again. Your files are not changed: the corrections are applied each time they are read, "
    "and check shows them.",
    "What you corrected before stands at the end of the list, so that nothing is lost when this list takes the place "
    "of an older one.",
    "Who corrected what, and why, is shown by check only: it is in no report.",
)
_INK, _EDGE = Font(name="Calibri", bold=True), Border(bottom=Side(style="thin", color="FF9AA59A"))
_HEAD, _YOURS = PatternFill("solid", fgColor="FFE4E7E4"), PatternFill("solid", fgColor="FFFFF8DC")
_TOP = Alignment(wrap_text=True, vertical="top")
_LINK = Font(name="Calibri", color="FF1F4E79", underline="single")


def write_mending_list(records: Records, path: Path, folder: Path, extra: Sequence[pd.DataFrame] = ()) -> Path:
    """Write the mending list of ``records``.

    Parameters
    ----------
    path : Path
        The workbook to write.
    folder : Path
        Where the files of the records lie; rows link to them by their way from there, as the list is to be saved there.
    extra : sequence of DataFrame
        Further sheets, each named by ``attrs["title"]``.
    """
    book = Workbook()
    sheet = book.active
    sheet.title = TO_MEND
    _headings(sheet, COLUMNS)
    links = _Links(folder, path.parent)
    for number, (texts, place) in enumerate(_lines(records), start=2):
        _line(sheet, number, texts, links.to(*place))
    _ready_to_print(sheet, len(COLUMNS))
    _notes(book.create_sheet(TO_KNOW), records)
    for frame in extra:
        _plain(book.create_sheet(str(frame.attrs["title"])[:31]), frame)
    _help(book.create_sheet(HOW_TO))
    return save(book, path)


def _lines(records: Records) -> Iterator[tuple[tuple[str, ...], tuple[str, str, str]]]:
    """Yield the texts of each line, and the file, sheet and cell it links to: what to mend, then what was mended."""
    cells = records.cells
    todo = cells[~cells["effect"].isin([NOTE, CORRECTED]) & cells["row"].notna() & (cells["table"] != "corrections")]
    todo = todo.fillna(dict.fromkeys(todo.columns.difference(["row", "animals"]), ""))
    # What is out only because of another line is mended there.
    follows = (todo["effect"] == SET_ASIDE) & (todo["animals"] == 0).fillna(False)
    todo = pd.concat([todo[~follows], todo[follows]])
    for one in each(todo.head(MOST)):
        odd = "\n".join(filter(None, (f"{one.effect}: {one.rule}", one.what_to_do)))
        mine = (one.file, one.sheet, str(one.row), one.cell, one.record, one.column, one.value, odd)
        yield (*mine, one.likely, one.changes, "", "", "", ""), (one.file, one.sheet, one.cell or f"A{one.row}")
    if len(todo) > MOST:
        rest = f"{count(len(todo) - MOST, 'more line')}: see findings.csv, or mend these first and run check again"
        yield (*[""] * 7, rest, *[""] * 6), ("", "", "")
    for done in each(records.corrections):
        place = (done.file, done.sheet, str(done.row or ""), done.cell, done.record, done.column, done.typed)
        yours = (done.now, done.who, done.when, done.why)
        state = f"not applied: {done.why_not}" if done.why_not else f"{done.state} before"
        read = f"read as {done.understood}" if done.understood else ""
        yield (*place, "\n".join(filter(None, (state, read))), "", "", *yours), (done.file, done.sheet, done.cell)


class _Links:
    """Ways to the cells of the records from the folder they are in: the list is saved there as corrections."""

    def __init__(self, folder: Path, out: Path):
        self.folder = folder
        # A way through the folder above serves both in the folder of the records and in one beside it.
        beside = out.resolve().parent == folder.resolve().parent
        self.before = f"../{quote(folder.resolve().name)}/" if beside and folder.resolve().name else ""

    def to(self, file: str, sheet: str, cell: str) -> tuple[str, str | None] | None:
        """Return the target and the place in it; None where there is no file to open or no way to it."""
        if not file or not (self.folder / file).is_file():
            return None
        name = sheet.replace("'", "''")
        return self.before + quote(file), f"'{name}'!{cell}" if sheet and cell else None


def _line(sheet: Worksheet, number: int, texts: tuple[str, ...], link: tuple[str, str | None] | None) -> None:
    for place, text in enumerate(texts, start=1):
        cell = sheet.cell(number, place)
        put_text(cell, text)
        cell.alignment, cell.border = _TOP, _EDGE
        if place >= _FIRST_OF_VOLUNTEER:
            cell.fill = _YOURS
    _high_enough(sheet, number, texts, COLUMNS)
    # A link on an empty cell would write its target there.
    if link is not None and (place := next((at for at in (4, 3, 1) if texts[at - 1]), 0)):
        _linked(sheet.cell(number, place), *link)


def _high_enough(sheet: Worksheet, number: int, texts: Sequence[str], columns: Sequence[tuple[str, int]]) -> None:
    """Give a row the height its wrapped texts need; not every program works it out by itself."""
    lines = 1
    for text, (_, width) in zip(texts, columns, strict=True):
        lines = max(lines, sum(max(1, math.ceil(len(part) * 1.15 / width)) for part in text.split("\n")))
    sheet.row_dimensions[number].height = 13.5 * lines + 2


def _linked(cell: Cell, target: str, location: str | None) -> None:
    cell.hyperlink = Hyperlink(ref=cell.coordinate, target=target, location=location, tooltip="Open the file here")
    cell.font = _LINK


def _headings(sheet: Worksheet, columns: Sequence[tuple[str, int]]) -> None:
    for place, (name, width) in enumerate(columns, start=1):
        cell = sheet.cell(1, place)
        put_text(cell, name)
        cell.font, cell.fill, cell.alignment = _INK, _HEAD, _TOP
        sheet.column_dimensions[get_column_letter(place)].width = width
    sheet.freeze_panes = "A2"


def _ready_to_print(sheet: Worksheet, width: int) -> None:
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.print_title_rows = "1:1"
    sheet.oddFooter.center.text = "&A, page &P of &N"
    sheet.auto_filter.ref = f"A1:{get_column_letter(width)}{max(sheet.max_row, 1)}"


def _notes(sheet: Worksheet, records: Records) -> None:
    _headings(sheet, _NOTES)
    cells = records.cells
    notes = cells[cells["effect"].isin([NOTE]) | cells["row"].isna() | (cells["table"] == "corrections")]
    notes = notes.fillna(dict.fromkeys(notes.columns.difference(["row", "animals"]), ""))
    for number, one in enumerate(each(notes.head(MOST)), start=2):
        row = "" if pd.isna(one.row) else str(one.row)
        texts = (one.file, one.sheet, row, one.column, one.value, one.rule, one.what_to_do)
        for place, text in enumerate(texts, start=1):
            put_text(sheet.cell(number, place), text)
            sheet.cell(number, place).alignment = _TOP
        _high_enough(sheet, number, texts, _NOTES)
    _ready_to_print(sheet, len(_NOTES))


def _plain(sheet: Worksheet, frame: pd.DataFrame) -> None:
    wide = frame.attrs.get("wide", ())
    columns = [(str(name), 44 if name in wide else 16) for name in frame.columns]
    _headings(sheet, columns)
    for number, row in enumerate(frame.head(MOST).itertuples(index=False, name=None), start=2):
        texts = ["" if pd.isna(value) else str(value) for value in row]
        for place, text in enumerate(texts, start=1):
            put_text(sheet.cell(number, place), text)
            sheet.cell(number, place).alignment = _TOP
        _high_enough(sheet, number, texts, columns)
    _ready_to_print(sheet, len(frame.columns))


def _help(sheet: Worksheet) -> None:
    sheet.column_dimensions["A"].width = 100
    for row, text in enumerate(HELP, start=1):
        put_text(sheet.cell(row, 1), text)
        sheet.cell(row, 1).alignment = _TOP
        _high_enough(sheet, row, (text,), (("", 100),))
    _ready_to_print(sheet, 1)
    sheet.auto_filter.ref = sheet.print_title_rows = None
