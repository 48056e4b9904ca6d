"""The one error a user sees: the rule, what was found, what to do."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

import pandas as pd


class InputError(ValueError):
    """Something the user gave breaks a rule.

    Parameters
    ----------
    rule : str
        What must hold, and of which file, sheet, column or option.
    found : iterable of str
        What was found instead, one line each.
    remedy : str
        What to do about it.
    rows : DataFrame, optional
        The same rows as a frame, where there are any.
    """

    def __init__(self, rule: str, found: Iterable[str] = (), remedy: str = "", *, rows: pd.DataFrame | None = None):
        self.rule = rule
        self.found = tuple(found)
        self.remedy = remedy
        self.rows = rows
        lines = [rule, *(f"  {line}" for line in self.found)]
        if remedy:
            lines.append(remedy)
        super().__init__("\n".join(lines))


def nearest(word: str, known: Iterable[str]) -> str:
    """Return ' Did you mean "..."?' for the nearest known word, or an empty string."""
    close = get_close_matches(str(word), [str(k) for k in known], n=1, cutoff=0.6)
    return f' Did you mean "{close[0]}"?' if close else ""


def check_proportion(name: str, value: float) -> float:
    """Return ``value`` if it lies strictly between 0 and 1, else raise InputError (95 is answered with 0.95)."""
    if not 0 < value < 1:
        hint = f"Write {value / 100:g}." if 1 < value < 100 else "Give a number between 0 and 1."
        raise InputError(f"{name} must be between 0 and 1, but it is {value:g}.", remedy=hint)
    return value
