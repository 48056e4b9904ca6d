"""The file of corrections that a rescue keeps beside its records: its lines, and what a line must say."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records import reading, workbook
from mendcurve.records.dates import ORDERS, parse_dates
from mendcurve.records.folding import folded
from mendcurve.records.privacy import masked
from mendcurve.records.sheets import Sheet, named

FILES = ("corrections.xlsx", "corrections.csv")
# The columns of a line. In "now", EMPTY says that the cell should hold nothing, DELETE that the row should not be.
NEEDED = ("typed", "now", "who", "why")
PLACE = ("file", "sheet", "row", "column", "cell", "record")
COLUMNS = (*PLACE, *NEEDED, "when")
EMPTY = "(empty)"
DELETE = "(delete)"
# A text that a spreadsheet would have run as a formula was written with an apostrophe before it.
_KEPT_FROM_RUNNING = re.compile(r"^'(?=[=+\-@\t\r\n])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a file of corrections, every cell as text; ``at`` is its row there, ``source`` the file's name."""

    source: str
    at: int
    file: str
    sheet: str
    row: str
    column: str
    cell: str
    record: str
    typed: str
    now: str
    who: str
    when: str
    why: str

    @property
    def deletes(self) -> bool:
        """Whether the line says that its row should not be."""
        return folded(self.now) in (DELETE, DELETE.strip("()"))


def read_corrections(folder: Path) -> tuple[tuple[Line, ...], Path | None]:
    """Return the lines that somebody has filled in, and the file they stand in.

    Notes
    -----
    The mending list that ``check`` writes, filled in and saved under one of the names ``FILES``; or a table of the
    columns ``NEEDED`` and either ``cell`` or ``row`` and ``column``. ``file`` and ``sheet`` may be left out where there
    is only one.

    Raises
    ------
    InputError
        If there are two such files, one cannot be read, or it has not the columns it needs.
    """
    there = [folder / name for name in FILES if (folder / name).is_file()]
    if not there:
        return (), None
    if len(there) > 1:
        raise InputError(
            "Corrections are read from one file, but there are two.", [f.name for f in there], "Take one of them away."
        )
    sheet = _opened(there[0])
    headings = {name: named(list(sheet.cells.columns), name) for name in COLUMNS}
    blank = [""] * len(sheet.row)
    texts = {name: blank if h is None else sheet.cells[h].tolist() for name, h in headings.items()}
    rows = zip(*(texts[name] for name in COLUMNS), strict=True)
    lines = [
        Line(source=there[0].name, at=int(at), **{n: _cleaned(v) for n, v in zip(COLUMNS, values, strict=True)})
        for at, values in zip(sheet.row, rows, strict=True)
    ]
    return tuple(line for line in lines if line.now or line.who or line.why), there[0]


def _opened(path: Path) -> Sheet:
    sheets = []
    if path.suffix == ".csv":
        sheets = [reading.read_text_file(path)]
    else:
        book = workbook.Book(path)
        sheets = [book.read(name) for name in book.names]
    for sheet in sheets:
        present = list(sheet.cells.columns)
        if all(named(present, name) for name in NEEDED) and (
            named(present, "cell") or (named(present, "row") and named(present, "column"))
        ):
            return sheet
    raise InputError(
        f"{path.name} must have the columns {', '.join(NEEDED)}, and either cell, or row and column.",
        [f"headings: {', '.join(s.cells.columns)}" for s in sheets],
        "Fill in the mending list that check writes, and save it under this name.",
    )


def _cleaned(text: str) -> str:
    return _KEPT_FROM_RUNNING.sub("", str(text).strip())


def lacks(line: Line) -> str:
    """Return what a line lacks before it can be applied, in words; an empty text where it is whole."""
    lacking = [name for name in ("who", "why", "now") if not getattr(line, name)]
    if lacking:
        more = (
            f' To empty the cell write {EMPTY} under "now"; if it is right as it is, write it again; if the row should '
            f"not be there, write {DELETE}."
        )
        return f"a correction needs now, who and why; {' and '.join(lacking)} is missing." + more * ("now" in lacking)
    if line.when and not _is_a_day(line.when):
        return f'"{masked(line.when)[0]}" under "when" is no date; write the day like 2026-03-31'
    return ""


def _is_a_day(text: str) -> bool:
    """Whether ``text`` is a date in any order of day, month and year."""
    return any(parse_dates(pd.Series([text]), order).has_value.all() for order in ORDERS)
