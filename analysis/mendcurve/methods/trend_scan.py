"""Has a series stopped rising? A likelihood-ratio scan over the day it stopped, calibrated by simulation."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student

from mendcurve.errors import InputError

Array = NDArray[np.float64]
# Readings needed after an onset, readings needed in all, readings looked back on (longer series lose the oldest).
AFTER, FEWEST, LONGEST = 2, 4, 60
# A reading further from its neighbours than this many of its standard deviations is drawn in to it (Huber).
CLIP = 2.5
DRAWS, SEED = 10_000, 20_240_501
# Degrees of freedom from which a t distribution is taken as normal.
NORMAL = 30.0


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
    """

    noise: float
    usual: float
    usual_sd: float
    needed: float
    stopped: tuple[float, ...]
    tail: float = 5.0
    wander: float = 0.0

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scan:
    """Result of the scan.

    Attributes
    ----------
    statistic : float
        Largest log likelihood ratio over the onsets: how much better "stopped since then" fits than "gains as needed".
    chance : float
        Share of simulated series that do well, weighed on the same days, with a statistic at least as large.
    onset : float
        Time of the reading after which it best fits that the series stopped.
    at : int
        Place of that reading.
    """

    statistic: float
    chance: float
    onset: float
    at: int


def scan(time: ArrayLike, y: ArrayLike, model: Model, *, draws: int = DRAWS) -> Scan:
    """Scan one series for the time it stopped rising.

    Parameters
    ----------
    time : array_like, shape (n,)
        Ascending. Unit: that of the model's slopes.
    y : array_like, shape (n,)
        Readings (log weight).
    model : Model
    draws : int
        Simulated series; the same seed each time.

    Raises
    ------
    InputError
        If fewer than 4 readings, or times do not ascend.

    Notes
    -----
    For an onset at reading j, before: level a (unknown) + b t, b ~ N(usual, usual_sd^2); after: slope ``needed`` under
    the one hypothesis and ``stopped`` under the other, continuous at j. The log likelihood ratio of the two is linear
    in y; the statistic is its maximum over the onsets that leave 2
    readings after, and over the slopes after stopping. Readings far from their neighbours
    are drawn in first (``draw_in``). Only the last 60 readings are looked at.

    Series that do well go on at their own slope b, those below ``needed`` at ``needed``; their readings have
    t-distributed noise. ``chance`` counts the series at hand among the simulated, so it is never 0. A rule "listed when
    chance <= alpha" lists a share alpha of series that do well *at one look*; one listed two
    weeks running counts twice.
    """
    one = scan_many(time, np.asarray(y, float)[None, :], model, draws=draws)
    return Scan(
        statistic=float(one[0][0]), chance=float(one[1][0]), onset=float(np.asarray(time)[one[2][0]]), at=int(one[2][0])
    )


def scan_many(
    time: ArrayLike, y: ArrayLike, model: Model, *, draws: int = DRAWS
) -> tuple[Array, Array, NDArray[np.int_]]:
    """Scan series that share their times; return statistic, chance and place of the onset, each of shape (series,).

    Parameters
    ----------
    time : array_like, shape (n,)
    y : array_like, shape (series, n)
    model, draws
        As in ``scan``.
    """
    time, y, dropped = _series(time, y)
    weights, constant = contrasts(time, model)
    values = draw_in(time, y, model.noise) @ weights.T - constant
    best = values.max(axis=1)
    healthy = np.sort((_simulated(time, model, draws) @ weights.T - constant).max(axis=1))
    above = draws - np.searchsorted(healthy, best - 1e-12)
    return best, (above + 1) / (draws + 1), values.argmax(axis=1) % (len(constant) // len(model.stopped)) + dropped


def contrasts(time: Array, model: Model) -> tuple[Array, Array]:
    """Return weights (k, n) and constants (k,): the log likelihood ratios are weights @ y - constants.

    k is all onsets for the first slope after stopping, then all for the next.

    Notes
    -----
    With m = min(t, t_j), v = max(t - t_j, 0), V = noise^2 I + usual_sd^2 m m' + wander^2 K, K the covariance of a
    random walk that is 0 at t_j, and P = V^-1 less its projection on the
    unknown level, the ratio is d' P (y - usual m - needed v) - d' P d / 2 with d = (stopped - needed) v
    for each slope after stopping.
    """
    time = time - time[0]
    onset = time[: len(time) - AFTER, None]
    before, after = np.minimum(time, onset), np.maximum(time - onset, 0)
    gap = time - onset
    same = np.sign(gap)[:, :, None] * np.sign(gap)[:, None, :] > 0
    nearer = np.minimum(np.abs(gap)[:, :, None], np.abs(gap)[:, None, :])
    variance = (
        model.noise**2 * np.eye(len(time))
        + model.usual_sd**2 * before[:, :, None] * before[:, None, :]
        + model.wander**2 * np.where(same, nearer, 0.0)
    )
    ones, solved = np.moveaxis(np.linalg.solve(variance, np.stack([np.ones_like(after), after], axis=-1)), -1, 0)
    projected = solved - ones * (solved.sum(1) / ones.sum(1))[:, None]
    weights, constant = [], []
    for stopped in model.stopped:
        d = stopped - model.needed
        weights.append(d * projected)
        constant.append((d * projected * (model.usual * before + (model.needed + d / 2) * after)).sum(1))
    return np.concatenate(weights), np.concatenate(constant)


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


def _simulated(time: Array, model: Model, draws: int) -> Array:
    n = len(time)
    slopes, noise, steps = _draws(draws, model.tail)
    path = np.outer(np.maximum(model.usual + model.usual_sd * slopes, model.needed), time - time[0])
    if model.wander > 0:
        path += np.cumsum(model.wander * np.sqrt(np.diff(time, prepend=time[0])) * steps[:, :n], axis=1)
    return draw_in(time, path + model.noise * noise[:, :n], model.noise)


@lru_cache(maxsize=4)
def _draws(draws: int, tail: float) -> tuple[Array, Array, Array]:
    """Return standard slopes (draws,), readings and steps (draws, LONGEST), all of variance 1."""
    rng = np.random.default_rng(SEED)
    slopes, steps = rng.standard_normal(draws), rng.standard_normal((draws, LONGEST))
    if tail >= NORMAL:
        return slopes, rng.standard_normal((draws, LONGEST)), steps
    return slopes, student.rvs(tail, size=(draws, LONGEST), random_state=rng) * np.sqrt((tail - 2) / tail), steps


def _series(time: ArrayLike, y: ArrayLike) -> tuple[Array, Array, int]:
    time, y = np.asarray(time, float), np.asarray(y, float)
    if y.ndim != 2 or len(time) != y.shape[1] or len(time) < FEWEST:
        raise InputError(
            f"A scan needs at least {FEWEST} readings with their times.", [f"{len(time)} times, {y.shape[-1]} readings"]
        )
    if not (np.isfinite(time).all() and np.isfinite(y).all() and (np.diff(time) > 0).all()):
        raise InputError(
            "A scan needs finite readings at ascending times.",
            [f"times {', '.join(f'{t:g}' for t in time[:8])}, {int((~np.isfinite(y)).sum())} not finite"],
        )
    return time[-LONGEST:], y[:, -LONGEST:], max(0, len(time) - LONGEST)
