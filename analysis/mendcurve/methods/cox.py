"""Cox's proportional hazards: ratios adjusted for each other, with Efron ties and delayed entry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats
from mendcurve.methods.cox_risk import Cohort, Places

_FLAT = 30.0
"""A linear predictor that differs by more than this between rows has no finite maximum behind it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ratios:
    """Hazard ratios of covariates, each with the others held.

    Attributes
    ----------
    names : tuple of str, length p
    coefficient, se : ndarray, shape (p,)
        Log ratio and its standard error (by cluster where clusters were given).
    naive_se : ndarray, shape (p,)
        Standard error from the information alone.
    ratio, low, high, p : ndarray, shape (p,)
        Ratio, limits, two-sided Wald p.
    covariance : ndarray, shape (p, p)
        Inverse information.
    log_likelihood_null, log_likelihood : float
    likelihood_ratio, wald, score : float
        Chi-squared statistics on p degrees of freedom that all ratios are 1.
    rows, events : int
    finite : bool
        False where the likelihood rises without bound: a covariate separates those with events from the others, and
        no finite ratio fits. Estimates are then nan.
    confidence : float
    """

    names: tuple[str, ...]
    coefficient: Floats
    se: Floats
    naive_se: Floats
    ratio: Floats
    low: Floats
    high: Floats
    p: Floats
    covariance: Floats
    log_likelihood_null: float
    log_likelihood: float
    likelihood_ratio: float
    wald: float
    score: float
    rows: int
    events: int
    finite: bool
    confidence: float


