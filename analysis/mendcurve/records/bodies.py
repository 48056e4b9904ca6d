"""Raw rows below the headings, by column: which are blank, repeat the headings, add up, or repeat an earlier row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from mendcurve.records.folding import folded
from mendcurve.records.totals import adds_up
from mendcurve.records.words import Words, repeats, words_from


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """Raw rows by column.

    Attributes
    ----------
    columns : tuple of Words
        As many as the longest row has cells; "" where a row has no such cell.
    rows : ndarray of int, shape (rows,)
        Row numbers, as the spreadsheet shows them.
    """

    columns: tuple[Words, ...]
    rows: np.ndarray

    def filled(self) -> np.ndarray:
        """Return the rows in which any cell has text, shape (rows,)."""
        return self._any_text(0)

    def longer_than(self, width: int) -> np.ndarray:
        """Return the rows with text right of the first ``width`` cells, shape (rows,)."""
        return self._any_text(width)

    def _any_text(self, start: int) -> np.ndarray:
        out = np.zeros(len(self.rows), dtype=bool)
        for column in self.columns[start:]:
            if out.all():
                break
            out |= _has_text(column.words)[column.places]
        return out

    def like(self, heading: Sequence[str]) -> np.ndarray:
        """Return the rows that hold the words of ``heading`` again, shape (rows,)."""
        plain = [folded(cell) for cell in heading]
        plain += [""] * (len(self.columns) - len(plain))
        out = np.full(len(self.rows), len(plain) == len(self.columns))
        # The columns with the fewest words first: most often they settle it, and ids are never folded.
        for at in sorted(range(len(self.columns)), key=lambda i: len(self.columns[i].words)):
            if not out.any():
                break
            here = self.columns[at].take(out)
            known = {word: folded(word) == plain[at] for word in here.words[np.unique(here.places)]}
            out[out] = here.rows_of(lambda word, known=known: known.get(word, False))  # type: ignore[misc]
        return out

    def totals(self, filled: np.ndarray) -> np.ndarray:
        """Return the rows at the end that begin with a word for a total, shape (rows,)."""
        out = np.zeros(len(self.rows), dtype=bool)
        for place in np.flatnonzero(filled)[::-1]:
            if not adds_up([column.words[column.places[place]] for column in self.columns]):
                break
            out[place] = True
        return out

    def twins(self, width: int) -> np.ndarray:
        """Return, for a row that repeats an earlier one in the first ``width`` cells, its row number, else 0."""
        out = np.zeros(len(self.rows), dtype="int64")
        again, earlier = repeats(self.columns[:width])
        out[again] = self.rows[earlier]
        return out

    def take(self, rows: np.ndarray) -> Body:
        """Return the rows of the mask ``rows``."""
        return self if rows.all() else Body(tuple(column.take(rows) for column in self.columns), self.rows[rows])


def _has_text(words: np.ndarray) -> np.ndarray:
    texts = pa.array(words, type=pa.large_string())
    return pc.invert(pc.or_(pc.equal(pc.binary_length(texts), 0), pc.utf8_is_space(texts))).to_numpy(
        zero_copy_only=False
    )


def body_from(grid: Sequence[Sequence[str]], rows: Sequence[int], width: int) -> Body:
    """Return the Body of rows given as sequences of cells, at least ``width`` columns wide."""
    wide = max([width, *map(len, grid)])
    columns = (words_from(record[at] if at < len(record) else "" for record in grid) for at in range(wide))
    return Body(tuple(columns), np.array(rows, dtype="int64"))
