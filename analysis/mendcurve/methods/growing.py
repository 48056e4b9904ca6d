"""A mean path, each subject's own lasting gain that slowly returns to it, a random walk, and noise of a reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize

from mendcurve.errors import InputError
from mendcurve.methods.growing_filter import Array, Readings, State, filtered, noise_over, padded
from mendcurve.methods.spline import basis

# Median and SD of the logarithm, before the data speak: spread of slopes (1.4 % a week), half-life of a slope (days),
# wander (1.6 % in 30 days). The half-life is held firmer: few series tell it. Our choice, no source.
PRIOR = np.log([0.002, 60.0, 0.003])
PRIOR_SD = np.array([1.5, 0.7, 1.5])
# Spreads of slopes differ between subjects as Student's t with so many degrees of freedom has it: some stop and start.
TAIL = 4.0
# A reading further from what was expected than so many SDs is held back to them.
FAR = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Growing:
    """A fitted model of y by day.

    Attributes
    ----------
    at : ndarray
        Knots of the natural spline of the mean. Unit: days.
    beta, beta_cov : ndarray, shapes (p,) and (p, p)
        Its coefficients (no constant: levels are each series' own).
    logs, logs_cov : ndarray, shapes (3,) and (3, 3)
        Logarithms of spread of slopes (y a day), half-life (days) and wander (y per root of a day), and about how
        far off they may be.
    subjects : int
        Series with two readings or more.
    """

    at: Array
    beta: Array
    beta_cov: Array
    logs: Array
    logs_cov: Array
    subjects: int

    @property
    def half_life(self) -> float:
        """Days in which half of the difference between a series' slope and the mean's is lost."""
        return float(np.exp(self.logs[1]))

    def mean(self, days: ArrayLike, beta: ArrayLike | None = None) -> Array:
        """Return the mean gain from the first knot to each day; for several rows of ``beta``, shape (rows, days)."""
        given = self.beta if beta is None else np.asarray(beta, dtype=float)
        return np.asarray(given @ basis(days, self.at).T, dtype=float)


def fit(series: ArrayLike, day: ArrayLike, y: ArrayLike, noise: ArrayLike, at: ArrayLike) -> Growing:
    """Fit the model by restricted likelihood with weak priors on the three scales [1]_.

    Parameters
    ----------
    series, day, y, noise : array_like, shape (n,)
        Name of the series, day, value and SD of a reading; any order.
    at : array_like
        Knots of the mean. Unit: days.

    Raises
    ------
    InputError
        If fewer than three series have two readings or more, or a noise is not above 0.

    Notes
    -----
    y = level + f(day) + D + W + e, D' an Ornstein-Uhlenbeck process that starts in its own long-run spread, W a random
    walk, e the noise of a reading. The level of a series is free: its first reading starts the filter. f is profiled
    out by filtering its columns beside y. Readings far from what was expected get a wider noise, and all is fitted once
    more. With a half-life beyond all days it is the mixed model with random slopes.

    References
    ----------
    .. [1] Taylor, Cumberland & Sy (1994), Journal of the American Statistical Association 89: 727-736 (from memory).
    """
    days, values, sd = (np.asarray(v, dtype=float) for v in (day, y, noise))
    if not (sd > 0).all():
        raise InputError("The noise of a reading must be above 0.", [f"smallest {sd.min():g}"])
    knots = np.asarray(at, dtype=float)
    data = padded(series, days, np.column_stack([values, basis(days, knots)]), sd**2)
    if data.subjects < 3:
        raise InputError(
            "Growth is told from three series of two readings or more at least.", [f"{data.subjects} given"]
        )
    start = PRIOR.copy()
    for _ in range(2):
        start = _maximum(data, start)
        beta, _ = _mean(filtered(data, start[None]))
        data = data.held_back(filtered(data.less(beta), start[None]), FAR)
    beta, cov = _mean(filtered(data, start[None]))
    return Growing(at=knots, beta=beta, beta_cov=cov, logs=start, logs_cov=_doubt(data, start), subjects=data.subjects)


def ahead(
    model: Growing,
    day: ArrayLike,
    y: ArrayLike,
    noise: ArrayLike,
    later: ArrayLike,
    *,
    draws: int,
    rng: np.random.Generator,
) -> Array:
    """Return simulated readings of one series on later days, shape (days, draws).

    Parameters
    ----------
    day, y, noise : array_like, shape (n,)
        The readings so far, in order; n = 1 will do.
    later : array_like, shape (k,)
        Days, ascending, after the last.

    Notes
    -----
    Each draw has its own mean and scales, from about their likelihood, and its own level and slope given the readings.
    Draws are taken as often as they make the series' own readings likely.
    """
    days, values, sd, to = (np.asarray(v, dtype=float) for v in (day, y, noise, later))
    beta = rng.multivariate_normal(model.beta, model.beta_cov, draws, method="eigh")
    logs = rng.multivariate_normal(model.logs, model.logs_cov, draws, method="eigh")
    # beyond a year and more all half-lives are the same
    logs[:, 1] = np.clip(logs[:, 1], np.log(3.0), np.log(2000.0))
    logs[:, 0] += np.log(TAIL / rng.chisquare(TAIL, draws)) / 2
    off = values - model.mean(days, beta)
    end = filtered(Readings.one(days, off, sd**2), logs, far=FAR)
    likely = -(end.log_det + end.cross[:, 0, 0]) / 2
    weight = np.exp(likely - likely.max())
    take = rng.choice(draws, draws, p=weight / weight.sum())
    beta, logs = beta[take], logs[take]
    state = _drawn(end, rng, take)
    out = np.empty((len(to), draws))
    gaps = np.diff(to, prepend=days[-1])
    for k, gap in enumerate(gaps):
        a, reach, q11, q12, q22 = noise_over(np.full(draws, gap), logs.T)
        state = np.stack([state[0] + reach * state[1], a * state[1]])
        shock = rng.standard_normal((2, draws))
        moved = np.sqrt(q22)
        tied = np.divide(q12, moved, out=np.zeros(draws), where=moved > 0)
        state[1] += moved * shock[1]
        state[0] += tied * shock[1] + np.sqrt(np.maximum(q11 - tied**2, 0)) * shock[0]
        out[k] = state[0] + sd[-1] * rng.standard_normal(draws)
    return out + model.mean(to, beta).T


def _drawn(end: State, rng: np.random.Generator, take: NDArray[np.int64]) -> Array:
    """Draw level and slope at the last reading, shape (2, draws)."""
    p11, p12, p22 = (p[take, 0] for p in end.cov)
    shock = rng.standard_normal((2, len(p11)))
    level = np.sqrt(p11)
    slope = p12 / level * shock[0] + np.sqrt(np.maximum(p22 - p12**2 / p11, 0)) * shock[1]
    return np.stack([end.level[take, 0, 0] + level * shock[0], end.slope[take, 0, 0] + slope])


def _mean(end: State) -> tuple[Array, Array]:
    cross = end.cross[0]
    cov = np.linalg.pinv(cross[1:, 1:], hermitian=True)
    return cov @ cross[1:, 0], cov


def _deviance(data: Readings, logs: Array) -> Array:
    """Return minus twice the restricted log-likelihood, prior included, for each row of ``logs``."""
    end = filtered(data, logs)
    inner = end.cross[:, 1:, 1:]
    right = end.cross[:, 1:, :1]
    left = end.cross[:, 0, 0] - (right.transpose(0, 2, 1) @ np.linalg.solve(inner, right))[:, 0, 0]
    return np.asarray(
        end.log_det + left + np.linalg.slogdet(inner)[1] + (((logs - PRIOR) / PRIOR_SD) ** 2).sum(axis=1), dtype=float
    )


def _maximum(data: Readings, start: Array) -> Array:
    step = 1e-3 * np.eye(len(start))

    def objective(logs: Array) -> tuple[float, Array]:
        found = _deviance(data, logs + np.vstack([np.zeros(len(start)), step, -step]))
        return float(found[0]), (found[1:4] - found[4:7]) / 2e-3

    limits = list(zip(PRIOR - 4 * PRIOR_SD, PRIOR + 4 * PRIOR_SD, strict=True))
    found = minimize(objective, start, jac=True, method="L-BFGS-B", bounds=limits, options={"ftol": 1e-8})
    return np.asarray(found.x, dtype=float)


def _doubt(data: Readings, logs: Array) -> Array:
    """Return the covariance of the logarithms, from the curvature there; never wider than before the data spoke."""
    step = 0.1
    moves = [(i, j, a, b) for i in range(3) for j in range(3) for a in (1, -1) for b in (1, -1)]
    unit = step * np.eye(3)
    points = np.array([logs + a * unit[i] + b * unit[j] for i, j, a, b in moves])
    signs = np.array([a * b for *_, a, b in moves])
    curve = (_deviance(data, points) * signs).reshape(3, 3, 4).sum(axis=2) / (4 * step**2) / 2
    scaled = curve * np.outer(PRIOR_SD, PRIOR_SD)
    size, axes = np.linalg.eigh((scaled + scaled.T) / 2)
    root = axes / np.sqrt(np.maximum(size, 1.0))
    return np.asarray((root @ root.T) * np.outer(PRIOR_SD, PRIOR_SD), dtype=float)
