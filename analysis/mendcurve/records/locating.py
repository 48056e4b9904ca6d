"""Where a finding stands: the cell as a spreadsheet names it, and the text as it was typed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.records.findings import CORRECTED
from mendcurve.records.privacy import masked
from mendcurve.records.schemas import TABLES
from mendcurve.records.sheets import Sheet
from mendcurve.records.wide import column_of, plain_rows

_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)
# A note about one cell of a workbook names its column by letter, or the area it is merged in.
_LETTER = re.compile(r"([A-Z]{1,3})(?:\d+:[A-Z]{1,3}\d+)?")
# No spreadsheet shows a cell of these.
_NO_CELLS = (".parquet",)
LONGEST = 120


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A sheet, a table read from it, and under which heading each of the table's columns stands."""

    sheet: Sheet
    table: str
    headings: Mapping[str, str]


def located(lines: pd.DataFrame, parts: Iterable[Part]) -> pd.DataFrame:
    """Return ``lines`` (``findings.SAID``) with where they stand.

    Returns
    -------
    DataFrame
        Besides the columns of ``lines``: ``heading`` (as the person sees it; our column's name where there is none),
        ``cell`` ("B7", or "" where the finding is of no one cell) and ``record`` (the text of the row's own id, or of
        the stay's). ``value`` is the text as typed, people's details taken out, for every line of one cell.
    """
    out = lines.assign(heading=lines["column"], cell="", record="")
    for part in parts:
        mine = _of(out, part)
        if mine.any():
            _place(out, mine, part)
    letters = out["column"].str.fullmatch(_LETTER.pattern).fillna(False).astype(bool) & out["row"].notna()
    letters &= out["cell"] == ""
    if letters.any():
        letter = out.loc[letters, "column"].str.extract(_LETTER.pattern, expand=False)
        out.loc[letters, "cell"] = letter + plain_rows(out.loc[letters, "row"].astype("int64")).astype(str)
    return out


def _column_and_row(sheet: Sheet, heading: str, rows: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Return heading and row of cells; a record that was one cell of a wide sheet stands under that cell's heading."""
    headings = pd.Series(heading, index=rows.index, dtype=object)
    if heading not in sheet.letters and sheet.spread:
        at = column_of(rows)
        names = np.array(sheet.spread, dtype=object)[np.clip(at, 0, None)]
        headings = pd.Series(names, index=rows.index).where(at >= 0, heading)
    return headings, plain_rows(rows.astype("int64")).astype(str)


def texts(lines: pd.DataFrame, parts: Iterable[Part], column: str) -> pd.Series:
    """Return the text of our ``column`` in the row of each line, "" where its table has no such column or row."""
    out = pd.Series("", index=lines.index, dtype=object)
    for part in parts:
        heading = part.headings.get(column)
        mine = _of(lines, part) & lines["row"].notna()
        if heading is not None and mine.any():
            found, at = _positions(part.sheet, lines.loc[mine, "row"])
            out.loc[mine] = _read(part.sheet, heading, found, at)
    return out


def record_column(table: str) -> str:
    """Return the column by which a person knows a row of ``table``: its own id, else the first id in it, else ""."""
    known = TABLES.get(table)
    if known is None:
        return ""
    return known.key[0] if known.key else next((c.name for c in known.columns if c.kind == "id" and c.required), "")


def _of(lines: pd.DataFrame, part: Part) -> pd.Series:
    sheet = part.sheet
    mine = (lines["file"] == sheet.file) & (lines["sheet"] == sheet.sheet) & (lines["table"] == part.table)
    return mine.astype(bool)


def _positions(sheet: Sheet, rows: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Return which of ``rows`` the sheet has, and where."""
    numbers = pd.Index(sheet.row)
    if numbers.has_duplicates:  # a row that held several weighings
        first = ~numbers.duplicated()
        at = np.flatnonzero(first)[numbers[first].get_indexer(rows.astype("int64"))]
        return np.asarray(rows.isin(numbers), dtype=bool), at
    at = numbers.get_indexer(rows.astype("int64"))
    return at >= 0, at


def _read(sheet: Sheet, heading: str, found: np.ndarray, at: np.ndarray) -> np.ndarray:
    if heading not in sheet.cells.columns:
        return np.full(len(at), "", dtype=object)
    if not len(sheet.row):
        return np.full(len(at), "", dtype=object)
    return np.where(found, sheet.cells[heading].iloc[np.where(found, at, 0)].to_numpy(dtype=object), "")


def _place(out: pd.DataFrame, mine: pd.Series, part: Part) -> None:
    """Fill in heading, cell, value and record of the lines of one part, in place."""
    sheet = part.sheet
    of_row = mine & out["row"].notna()
    found, at = _positions(sheet, out.loc[of_row, "row"])
    own = part.headings.get(record_column(part.table))
    if own is not None:
        out.loc[of_row, "record"] = as_shown(_read(sheet, own, found, at))
    for column in out.loc[mine, "column"].unique():
        # A finding about a heading, not about a column of ours, names the heading.
        heading = part.headings.get(column, column)
        if heading not in sheet.letters and column not in part.headings:
            continue
        here = mine & (out["column"] == column)
        out.loc[here, "heading"] = heading
        in_row = here & of_row
        if not in_row.any():
            continue
        rows = out.loc[in_row, "row"].astype("int64")
        found, at = _positions(sheet, rows)
        # Of a corrected cell the finding shows what stood there.
        typed = found & (out.loc[in_row, "effect"] != CORRECTED).to_numpy(dtype=bool)
        out.loc[in_row, "value"] = np.where(typed, as_shown(_read(sheet, heading, found, at)), out.loc[in_row, "value"])
        headings, numbers = _column_and_row(sheet, heading, rows)
        out.loc[in_row, "heading"] = headings
        letters = headings.map(sheet.letters).fillna("")
        known = (letters != "") & (not sheet.file.lower().endswith(_NO_CELLS))
        out.loc[in_row, "cell"] = (letters + numbers).where(known, "")


def as_shown(words: np.ndarray | pd.Series) -> np.ndarray:
    """Return texts as findings may show them: people's details taken out, on one line, not long."""
    places, unique = pd.factorize(np.asarray(words, dtype=object))
    clean = np.array([shown(word) for word in unique], dtype=object)
    return clean[places] if len(unique) else np.asarray(words, dtype=object)


def shown(word: str) -> str:
    """Return one text as findings may show it."""
    return " ".join(masked(str(word))[0].split())[:LONGEST]
