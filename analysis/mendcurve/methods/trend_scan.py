"""Has a series stopped rising? A likelihood ratio over the days it may have stopped, calibrated by simulation."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student

from mendcurve.errors import InputError
from mendcurve.methods.trend_likelihood import AFTER, Bends, Model, Since, since

__all__ = ["AFTER", "FEWEST", "Look", "Model", "Scan", "draw_in", "scan", "scan_many"]
Array = NDArray[np.float64]
# Readings needed in all, readings looked back on (longer series lose the oldest).
FEWEST, LONGEST = 3, 60
# A reading further from its neighbours than this many of its standard deviations is drawn in to it (Huber).
CLIP = 2.5
DRAWS, SEED = 10_000, 20_240_501
# Degrees of freedom from which a t distribution is taken as normal.
NORMAL = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scan:
    """Result of the scan.

    Attributes
    ----------
    statistic : float
        Log likelihood ratio: how much better "stopped on one of these days" fits than "does well".
    chance : float
        Share of simulated series that do well, weighed on the same days, with a statistic at least as large.
    since : Since
        Slope since it stopped and the time it did, each with its 95 % interval, should it have stopped.
    """

    statistic: float
    chance: float
    since: Since


class Look:
    """One look at series read at the same times: the ratio, and what it is in simulated series.

    Parameters
    ----------
    time : array_like, shape (n,)
        Ascending. Unit: that of the model's slopes. Only the last 60 are used.
    model : Model
    draws : int
        Simulated series; the same seed each time.

    Attributes
    ----------
    healthy : ndarray, shape (draws, n)
        Simulated series that do well.
    ranks : ndarray, shape (draws,)
        The chance of each of them: uniform between 0 and 1.

    Raises
    ------
    InputError
        If fewer than 3 readings, or times do not ascend.

    Notes
    -----
    Series that do well have their own slope b ~ N(usual, usual_sd^2), raised to ``needed`` where it is less; a share
    1 - ``goes_on`` of them slows to ``slowed`` of it (not below ``needed``) at a reading drawn at random; readings have
    t-distributed noise and wander. Those far from their neighbours are drawn in first (``draw_in``).
    """

    def __init__(self, time: ArrayLike, model: Model, *, draws: int = DRAWS) -> None:
        self.time, self.model, self.draws = _times(time), model, draws
        self.bends = Bends(self.time, model)
        self.healthy = self._simulated()
        ratios = self.ratio(self.healthy)
        self._sorted = np.sort(ratios)
        self.ranks = self._rank(ratios)

    def ratio(self, y: ArrayLike) -> Array:
        """Return the log likelihood ratio of each row of ``y``, shape (series, n)."""
        y = np.asarray(y, float)
        if y.ndim != 2 or not np.isfinite(y).all():
            raise InputError(
                "A scan needs finite readings at ascending times.", [f"{int((~np.isfinite(y)).sum())} not finite"]
            )
        return self.bends.ratio(draw_in(self.time, y[:, -len(self.time) :], self.model.noise))

    def chance(self, ratio: ArrayLike) -> Array:
        """Return the share of series that do well with a ratio at least as large, the one at hand counted among."""
        above = self.draws - np.searchsorted(self._sorted, np.asarray(ratio, float) - 1e-12)
        return np.asarray((above + 1) / (self.draws + 1))

    def since(self, y: ArrayLike) -> Since:
        """Return slope since, and time of, a stop of one series, shape (n,)."""
        held = draw_in(self.time, np.asarray(y, float)[None, -len(self.time) :], self.model.noise)[0]
        return since(self.bends, held, self.time)

    def after_a_stop(self, back: float, less: float) -> Array:
        """Return the ratios of the simulated series had their slope fallen by ``less`` so long ago: shape (draws,)."""
        return self.ratio(self.healthy - less * np.maximum(self.time - (self.time[-1] - back), 0))

    def stopped(self, back: float) -> Array:
        """Return the ratios of simulated series that stopped so long ago: shape (draws,)."""
        held = np.minimum(self.time, self.time[-1] - back)
        slopes = _draws(self.draws, self.model.tail)[0]
        b = np.maximum(self.model.usual + self.model.usual_sd * slopes, self.model.needed)
        path = np.outer(b, held - self.time[0]) + max(self.model.stopped, key=abs) * (self.time - held)
        return self.ratio(path + self._scatter())

    def _simulated(self) -> Array:
        model, lapse = self.model, self.time - self.time[0]
        slopes, _, _, when = _draws(self.draws, model.tail)
        b = np.maximum(model.usual + model.usual_sd * slopes, model.needed)
        slow = np.maximum(model.slowed * b, model.needed)
        slowing = 1 - model.goes_on
        onset = lapse[(np.minimum(when / slowing, 1 - 1e-9) * len(lapse)).astype(int)]
        onset = np.where(when < slowing, onset, np.inf)[:, None]
        path = b[:, None] * np.minimum(lapse, onset) + slow[:, None] * np.maximum(lapse - onset, 0)
        return np.asarray(path + self._scatter())

    def _scatter(self) -> Array:
        _, noise, steps, _ = _draws(self.draws, self.model.tail)
        n = len(self.time)
        out = self.model.noise * noise[:, :n]
        if self.model.wander > 0:
            gaps = np.sqrt(np.diff(self.time, prepend=self.time[0]))
            out = out + np.cumsum(self.model.wander * gaps * steps[:, :n], axis=1)
        return out

    def _rank(self, ratios: Array) -> Array:
        return np.asarray((self.draws - np.searchsorted(self._sorted, ratios - 1e-12)) / self.draws)


def scan(time: ArrayLike, y: ArrayLike, model: Model, *, draws: int = DRAWS) -> Scan:
    """Scan one series for a stop.

    Parameters
    ----------
    time, y : array_like, shape (n,)
        Times ascending, in the unit of the model's slopes; readings (log weight).
    model : Model
    draws : int
        Simulated series; the same seed each time.

    Notes
    -----
    The statistic averages the likelihood over the onsets that leave 2 readings after and over the slopes after
    stopping, against that of series that do well (``Bends``). ``chance`` counts the series at hand among the
    simulated, so it is never 0. A rule "listed when chance <= alpha" lists a share alpha of series that do well *at
    one look*; one listed two weeks running counts twice.
    """
    y = _readings(time, np.asarray(y, float)[None, :])
    look = Look(time, model, draws=draws)
    ratio = look.ratio(y)
    return Scan(statistic=float(ratio[0]), chance=float(look.chance(ratio)[0]), since=look.since(y[0]))


def scan_many(time: ArrayLike, y: ArrayLike, model: Model, *, draws: int = DRAWS) -> tuple[Array, Array]:
    """Scan series that share their times, ``y`` of shape (series, n); return statistic and chance, (series,) each."""
    y = _readings(time, y)
    look = Look(time, model, draws=draws)
    ratio = look.ratio(y)
    return ratio, look.chance(ratio)


def draw_in(time: Array, y: Array, noise: float) -> Array:
    """Return readings with those far from their neighbours drawn in; ``y`` has shape (series, n).

    Notes
    -----
    Each reading is held against the line through its two neighbours; only one that is the worst of its neighbourhood
    moves, to 2.5 standard deviations of that difference. The first is held against the next two, the last against the
    two before.
    """
    n = len(time)
    left, right = np.arange(n) - 1, np.arange(n) + 1
    left[0], right[0], left[-1], right[-1] = 1, 2, n - 3, n - 2
    share = (time - time[left]) / (time[right] - time[left])
    off = y - (1 - share) * y[:, left] - share * y[:, right]
    size = noise * np.sqrt(1 + share**2 + (1 - share) ** 2)
    far = np.abs(off) / size
    padded = np.pad(far, ((0, 0), (1, 1)))
    worst = (far > CLIP) & (far >= padded[:, :-2]) & (far >= padded[:, 2:])
    return np.where(worst, y - off + np.sign(off) * CLIP * size, y)


@lru_cache(maxsize=4)
def _draws(draws: int, tail: float) -> tuple[Array, Array, Array, Array]:
    """Return standard slopes (draws,), readings and steps (draws, LONGEST), all of variance 1, and shares (draws,)."""
    rng = np.random.default_rng(SEED)
    slopes, steps = rng.standard_normal(draws), rng.standard_normal((draws, LONGEST))
    if tail >= NORMAL:
        noise = rng.standard_normal((draws, LONGEST))
    else:
        noise = student.rvs(tail, size=(draws, LONGEST), random_state=rng) * np.sqrt((tail - 2) / tail)
    return slopes, noise, steps, rng.random(draws)


def _times(time: ArrayLike) -> Array:
    time = np.asarray(time, float)
    if len(time) < FEWEST or not np.isfinite(time).all() or not (np.diff(time) > 0).all():
        raise InputError(
            f"A scan needs at least {FEWEST} readings at ascending times.",
            [f"{len(time)} times: {', '.join(f'{t:g}' for t in time[:8])}"],
        )
    return time[-LONGEST:]


def _readings(time: ArrayLike, y: ArrayLike) -> Array:
    y = np.asarray(y, float)
    if y.ndim != 2 or y.shape[1] != len(np.asarray(time)):
        raise InputError("A scan needs one time for each reading.", [f"{len(np.asarray(time))} times, shape {y.shape}"])
    return y