def cox(
    cohort: Cohort, names: tuple[str, ...], *, cluster: ArrayLike | None = None, confidence: float = 0.95
) -> Ratios:
    """Fit Cox's model.

    Parameters
    ----------
    cohort : Cohort
    names : tuple of str, length p
        Of the columns of ``cohort.x``.
    cluster : array_like, shape (n,), optional
        Rows that belong together; standard errors are then by cluster (sandwich of score residuals).
    confidence : float

    Raises
    ------
    InputError
        If nobody has an event, or a covariate is constant or a sum of others.

    Notes
    -----
    Newton's method on centred and scaled covariates, halving a step that lowers the likelihood. Written here because
    no library that can be installed is right in all of delayed entry, Efron ties, clusters and the score test of
    proportionality (tests/reference/LIBRARY_TRAPS.md); equal to R's coxph (tests/reference, section 06).
    """
    check_proportion("confidence", confidence)
    if not cohort.event.any():
        raise InputError("Somebody must have had the event, but nobody had.", remedy="Give counts instead of ratios.")
    middle = np.average(cohort.x, axis=0, weights=cohort.weight)
    scale = np.sqrt(np.average((cohort.x - middle) ** 2, axis=0, weights=cohort.weight))
    _check_rank(cohort.x, scale, names)
    model = Likelihood(cohort, (cohort.x - middle) / scale)
    null = model.at(np.zeros(len(names)))
    beta, fit, finite = _maximised(model, null)
    naive = np.linalg.inv(fit.information) / np.outer(scale, scale) if finite else np.full((len(names),) * 2, np.nan)
    coefficient = beta / scale if finite else np.full(len(names), np.nan)
    naive_se = np.sqrt(np.diag(naive))
    se = naive_se
    if cluster is not None and finite:
        residuals = model.residuals(beta) * scale * cohort.weight[:, None]
        _, group = np.unique(np.asarray(cluster), return_inverse=True)
        moved = np.stack([np.bincount(group, column) for column in (residuals @ naive).T], axis=1)
        se = np.sqrt(np.diag(moved.T @ moved))
    half = stats.norm.ppf(0.5 + confidence / 2) * se
    return Ratios(
        names=names,
        coefficient=coefficient,
        se=se,
        naive_se=naive_se,
        ratio=np.exp(coefficient),
        low=np.exp(coefficient - half),
        high=np.exp(coefficient + half),
        p=2 * stats.norm.sf(np.abs(coefficient / se)),
        covariance=naive,
        log_likelihood_null=null.value,
        log_likelihood=fit.value if finite else np.nan,
        likelihood_ratio=2 * (fit.value - null.value) if finite else np.nan,
        wald=float(beta @ fit.information @ beta) if finite else np.nan,
        score=float(null.gradient @ np.linalg.solve(null.information, null.gradient)),
        rows=len(cohort.exit),
        events=int(cohort.event.sum()),
        finite=finite,
        confidence=confidence,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    value: float
    gradient: Floats
    information: Floats


class Likelihood:
    """The partial log likelihood of a cohort in given covariates."""

    def __init__(self, cohort: Cohort, x: Floats):
        self.cohort, self.x = cohort, x
        self.pairs = np.triu_indices(x.shape[1])

    def moments(self, beta: Floats, *, second: bool = True) -> tuple[Floats, Floats, Floats]:
        """At each draw of an event: who is at risk (m,), their mean covariates (m, p) and covariance (m, p, p)."""
        cohort, count = self.cohort, self.x.shape[1]
        risk = cohort.weight * np.exp(self.x @ beta)
        products = self.x[:, self.pairs[0]] * self.x[:, self.pairs[1]] if second else self.x[:, :0]
        at_risk, ended = cohort.sums(risk[:, None] * np.column_stack([np.ones(len(risk)), self.x, products]))
        when, gone = cohort.draws
        left = at_risk[when] - gone[:, None] * ended[when]
        mean = left[:, 1 : count + 1] / left[:, :1]
        spread = np.zeros((len(when), count, count))
        if second:
            spread[:, self.pairs[0], self.pairs[1]] = left[:, count + 1 :] / left[:, :1]
            spread[:, self.pairs[1], self.pairs[0]] = left[:, count + 1 :] / left[:, :1]
            spread -= mean[:, :, None] * mean[:, None, :]
        return left[:, 0], mean, spread

    def at(self, beta: Floats) -> _Point:
        """Value, gradient and information at ``beta``."""
        risk, mean, spread = self.moments(beta)
        cohort = self.cohort
        weight = cohort.event_weight()
        gone = self.x[cohort.event] * cohort.weight[cohort.event, None]
        value = (gone @ beta).sum() - weight @ np.log(risk)
        return _Point(float(value), gone.sum(axis=0) - weight @ mean, np.einsum("m,mij->ij", weight, spread))

    def residuals(self, beta: Floats, *, by_time: Floats | None = None) -> Floats:
        """Score residuals, shape (n, p): what each row adds to the gradient, unweighted.

        ``by_time`` (event times,) gives those of the covariates times a function of time.
        """
        cohort = self.cohort
        risk, mean, _ = self.moments(beta, second=False)
        when, gone = cohort.draws
        steps = len(cohort.times[2])
        factor = np.ones(steps) if by_time is None else by_time
        rise = factor[when] * cohort.event_weight() / risk
        hazard = _by_time(when, np.column_stack([rise, rise[:, None] * mean]), steps)
        spared = _by_time(when, np.column_stack([gone * rise, (gone * rise)[:, None] * mean]), steps)
        total = np.vstack([np.zeros((1, hazard.shape[1])), np.cumsum(hazard, axis=0)])
        into, out, times = cohort.times
        seen = total[np.searchsorted(times, out, "right")] - total[np.searchsorted(times, into, "right")]
        # a tied event is only partly at risk for the draws of its own time
        seen[cohort.event] -= spared[cohort.own]
        felt = np.exp(self.x @ beta)[:, None] * (self.x * seen[:, :1] - seen[:, 1:])
        many = np.bincount(when, minlength=steps)
        own = _by_time(when, mean, steps) / many[:, None]
        out_ = -felt
        out_[cohort.event] += factor[cohort.own, None] * (self.x[cohort.event] - own[cohort.own])
        return out_


def _by_time(when: Places, values: Floats, steps: int) -> Floats:
    out = np.zeros((steps, values.shape[1]))
    np.add.at(out, when, values)
    return out


def _maximised(model: Likelihood, null: _Point) -> tuple[Floats, _Point, bool]:
    beta, here = np.zeros(model.x.shape[1]), null
    for _ in range(60):
        step = np.linalg.lstsq(here.information, here.gradient, rcond=None)[0]
        shrink = 1.0
        there = model.at(beta + step)
        while not there.value >= here.value - 1e-12 * abs(here.value) and shrink > 1e-4:
            shrink /= 2
            there = model.at(beta + shrink * step)
        beta, here = beta + shrink * step, there
        line = model.x @ beta
        if np.ptp(line) > _FLAT:
            return beta, here, False
        if np.abs(step).max() < 1e-10:
            return beta, here, True
    return beta, here, False


def _check_rank(x: Floats, scale: Floats, names: tuple[str, ...]) -> None:
    if len(names) != x.shape[1]:
        raise InputError(f"{x.shape[1]} columns must have as many names, but there are {len(names)}.")
    flat = [name for name, spread in zip(names, scale, strict=True) if not spread > 0]
    if flat:
        raise InputError(f"{flat[0]} is the same in every row, so it has no ratio.", remedy="Leave it out.")
    ranks = [np.linalg.matrix_rank((x - x.mean(axis=0))[:, : i + 1] / scale[: i + 1]) for i in range(len(names))]
    for i, rank in enumerate(ranks):
        if rank < i + 1:
            raise InputError(f"{names[i]} follows from the others, so it has no own ratio.", remedy="Leave it out.")
