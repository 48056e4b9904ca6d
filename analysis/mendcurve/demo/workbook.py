"""One workbook with a sheet a table, the same bytes every time."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from io import BytesIO
from pathlib import Path

import pandas as pd
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

from mendcurve.records.saving import timeless
from mendcurve.records.schemas import TABLES

WRITTEN = datetime(2026, 10, 31, 18, 0)
_PATTERNS = {
    "date": r"\d{4}-\d\d-\d\d",
    "datetime": r"\d{4}-\d\d-\d\d \d\d:\d\d",
    "count": r"\d+",
    "number": r"-?\d+(\.\d+)?",
    "money": r"-?\d+\.\d\d",
}
_FORMATS = {"date": "yyyy-mm-dd", "datetime": "yyyy-mm-dd hh:mm", "money": "0.00"}


def heading(name: str) -> str:
    """Return a column's name as a person would head it: "Intake date" for ``intake_date``."""
    return name.replace("_", " ").capitalize()


def write_workbook(path: Path, texts: Mapping[str, pd.DataFrame]) -> None:
    """Write one sheet a table; dates and numbers as a spreadsheet holds them, everything else as text."""
    book = Workbook(write_only=True)
    for name, frame in texts.items():
        sheet = book.create_sheet(heading(name))
        kinds = {c.name: c.kind for c in TABLES[name].columns}
        headings = [heading(c) for c in frame.columns]
        sheet.append(headings)
        for row in frame.itertuples(index=False, name=None):
            if row == tuple(frame.columns):
                sheet.append(headings)
                continue
            cells = zip(frame.columns, row, strict=True)
            sheet.append([_cell(sheet, text, kinds.get(c, "text")) for c, text in cells])
    book.properties.creator = "mendcurve demo"
    book.properties.created = WRITTEN
    buffer = BytesIO()
    book.save(buffer)
    path.write_bytes(timeless(buffer.getvalue(), WRITTEN))


def _cell(sheet: WriteOnlyWorksheet, text: str, kind: str) -> WriteOnlyCell | None:
    if text == "":
        return None
    if kind not in _PATTERNS or not re.fullmatch(_PATTERNS[kind], text):
        cell = WriteOnlyCell(sheet, text)
        cell.data_type = "s"  # "=1+1" stays the text it is
        return cell
    value = (
        datetime.fromisoformat(text)
        if kind in ("date", "datetime")
        else (int(text) if re.fullmatch(r"-?\d+", text) else float(text))
    )
    cell = WriteOnlyCell(sheet, value)
    if kind in _FORMATS:
        cell.number_format = _FORMATS[kind]
    return cell
