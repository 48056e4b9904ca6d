"""How likely a series is if its slope changed at one of its readings, for all readings at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, logsumexp

from mendcurve.errors import InputError

Array = NDArray[np.float64]
# Readings needed after an onset.
AFTER = 2
# An onset is taken as half as likely for each so many units of time that it lies back.
HALVED = 70.0
# Share of series taken to hold one wrong reading (our choice, on the safe side), and how far off it is, in noises.
ONE_WRONG, WRONG = 0.5, 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """What is known about the series from others like it. Unit of slopes: y per unit of time.

    Attributes
    ----------
    noise : float
        Standard deviation of one reading about its own path.
    usual, usual_sd : float
        Mean and standard deviation of the slope of series that do well.
    needed : float
        Slope that is enough.
    stopped : tuple of float
        Slopes a series may have after it stopped; each below ``needed``.
    tail : float
        Degrees of freedom of the t distribution of readings (above 2; from 30 on it is taken as normal).
    wander : float
        Standard deviation of the path's own random walk about its line. Unit: y per root of a unit of time. It makes
        readings far from the onset say less about the level there.
    goes_on : float
        Weight of "goes on at its own slope" among the ways of doing well; the rest has slowed to ``needed`` at some
        reading. Between 0 and 1.
    slowed : float
        What simulated series that slow keep of their slope (never below ``needed``).
    """

    noise: float
    usual: float
    usual_sd: float
    needed: float
    stopped: tuple[float, ...]
    tail: float = 5.0
    wander: float = 0.0
    goes_on: float = 0.95
    slowed: float = 0.5

    def __post_init__(self) -> None:
        if not self.noise > 0:
            raise InputError(
                "Noise of a reading must be above 0.", [f"{self.noise:g} given"], "Use at least the step of the scale."
            )
        if not self.stopped or not max(self.stopped) < self.needed:
            raise InputError(
                "Slopes after stopping must be below the needed slope.",
                [f"stopped {', '.join(f'{s:g}' for s in self.stopped) or 'not given'}, needed {self.needed:g}"],
            )
        if not self.tail > 2:
            raise InputError(
                "The t distribution of readings needs more than 2 degrees of freedom.", [f"{self.tail:g} given"]
            )
        if not 0 < self.goes_on < 1:
            raise InputError("The weight of going on must lie between 0 and 1.", [f"{self.goes_on:g} given"])
        if not self.usual_sd > 0:
            raise InputError("The spread of usual slopes must be above 0.", [f"{self.usual_sd:g} given"])


class Bends:
    """Likelihoods of series read at one set of times: a line of slope b up to a reading, slope c from there on.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Ascending.
    model : Model

    Attributes
    ----------
    onsets : ndarray, shape (k,)
        Times of the readings that leave 2 after them, the first reading included (never gained while watched).

    Notes
    -----
    The level has a flat prior, b ~ N(usual, usual_sd^2), noise and wander are independent of both. With m the time up
    to the onset and v the time since, P the inverse covariance of readings less its projection on the level, all is
    told by the scalars m'Py, so a series costs one product of (k + 1) by n.
    """

    def __init__(self, time: Array, model: Model) -> None:
        t = time - time[0]
        n = len(t)
        self.model, self.onsets = model, time[: n - AFTER]
        project = projection(t, model)
        before = np.vstack([np.minimum(t, t[: n - AFTER, None]), t])
        after = t - before
        self._weights = before @ project
        self._bb = (self._weights * before).sum(axis=1)
        self._ba = (self._weights * after).sum(axis=1)
        self._aa = ((after @ project) * after).sum(axis=1)
        # For one wrong reading among those that go on: residuals given the spread of slopes.
        spread = project @ t
        self._left = project - np.outer(spread, spread) * model.usual_sd**2 / (1 + model.usual_sd**2 * (t @ spread))
        self._line = model.usual * t
        back = (t[: n - AFTER] - t[-1]) * np.log(2) / HALVED
        self._log_onset = back - logsumexp(back)

    def products(self, y: Array) -> Array:
        """Return m'Py of shape (series, k + 1); the last is that of the whole time."""
        return np.asarray(y @ self._weights.T)

    def log_given(self, z: Array, after: float) -> Array:
        """Return log likelihoods (series, k + 1) with slope ``after`` from each onset on; the last: none within sight.

        Up to a constant that depends on the series alone.
        """
        u, var = self.model.usual, self.model.usual_sd**2
        whole = z[:, -1:]
        squares = (
            -2 * u * z
            - 2 * after * (whole - z)
            + u * u * self._bb
            + after * after * self._aa
            + 2 * u * after * self._ba
        )
        left, scale = z - u * self._bb - after * self._ba, 1 + var * self._bb
        return np.asarray(-0.5 * squares + 0.5 * var * left**2 / scale - 0.5 * np.log(scale))

    def log_stopped(self, z: Array) -> Array:
        """Return log likelihood times prior of each onset, summed over slopes after stopping: shape (series, k)."""
        each = [self.log_given(z, c)[:, :-1] for c in self.model.stopped]
        return np.asarray(logsumexp(np.stack(each), axis=0) - np.log(len(each)) + self._log_onset)

    def log_well(self, z: Array, y: Array) -> Array:
        """Return the log likelihood of doing well: shape (series,).

        Goes on at its own b, at least the needed slope, with or without one wrong reading; or slowed to the needed
        slope at some reading.
        """
        model = self.model
        log = self.log_given(z, model.needed)
        k, var = log.shape[1] - 1, model.usual_sd**2
        scale = 1 + var * self._bb[-1]
        mean = model.usual + var * (z[:, -1] - model.usual * self._bb[-1]) / scale
        log[:, -1] += (
            self.log_one_wrong(y)
            + log_ndtr((mean - model.needed) * np.sqrt(scale / var))
            - log_ndtr((model.usual - model.needed) / model.usual_sd)
            + np.log(model.goes_on)
        )
        log[:, :-1] += np.log((1 - model.goes_on) / k)
        return np.asarray(logsumexp(log, axis=1))

    def ratio(self, y: Array) -> Array:
        """Return the log ratio of "has stopped" to "does well", shape (series,): averages over onsets, no maximum."""
        z = self.products(y)
        return np.asarray(logsumexp(self.log_stopped(z), axis=1) - self.log_well(z, y))

    def log_one_wrong(self, y: Array) -> Array:
        """Return by how much the log likelihood of going on grows if one reading may be wrong, shape (series,).

        In half of the series one reading is off by ``WRONG`` times the noise (standard deviation), each reading equally
        likely: a single light or heavy day does not make a stop.
        """
        var = (WRONG * self.model.noise) ** 2
        scale = 1 + var * np.diag(self._left)
        each = 0.5 * var * ((y - self._line) @ self._left) ** 2 / scale - 0.5 * np.log(scale)
        one = logsumexp(each, axis=1) - np.log(y.shape[1])
        return np.asarray(np.logaddexp(np.log(1 - ONE_WRONG), np.log(ONE_WRONG) + one))

    def free(self, z: Array, prior: float) -> tuple[Array, Array, Array]:
        """Return mean and variance of the slope after each onset, and log weight of the onset: each of shape (k,).

        ``z`` is of one series; ``prior`` the variance of the slope after, about the usual.
        """
        u, var = self.model.usual, self.model.usual_sd**2
        bb, ba, aa = self._bb[:-1], self._ba[:-1], self._aa[:-1]
        zb, za = z[0, :-1] - u * bb - u * ba, z[0, -1] - z[0, :-1] - u * ba - u * aa
        # Posterior precision of (b - u, c - u), both with normal priors.
        p11, p12, p22 = bb + 1 / var, ba, aa + 1 / prior
        det = p11 * p22 - p12**2
        mean_b, mean_c = (p22 * zb - p12 * za) / det, (p11 * za - p12 * zb) / det
        log = 0.5 * (zb * mean_b + za * mean_c) - 0.5 * np.log(det * var * prior)
        # What the line at the usual slope throughout leaves is the same for all onsets.
        return u + mean_c, p11 / det, log + self._log_onset


