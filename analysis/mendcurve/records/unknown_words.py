"""Words nobody knows: each once, with how many rows write it and the nearest known, ready for the dictionary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process

from mendcurve.records.codes import split_list, words_for
from mendcurve.records.dictionary import allowed, kind_of
from mendcurve.records.findings import CHANGED
from mendcurve.records.folding import folded
from mendcurve.records.misspelling import near_words
from mendcurve.records.parsing import UNREADABLE, Parsed
from mendcurve.records.privacy import details_of
from mendcurve.records.schemas import TABLES
from mendcurve.records.sources import Source
from mendcurve.records.species import lookup

COLUMNS = ("kind", "word", "means", "perhaps", "rows")
# How alike (0-100) a known word must be to be named.
_ALIKE = 70
_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)


def unknown_codes(
    source: Source, texts: Mapping[str, pd.Series], parsed: Mapping[str, Parsed], sound: np.ndarray
) -> Counter[tuple[str, str, str]]:
    """Return how many rows write each word that no column of codes knows: (table, column, word) -> rows."""
    out = Counter[tuple[str, str, str]]()
    for column in TABLES[source.table].columns:
        if column.kind not in ("code", "list", "yes_no") or column.name not in texts:
            continue
        effects = (UNREADABLE, CHANGED) if column.kind == "list" else (UNREADABLE,)
        faults = np.array([t is not None and t.effect in effects for t in parsed[column.name].faults], dtype=bool)
        if not faults.any():
            continue
        known = words_for(column, source.codes.get(column.name, {}), "") if column.kind == "list" else {}
        cells = texts[column.name].iloc[np.flatnonzero(sound & faults[parsed[column.name].places])]
        for cell, rows in cells.value_counts().items():
            for word in split_list(str(cell)) if column.kind == "list" else (str(cell),):
                if word not in known:
                    out[source.table, column.name, " ".join(word.split())] += int(rows)
    return out


def listed(
    codes: Counter[tuple[str, str, str]],
    tables: Mapping[str, pd.DataFrame],
    known: pd.DataFrame,
    declared: Iterable[str],
) -> pd.DataFrame:
    """Return the unknown words as rows of a dictionary, the most frequent first.

    Parameters
    ----------
    codes : Counter
        Of ``unknown_codes``, all sheets together.
    known : DataFrame
        The species known.
    declared : iterable of str
        Words the rescue has given a meaning.

    Returns
    -------
    DataFrame
        ``kind``, ``word``, ``means`` (empty: for the rescue to fill in), ``perhaps`` (the nearest known; nothing is
        taken for it), ``rows``. Words that hold people's details are left out.
    """
    lines = Counter[tuple[str, str, str]]()
    spelt: dict[str, str] = {}
    # One word however it is written; the commonest spelling is shown.
    for (table, column, word), rows in codes.most_common():
        word = spelt.setdefault(folded(word), word)
        near = _nearest(word, _known(table, column))
        lines[kind_of(table, column), word, near] += rows
    words = lookup(known)
    for table in ("intakes", "requests"):
        names = tables[table]["species"]
        for name, times in names[names.notna() & ~names.isin(known["name"])].value_counts().items():
            lines["species", str(name), _nearest(str(name), words)] += int(times)
    counts = tables["conditions"]["condition"].value_counts()
    for close in near_words({str(word): int(n) for word, n in counts.items()}, declared):
        lines["condition", close.word, close.common] += close.times
    rows_ = [(kind, word, "", near, n) for (kind, word, near), n in lines.items() if not details_of(word)]
    rows_.sort(key=lambda line: (-line[4], line[0], line[1]))
    frame = pd.DataFrame(rows_, columns=list(COLUMNS))
    return frame.astype({name: "int64" if name == "rows" else _TEXT for name in COLUMNS})


def _known(table: str, column: str) -> dict[str, str]:
    """Return folded word -> our word of a column of codes."""
    spec = TABLES[table].column(column)
    sure = {word: code for word, code in words_for(spec, {}, table).items() if isinstance(code, str)}
    return sure | {folded(code): code for code in allowed(spec)}


def _nearest(word: str, known: Mapping[str, str]) -> str:
    close = process.extractOne(folded(word), list(known), scorer=fuzz.ratio, score_cutoff=_ALIKE)
    return known[close[0]] if close else ""
