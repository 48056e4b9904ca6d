"""Slope of one series: Theil-Sen, least squares, and the smallest slope its readings could show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import linregress, norm, theilslopes
from scipy.stats import t as student

from mendcurve.errors import InputError, check_proportion


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A straight line through one series.

    Attributes
    ----------
    estimate, low, high : float
        Slope with confidence limits. Unit: y per unit of x.
    se : float
        Standard error; nan for Theil-Sen, which has none.
    intercept : float
        y at x = 0.
    n : int
        Readings.
    """

    estimate: float
    low: float
    high: float
    se: float
    intercept: float
    n: int


def theil_sen(x: ArrayLike, y: ArrayLike, *, confidence: float = 0.95) -> Slope:
    """Return the median of the slopes of all pairs of readings, with Sen's rank limits [1]_.

    Notes
    -----
    From scipy. Limits: normal approximation with ties. Intercept: median(y - slope x).

    References
    ----------
    .. [1] Sen (1968), Journal of the American Statistical Association 63:1379-1389.
    """
    x, y = _series(x, y, 2)
    check_proportion("confidence", confidence)
    slope, _, low, high = theilslopes(y, x, confidence)
    return Slope(
        estimate=float(slope),
        low=float(low),
        high=float(high),
        se=float("nan"),
        intercept=float(np.median(y - slope * x)),
        n=len(x),
    )


def least_squares(x: ArrayLike, y: ArrayLike, *, noise: float | None = None, confidence: float = 0.95) -> Slope:
    """Return the least-squares line.

    Parameters
    ----------
    x, y : array_like, shape (n,)
    noise : float, optional
        Standard deviation of one reading, where it is known from other series: the limits are then normal. Without it
        they are Student's t with n - 2 degrees of freedom, and three readings are needed.
    confidence : float
        Between 0 and 1.
    """
    x, y = _series(x, y, 2 if noise is not None else 3)
    check_proportion("confidence", confidence)
    line = linregress(x, y)
    if noise is None:
        se, wide = float(line.stderr), student.ppf((1 + confidence) / 2, len(x) - 2)
    else:
        se, wide = noise / spread(x), norm.ppf((1 + confidence) / 2)
    return Slope(
        estimate=float(line.slope),
        low=float(line.slope - wide * se),
        high=float(line.slope + wide * se),
        se=float(se),
        intercept=float(line.intercept),
        n=len(x),
    )


def spread(x: ArrayLike) -> float:
    """Return the root of the sum of squares of x about its mean."""
    x = np.asarray(x, float)
    return float(np.sqrt(((x - x.mean()) ** 2).sum()))


def detectable(x: ArrayLike, noise: float, *, alarm: float, power: float = 0.8) -> float:
    """Return the smallest change of slope that readings at ``x`` show with chance ``power``.

    Notes
    -----
    (z(1 - alarm) + z(power)) noise / sqrt(sum (x - mean x)^2), one-sided, noise known.
    """
    check_proportion("alarm", alarm)
    check_proportion("power", power)
    return float((norm.isf(alarm) + norm.ppf(power)) * noise / spread(x))


def _series(x: ArrayLike, y: ArrayLike, fewest: int) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.shape != y.shape or x.ndim != 1:
        raise InputError("A slope needs x and y of one length.", [f"shapes {x.shape} and {y.shape}"])
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputError(
            "Readings of a slope must be finite numbers.",
            [f"{int((~(np.isfinite(x) & np.isfinite(y))).sum())} of {len(x)} are not"],
        )
    if len(np.unique(x)) < fewest:
        raise InputError(f"A slope needs readings at {fewest} different times.", [f"{len(np.unique(x))} given"])
    return x, y
