"""A second table in one sheet: below the first, or beside it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from openpyxl.utils import get_column_letter

from mendcurve.records.bodies import Body
from mendcurve.records.folding import heading as fold_heading
from mendcurve.records.schemas import TABLES

# Headings a row must hold to begin a table, and the share of its cells they must be.
FEWEST, SHARE = 2, 0.5


def begins_below(headings: Sequence[str], body: Body) -> int:
    """Return the number of the row that begins a second table, 0 for none.

    Parameters
    ----------
    headings : sequence of str
        Of the sheet.

    Notes
    -----
    Such a row holds no digit, and at least two headings of another table, or of the sheet's own in another order; they
    are at least half of its cells.
    """
    own = {fold_heading(h): at for at, h in enumerate(headings)}
    tables = [{fold_heading(name) for name in table.names} for table in TABLES.values()]
    known = {*own, *(name for table in tables for name in table)}
    hits = np.zeros(len(body.rows), dtype="int64")
    for column in body.columns:
        hits += column.rows_of(lambda text: bool(text) and len(text) < 80 and fold_heading(text) in known)
    for place in np.flatnonzero(hits >= FEWEST):
        cells = [(at, str(column.words[column.places[place]]).strip()) for at, column in enumerate(body.columns)]
        filled = [(at, fold_heading(text)) for at, text in cells if text]
        moved = {text for at, text in filled if text in own and own[text] != at}
        other = max(len({text for _, text in filled if text in table and own.get(text) is None}) for table in tables)
        named = sum(text in known for _, text in filled)
        sure = named >= SHARE * len(filled) and not any(c.isdigit() for _, text in cells for c in text)
        if sure and (len(moved) >= FEWEST or other >= FEWEST or (len(moved) and other)):
            return int(body.rows[place])
    return 0


def stands_beside(pairs: dict[int, int]) -> tuple[int, int, int] | None:
    """Return the first column of a second table, its last, and the first of the one it repeats; counted from 0.

    Parameters
    ----------
    pairs : dict of int to int
        Column -> the first column with the same heading (see ``headings.repeated``).

    Notes
    -----
    It does where two headings or more are repeated side by side in the order in which they stand.
    """
    at = sorted(pairs)
    if len(at) < FEWEST or at != list(range(at[0], at[-1] + 1)):
        return None
    firsts = [pairs[place] for place in at]
    return (at[0], at[-1], firsts[0]) if firsts == sorted(set(firsts)) and firsts[-1] < at[0] else None


def beside_rule(place: tuple[int, int, int], rows: int) -> str:
    """Return what to say of a second table that stands beside the first."""
    start, end, first = (get_column_letter(at + 1) for at in place)
    last = get_column_letter(place[2] + place[1] - place[0] + 1)
    return (
        f"the headings of columns {first} to {last} stand again over columns {start} to {end}: a second table seems to "
        f"stand beside the first, and its {rows:,} row{'s are' if rows != 1 else ' is'} not read"
    )
