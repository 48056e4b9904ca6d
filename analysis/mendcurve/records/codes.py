"""Code lists: the rescue's words to ours, by its own list first, then by known synonyms."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial

import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records.connecting.vocabulary import sure_words
from mendcurve.records.findings import CHANGED, NOTE
from mendcurve.records.folding import folded
from mendcurve.records.parsing import NOTHING_WRITTEN, Parsed, Trouble, by_unique, nothing_written
from mendcurve.records.privacy import free_text
from mendcurve.records.schemas import Column

# What records.toml may give for a word instead of a code.
NOTHING = ""
ASIDE = "set aside"
UNANSWERED = "..."
NOTHING_HERE = Trouble("", "", "nothing here")
SET_ASIDE = Trouble("records.toml says to set aside rows with this word", "", ASIDE)

_YES = frozenset({"yes", "y", "true", "t", "1", "x", "\u2713", "\u2714"})
_NO = frozenset({"no", "n", "false", "f", "0", "-"})
_TIMES = re.compile(r"(?:(\d+)\s*[x\u00d7]\s*)?(.*?\S)(?:\s+[x\u00d7]\s*(\d+))?", re.I)
_SEXES = re.compile(r"(\d+)[.,](\d+)(?:[.,](\d+))?")
_COUNTED = Trouble(
    "a number of animals beside the species is not read as the size of the group",
    "Write it under a heading of its own, Number of animals, if none says it.",
    NOTE,
)
_SPLIT = re.compile(r"\s*(?:[;,/+&|]|\band\b)\s*")


def words_for(column: Column, own: Mapping[str, str], where: str) -> dict[str, object]:
    """Return folded word -> code (or Trouble) for ``column``; the rescue's ``own`` list comes first.

    Raises
    ------
    InputError
        If ``own`` maps a word to something that is no code of the column.
    """
    words: dict[str, object] = dict(sure_words(column))
    for word, code in own.items():
        if code == NOTHING:
            words[folded(word)] = NOTHING_HERE
        elif code == ASIDE:
            words[folded(word)] = SET_ASIDE
        elif code == UNANSWERED:
            raise InputError(
                f'{where}: codes.{column.name} still says "{UNANSWERED}" for "{word}".',
                remedy="Write the word that is meant, or delete the line.",
            )
        elif column.codes and code not in column.codes:
            raise InputError(
                f'{where}: codes.{column.name} gives "{code}" for "{word}", which is no code of {column.name}.',
                remedy=f"Known: {', '.join(column.codes)}, {ASIDE!r} or an empty text."
                + nearest(str(code), column.codes),
            )
        else:
            words[folded(word)] = code
    return words


def parse_codes(text: pd.Series, column: Column, words: Mapping[str, object]) -> Parsed:
    """Parse a column of codes, or of free words where the column has no codes but the rescue maps some."""
    return by_unique(text, partial(_code, column=column, words=words))


def without_count(text: str) -> str:
    """Return the name in "corn snake x3" or "3 x corn snake"; a text without such a count as it is."""
    match = _TIMES.fullmatch(text.strip())
    return match[2] if match and bool(match[1]) != bool(match[3]) else text


def counted_sexes(text: str) -> str:
    """Return the code of "males.females.unsexed", such as 1.2 or 0.0.3, or "". Common practice, no source."""
    match = _SEXES.fullmatch(text.strip())
    counts = [int(part or 0) for part in match.groups()] if match else []
    present = [code for code, n in zip(("male", "female", "unknown"), counts, strict=False) if n]
    return ("mixed" if len(present) > 1 else present[0]) if present else ""


def parse_lists(text: pd.Series, column: Column, words: Mapping[str, object]) -> Parsed:
    """Parse a column of several codes in a cell; values are sorted and joined by "; "."""
    return by_unique(text, partial(_list, column=column, words=words))


def split_list(text: str) -> list[str]:
    """Return the folded words of a cell that lists several."""
    return [part for part in _SPLIT.split(folded(text)) if part]


def parse_yes_no(text: pd.Series, words: Mapping[str, object]) -> Parsed:
    """Parse yes and no."""
    return by_unique(text, partial(_yes_no, words=words))


def _code(text: str, *, column: Column, words: Mapping[str, object]) -> tuple[str | None, Trouble | None]:
    found = words.get(folded(text))
    if isinstance(found, Trouble):
        return None, found
    if found is not None:
        return str(found), None
    name = without_count(text) if column.name == "species" else text
    if name != text:
        known = words.get(folded(name))
        return (known if isinstance(known, str) else free_text(name)[0]), _COUNTED
    if not column.codes:
        return free_text(text)
    if column.name == "sex" and counted_sexes(text):
        return counted_sexes(text), None
    return None, NOTHING_WRITTEN if nothing_written(folded(text)) else _unknown(text, column)


def _list(text: str, *, column: Column, words: Mapping[str, object]) -> tuple[str | None, Trouble | None]:
    known, unknown = set(), []
    if folded(text) not in words and nothing_written(folded(text)):
        return None, NOTHING_WRITTEN
    for part in split_list(text):
        found = words.get(part)
        if isinstance(found, str):
            known.add(found)
        elif found is None:
            unknown.append(part)
    trouble = None
    if unknown:
        trouble = Trouble(_unknown(unknown[0], column).rule, _unknown(unknown[0], column).what_to_do, CHANGED)
    return "; ".join(sorted(known)), trouble


def _unknown(word: str, column: Column) -> Trouble:
    close = nearest(folded(word), column.codes)
    return Trouble(
        f"{column.name} must be one of: {', '.join(column.codes)}",
        f"Correct it, or give its meaning in the dictionary or in records.toml under codes.{column.name}.{close}",
    )


def _yes_no(text: str, *, words: Mapping[str, object]) -> tuple[bool | None, Trouble | None]:
    word = str(words.get(folded(text), folded(text)))
    if word in _YES or word in _NO:
        return word in _YES, None
    if nothing_written(folded(text)):
        return None, NOTHING_WRITTEN
    return None, Trouble("this must be yes or no", "Write yes or no, or leave the cell empty for no.")
