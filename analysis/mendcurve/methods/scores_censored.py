"""Calibration of predicted times of which some are only known to be longer than so far."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats
from mendcurve.methods.clusters import bootstrap

BINS = 20


def censored_pit(
    low: ArrayLike, high: ArrayLike, ended: ArrayLike, *, weight: ArrayLike | None = None, bins: int = BINS
) -> Floats:
    """Return the share of times in each of ``bins`` equal parts of the distribution predicted; 1 / bins each if right.

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Predicted chance of a time shorter than the one seen, and of one no longer; where ``ended`` is False, ``low`` is
        the predicted chance of a time no longer than so far, and ``high`` is not used.
    ended : array_like of bool, shape (n,)
    weight : array_like, shape (n,), optional

    Raises
    ------
    InputError
        If a chance lies outside 0-1, or nothing is given.

    Notes
    -----
    A time seen is spread evenly over low to high (whole days are not points). One cut off is spread over what lies
    above it in proportion to the shares themselves, until they settle: Kaplan-Meier's rule on the scale of the
    prediction.
    """
    begin, end = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    seen = np.asarray(ended, dtype=bool)
    end = np.where(seen, end, 1.0)
    if not len(begin) or begin.min() < 0 or end.max() > 1 + 1e-9 or (begin > end + 1e-9).any():
        raise InputError("A predicted chance must lie between 0 and 1, the lower one first, and some must be given.")
    given = np.ones(len(begin)) if weight is None else np.asarray(weight, dtype=float)
    edges = np.arange(bins + 1) / bins
    # a point on an edge still needs a width
    wide = np.maximum(end - begin, 1e-9)
    top = begin + wide
    inside = np.clip(np.minimum(top[:, None], edges[1:]) - np.maximum(begin[:, None], edges[:-1]), 0, None)
    inside[:, -1] += np.clip(top - 1, 0, None)
    fixed = (inside / wide[:, None])[seen]
    part = inside[~seen] * bins
    known = given[seen] @ fixed
    mass = np.full(bins, 1.0 / bins)
    for _ in range(2000):
        share = part * mass
        total = share.sum(axis=1, keepdims=True)
        # nothing predicted above it: all of it lies in the last part
        share = np.where(total > 0, share / np.where(total > 0, total, 1.0), np.eye(bins)[-1])
        new = (known + given[~seen] @ share) / given.sum()
        if np.abs(new - mass).max() < 1e-7:
            return np.asarray(new, dtype=float)
        mass = new
    return mass


def censored_coverage(
    low: ArrayLike,
    high: ArrayLike,
    ended: ArrayLike,
    level: float,
    *,
    cluster: ArrayLike,
    draws: int = 199,
    seed: int = 5,
) -> tuple[float, float, float]:
    """Return how often the central range of a level held, with 95 % limits by resampling clusters.

    The arguments are those of ``censored_pit``; ``cluster``, shape (n,), says which times belong together. Limits are
    nan where there is but one cluster.
    """
    check_proportion("The level of an interval", level)
    tail = round((1 - level) / 2 * BINS)
    if abs(tail - (1 - level) / 2 * BINS) > 1e-9:
        raise InputError(f"A level must leave whole parts of {BINS} in each tail, but it is {level:g}.")

    def held(weight: Floats) -> float:
        return float(censored_pit(low, high, ended, weight=weight)[tail : BINS - tail].sum())

    if len(np.unique(np.asarray(cluster))) < 2:
        return held(np.ones(len(np.asarray(low)))), float("nan"), float("nan")
    found = bootstrap(held, cluster, seed=seed, draws=draws)
    return float(found.estimate), float(found.low), float(found.high)
