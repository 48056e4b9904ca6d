"""Ids: kept as they are typed; what a spreadsheet probably made of one is said, and never undone by guessing."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mendcurve.records.findings import CHANGED, DOUBTFUL
from mendcurve.records.folding import INVISIBLE, folded
from mendcurve.records.parsing import NOTHING_WRITTEN, Parsed, Trouble, nothing_written
from mendcurve.records.words import words_of

# 1E5 may be an id; 1.00E+05 is how a spreadsheet shows a number.
_SCIENTIFIC = re.compile(r"\d(?:[.,]\d+)?e[+-]\d{1,3}", re.I)
_MONTH = "(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
# Dates as a spreadsheet writes them where it took an id for one: 1-2-3, 3-MAR, 2/5.
_DATE = re.compile(
    r"\d{4}-\d\d-\d\d(?: \d\d:\d\d(?::\d\d)?)?|\d{1,2}/\d{1,2}/\d{2,4}"
    rf"|\d{{1,2}}[-/]{_MONTH}(?:[-/]\d{{2,4}})?|{_MONTH}-\d{{2}}",
    re.I,
)
_WHOLE = re.compile(r"(\d+)\.0+")
# One look at all ids finds the few that are looked at closely. \w is ASCII here: letters of others are looked at, too.
_ODD = rf"(?i)^(?:\W*|{_SCIENTIFIC.pattern}|{_DATE.pattern}|{_WHOLE.pattern}|[a-z#(][a-z ./)]{{1,14}})$"
_KEPT = "it is kept as it stands"
_FORMAT = "Format the column as text, and write the id again; ids that name it in other sheets must be the same."
_WAS_NUMBER = Trouble(f"a spreadsheet has probably turned this id into a number; {_KEPT}", _FORMAT, DOUBTFUL)
_WAS_DATE = Trouble(f"a spreadsheet has probably turned this id into a date; {_KEPT}", _FORMAT, DOUBTFUL)
_DECIMALS = Trouble("an id must have no decimals; a program has added .0, which is left out", _FORMAT, CHANGED)
_SOME_DECIMALS = Trouble(f"an id with .0 behind it may be the one without; {_KEPT}", _FORMAT, DOUBTFUL)
_LIKE_NOTHING = Trouble(
    f"this id reads like a word for 'none'; {_KEPT}",
    'If it means that there is none, empty the cell, or write missing = ["..."] in records.toml.',
    DOUBTFUL,
)


def parse_ids(text: pd.Series) -> Parsed:
    """Parse a column of ids: trimmed, without characters nobody sees, otherwise as typed.

    Notes
    -----
    A cell without letter and digit ("-", "?") is no id but an empty cell. Where every id of the column is a number
    with ".0" behind it, a program has written whole numbers as decimals: ".0" is left out. All else is kept; what
    looks like a number or date that a spreadsheet made of an id is doubtful. Dates are so only where not every id
    is a date.
    """
    column = words_of(text)
    words = pa.array(column.words, type=pa.large_string())
    if not pc.all(pc.string_is_ascii(words)).as_py():
        words = pc.replace_substring_regex(words, f"[{INVISIBLE}]", "")
    trimmed = pc.utf8_trim_whitespace(words)
    found = trimmed.to_numpy(zero_copy_only=False).copy()
    troubles = np.full(len(found), None, dtype=object)
    odd = np.flatnonzero(pc.match_substring_regex(trimmed, _ODD).to_numpy(zero_copy_only=False))
    named = [word for word in found[odd] if any(map(str.isalnum, word))]
    only_odd = len(odd) == len(found) and bool(named)
    all_whole = only_odd and all(_WHOLE.fullmatch(word) for word in named)
    all_dates = only_odd and all(_DATE.fullmatch(word) for word in named)
    for at in odd:
        found[at], troubles[at] = _looked_at(found[at], all_whole, all_dates)
    return Parsed(column.places, found, troubles)


def _looked_at(word: str, all_whole: bool, all_dates: bool) -> tuple[str | None, Trouble | None]:
    whole = _WHOLE.fullmatch(word)
    if not word:
        return None, None
    if not any(map(str.isalnum, word)):
        return (None, NOTHING_WRITTEN) if nothing_written(folded(word)) else (word, None)
    if whole:
        return (whole[1], _DECIMALS) if all_whole else (word, _SOME_DECIMALS)
    if _SCIENTIFIC.fullmatch(word):
        return word, _WAS_NUMBER
    if not all_dates and _DATE.fullmatch(word):
        return word, _WAS_DATE
    return word, _LIKE_NOTHING if nothing_written(folded(word)) else None
