"""Rows at the end of a sheet that add up the rows above."""

from __future__ import annotations

import re
from collections.abc import Sequence

from mendcurve.records.folding import folded

_WORD = re.compile(r"(?:grand |sub[- ]?)?(?:totals?|sum|count|average|mean)\b.*")
_NUMBER = re.compile(r"[-+(]?\s*[$€£]?\s*\d[\d.,' ]*\s*[a-z%€)]{0,10}")
_DATE = re.compile(r"\d{1,4}\.\d{1,2}\.\d{2,4}")


def adds_up(cells: Sequence[str]) -> bool:
    """Whether a row begins with a word for a total, and holds besides it numbers only.

    An animal may be called Count: a row with its day of arrival or its species is no total.
    """
    first, *rest = (folded(cell) for cell in cells if cell.strip())
    return _WORD.fullmatch(first) is not None and all(
        _NUMBER.fullmatch(cell) is not None and _DATE.fullmatch(cell) is None for cell in rest
    )
