"""Small sums and look-ups on day grids, shared by the methods."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating[Any]]


def per(top: Floats, bottom: Floats) -> Floats:
    """Quotient, 0 where the bottom is 0: nobody at risk, or nobody left after the last end."""
    shape = np.broadcast_shapes(np.shape(top), np.shape(bottom))
    return np.divide(top, bottom, out=np.zeros(shape), where=np.broadcast_to(bottom, shape) > 0)


def ratio(top: Floats, bottom: Floats, otherwise: float) -> Floats:
    """Quotient, ``otherwise`` where either is 0."""
    return np.divide(top, bottom, out=np.full_like(top, otherwise), where=(bottom > 0) & (top > 0))


def running(entered: Floats, left: Floats) -> tuple[Floats, Floats]:
    """At risk on each day, and just after it, from entries and exits by day."""
    after = np.cumsum(entered - left, axis=-1)
    # real weights leave residues of rounding where nobody is at risk any more
    dust = 1e-12 * np.maximum(1.0, np.cumsum(entered, axis=-1))
    after = np.where(np.abs(after) < dust, 0.0, after)
    return np.concatenate([np.zeros((*after.shape[:-1], 1)), after[..., :-1]], axis=-1), after


def look_up(grid: Floats, on: Floats, after: Floats, days: ArrayLike) -> Floats:
    """Value ``on`` a day of the grid, else ``after`` the last grid day before it (0 before the first)."""
    wanted = np.asarray(days, dtype=float)
    place = np.searchsorted(grid, wanted, side="left")
    exact = (place < len(grid)) & (grid[np.minimum(place, len(grid) - 1)] == wanted) if len(grid) else place < 0
    padded = np.concatenate([np.zeros((*after.shape[:-1], 1)), after], axis=-1)
    return np.where(exact, on[..., np.minimum(place, len(grid) - 1)] if len(grid) else 0.0, padded[..., place])
