"""Delimited text read by columns: each distinct text of a column is held once, whatever the number of rows."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.csv as arrow_csv

from mendcurve.records.bodies import Body
from mendcurve.records.words import Words, merged

# Records looked at for the headings, and for how many cells a row has.
_HEAD = 200
_BLOCK = 1 << 24
# A row put after the last: a quotation mark that is never closed swallows it.
_LAST = "\x1eend"
LONGEST_CELL = 10_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Below:
    """Delimited text: its first records up to the headings, and the rows below them by column."""

    head: list[list[str]]
    body: Body

    @property
    def records(self) -> int:
        """How many records there are."""
        return len(self.head) + len(self.body.rows)


def read_columns(
    text: str, delimiter: str, find: Callable[[Sequence[Sequence[str]], Sequence[int]], int | None], most: int
) -> Below | None:
    """Read text as columns.

    Parameters
    ----------
    text : str
        Lines end with a line feed.
    find : callable of (records, row numbers)
        Position of the headings among the first records, or None where these do not show it.
    most : int
        Records ``find`` needs to see at least.

    Returns
    -------
    Below, or None where the text must be read row by row: no heading among the first records, nothing below it, a
    record that is longer than a block, or a quotation mark that is never closed.
    """
    head, ends = _head(text, delimiter, max(_HEAD, most))
    at = find(head, range(1, len(head) + 1))
    if at is None or ends[at] == len(text):
        return None
    lengths = Counter(len(record) for record in head[at + 1 :] if record)
    width = lengths.most_common(1)[0][0] if lengths else max(len(head[at]), 1)
    odd: list[tuple[int, str]] = []
    end = "" if text.endswith("\n") else "\n"
    data = f"{text[ends[at] :]}{end}{_LAST}{delimiter * (width - 1)}\n".encode()
    try:
        columns = _regular(data, delimiter, width, odd)
    except pa.ArrowInvalid:
        return None
    if not len(columns[0].words) or columns[0].words[-1] != _LAST:
        return None
    columns = (Words(columns[0].places[:-1], columns[0].words[:-1]), *(c.take(slice(-1)) for c in columns[1:]))
    regular = len(columns[0].places)
    total = regular + len(odd)
    rows = np.arange(at + 2, at + 2 + total, dtype="int64")
    # A spreadsheet leaves out empty cells at the end of a row, even of every row below the headings.
    empty = Words(np.zeros(regular, dtype="int32"), np.array([""], dtype=object))
    columns += (empty,) * (len(head[at]) - len(columns))
    if not odd:
        return Below(head[: at + 1], Body(columns, rows))
    records = [next(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), []) for _, text in odd]
    places = np.array([number - 1 for number, _ in odd], dtype="int64")
    return Below(head[: at + 1], Body(_with_odd(columns, regular, places, records), rows))


def _head(text: str, delimiter: str, most: int) -> tuple[list[list[str]], list[int]]:
    """Return the first records, and where in ``text`` each ends."""
    taken = [0]

    def lines() -> Iterator[str]:
        while taken[0] < len(text):
            stop = text.find("\n", taken[0]) + 1 or len(text)
            line = text[taken[0] : stop]
            taken[0] = stop
            yield line

    records, ends = [], []
    for record in csv.reader(lines(), delimiter=delimiter):
        records.append(record)
        ends.append(taken[0])
        if len(records) == most:
            break
    return records, ends


def _regular(data: bytes, delimiter: str, width: int, odd: list[tuple[int, str]]) -> tuple[Words, ...]:
    """Return the columns of the rows of ``width`` cells (and of blank rows); put the others into ``odd``."""

    def other(row: arrow_csv.InvalidRow) -> str:
        odd.append((row.number, row.text))
        return "skip"

    names = [str(at) for at in range(width)]
    table = arrow_csv.read_csv(
        pa.BufferReader(data),
        # By one thread: several do not tell the number of a row that has too many or too few cells.
        read_options=arrow_csv.ReadOptions(use_threads=False, column_names=names, block_size=_BLOCK),
        parse_options=arrow_csv.ParseOptions(
            delimiter=delimiter,
            quote_char='"' if b'"' in data else False,
            newlines_in_values=b'"' in data,
            ignore_empty_lines=False,
            invalid_row_handler=other,
        ),
        convert_options=arrow_csv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.dictionary(pa.int32(), pa.string())),
            strings_can_be_null=False,
            check_utf8=False,
        ),
    )
    parts = (parts_of(table.column(name)) for name in names)
    return tuple(Words(places.to_numpy(), words.to_numpy(zero_copy_only=False)) for places, words in parts)


def parts_of(column: pa.ChunkedArray) -> tuple[pa.Array, pa.Array]:
    """Return the indices and the dictionary of a dictionary-encoded column, of all its blocks as one."""
    whole = column.unify_dictionaries().combine_chunks()
    whole = whole if isinstance(whole, pa.Array) else pa.concat_arrays(whole.chunks or [pa.array([], whole.type)])
    return whole.indices, whole.dictionary


def _with_odd(
    columns: tuple[Words, ...], regular: int, places: np.ndarray, records: list[list[str]]
) -> tuple[Words, ...]:
    """Return the columns with ``records`` of other lengths at their ``places`` among all rows."""
    here = np.zeros(regular + len(places), dtype=bool)
    here[places] = True
    out = []
    for at in range(max(len(columns), *map(len, records))):
        cells = [record[at] if at < len(record) else "" for record in records]
        words, known = (
            (columns[at].words, columns[at].places) if at < len(columns) else (np.array([""], dtype=object), 0)
        )
        number = np.empty(len(here), dtype="int64")
        number[~here] = known
        number[here] = len(words) + np.arange(len(cells))
        out.append(merged(number, [*words, *cells]))
    return tuple(out)
