"""How a column of text is parsed: each distinct text once, with what was wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

# Effect of a trouble that leaves no value; what becomes of the row depends on whether the column is required.
UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong with a text: the rule, what to do, and its effect (UNREADABLE or one of ``findings.EFFECTS``)."""

    rule: str
    what_to_do: str
    effect: str = UNREADABLE


@dataclass(frozen=True, slots=True, eq=False)
class Parsed:
    """A parsed column.

    Attributes
    ----------
    found : ndarray of object, shape (rows,)
        None where empty or unreadable.
    troubles : ndarray of object, shape (rows,)
        Trouble or None.
    """

    found: np.ndarray
    troubles: np.ndarray


def by_unique(text: pd.Series, parse: Callable[[str], tuple[Any, Trouble | None]]) -> Parsed:
    """Parse each distinct non-empty text of ``text`` once; empty text gives None and no trouble."""
    places, unique = pd.factorize(text.to_numpy(dtype=object))
    values = np.empty(len(unique) + 1, dtype=object)
    troubles = np.empty(len(unique) + 1, dtype=object)
    for place, word in enumerate(unique):
        if word.strip():
            values[place], troubles[place] = parse(word)
    return Parsed(values[places], troubles[places])


def none(values: np.ndarray) -> np.ndarray:
    """Return where an array of objects holds None."""
    return np.array([value is None for value in values], dtype=bool)


def unique_texts(text: pd.Series) -> list[str]:
    """Return the distinct non-blank texts, trimmed, in order of appearance."""
    return [word.strip() for word in pd.unique(text.to_numpy(dtype=object)) if word.strip()]


def listing(words: list[Hashable], most: int = 5) -> str:
    """Return the first few words quoted, and how many more there are."""
    shown = ", ".join(f'"{word}"' for word in words[:most])
    return shown if len(words) <= most else f"{shown} and {len(words) - most} more"
