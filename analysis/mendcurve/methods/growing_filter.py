"""The Kalman filter behind ``growing``: all series at once, for several sets of scales at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Series side by side, the first reading of each in column 0; ``gap`` is 0 where a series has ended.

    Attributes
    ----------
    gap : ndarray, shape (subjects, readings)
        Days since the reading before.
    y : ndarray, shape (sets or 1, subjects, readings, signals)
        The values, and what is filtered beside them.
    var : ndarray, shape (subjects, readings)
        Variance of a reading.
    """

    gap: Array
    y: Array
    var: Array

    @property
    def subjects(self) -> int:
        """Series of two readings or more."""
        return len(self.gap)

    @classmethod
    def one(cls, day: Array, y: Array, var: Array) -> Readings:
        """One series; ``y`` of shape (sets, readings)."""
        gap = np.diff(day, prepend=day[:1])
        return cls(gap=gap[None], y=y[:, None, :, None], var=var[None])

    def less(self, beta: Array) -> Readings:
        """Return the values without the signals beside them, each times its coefficient."""
        return replace(self, y=self.y[..., :1] - (self.y[..., 1:] @ beta)[..., None])

    def held_back(self, end: State, far: float) -> Readings:
        """Return the readings with a wider noise where they were further than ``far`` SDs from what was expected."""
        off, size = end.off[0], end.size[0]
        wide = np.maximum((off / far) ** 2 - size, 0)
        return replace(self, var=self.var + wide)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Where each series stands after its last reading, and how well the readings were foreseen.

    Attributes
    ----------
    level, slope : ndarray, shape (sets, subjects, signals)
    cov : tuple of three ndarrays, shape (sets, subjects)
        Variance of the level, covariance, variance of the slope.
    cross : ndarray, shape (sets, signals, signals)
        Sum over readings of the products of what was not foreseen, over its variance.
    log_det : ndarray, shape (sets,)
    off, size : ndarray, shape (sets, subjects, readings)
        What was not foreseen of the first signal, and its variance; 0 and 1 where there was no reading.
    """

    level: Array
    slope: Array
    cov: tuple[Array, Array, Array]
    cross: Array
    log_det: Array
    off: Array
    size: Array


def padded(series: ArrayLike, day: Array, signals: Array, var: Array) -> Readings:
    """Put series side by side; those with a single reading are left out."""
    names = np.asarray(series)
    _, code, size = np.unique(names, return_inverse=True, return_counts=True)
    keep = size[code] > 1
    order = np.lexsort((day[keep], code[keep]))
    code = np.unique(code[keep][order], return_inverse=True)[1]
    size = np.bincount(code)
    place = np.arange(len(code)) - np.repeat(np.cumsum(size) - size, size)
    shape = (len(size), int(size.max(initial=1)))
    days, y, noise = day[keep][order], signals[keep][order], var[keep][order]
    gap, values, variance = np.zeros(shape), np.zeros((*shape, signals.shape[1])), np.ones(shape)
    gap[code, place] = np.where(place > 0, np.diff(days, prepend=0.0), 0.0)
    values[code, place], variance[code, place] = y, noise
    return Readings(gap=gap, y=values[None], var=variance)


def noise_over(gap: Array, logs: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Return what a gap of days does to level and slope.

    Parameters
    ----------
    gap : ndarray
        Days.
    logs : ndarray, first axis 3
        Logarithms of spread, half-life and wander, each of a shape that goes with ``gap``.

    Returns
    -------
    tuple of ndarray
        The share of the slope that is left, the days' worth of slope that the level gains, and the variances (level,
        both, slope) that come in: of an Ornstein-Uhlenbeck slope and a random walk of the level.
    """
    spread, rate, walk = np.exp(2 * logs[0]), np.log(2) * np.exp(-logs[1]), np.exp(2 * logs[2])
    x = rate * gap
    left = np.exp(-x)
    lost = -np.expm1(-x)
    reach = lost / rate
    # 2 x - 4 (1 - e^-x) + (1 - e^-2x), which cancels for small x: its series there
    near = 2 * x**3 / 3 - x**4 / 2 + 7 * x**5 / 30
    level = np.where(x < 0.01, near, 2 * x - 4 * lost - np.expm1(-2 * x))
    return left, reach, spread * level / rate**2 + walk * gap, spread * lost**2 / rate, -spread * np.expm1(-2 * x)


def filtered(data: Readings, logs: Array, *, far: float = np.inf) -> State:
    """Filter all series for each row of ``logs``; readings beyond ``far`` SDs are held back as they come.

    Notes
    -----
    A series starts with its first reading as its level and a slope of the long-run spread. One step of Python for each
    reading of the longest series, arrays over sets and series within.
    """
    sets, (subjects, readings) = len(logs), data.gap.shape
    signals = data.y.shape[-1]
    scales = logs.T[:, :, None]
    level = np.broadcast_to(data.y[:, :, 0], (sets, subjects, signals)).copy()
    slope = np.zeros((sets, subjects, signals))
    p11 = np.broadcast_to(data.var[:, 0], (sets, subjects)).copy()
    p12 = np.zeros((sets, subjects))
    p22 = np.broadcast_to(np.exp(2 * scales[0]), (sets, subjects)).copy()
    cross, log_det = np.zeros((sets, signals, signals)), np.zeros(sets)
    offs, sizes = np.zeros((sets, subjects, readings)), np.ones((sets, subjects, readings))
    for k in range(1, readings):
        here = np.flatnonzero(data.gap[:, k] > 0)
        left, reach, q11, q12, q22 = noise_over(data.gap[here, k], scales)
        a11, a12, a22 = p11[:, here], p12[:, here], p22[:, here]
        b11 = a11 + 2 * reach * a12 + reach**2 * a22 + q11
        b12 = left * (a12 + reach * a22) + q12
        b22 = left**2 * a22 + q22
        now = level[:, here] + reach[..., None] * slope[:, here]
        off = data.y[:, here, k] - now
        size = b11 + data.var[here, k]
        if np.isfinite(far):
            size = np.maximum(size, (off[..., 0] / far) ** 2)
        gain1, gain2 = b11 / size, b12 / size
        level[:, here] = now + gain1[..., None] * off
        slope[:, here] = left[..., None] * slope[:, here] + gain2[..., None] * off
        p11[:, here], p12[:, here] = b11 * (1 - gain1), b12 * (1 - gain1)
        p22[:, here] = b22 - gain2 * b12
        cross += np.einsum("tsi,tsj,ts->tij", off, off, 1 / size)
        log_det += np.log(size).sum(axis=1)
        offs[:, here, k], sizes[:, here, k] = off[..., 0], size
    return State(level=level, slope=slope, cov=(p11, p12, p22), cross=cross, log_det=log_det, off=offs, size=sizes)