def projection(time: Array, model: Model, also: Array | None = None) -> Array:
    """Return the inverse covariance (noise and wander) less its projection on the unknown level, of shape (n, n).

    ``also`` (n, n) is added to the covariance.
    """
    t = time - time[0]
    variance = model.noise**2 * np.eye(len(t)) + model.wander**2 * np.minimum(t[:, None], t)
    inverse = np.linalg.inv(variance if also is None else variance + also)
    ones = inverse.sum(axis=1)
    return np.asarray(inverse - np.outer(ones, ones) / ones.sum())


def sharpness(time: Array, onset: float, model: Model, *, own_slope_known: bool = True) -> float:
    """Return in how many standard errors a change of slope of 1 at a known time shows.

    Notes
    -----
    sqrt(v'Pv), v the time since the onset: the likelihood-ratio test that knows noise, slope and onset and estimates
    the level finds a change of d with power Phi(d sqrt(v'Pv) - z(1 - alpha)). Without ``own_slope_known`` the slope
    before is that of series like it, with their spread, and what its own readings tell.
    """
    v = np.maximum(time - onset, 0)
    before = time - time[0] - v
    also = None if own_slope_known else model.usual_sd**2 * np.outer(before, before)
    return float(np.sqrt(v @ projection(time, model, also) @ v))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Since:
    """The slope since a series stopped, whenever that was.

    Attributes
    ----------
    estimate, low, high : float
        Slope after the onset with its interval, averaged over the onsets. Unit: y per unit of time.
    first, last : float
        The onset lies between these times with the confidence asked for.
    likely : float
        Time of the likeliest onset.
    """

    estimate: float
    low: float
    high: float
    first: float
    last: float
    likely: float


