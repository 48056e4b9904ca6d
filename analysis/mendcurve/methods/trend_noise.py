"""How far readings scatter about their own paths, whatever shape the paths have."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import kurtosis

from mendcurve.errors import InputError

Array = NDArray[np.float64]
CLIP = 4.0
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
    """

    sd: float
    tail: float
    n: int


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
