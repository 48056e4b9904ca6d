"""Names that slipped out of a column about people, where a row was moved by a column: taken out where they stand."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np

from mendcurve.records.privacy import details_of
from mendcurve.records.words import Words, words_from

GONE = "[removed: what a column about people holds]"
RULE = "this holds what a column about people holds: the row was probably moved by a column; it was taken out"
DO = "Move the cells of the row back under their headings."
# Two or more words with a capital each.
_NAME = re.compile(r"[^\W\d_a-z][\w'.-]*(?:[ ,]+[^\W\d_a-z][\w'.-]*)+")
# A word that a column holds more often is one of its own ("Animal Control" under two headings).
MOST = 2


def without_moved_names(
    cells: Mapping[str, Words], people: Sequence[Words]
) -> tuple[dict[str, Words], list[tuple[int, str]]]:
    """Return the cells without texts that stand in columns about people in other rows, and where they stood.

    Parameters
    ----------
    cells : mapping of heading -> column
    people : sequence of columns
        Columns about people, which are not read.

    Returns
    -------
    columns : dict of heading -> column
    places : list of (position of the row, heading)
    """
    names = {word.strip() for column in people for word in column.words if _of_a_person(word.strip())}
    out, places = dict(cells), []
    for heading, column in cells.items() if names else ():
        for at in [i for i, word in enumerate(column.words) if word.strip() in names]:
            rows = np.flatnonzero(column.places == at)
            own = [any(p.words[p.places[row]].strip() == column.words[at].strip() for p in people) for row in rows]
            if 0 < len(rows) <= MOST and not any(own):
                places += [(int(row), heading) for row in rows]
                words = np.append(out[heading].words, GONE)
                moved = out[heading].places.copy()
                moved[rows] = len(words) - 1
                out[heading] = words_from(words[moved])
    return out, sorted(places)


def _of_a_person(word: str) -> bool:
    return bool(_NAME.fullmatch(word) or details_of(word))
