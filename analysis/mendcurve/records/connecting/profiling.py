"""What the cells of a column look like: shares of dates, numbers, yes and no, known species."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from mendcurve.records.dates import parse_dates
from mendcurve.records.folding import folded
from mendcurve.records.parsing import none

# Distinct texts that are looked at; the commonest come first.
_MOST = 3000
_SERIAL = re.compile(r"[2-7]\d{4}(?:\.\d+)?")
_NUMBER = re.compile(r"[~<>]?\s*[-+]?\d[\d.,' ]*\s*(?:g|gr|gms?|grams?|kgs?|oz|ozs|lbs?|mm|cm|[$€£%])?\.?", re.I)
_POUNDS = re.compile(r"\d+\s*(?:lbs?|pounds?)\.?[ ,]*\d[\d.]*\s*(?:ozs?|ounces?)\.?", re.I)
_MONEY = re.compile(r"[$€£¥]\s*[-+]?\d[\d.,' ]*", re.I)
_YES_NO = frozenset(("yes", "no", "y", "n", "true", "false", "x", "✓", "✔", "1", "0", "-"))
_EMPTY = frozenset(("", "-", "--", "?", "na", "n/a", "none", "null", "nan", "unknown", "tbc"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A column's cells; shares are of the filled cells, 0 to 1.

    Attributes
    ----------
    rows, filled : int
        Records; those with text that is not a word for nothing.
    distinct : int
        Different texts.
    date, serial, number, yes_no, species : float
        Dates as people write them; bare numbers that may be a spreadsheet's days; numbers, with a unit or without;
        words for yes and no; names of known species.
    words : frozenset of str
        The different texts, folded, at most 3000.
    """

    rows: int
    filled: int
    distinct: int
    date: float = 0.0
    serial: float = 0.0
    number: float = 0.0
    yes_no: float = 0.0
    species: float = 0.0
    words: frozenset[str] = frozenset()

    def share_in(self, known: Mapping[str, object] | frozenset[str]) -> float:
        """Return the share of the different texts that are in ``known``."""
        return sum(word in known for word in self.words) / len(self.words) if self.words else 0.0


def profile_of(text: pd.Series, species: Mapping[str, str]) -> Profile:
    """Describe one column of text; ``species`` holds the folded names that are known."""
    counts = text.str.strip().value_counts()
    counts = counts[[folded(str(word)) not in _EMPTY for word in counts.index]]
    filled = int(counts.sum())
    seen = counts.head(_MOST)
    if not filled:
        return Profile(rows=len(text), filled=0, distinct=0)
    words = pd.Series(seen.index.astype(str), dtype=object)
    weights = seen.to_numpy(dtype="float64")
    total = weights.sum()
    serial = words.map(lambda w: _SERIAL.fullmatch(w) is not None).to_numpy(dtype=bool)
    found = ~(none(parse_dates(words, "dmy").found) & none(parse_dates(words, "mdy").found))
    plain = [folded(word) for word in words]
    return Profile(
        rows=len(text),
        filled=filled,
        distinct=len(counts),
        date=float(weights[found & ~serial].sum() / total),
        serial=float(weights[serial].sum() / total),
        number=float(weights[[_is_number(word) for word in words]].sum() / total),
        yes_no=float(weights[[word in _YES_NO for word in plain]].sum() / total),
        species=float(weights[[_is_species(word, species) for word in plain]].sum() / total),
        words=frozenset(plain),
    )


def _is_number(word: str) -> bool:
    return any(pattern.fullmatch(word) for pattern in (_NUMBER, _POUNDS, _MONEY))


def _is_species(word: str, species: Mapping[str, str]) -> bool:
    return word in species or word.removesuffix("s") in species
