"""Hide small counts in a two-way table so that its totals do not give them away."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.optimize import linprog

HIDDEN = "hidden"
TOTAL = "total"


def protect(frame: pd.DataFrame, *, by: str, counts: Sequence[str], smallest: int) -> pd.DataFrame:
    """Return the table with totals, its small counts hidden and with them as many others as it takes.

    Counts from 1 to ``smallest - 1`` are hidden (primary); then, as long as linear programming finds a hidden count
    that the totals printed leave only one value for, the smallest count beside it is hidden too (complementary).
    Zeros are hidden only to protect others. Totals stay, unless nothing else can protect a count.

    Parameters
    ----------
    frame : DataFrame
        One row for each value of column ``by``, without totals.
    by : str
        The column that names the rows.
    counts : sequence of str
        The columns of counts, which add up to a row's total.
    smallest : int
        The smallest count that may be printed. Unit: animals or records.

    Returns
    -------
    DataFrame of text
        ``by``, the counts, and ``total``; its last row holds the column totals. ``attrs`` are kept.

    Notes
    -----
    Every hidden count carries the same word, so that a reader does not learn which were small. A reader is taken to
    know the totals and that counts are not negative. The bounds of a hidden count come from the transport polytope of
    its table; with whole totals its corners are whole, so that the linear programme is exact.
    """
    value = frame[list(counts)].to_numpy(dtype=float)
    hidden, rows_shown, columns_shown = hide(value, smallest)
    text = pd.DataFrame({by: frame[by].astype(str).to_numpy()})
    for j, name in enumerate(counts):
        text[name] = np.where(hidden[:, j], HIDDEN, _whole(value[:, j]))
    bottom = dict(zip(counts, np.where(columns_shown, _whole(value.sum(axis=0)), HIDDEN), strict=True))
    if len(counts) > 1:
        text[TOTAL] = np.where(rows_shown, _whole(value.sum(axis=1)), HIDDEN)
        bottom[TOTAL] = f"{value.sum():,.0f}"
    if len(frame) > 1:
        text = pd.concat([text, pd.DataFrame([{by: TOTAL, **bottom}])], ignore_index=True)
    text.attrs = dict(frame.attrs)
    return text


def hide(value: np.ndarray, smallest: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return which cells are hidden and which row and column totals are shown.

    Parameters
    ----------
    value : ndarray, shape (rows, columns)
        Counts.
    smallest : int
        The smallest count that may be printed.

    Returns
    -------
    hidden : ndarray of bool, shape (rows, columns)
    rows_shown : ndarray of bool, shape (rows,)
    columns_shown : ndarray of bool, shape (columns,)
    """
    hidden = (value > 0) & (value < smallest)
    rows_shown = np.full(value.shape[0], value.shape[1] > 1)
    columns_shown = np.full(value.shape[1], value.shape[0] > 1)
    while True:
        known = _recovered(value, hidden, rows_shown, columns_shown)
        if known is None:
            return hidden, rows_shown, columns_shown
        i, j = known
        more = _cheapest(value, hidden, i, j)
        if more is not None:
            hidden[more] = True
        elif rows_shown[i] or columns_shown[j]:
            rows_shown[i] = columns_shown[j] = False
        else:  # its own totals are gone already: others give it away
            rows_shown[:] = columns_shown[:] = False


def bounds(
    value: np.ndarray, hidden: np.ndarray, rows_shown: np.ndarray, columns_shown: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the least and greatest value each hidden count can have, given all that is printed.

    The table's total is printed whenever it has more than one row and column.
    """
    at = np.argwhere(hidden)
    left = np.where(hidden, value, 0.0)
    rules = [(at[:, 0] == i, left[i].sum()) for i in np.flatnonzero(rows_shown)]
    rules += [(at[:, 1] == j, left[:, j].sum()) for j in np.flatnonzero(columns_shown)]
    if min(value.shape) > 1:
        rules.append((np.ones(len(at), dtype=bool), left.sum()))
    matrix = np.array([who for who, _ in rules], dtype=float) if rules else None
    totals = np.array([total for _, total in rules]) if rules else None
    least, most = np.zeros(len(at)), np.full(len(at), np.inf)
    for k in range(len(at)):
        goal = np.eye(len(at))[k]
        low = linprog(goal, A_eq=matrix, b_eq=totals, method="highs")
        high = linprog(-goal, A_eq=matrix, b_eq=totals, method="highs")
        least[k] = low.fun if low.status == 0 else 0.0
        most[k] = -high.fun if high.status == 0 else np.inf
    return least, most


def _recovered(
    value: np.ndarray, hidden: np.ndarray, rows_shown: np.ndarray, columns_shown: np.ndarray
) -> tuple[int, int] | None:
    """Return a hidden count that what is printed leaves only one value for, if there is one."""
    if not hidden.any():
        return None
    least, most = bounds(value, hidden, rows_shown, columns_shown)
    known = np.flatnonzero(most - least < 0.5)
    return None if len(known) == 0 else tuple(np.argwhere(hidden)[known[0]])


def _cheapest(value: np.ndarray, hidden: np.ndarray, i: int, j: int) -> tuple[int, int] | None:
    """Return the smallest count still printed in row ``i`` or column ``j``; zeros last."""
    beside = [(i, c) for c in range(value.shape[1])] + [(r, j) for r in range(value.shape[0])]
    # A line with another hidden count is not what gives this one away: mend the line where it stands alone first.
    alone = {True: hidden[i].sum() == 1, False: hidden[:, j].sum() == 1}
    open_cells = [cell for cell in beside if not hidden[cell]]
    return min(
        open_cells, key=lambda cell: (not alone[cell[0] == i], value[cell] == 0, value[cell], cell), default=None
    )


def _whole(numbers: np.ndarray) -> np.ndarray:
    return np.array([f"{number:,.0f}" for number in numbers], dtype=object)
