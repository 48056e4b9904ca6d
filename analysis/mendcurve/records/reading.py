"""Text files (CSV, TSV) and Parquet, read as text: nothing is inferred from what a cell looks like."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from mendcurve.errors import InputError
from mendcurve.records.accounting import count_records, count_text_records
from mendcurve.records.bodies import Body
from mendcurve.records.decoding import decoded, delimiter_of
from mendcurve.records.delimited import LONGEST_CELL, parts_of, read_columns
from mendcurve.records.sheets import Grid, Note, Sheet, has_text, heading_at, several_cells, sheet_below
from mendcurve.records.words import Words, merged, words_from

SUFFIXES = (".csv", ".tsv", ".txt", ".parquet")


def read_text_file(path: Path, *, heading_row: int | None = None) -> Sheet:
    """Read a delimited text file as records under headings; notes and errors as ``read_text_grid``."""
    text, delimiter, notes = _plain(path)

    def find(records: Sequence[Sequence[str]], rows: Sequence[int]) -> int | None:
        if heading_row is not None:
            shown = heading_row in rows and any(has_text(record) for record in records)
        else:
            shown = any(several_cells(record) for record in records)
        return heading_at(records, rows, heading_row, path.name) if shown else None

    below = read_columns(text, delimiter, find, heading_row or 0)
    counted = None if below is None else _agreed(text, delimiter, below.records)
    if below is None or counted is None:
        return _grid(path.name, text, delimiter, notes).sheet(heading_row)
    above = [has_text(record) for record in below.head[:-1]]
    return sheet_below(below.head[-1], below.body, file=path.name, name="", counted=counted, above=above, notes=notes)


def read_text_grid(path: Path) -> Grid:
    """Read the raw rows of a delimited text file.

    Notes
    -----
    Encoding and delimiter: see ``decoding``. Row numbers count records, blank ones too, from 1: what a spreadsheet
    shows when it opens the file.

    Raises
    ------
    InputError
        If the file cannot be opened, is not text, is empty, or holds a quotation mark that is never closed.
    """
    text, delimiter, notes = _plain(path)
    return _grid(path.name, text, delimiter, notes)


def _plain(path: Path) -> tuple[str, str, list[Note]]:
    """Return the text with line feeds as line ends, its delimiter, and what there is to say of it."""
    text, notes = decoded(_bytes(path), path.name)
    if not text or text.isspace():
        raise InputError(f"{path.name}: the file is empty.", remedy="Give it headings and rows, or take it away.")
    delimiter, text = delimiter_of(text)
    return text, delimiter, notes


def _agreed(text: str, delimiter: str, read: int) -> int | None:
    """Return the records counted by a dumb counter if that is how many were read, else None."""
    counted = count_records(text)
    if counted is None or counted != read:
        # Quotation marks inside cells mislead the quick counter; this one looks where each stands.
        counted = count_text_records(text, delimiter)
    return counted if counted == read else None


def _grid(name: str, text: str, delimiter: str, notes: Sequence[Note]) -> Grid:
    csv.field_size_limit(LONGEST_CELL)
    try:
        grid = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise InputError(
            f"{name}: the file cannot be read as a table ({error}).",
            remedy="Open it in a spreadsheet and save it as CSV again.",
        ) from error
    counted = count_text_records(text, delimiter)
    if counted != len(grid):
        raise InputError(
            f"{name}: read {len(grid)} rows, but counted {counted}.",
            remedy="A quotation mark is probably never closed. Open the file in a spreadsheet, look for "
            "a cell that holds many rows, and save it as CSV again.",
        )
    return Grid(file=name, name="", cells=grid, rows=range(1, len(grid) + 1), counted=counted, notes=tuple(notes))


def read_parquet(path: Path) -> Sheet:
    """Read a Parquet file; dates and numbers become the text that reads back as the same value."""
    try:
        texts = [field.name for field in pq.read_schema(path) if pa.types.is_string(field.type)]
        table = pq.read_table(path, read_dictionary=texts)
    except (OSError, pa.ArrowInvalid) as error:
        raise InputError(
            f"{path.name}: this is not a Parquet file that can be read.",
            remedy="Write it again, or give the table as CSV.",
        ) from error
    columns = tuple(_words(column) for column in table.columns)
    rows = np.arange(2, table.num_rows + 2, dtype="int64")
    counted = pq.ParquetFile(path).metadata.num_rows + 1
    return sheet_below(table.column_names, Body(columns, rows), file=path.name, name="", counted=counted)


def _words(column: pa.ChunkedArray) -> Words:
    if pa.types.is_nested(column.type):
        return words_from(_as_text(column.to_pylist(), column.type))
    known = column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
    places, words = parts_of(known)
    return merged(places.fill_null(len(words)).to_numpy(), [*_as_text(words.to_pylist(), words.type), ""])


def _as_text(values: list[Any], kind: pa.DataType) -> list[str]:
    if pa.types.is_temporal(kind):
        return [
            ""
            if v is None
            else v.isoformat(sep=" ").removesuffix(" 00:00:00")
            if hasattr(v, "hour") and hasattr(v, "year")
            else v.isoformat()
            for v in values
        ]
    if pa.types.is_floating(kind):
        return ["" if v is None or v != v else f"{v:.15g}" for v in values]
    return ["" if v is None else str(v) for v in values]


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"{path.name}: the file cannot be opened ({error.strerror}).",
            remedy="Close it in other programs, and check that it is there and may be read.",
        ) from error
