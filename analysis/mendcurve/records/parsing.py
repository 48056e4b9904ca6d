"""How a column of text is parsed: each distinct text once, with what was wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.records.words import words_of

# Effect of a trouble that leaves no value; what becomes of the row depends on whether the column is required.
UNREADABLE = "unreadable"
# Effect of a word people write where there is nothing to write: read as an empty cell, told once a column.
BLANK = "blank"
# Effect of a meaning taken without asking: the value stands, told once a column.
TAKEN = "taken"
_NOTHING_WRITTEN = frozenset(
    ("na", "n/a", "n.a.", "n.a", "nan", "null", "#n/a", "-", "--", "---", "?", "??", "???", ".", "..", "...", "/")
) | frozenset(("unknown", "unk", "not known", "not recorded", "not applicable", "tbc", "tbd", "blank", "(blank)"))


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong with a text: the rule, what to do, and its effect (UNREADABLE or one of ``findings.EFFECTS``)."""

    rule: str
    what_to_do: str
    effect: str = UNREADABLE


@dataclass(frozen=True, slots=True, eq=False)
class Parsed:
    """A parsed column, held once a distinct text.

    Attributes
    ----------
    places : ndarray of int, shape (rows,)
        Which of the distinct outcomes each row has.
    distinct : ndarray of object, shape (distinct,)
        Value; None where empty or unreadable.
    faults : ndarray of object, shape (distinct,)
        Trouble or None.
    """

    places: np.ndarray
    distinct: np.ndarray
    faults: np.ndarray

    @property
    def found(self) -> np.ndarray:
        """Value (or None) of each row, shape (rows,)."""
        return self.distinct[self.places]

    @property
    def troubles(self) -> np.ndarray:
        """Trouble (or None) of each row, shape (rows,)."""
        return self.faults[self.places]

    @property
    def has_value(self) -> np.ndarray:
        """Rows with a value, shape (rows,)."""
        return ~none(self.distinct)[self.places]

    @property
    def empty(self) -> np.ndarray:
        """Rows with neither value nor trouble, shape (rows,)."""
        return (none(self.distinct) & none(self.faults))[self.places]

    def rows_with(self, fault: Trouble) -> np.ndarray:
        """Return the rows with just this trouble, shape (rows,)."""
        return np.array([t is fault for t in self.faults], dtype=bool)[self.places]

    def changed(self, rows: np.ndarray, value: Any, fault: Trouble | None) -> Parsed:
        """Return the column with ``value`` and ``fault`` in the rows of the mask ``rows``."""
        if not rows.any():
            return self
        values = np.append(self.distinct, np.array([None], dtype=object))
        faults = np.append(self.faults, np.array([None], dtype=object))
        values[-1], faults[-1] = value, fault
        return Parsed(np.where(rows, np.int64(len(self.distinct)), self.places), values, faults)


NOTHING_WRITTEN = Trouble("this is read as an empty cell", "Leave the cell empty.", BLANK)


def nothing_written(word: str) -> bool:
    """Whether a folded word says that there is nothing to say; never asked of ids and names, which may be "NA"."""
    return word in _NOTHING_WRITTEN


def by_unique(text: pd.Series, parse: Callable[[str], tuple[Any, Trouble | None]]) -> Parsed:
    """Parse each distinct non-empty text of ``text`` once; empty text gives None and no trouble."""
    column = words_of(text)
    values = np.empty(len(column.words), dtype=object)
    troubles = np.empty(len(column.words), dtype=object)
    for place, word in enumerate(column.words):
        if word.strip():
            values[place], troubles[place] = parse(word)
    return Parsed(column.places, values, troubles)


def nothing(rows: int) -> Parsed:
    """Return a column of ``rows`` empty rows."""
    none_yet = np.array([None], dtype=object)
    return Parsed(np.zeros(rows, dtype="int8"), none_yet, none_yet)


def none(values: np.ndarray) -> np.ndarray:
    """Return where an array of objects holds None."""
    return np.array([value is None for value in values], dtype=bool)


def unique_texts(text: pd.Series) -> list[str]:
    """Return the distinct non-blank texts, trimmed, in order of appearance."""
    return [word.strip() for word in words_of(text).words if word.strip()]


def listing(words: list[Hashable], most: int = 5) -> str:
    """Return the first few words quoted, and how many more there are."""
    shown = ", ".join(f'"{word}"' for word in words[:most])
    return shown if len(words) <= most else f"{shown} and {len(words) - most} more"