def since(bends: Bends, y: Array, time: Array, *, confidence: float = 0.95) -> Since:
    """Return the slope since one series stopped, and when that was, each with its interval.

    Parameters
    ----------
    bends : Bends
    y, time : ndarray, shape (n,)
    confidence : float
        Between 0 and 1.

    Notes
    -----
    The slope after the onset c ~ N(usual, 4 (usual^2 + usual_sd^2)), so wide that the readings decide. Each
    onset weighs as its likelihood with c left free; the slope's distribution is the mixture. An onset is known no
    better than the readings lie apart: the range reaches half way to the reading before the first onset that cannot be
    left out, and half way to the one after the last.
    """
    z = bends.products(np.asarray(y)[None, :])
    prior = 4 * (bends.model.usual**2 + bends.model.usual_sd**2)
    centre, var, log = bends.free(z, prior)
    weight = np.exp(log - logsumexp(log))
    sides = (1 - confidence) / 2
    grid = np.linspace((centre - 5 * np.sqrt(var)).min(), (centre + 5 * np.sqrt(var)).max(), 2001)
    below = np.exp(log_ndtr((grid[:, None] - centre) / np.sqrt(var))) @ weight
    low, mid, high = np.interp([sides, 0.5, 1 - sides], below, grid)
    order = np.cumsum(weight)
    k = len(weight)
    first = int(np.searchsorted(order, sides))
    last = min(int(np.searchsorted(order, 1 - sides)), k - 1)
    return Since(
        estimate=float(mid),
        low=float(low),
        high=float(high),
        first=float(time[max(first - 1, 0)] + time[first]) / 2,
        last=float(time[last] + time[last + 1]) / 2,
        likely=float(bends.onsets[int(np.argmax(weight))]),
    )
