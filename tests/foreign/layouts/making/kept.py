"""The sheets a layout writes, the faults planted in them, and the truth beside them."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from world import Plan, Stay

Cell = Any


@dataclass(slots=True, eq=False)
class Row:
    """A line of a sheet. ``what`` is data, or heading, blank, total or remark for lines that are none."""

    cells: dict[str, Cell]
    stay: str = ""
    what: str = "data"


@dataclass(slots=True, eq=False)
class Sheet:
    """One table as it stands in a file: its headings are in ``heading_row`` from column ``left`` (1 = A)."""

    file: str
    sheet: str
    columns: list[str]
    rows: list[Row] = field(default_factory=list)
    heading_row: int = 1
    left: int = 1
    tables: str = ""
    show: Callable[[str, Cell], str] | None = None

    def row_of(self, row: Row) -> int:
        """Spreadsheet row of a line, counted as the spreadsheet shows it."""
        return self.heading_row + 1 + next(i for i, other in enumerate(self.rows) if other is row)


@dataclass(slots=True, eq=False)
class Fault:
    """Something typed wrongly: where, what was typed, what is true."""

    sheet: Sheet
    row: Row
    column: str
    kind: str
    truth: Cell
    seen: str


@dataclass(slots=True, kw_only=True)
class Layout:
    """Everything one folder needs: the true stays, the sheets, the faults, the truth and how words map."""

    name: str
    rescue: str
    language: str
    currency: str
    date_order: str
    weight_unit: str
    plan: Plan
    stays: list[Stay]
    stay_id_kept: bool = True
    notes: list[str] = field(default_factory=list)
    sheets: list[Sheet] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    truth: dict[str, pd.DataFrame] = field(default_factory=dict)
    headings: list[tuple[str, str, str, str, str]] = field(default_factory=list)
    words: list[tuple[str, str, str, str]] = field(default_factory=list)

    def heads(self, sheet: Sheet, table: str, **theirs: str) -> None:
        """Say which heading of a sheet is which of our columns."""
        self.headings += [(sheet.file, sheet.sheet, table, ours, said) for ours, said in theirs.items()]

    def says(self, table: str, column: str, words: Mapping[str, Sequence[str]]) -> None:
        """Say which of the rescue's words is which of ours."""
        self.words += [(table, column, said, ours) for ours, many in words.items() for said in many]


def as_text(value: Cell) -> str:
    """A cell as a person would read it in a list of faults: dates in ISO, nothing as nothing."""
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, date) else str(value)


def write_text(sheet: Sheet, path: Path, *, encoding: str, sep: str, show: Callable[[str, Cell], str]) -> None:
    """Write a sheet as delimited text with CRLF line ends, each cell as ``show(heading, value)`` says."""
    sheet.show = show
    with path.open("w", encoding=encoding, newline="") as stream:
        writer = csv.writer(stream, delimiter=sep, lineterminator="\r\n")
        writer.writerow(sheet.columns)
        for row in sheet.rows:
            writer.writerow([show(column, row.cells.get(column)) for column in sheet.columns])


class Planter:
    """Plants faults, each in a row that has none yet."""

    def __init__(self, layout: Layout, seed: int) -> None:
        self.layout = layout
        self.rng = np.random.default_rng(seed)
        self.used: set[int] = set()

    def choose(self, sheet: Sheet, fits: Callable[[Row], bool]) -> Row:
        """A data row without a fault for which ``fits`` holds; an error if there is none."""
        rows = [row for row in sheet.rows if row.what == "data" and id(row) not in self.used and fits(row)]
        if not rows:
            raise LookupError(f"no row left to damage in {sheet.file} {sheet.sheet}")
        row = rows[int(self.rng.integers(len(rows)))]
        self.used.add(id(row))
        return row

    def mark(self, sheet: Sheet, row: Row, column: str, kind: str, truth: Cell, seen: str = "yes") -> None:
        """Write a fault down. ``seen``: can a careful reader tell from the files (yes, maybe, no)."""
        self.used.add(id(row))
        self.layout.faults.append(Fault(sheet, row, column, kind, truth, seen))

    def change(
        self,
        sheet: Sheet,
        column: str,
        kind: str,
        new: Callable[[Row], Cell],
        fits: Callable[[Row], bool] = lambda row: True,
        seen: str = "yes",
    ) -> Row:
        """Type ``new(row)`` over a cell that is not empty."""
        row = self.choose(sheet, lambda r: r.cells.get(column) not in (None, "") and fits(r))
        truth = row.cells[column]
        row.cells[column] = new(row)
        self.mark(sheet, row, column, kind, truth, seen)
        return row

    def swap(
        self, sheet: Sheet, column: str, fits: Callable[[Row, date], bool] = lambda r, d: True, seen: str = "yes"
    ) -> Row:
        """Swap day and month of a date, where the swapped date satisfies ``fits(row, swapped)``."""

        def can(row: Row) -> bool:
            when = row.cells[column]
            return isinstance(when, date) and when.day <= 12 and when.day != when.month and fits(row, swapped(when))

        return self.change(sheet, column, "swapped_day_month", lambda r: swapped(r.cells[column]), can, seen)

    def slip(self, sheet: Sheet, column: str, years: int, fits: Callable[[Row], bool] = lambda row: True) -> Row:
        """Put a date into a wrong year."""

        def can(row: Row) -> bool:
            when = row.cells[column]
            return isinstance(when, date) and (when.month, when.day) != (2, 29) and fits(row)

        return self.change(
            sheet, column, "slipped_year", lambda r: r.cells[column].replace(year=r.cells[column].year + years), can
        )

    def twice(
        self, sheet: Sheet, apart: int, fits: Callable[[Row], bool] = lambda row: True, **differs: Cell
    ) -> tuple[Row, Row]:
        """Enter a row a second time, ``apart`` lines further down, exactly or with some cells different."""
        row = self.choose(sheet, fits)
        again = Row({**row.cells, **differs}, row.stay)
        place = min(sheet.rows.index(row) + apart, len(sheet.rows))
        sheet.rows.insert(place, again)
        self.mark(sheet, again, "", "near_duplicate_row" if differs else "duplicate_row", "not a row of its own")
        return row, again


def swapped(when: date) -> date:
    """The date with day and month exchanged (both must be 12 or less)."""
    return date(when.year, when.day, when.month)


def columns_of(rows: Iterable[Mapping[str, Cell]], columns: Sequence[str]) -> pd.DataFrame:
    """A frame of text from rows of cells: dates ISO, whole numbers without a point, nothing empty."""

    def shown(value: Cell) -> str:
        if isinstance(value, float):
            return f"{value:.2f}".rstrip("0").rstrip(".")
        return as_text(value)

    return pd.DataFrame([[shown(row.get(c)) for c in columns] for row in rows], columns=list(columns), dtype="str")
