"""Text files (CSV, TSV) and Parquet, read as text: nothing is inferred from what a cell looks like."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from mendcurve.errors import InputError
from mendcurve.records.accounting import count_text_records
from mendcurve.records.decoding import decoded, delimiter_of
from mendcurve.records.sheets import Grid, Sheet, sheet_from

SUFFIXES = (".csv", ".tsv", ".txt", ".parquet")


def read_text_file(path: Path, *, heading_row: int | None = None) -> Sheet:
    """Read a delimited text file as records under headings; notes and errors as ``read_text_grid``."""
    return read_text_grid(path).sheet(heading_row)


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
    raw = _bytes(path)
    text, notes = decoded(raw, path.name)
    if not text.strip():
        raise InputError(f"{path.name}: the file is empty.", remedy="Give it headings and rows, or take it away.")
    delimiter, text = delimiter_of(text)
    csv.field_size_limit(10_000_000)
    try:
        grid = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise InputError(
            f"{path.name}: the file cannot be read as a table ({error}).",
            remedy="Open it in a spreadsheet and save it as CSV again.",
        ) from error
    counted = count_text_records(text, delimiter)
    if counted != len(grid):
        raise InputError(
            f"{path.name}: read {len(grid)} rows, but counted {counted}.",
            remedy="A quotation mark is probably never closed. Open the file in a spreadsheet, look for "
            "a cell that holds many rows, and save it as CSV again.",
        )
    return Grid(file=path.name, name="", cells=grid, rows=range(1, len(grid) + 1), counted=counted, notes=tuple(notes))


def read_parquet(path: Path) -> Sheet:
    """Read a Parquet file; dates and numbers become the text that reads back as the same value."""
    try:
        table = pq.read_table(path)
    except (OSError, pa.ArrowInvalid) as error:
        raise InputError(
            f"{path.name}: this is not a Parquet file that can be read.",
            remedy="Write it again, or give the table as CSV.",
        ) from error
    columns = [_as_text(table.column(name)) for name in table.column_names]
    grid = [list(table.column_names), *map(list, zip(*columns, strict=True))]
    counted = pq.ParquetFile(path).metadata.num_rows + 1
    return sheet_from(grid, range(1, len(grid) + 1), file=path.name, name="", counted=counted, heading_row=1)


def _as_text(column: pa.ChunkedArray) -> list[str]:
    values = column.to_pylist()
    if pa.types.is_temporal(column.type):
        return [
            ""
            if v is None
            else v.isoformat(sep=" ").removesuffix(" 00:00:00")
            if hasattr(v, "hour") and hasattr(v, "year")
            else v.isoformat()
            for v in values
        ]
    if pa.types.is_floating(column.type):
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
