"""Words that are nearly another word: a rare label beside a common one is doubted, never merged."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd
from rapidfuzz import process
from rapidfuzz.distance import OSA

from mendcurve.records.findings import DOUBTFUL, Ledger
from mendcurve.records.folding import folded

# A word is doubted beside one written at least this many times, and this many times as often.
COMMON = 4
TIMES = 4
# Letters that may be wrong: one in a short word, two in a long one; a word shorter than SHORT is never doubted.
SHORT, LONG = 4, 8
# Opposites that differ in two letters.
_OPPOSITE = (("hypo", "hyper"), ("hyper", "hypo"))
_ROWS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Near:
    """A rare word, the common one it is near, and how often each is written."""

    word: str
    common: str
    times: int
    common_times: int


def near_words(counts: Mapping[str, int], declared: Iterable[str] = ()) -> list[Near]:
    """Return the words that are probably a misspelling of a commoner one.

    Parameters
    ----------
    counts : mapping of word -> times written
    declared : iterable of str
        Words the rescue has declared itself (settings, dictionary): never doubted; one that is written nowhere is what
        a word near it was meant to be.

    Notes
    -----
    Words differ by one letter changed, left out, added or swapped with the next (two from 8 letters on). Words that
    differ in a digit or in a part of one letter ("room 1", "medicine A"), and opposites in hypo- and hyper-, are
    different words. Common practice, no source.
    """
    sure = {folded(word): word for word in declared}
    common = {folded(word): word for word, n in counts.items() if n >= COMMON or folded(word) in sure}
    common = {**sure, **common}
    plain = list(common)
    out = []
    for word, times in sorted(counts.items()):
        rare = folded(word)
        if rare in sure or len(rare) < SHORT:
            continue
        close = process.extract(rare, plain, scorer=OSA.distance, score_cutoff=2, limit=None)
        fits = [
            (distance, -counts.get(common[c], 0), common[c])
            for c, distance, _ in close
            if _outweighs(counts.get(common[c], 0), times, c in sure) and _near(rare, c)
        ]
        if fits:
            best = min(fits)[2]
            out.append(Near(word, best, times, counts.get(best, 0)))
    return out


def _outweighs(common: int, rare: int, declared: bool) -> bool:
    # A word the rescue declared and never wrote was probably written wrong every time.
    return (declared and not common) or common >= (TIMES * rare if declared else max(COMMON, TIMES * rare))


def _near(word: str, common: str) -> bool:
    allowed = 2 if min(len(word), len(common)) >= LONG else 1
    if not 0 < OSA.distance(word, common, score_cutoff=allowed) <= allowed:
        return False
    if re.findall(r"\d+", word) != re.findall(r"\d+", common):
        return False
    if any(word.startswith(a) and common.startswith(b) for a, b in _OPPOSITE):
        return False
    one, other = word.split(), common.split()
    if len(one) != len(other):  # a space left out or put in
        return "".join(one) == "".join(other) or len(word) >= LONG
    return all(len(a) > 1 and len(b) > 1 for a, b in zip(one, other, strict=True) if a != b)


def doubt_words(
    tables: Mapping[str, pd.DataFrame],
    columns: tuple[tuple[str, str], ...],
    declared: Iterable[str],
    ledger: Ledger,
) -> None:
    """Doubt, once a word, the rare words of ``columns`` (which share their words) that are near a common one."""
    counts = Counter[str]()
    for table, column in columns:
        counts.update(tables[table][column].dropna().tolist())
    for near in near_words(counts, declared):
        for table, column in columns:
            frame = tables[table]
            rows = frame[frame[column] == near.word]
            if len(rows):
                _tell(rows, table, column, near, ledger)


def _tell(rows: pd.DataFrame, table: str, column: str, near: Near, ledger: Ledger) -> None:
    n = len(rows)
    first = ", ".join(map(str, rows["source_row"].head(_ROWS_SHOWN)))
    where = f"row{'s' if n > 1 else ''} {first}{' and more' if n > _ROWS_SHOWN else ''}"
    beside = (
        f'{near.common_times} say "{near.common}"' if near.common_times else f'the rescue\'s word is "{near.common}"'
    )
    ledger.note(
        rows["source_file"].iloc[0],
        rows["source_sheet"].iloc[0],
        table=table,
        column=column,
        value=near.word,
        rule=f'{n} row{"s say" if n > 1 else " says"} "{near.word}" ({where}) where {beside}; counted apart',
        what_to_do=f'Correct it to "{near.common}" if that is meant, or put it in the dictionary: "{near.word}" means '
        f'"{near.common}", or a word of its own.',
        effect=DOUBTFUL,
        likely=f'a misspelling of "{near.common}"',
    )
