"""What connect decided, why, and what it could not settle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One thing decided from the files, or left open.

    Attributes
    ----------
    value : object
        What was decided; "" (or an empty collection) where nothing was.
    reasons : tuple of str
        Sentences with counts that bear the decision.
    doubts : tuple of str
        Sentences about what speaks against it, or what only the rescue can say.
    """

    value: Any
    reasons: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
