"""Medians and restricted means of thousands of resamples at once: draws of indices, one counting, one product a day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mendcurve.errors import InputError
from mendcurve.methods.arrays import Floats, per

_CELLS = 2**22
"""Counts held at once: draws are taken in blocks so that memory stays flat."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ResampledCurves:
    """Statistics of Kaplan-Meier curves of resampled subjects.

    Attributes
    ----------
    median : ndarray, shape (draws, G)
        First day by which half had ended; nan where it never had.
    mean : ndarray, shape (draws, G)
        Mean days to the end, up to the horizon; nan where the draw was not followed so far.
    """

    groups: tuple[str, ...]
    median: Floats
    mean: Floats


def resampled_curves(
    entry: ArrayLike | None, exit: ArrayLike, event: ArrayLike, *, horizon: float, seed: int,
    group: ArrayLike | None = None, cluster: ArrayLike | None = None, draws: int = 2000,
) -> ResampledCurves:  # fmt: skip
    """Resample subjects, or whole clusters, and return the median and restricted mean of each draw.

    Parameters
    ----------
    entry, exit : array_like, shape (n,)
        As :meth:`Tally.from_arrays`. Unit: days since origin.
    event : array_like of bool, shape (n,)
    horizon : float
        Unit: days since origin.
    seed : int
        The same seed gives the same draws.
    group : array_like of str, shape (n,), optional
        All groups are resampled together, so that what clusters share between groups is kept.
    cluster : array_like, shape (n,), optional
        Rows drawn together; None: each row by itself.
    draws : int

    Raises
    ------
    InputError
        If there are fewer than two rows, or clusters, to draw from.

    Notes
    -----
    A draw is n indices with replacement; the counts by day of a block of draws are one bincount of the day each index
    stands for. Means are the area under the curve from 0 to the horizon, as :func:`restricted_mean`.
    """
    leave = np.asarray(exit, dtype=float)
    happened = np.asarray(event, dtype=bool)
    names: tuple[str, ...] = ("all",)
    code = np.zeros(len(leave), dtype=np.int64)
    if group is not None:
        found, code = np.unique(np.asarray(group), return_inverse=True)
        names = tuple(map(str, found))
    whole = None if cluster is None else np.unique(np.asarray(cluster), return_inverse=True)[1].reshape(-1)
    m = len(leave) if whole is None else int(whole.max(initial=-1)) + 1
    if m < 2:
        raise InputError("Resampling needs at least two rows, or clusters,", [f"there are {m}"])
    day, out = np.unique(leave, return_inverse=True)
    k, size = len(day), len(names) * len(day)
    cell = code * k + out
    late = None if entry is None else code * k + np.searchsorted(day, np.asarray(entry, dtype=float), side="right")
    rng, parts = np.random.default_rng(seed), []
    block = max(1, _CELLS // max(size, m))
    for start in range(0, draws, block):
        count = min(block, draws - start)
        take = rng.integers(0, m, (count, m))
        parts.append(_block(take, whole, cell, happened, late, (len(names), k)))
    left, ended, entered = (np.concatenate(x) for x in zip(*parts, strict=True))
    return _curves(names, day, left, ended, entered, horizon)


def _block(
    take: NDArray[np.int64],
    whole: NDArray[np.int64] | None,
    cell: NDArray[np.int64],
    happened: NDArray[np.bool_],
    late: NDArray[np.int64] | None,
    shape: tuple[int, int],
) -> tuple[Floats, Floats, Floats]:
    """Count, for each draw, who left and who ended on each day and who came into view after it; shape (draws, G, k)."""
    count, size = len(take), shape[0] * shape[1]
    if whole is None:
        draw = np.arange(count)[:, None] * size

        def counted(rows: NDArray[np.int64], use: NDArray[np.bool_] | None) -> Floats:
            place = rows[take] + draw
            if use is not None:
                place = place[use[take]]
            return np.asarray(np.bincount(place.ravel(), minlength=count * size), float).reshape(count, *shape)

    else:
        times = np.zeros((count, int(whole.max()) + 1))
        np.add.at(times, (np.arange(count)[:, None], take), 1.0)
        weight = times[:, whole]

        def counted(rows: NDArray[np.int64], use: NDArray[np.bool_] | None) -> Floats:
            w = weight if use is None else weight * use
            place = rows + np.arange(count)[:, None] * size
            return np.asarray(np.bincount(place.ravel(), w.ravel(), count * size), float).reshape(count, *shape)

    left, ended = counted(cell, None), counted(cell, happened)
    entered = np.zeros_like(left) if late is None else counted(late, None)
    return left, ended, entered


def _curves(
    names: tuple[str, ...], day: Floats, left: Floats, ended: Floats, entered: Floats, horizon: float
) -> ResampledCurves:
    # in view on each day: all who leave on it or later, less those who come into view only later
    still = np.cumsum(left[..., ::-1], axis=-1)[..., ::-1]
    to_come = np.cumsum(entered[..., ::-1], axis=-1)[..., ::-1]
    at_risk = still - np.concatenate([to_come[..., 1:], np.zeros((*to_come.shape[:-1], 1))], axis=-1)
    share = np.cumprod(1 - per(ended, at_risk), axis=-1)
    reached = share <= 0.5 + 1e-9
    median = np.where(reached.any(axis=-1), day[np.argmax(reached, axis=-1)], np.nan)
    edges = np.clip(np.concatenate([day, [np.inf]]), 0, horizon)
    area = edges[0] + share @ np.diff(edges)
    last = np.where(at_risk > 0, day, -np.inf).max(axis=-1)
    followed = (last >= horizon) | (share[..., -1] <= 1e-9)
    return ResampledCurves(groups=names, median=median, mean=np.where(followed, area, np.nan))
