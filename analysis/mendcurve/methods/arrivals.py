"""Intake events by week: negative binomial, with a season shrunk to flat and a damped trend; draws for weeks ahead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from mendcurve.errors import InputError

Floats = NDArray[np.float64]

YEAR_WEEKS = 365.25 / 7
# Below two years a season cannot be told from a trend: the rate is constant.
SEASON_FROM_WEEKS = 104
# Prior standard deviations, all on the log scale: each shrinks towards a flat and steady rate.
TREND_SD = 0.25  # per year
SEASON_SD = 0.4
SIZE_CENTRE, SIZE_SD = np.log(5.0), 1.5
# Share of a trend that is left after each further week.
DAMPING = 0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weekly:
    """Weekly intake events of the past, fitted, and the weeks ahead, drawn.

    Attributes
    ----------
    mean : ndarray, shape (draws, weeks ahead)
        Expected events. Unit: events per week.
    size : ndarray, shape (draws,)
        Negative binomial size; infinite means Poisson.
    weeks : int
        Weeks fitted.
    seasonal : bool
        Whether a season and a trend were fitted (at least two years of weeks).
    estimate : ndarray
        Posterior mode: log rate, (trend a year, sine, cosine,) log size. Empty when there was no event at all.
    """

    mean: Floats
    size: Floats
    weeks: int
    seasonal: bool
    estimate: Floats


def weekly(counts: ArrayLike, *, ahead: int, draws: int, rng: np.random.Generator) -> Weekly:
    """Fit weekly counts and draw the rates of the weeks ahead.

    Parameters
    ----------
    counts : array of int, shape (weeks,)
        Events in each past week, oldest first, the last ending today.
    ahead : int
        Weeks ahead.
    draws : int
        Parameter draws, from the normal approximation at the posterior mode.

    Notes
    -----
    log rate = level today + trend x years ago + one yearly harmonic. The trend goes on damped: after week w its weekly
    step is 0.9^w of what it was. Priors (log scale): trend N(0, 0.25) a year, harmonic N(0, 0.4), size N(log 5, 1.5).
    Below 104 weeks: constant rate. Without any event: rate Gamma(1/2, weeks), Poisson.
    """
    y = np.asarray(counts, dtype=float)
    if y.ndim != 1 or y.size < 1:
        raise InputError("Weekly intake needs at least one full week, but there is none.")
    if (y < 0).any() or (y != np.round(y)).any():
        raise InputError("Weekly intake events must be whole numbers of at least 0.", [f"found {y.min():g}"])
    seasonal = y.size >= SEASON_FROM_WEEKS
    if y.sum() == 0:
        return Weekly(
            mean=rare_rate(0, y.size, ahead=ahead, draws=draws, rng=rng),
            size=np.full(draws, np.inf),
            weeks=y.size,
            seasonal=seasonal,
            estimate=np.empty(0),
        )
    design = _design(np.arange(1 - y.size, 1), seasonal)
    centre = np.append([np.log(y.mean()), 0.0, 0.0, 0.0][: design.shape[1]], SIZE_CENTRE)
    spread = np.append([3.0, TREND_SD, SEASON_SD, SEASON_SD][: design.shape[1]], SIZE_SD)
    found = optimize.minimize(
        _cost,
        centre,
        args=(y, design, centre, spread),
        jac=True,
        method="L-BFGS-B",
        bounds=[(c - 5 * s, c + 5 * s) for c, s in zip(centre, spread, strict=True)],
    )
    at = found.x
    drawn = rng.multivariate_normal(at, _covariance(at, y, design, centre, spread), size=draws, method="cholesky")
    future = _design(np.arange(1, ahead + 1), seasonal)
    return Weekly(
        mean=np.exp(drawn[:, :-1] @ future.T),
        size=np.exp(np.clip(drawn[:, -1], -4, 12)),
        weeks=y.size,
        seasonal=seasonal,
        estimate=at,
    )


def _design(week: NDArray[np.int64], seasonal: bool) -> Floats:
    """Return the design; week 0 is the last one seen, week 1 the first ahead, where the trend is damped."""
    if not seasonal:
        return np.ones((week.size, 1))
    damped = DAMPING * (1 - DAMPING ** np.maximum(week, 0)) / (1 - DAMPING)
    years = np.where(week > 0, damped, week) / YEAR_WEEKS
    angle = 2 * np.pi * week / YEAR_WEEKS
    return np.column_stack([np.ones(week.size), years, np.sin(angle), np.cos(angle)])


def _cost(at: Floats, y: Floats, design: Floats, centre: Floats, spread: Floats) -> tuple[float, Floats]:
    """Return minus the log posterior and its gradient."""
    mean, size = np.exp(design @ at[:-1]), np.exp(at[-1])
    both = size + mean
    log_lik = (
        special.gammaln(y + size) - special.gammaln(size) + size * np.log(size / both) + y * np.log(mean / both)
    ).sum()
    d_mean = design.T @ (y - mean * (y + size) / both)
    d_size = size * (special.digamma(y + size) - special.digamma(size) + np.log(size / both) + (mean - y) / both).sum()
    off = (at - centre) / spread
    return float(-log_lik + 0.5 * (off @ off)), -np.append(d_mean, d_size) + off / spread


def _covariance(at: Floats, y: Floats, design: Floats, centre: Floats, spread: Floats) -> Floats:
    """Return the inverse of the curvature at the mode, by central differences of the gradient."""
    step = 1e-4
    rows = [
        (_cost(at + e, y, design, centre, spread)[1] - _cost(at - e, y, design, centre, spread)[1]) / (2 * step)
        for e in step * np.eye(at.size)
    ]
    curve = np.array(rows)
    values, vectors = np.linalg.eigh((curve + curve.T) / 2)
    # The priors keep every curvature at or above theirs; a numerical dip below is lifted back.
    return (vectors / np.maximum(values, 1 / spread.max() ** 2)) @ vectors.T


def rare_rate(events: int, weeks: float, *, ahead: int, draws: int, rng: np.random.Generator) -> Floats:
    """Return draws of a constant rate of rare events, Gamma(events + 1/2, weeks); shape (draws, ahead), per week."""
    if weeks <= 0:
        raise InputError(f"A rate needs a time it was watched over, but weeks is {weeks:g}.")
    return np.repeat(rng.gamma(events + 0.5, 1 / weeks, (draws, 1)), ahead, axis=1)


def batch_chances(times: ArrayLike, *, draws: int, rng: np.random.Generator) -> Floats:
    """Return Dirichlet draws of the chance of each kind of batch, from how often each came; shape (draws, kinds)."""
    times = np.asarray(times, dtype=float)
    if times.size == 0 or (times <= 0).any():
        raise InputError("Every kind of batch must have come at least once.")
    drawn = rng.gamma(times, size=(draws, times.size))
    return drawn / drawn.sum(axis=1, keepdims=True)


def day_shares(times: ArrayLike) -> Floats:
    """Return the share of a week's events on each of its 7 days, one event a day added so that none is impossible."""
    times = np.asarray(times, dtype=float)
    if times.shape != (7,):
        raise InputError(f"A week has 7 days, but {times.size} counts were given.")
    return (times + 1) / (times.sum() + 7)
