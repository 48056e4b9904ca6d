"""A column of text held once a distinct text: ten million cells rarely hold more than some thousand words."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

# One text dtype for pandas 2.3 and 3 alike: missing is NaN, comparisons give plain bool.
TEXT = pd.StringDtype("pyarrow", na_value=np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """A column of text.

    Attributes
    ----------
    places : ndarray of int, shape (rows,)
        Which word each row holds.
    words : ndarray of str, shape (distinct,)
        Distinct texts.
    """

    places: np.ndarray
    words: np.ndarray

    def rows_of(self, holds: Callable[[str], bool]) -> np.ndarray:
        """Return the rows whose text ``holds``, shape (rows,); each word is asked once."""
        return np.fromiter(map(holds, self.words), dtype=bool, count=len(self.words))[self.places]

    def take(self, rows: np.ndarray | slice) -> Words:
        """Return the rows at positions (or of a mask or slice) ``rows``."""
        return Words(self.places[rows], self.words)

    def series(self) -> pd.Series:
        """Return the column as categories, which hold text once."""
        kind = pd.CategoricalDtype(pd.Index(self.words, dtype=object))
        return pd.Series(pd.Categorical.from_codes(self.places, dtype=kind, validate=False))


def words_from(texts: Iterable[str]) -> Words:
    """Return Words of plain texts, one a row."""
    column = np.fromiter(texts, dtype=object)
    places, words = pd.factorize(column)
    return Words(places, words)


def words_of(text: pd.Series) -> Words:
    """Return the words that occur in ``text``, in order of appearance."""
    if not isinstance(text.dtype, pd.CategoricalDtype):
        return Words(*pd.factorize(text.to_numpy(dtype=object)))
    places, words = text.cat.codes.to_numpy(), text.cat.categories.to_numpy(dtype=object)
    occurs = np.zeros(len(words), dtype=bool)
    occurs[places] = True
    if occurs.all():
        return Words(places, words)
    return Words((np.cumsum(occurs) - 1)[places], words[occurs])


def coded(text: pd.Series) -> Words:
    """Return the distinct texts of an Arrow column in order of appearance; missing is the word None."""
    places, known = numbered(text)
    words = known.to_numpy(zero_copy_only=False)
    if (places < 0).any():
        return Words(
            np.where(places < 0, np.int64(len(words)), places), np.append(words, np.array([None], dtype=object))
        )
    return Words(places, words)


# Arrow data never changes, so what was numbered once need not be again while it lives. By identity: no column is held.
_NUMBERED: dict[int, tuple[weakref.ref[Any], np.ndarray, pa.Array]] = {}


def numbered(text: pd.Series) -> tuple[np.ndarray, pa.Array]:
    """Return the number of each row's text (-1 where missing) and the texts by number, some of which may not occur."""
    column = _arrow(text)
    held = _NUMBERED.get(id(column))
    if held is not None and held[0]() is column:
        return held[1], held[2]
    whole = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    known = whole.dictionary_encode()
    places = known.indices.fill_null(-1).to_numpy()
    _remember(column, places, known.dictionary)
    return places, known.dictionary


# As _NUMBERED: the numbers of one column's texts in another's, which many checks ask for in turn.
_MATCHED: dict[tuple[int, int], tuple[weakref.ref[Any], weakref.ref[Any], np.ndarray]] = {}


def matched(known: pa.Array, others: pa.Array) -> np.ndarray:
    """Return the position in ``others`` (distinct texts) of each of the texts ``known``; -1 where there is none."""
    key = (id(known), id(others))
    held = _MATCHED.get(key)
    if held is not None and held[0]() is known and held[1]() is others:
        return held[2]
    at = pc.index_in(known, value_set=others).fill_null(-1).to_numpy()

    def forget(_: Any) -> None:
        _MATCHED.pop(key, None)

    _MATCHED[key] = (weakref.ref(known, forget), weakref.ref(others, forget), at)
    return at


def numbered_still(before: pd.Series, after: pd.Series, rows: np.ndarray) -> None:
    """Let the numbers of ``before`` serve for ``after``, which holds its ``rows`` (a mask), where they are known."""
    column = _arrow(before)
    held = _NUMBERED.get(id(column))
    if held is not None and held[0]() is column:
        _remember(_arrow(after), held[1][rows], held[2])


def _arrow(text: pd.Series) -> Any:
    # pandas hands out a new wrapper of the same Arrow data each time; its own stays the same as long as the data.
    held = getattr(text.array, "_pa_array", None)
    return pa.array(text.array) if held is None else held


def _remember(column: Any, places: np.ndarray, known: pa.Array) -> None:
    key = id(column)
    _NUMBERED[key] = (weakref.ref(column, lambda _, key=key: _NUMBERED.pop(key, None)), places, known)  # type: ignore[misc]


def merged(places: np.ndarray, texts: Sequence[str]) -> Words:
    """Return Words of ``texts`` that may repeat."""
    to, words = pd.factorize(np.array(texts, dtype=object))
    return Words(places if len(words) == len(texts) else to[places], words)


def emptied(text: pd.Series, gone: Iterable[str]) -> pd.Series:
    """Return ``text`` with the words ``gone`` read as empty."""
    column, gone = words_of(text), set(gone)
    if not gone.intersection(column.words):
        return text
    return merged(column.places, ["" if word in gone else word for word in column.words]).series()


def from_arrow(column: pa.ChunkedArray | pa.Array) -> Any:
    """Return a pandas array of the text of an Arrow column, which it shares."""
    kind: Any = TEXT
    return kind.__from_arrow__(column)


def text_array(places: np.ndarray, words: Sequence[Any] | np.ndarray) -> Any:
    """Return a pandas array of text (None is missing) with ``words[places]``."""
    known = pa.array(words, type=pa.large_string(), from_pandas=True)
    return from_arrow(pa.chunked_array([known.take(pa.array(places))]))


def one_text(word: str | None, rows: int) -> Any:
    """Return a pandas array of text with ``word`` (None is missing) in every row; its blocks share one buffer."""
    size = 1 << 16
    block = pa.array([word], type=pa.large_string()).take(pa.array(np.zeros(min(rows, size), dtype="int32")))
    blocks = [block] * (rows // size) + [block.slice(0, rows % size)] if rows else [block]
    return from_arrow(pa.chunked_array(blocks))


def pair(first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the distinct pairs of two columns of places: which pair each row has, and the two places of each pair."""
    width = int(second.max(initial=0)) + 1
    places, keys = pd.factorize(first.astype("int64") * width + second)
    return places, keys // width, keys % width


def repeats(columns: Sequence[Words]) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows that hold the same words as an earlier one in every column, and that earlier row's position."""
    if not columns or not len(columns[0].places):
        return np.array([], dtype="int64"), np.array([], dtype="int64")
    key, size = np.zeros(len(columns[0].places), dtype="int64"), 1
    for column in sorted(columns, key=lambda c: len(c.words)):
        if size * max(len(column.words), 1) >= 2**62:
            key, known = pd.factorize(key)
            size = len(known)
        key = key * len(column.words) + column.places
        size *= max(len(column.words), 1)
    again = pd.Series(key).duplicated().to_numpy()
    rows = np.flatnonzero(again)
    if not len(rows):
        return rows, rows
    firsts = np.flatnonzero(~again & np.isin(key, np.unique(key[rows])))
    order = firsts[np.argsort(key[firsts], kind="stable")]
    return rows, order[np.searchsorted(key[order], key[rows])]
