"""How far readings scatter about their own paths, whatever shape the paths have."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import kurtosis

from mendcurve.errors import InputError

Array = NDArray[np.float64]
CLIP = 4.0
# Steps of scales in grams, told apart by the digits of a few readings.
STEPS = (100.0, 50.0, 10.0, 5.0, 1.0, 0.5, 0.1, 0.05, 0.01)
# Standard errors by which a walk must be above 0.
SURE = 2.0
# Tails told apart: a finer number could not be learned from a rescue's readings.
TAILS = (5.0, 6.0, 8.0, 12.0, 30.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Scatter of single readings.

    Attributes
    ----------
    sd : float
        Standard deviation of one reading about its path. Unit: that of y.
    tail : float
        Degrees of freedom of a t distribution with about the same kurtosis: 5 (heavy), 6, 8, 12 or 30 (about normal).
    n : int
        Readings it was estimated from.
    walk : float
        Standard deviation of the paths' own random walk, 0 where none was told apart. Unit: y per root of a unit of
        time.
    """

    sd: float
    tail: float
    n: int
    walk: float = 0.0


def residuals(series: ArrayLike, time: ArrayLike, y: ArrayLike, *, reach: float = np.inf) -> Array:
    """Return each reading's difference from the line through its two neighbours, in units of one reading.

    Parameters
    ----------
    series : array_like, shape (n,)
        Which series a reading belongs to; rows of a series stand together, in order of time.
    time, y : array_like, shape (n,)
    reach : float
        Readings whose two neighbours are further apart than this are passed over. Unit: that of time.

    Returns
    -------
    ndarray, shape (n,)
        Divided by sqrt(1 + w^2 + (1 - w)^2), w the share of the way between the neighbours, so that its standard
        deviation is that of one reading; nan at the ends of a series.

    Notes
    -----
    A straight stretch leaves no trace, nor does a bend but for the one reading at it, so that slow changes of a path
    are not taken for noise, as they would be in the residuals of a line.
    """
    code = np.unique(np.asarray(series).astype(str), return_inverse=True)[1]
    time, y = np.asarray(time, float), np.asarray(y, float)
    out = np.full(len(y), np.nan)
    if len(y) < 3:
        return out
    width = time[2:] - time[:-2]
    inner = (code[2:] == code[:-2]) & (code[1:-1] == code[2:]) & (width <= reach)
    if (inner & (np.diff(time)[1:] <= 0)).any():
        raise InputError("Readings of one series must be at ascending times.")
    share = (time[1:-1] - time[:-2]) / np.where(inner, width, 1.0)
    off = y[1:-1] - (1 - share) * y[:-2] - share * y[2:]
    out[1:-1] = np.where(inner, off / np.sqrt(1 + share**2 + (1 - share) ** 2), np.nan)
    return out


def walk_of(series: ArrayLike, time: ArrayLike, y: ArrayLike, *, reach: float = np.inf) -> float:
    """Return the standard deviation of the random walk that paths take about smooth curves, from readings of one noise.

    Parameters
    ----------
    series, time, y, reach
        As in ``residuals``; y divided by the noise of its own readings where that differs between series.

    Notes
    -----
    A reading held against the line through its neighbours at distance 1, 2 or 3 readings differs from it by reading
    noise, the same at each distance, and by what a walk does between them: w^2 s (1 - s) W, W the time between the
    neighbours and s the share of it. Least squares of the squares on the two, those beyond 4 robust standard
    deviations drawn in. Unlike the residuals of straight lines, a path that bends once or slows down evenly leaves
    little trace; so that it leaves none, two standard errors (of sums by series) are taken off; below 0 is 0.
    """
    found = [_squares(series, time, y, lag, reach) for lag in (1, 2, 3)]
    square, walk, code = (np.concatenate(part) for part in zip(*found, strict=True))
    number = np.unique(code, return_inverse=True)[1]
    if len(square) < 3 or number.max() < 2:
        return 0.0
    design = np.column_stack([np.ones_like(walk), walk])
    fit = np.linalg.lstsq(design, square, rcond=None)[0]
    score = design * (square - design @ fit)[:, None]
    by_series = np.column_stack([np.bincount(number, column) for column in score.T])
    turn = np.linalg.pinv(design.T @ design)
    error = np.sqrt((turn @ by_series.T @ by_series @ turn)[1, 1])
    return float(np.sqrt(max(fit[1] - SURE * error, 0.0)))


def _squares(series: ArrayLike, time: ArrayLike, y: ArrayLike, lag: int, reach: float) -> tuple[Array, Array, Array]:
    """Return squares of residuals in units of one reading, what a walk of variance 1 would add, and their series."""
    time = np.asarray(time, float)
    code = np.asarray(series).astype(str)
    every = [np.arange(first, len(time), lag) for first in range(lag)]
    square, walk, whose = [], [], []
    for rows in every:
        off = residuals(code[rows], time[rows], np.asarray(y, float)[rows], reach=lag * reach)
        known = np.flatnonzero(np.isfinite(off))
        at = time[rows]
        width, share = at[known + 1] - at[known - 1], (at[known] - at[known - 1]) / (at[known + 1] - at[known - 1])
        square.append(off[known] ** 2)
        whose.append(code[rows][known])
        walk.append(width * share * (1 - share) / (1 + share**2 + (1 - share) ** 2))
    squares = np.concatenate(square)
    if len(squares):
        squares = np.minimum(squares, (CLIP * 1.4826) ** 2 * np.median(squares))
    return squares, np.concatenate(walk), np.concatenate(whose)


def step_of(readings: ArrayLike) -> float:
    """Return the step of the scale, found from the digits: the largest of ``STEPS`` that nearly all are multiples of.

    ``nan`` from fewer than 4 readings. At most one in twenty may be no multiple (another scale, a unit slip).
    """
    given = np.asarray(readings, float)
    given = given[np.isfinite(given)]
    if len(given) < 4:
        return float("nan")
    for step in STEPS:
        parts = given / step
        if (np.abs(parts - np.round(parts)) < 1e-6).mean() >= 0.95:
            return step
    return STEPS[-1]


def pooled(values: ArrayLike) -> Noise:
    """Pool residuals into one noise; nan are passed over.

    Raises
    ------
    InputError
        If fewer than 3 are left.

    Notes
    -----
    Root mean square, values beyond 4 robust standard deviations (1.4826 times the median absolute value) drawn in to
    them. Kurtosis: a residual is a sum of three readings with weights 1, -1/2, -1/2, which halves the excess kurtosis
    of a reading; a t distribution with v degrees of freedom has 6 / (v - 4).
    """
    given = np.asarray(values, float)
    known: Array = given[np.isfinite(given)]
    if len(known) < 3:
        raise InputError("Noise of readings needs at least 3 readings between two others.", [f"{len(known)} found"])
    robust = 1.4826 * np.median(np.abs(known))
    held = np.clip(known, -CLIP * robust, CLIP * robust) if robust > 0 else known
    excess = 2 * float(kurtosis(held, fisher=True)) if np.ptp(held) > 0 else 0.0
    tail = 4 + 6 / excess if excess > 0 else np.inf
    nearest = min(TAILS, key=lambda df: abs(1 / df - 1 / tail))
    return Noise(sd=float(np.sqrt((held**2).mean())), tail=nearest, n=len(known))
