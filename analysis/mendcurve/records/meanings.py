"""Meanings that are taken without asking: told once a column, with how many cells they are taken in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from mendcurve.records.folding import folded
from mendcurve.records.parsing import TAKEN, Parsed
from mendcurve.records.schemas import TABLES
from mendcurve.records.sources import Source
from mendcurve.records.words import words_of

# Columns in which a word is put under a heading of ours, not only spelt otherwise: another rescue may put it elsewhere.
_KINDS = ("category", "restricted_to")
# Words shown of one column.
_SHOWN = 6
_WORDS = "Nothing, if that is what they mean; if not, say what they mean in the dictionary or in records.toml."


def meanings_taken(
    source: Source, texts: Mapping[str, pd.Series], parsed: Mapping[str, Parsed], sound: np.ndarray
) -> Iterator[tuple[str, str, str]]:
    """Yield column, what was taken in how many cells, and what to do: signs of numbers, and words read as codes.

    Notes
    -----
    Words are told of where they are put under a heading (kinds of spending), not where they say the same ("dead" for
    died), and not where the rescue has explained them. They are all of our own list: none is a person's detail.
    """
    for column in TABLES[source.table].columns:
        if column.name not in texts or column.name in source.constant:
            continue
        given = parsed[column.name]
        of_fault: dict[str, tuple[int, str]] = {}
        for fault, times in zip(
            given.faults, np.bincount(given.places[sound], minlength=len(given.faults)), strict=True
        ):
            if fault is not None and fault.effect == TAKEN and times:
                of_fault[fault.rule] = (of_fault.get(fault.rule, (0, ""))[0] + int(times), fault.what_to_do)
        for rule, (times, what_to_do) in of_fault.items():
            yield column.name, f"{_cells(times)} {rule}", what_to_do
        if column.name in _KINDS:
            words = _words(texts[column.name], given, sound, {folded(w) for w in source.codes.get(column.name, {})})
            if words:
                yield column.name, _said(words), _WORDS


def _words(text: pd.Series, given: Parsed, sound: np.ndarray, own: set[str]) -> dict[tuple[str, str], int]:
    """Return (word, code) -> cells, of words that are read as a code they do not spell; the most frequent first."""
    column = words_of(text)
    out: dict[tuple[str, str], int] = {}
    for place, times in enumerate(np.bincount(column.places[sound], minlength=len(column.words))):
        word = folded(column.words[place])
        if not word or not times or word in own:
            continue
        # by_unique keeps the order of the distinct texts.
        code, fault = given.distinct[place], given.faults[place]
        if fault is None and isinstance(code, str) and folded(code) != word:
            out[word, code] = out.get((word, code), 0) + int(times)
    return dict(sorted(out.items(), key=lambda item: (-item[1], item[0])))


def _said(words: Mapping[tuple[str, str], int]) -> str:
    shown = [f'"{word}" as "{code}" ({times:,})' for (word, code), times in list(words.items())[:_SHOWN]]
    more = f" and {len(words) - _SHOWN} more" if len(words) > _SHOWN else ""
    return f"{_cells(sum(words.values()))} a word that is read as one of ours: {', '.join(shown)}{more}"


def _cells(times: int) -> str:
    return f"{times:,} cell{'s hold' if times != 1 else ' holds'}"
