"""An empty workbook to keep records in: a sheet a table, drop-down lists, meanings, and one worked row of each."""

from __future__ import annotations

from pathlib import Path

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from mendcurve.errors import InputError
from mendcurve.records.schemas import TABLES, Column, Table

# Rows of a sheet that have drop-down lists and date formats ready.
ROWS = 2000
_KIND_WORDS = {
    "id": "text",
    "text": "text",
    "code": "one of the list",
    "date": "date, such as 2026-03-31",
    "datetime": "date and time, such as 2026-03-31 08:30",
    "count": "whole number",
    "number": "number",
    "yes_no": "yes or no",
    "money": "amount",
    "list": "any of the list, separated by ;",
}
_NEEDED = PatternFill("solid", fgColor="FFE0E7E0")
_OTHER = PatternFill("solid", fgColor="FFF2F2F2")

# One invented animal's way through the tables; on the sheet "How to", so that an untouched template reads as empty.
WORKED: dict[str, dict[str, object]] = {
    "intakes": {
        "stay_id": "S-0001",
        "animal_id": "A-0001",
        "species": "bearded dragon",
        "sex": "female",
        "life_stage": "adult",
        "intake_date": "2026-03-02",
        "intake_type": "surrendered",
        "group_size": 1,
        "housing_kind": "arid",
        "story_ok": "yes",
    },
    "outcomes": {"stay_id": "S-0001", "outcome_date": "2026-06-20", "outcome_type": "adopted"},
    "conditions": {
        "episode_id": "E-0001",
        "stay_id": "S-0001",
        "condition": "stuck shed",
        "severity": "mild",
        "primary": "yes",
        "found_on": "2026-03-02",
        "vet_seen_on": "2026-03-05",
        "ended_on": "2026-04-11",
        "ended_as": "cleared",
    },
    "checks": {"episode_id": "E-0001", "checked_on": "2026-03-20", "result": "still ill"},
    "courses": {
        "course_id": "C-0001",
        "episode_id": "E-0001",
        "kind": "procedure",
        "interval_hours": 24,
        "doses_planned": 10,
        "first_dose_at": "2026-03-05 18:00",
    },
    "doses": {"course_id": "C-0001", "given_at": "2026-03-05 18:10", "result": "given"},
    "weighings": {"stay_id": "S-0001", "weighed_on": "2026-03-02", "weight": 285, "unit": "g", "circumstance": "shed"},
    "targets": {"stay_id": "S-0001", "target_g": 340, "set_on": "2026-03-05", "weigh_every_days": 7},
    "periods": {"stay_id": "S-0001", "what": "ready for a home", "from_date": "2026-05-30", "to_date": "2026-06-20"},
    "moves": {"stay_id": "S-0001", "moved_on": "2026-03-02", "zone": "quarantine", "room": "room 1"},
    "housing": {
        "zone": "quarantine",
        "housing_kind": "arid",
        "room": "room 1",
        "rule": "open",
        "places": 12,
        "from_date": "2026-01-01",
    },
    "requests": {
        "asked_on": "2026-02-27",
        "species": "bearded dragon",
        "animals": 1,
        "answer": "taken in",
        "answered_on": "2026-03-01",
    },
    "followups": {"stay_id": "S-0001", "seen_on": "2026-07-20", "status": "well"},
    "spending": {
        "spent_on": "2026-03-05",
        "amount": "62.50",
        "category": "medical",
        "episode_id": "E-0001",
        "grant_id": "G-1",
    },
    "grants": {
        "grant_id": "G-1",
        "funder": "An invented fund",
        "amount": "4000.00",
        "awarded_on": "2025-12-10",
        "starts_on": "2026-01-01",
        "ends_on": "2026-12-31",
        "restricted_to": "medical",
    },
    "receipts": {"grant_id": "G-1", "received_on": "2026-01-15", "amount": "2000.00"},
}
HOW_TO = (
    "Keep one line an event, on the sheet of its kind. Only 'intakes' must be filled in; columns in green are needed "
    "in a line, the others may stay empty.",
    "A stay is one animal (or one group kept together) from one intake to its outcome. A returned animal gets a new "
    "stay_id and keeps its animal_id.",
    "Leave a cell empty when something is not known. Do not write n/a, ?, or a date that only stands for 'unknown'.",
    "Write no names, telephone numbers or addresses of people anywhere in this workbook.",
    "Below: one invented animal, as it would stand on each sheet.",
)


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
    book.save(path)
    return path


def _guide(sheet: Worksheet) -> None:
    sheet.column_dimensions["A"].width = 24
    for row, line in enumerate(HOW_TO, start=1):
        sheet.cell(row, 1, line)
    row = len(HOW_TO) + 2
    for table in TABLES.values():
        sheet.cell(row, 1, table.name).font = Font(bold=True)
        for place, column in enumerate(table.columns, start=2):
            sheet.cell(row, place, column.name).font = Font(bold=True)
            sheet.cell(row + 1, place, WORKED[table.name].get(column.name))
        row += 3


def _meanings(sheet: Worksheet) -> None:
    headings = ("sheet", "column", "needed", "what to write", "unit", "words", "meaning")
    for place, (text, width) in enumerate(zip(headings, (14, 24, 9, 30, 12, 50, 70), strict=True), start=1):
        sheet.cell(1, place, text).font = Font(bold=True)
        sheet.column_dimensions[get_column_letter(place)].width = width
    lines = [
        (t.name, c.name, "yes" if c.required else "", _KIND_WORDS[c.kind], c.unit, ", ".join(c.codes), c.meaning)
        for t in TABLES.values()
        for c in t.columns
    ]
    for row, line in enumerate(lines, start=2):
        for place, text in enumerate(line, start=1):
            sheet.cell(row, place, text).alignment = Alignment(wrap_text=True, vertical="top")
    sheet.freeze_panes = "A2"


def _table(sheet: Worksheet, table: Table) -> None:
    sheet.freeze_panes = "A2"
    for place, column in enumerate(table.columns, start=1):
        cell = sheet.cell(1, place, column.name)
        cell.font = Font(bold=True)
        cell.fill = _NEEDED if column.required else _OTHER
        unit = f" Unit: {column.unit}." if column.unit else ""
        note = Comment(f"{column.meaning} ({_KIND_WORDS[column.kind]}){unit}", "Mendcurve")
        note.width, note.height = 320, 90
        cell.comment = note
        letter = get_column_letter(place)
        sheet.column_dimensions[letter].width = max(12, len(column.name) + 3)
        _ready(sheet, column, letter)


def _ready(sheet: Worksheet, column: Column, letter: str) -> None:
    """Add the drop-down list, and the format of the column: ids stay text, dates show as ISO."""
    words = column.codes if column.kind == "code" else ("yes", "no") if column.kind == "yes_no" else ()
    if words:
        rule = DataValidation(
            type="list",
            formula1=f'"{",".join(words)}"',
            allow_blank=True,
            showErrorMessage=True,
            errorTitle=column.name,
            error=f"Choose one of: {', '.join(words)}",
        )
        rule.add(f"{letter}2:{letter}{ROWS}")
        sheet.add_data_validation(rule)
    shown = {"id": "@", "date": "yyyy-mm-dd", "datetime": "yyyy-mm-dd hh:mm"}.get(column.kind)
    if shown:
        sheet.column_dimensions[letter].number_format = shown
