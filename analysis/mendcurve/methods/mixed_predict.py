"""Predictions from a mixed model: the mean, one subject already seen, a new subject; degrees of freedom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import solve_triangular
from scipy.stats import t as student

from mendcurve.errors import InputError, check_proportion, nearest
from mendcurve.methods.mixed import MixedFit
from mendcurve.methods.mixed_deviance import evaluate
from mendcurve.methods.mixed_moments import Array, Moments


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """Predicted values with an interval.

    Attributes
    ----------
    estimate, low, high, se : ndarray, shape (n,)
        Unit: that of y. ``se`` is the standard deviation of what ``of`` names, about the estimate.
    of : str
        What the interval holds: "the mean", "this subject", "a reading of this subject", "a new subject" or "a
        reading of a new subject".
    """

    estimate: Array
    low: Array
    high: Array
    se: Array
    of: str


def mean(fit: MixedFit, x: ArrayLike, *, confidence: float = 0.95) -> Prediction:
    """Predict x' beta; the interval is that of the mean alone.

    Notes
    -----
    All intervals here use Student's t with (subjects - 1) degrees of freedom, for the plain model (rows - columns).
    """
    x = np.atleast_2d(np.asarray(x, float))
    return _interval(fit, x @ fit.beta, _quadratic(x, fit.cov), confidence, "the mean")


def this_subject(
    fit: MixedFit, subject: str, x: ArrayLike, z: ArrayLike, *, confidence: float = 0.95, reading: bool = True
) -> Prediction:
    """Predict x' beta + z' b for a subject of the fit, with noise of one reading added to the interval if ``reading``.

    Raises
    ------
    InputError
        If the subject was not in the fit.
    """
    if subject not in fit.subjects:
        raise InputError(
            f'"{subject}" is not among the {len(fit.subjects)} subjects of this fit.',
            remedy=f"Use a subject of the fit, or new_subject().{nearest(subject, fit.subjects)}",
        )
    i = fit.subjects.index(subject)
    x, z = np.atleast_2d(np.asarray(x, float)), _random(fit, z)
    variance = _quadratic(x - z @ fit.effects_slope[i], fit.cov) + _quadratic(z, fit.effects_cov[i])
    what = "a reading of this subject" if reading else "this subject"
    return _interval(fit, x @ fit.beta + z @ fit.effects[i], variance + reading * fit.residual, confidence, what)


def new_subject(
    fit: MixedFit, x: ArrayLike, z: ArrayLike, *, confidence: float = 0.95, reading: bool = True
) -> Prediction:
    """Predict a subject not seen before: the mean, with random effects (and reading noise) in the interval."""
    x, z = np.atleast_2d(np.asarray(x, float)), _random(fit, z)
    variance = _quadratic(x, fit.cov) + _quadratic(z, fit.random_cov) + reading * fit.residual
    return _interval(
        fit, x @ fit.beta, variance, confidence, "a reading of a new subject" if reading else "a new subject"
    )


def satterthwaite(fit: MixedFit, moments: Moments, contrast: ArrayLike | None = None) -> Array:
    """Return Satterthwaite's degrees of freedom of linear contrasts of the fixed effects [1]_.

    Parameters
    ----------
    fit, moments
        A fit and the moments it was made from.
    contrast : array_like, shape (k, p), optional
        Rows are contrasts; each fixed effect by default.

    Notes
    -----
    df = 2 v^2 / (g' C g), with v the contrast's variance, g its gradient and C twice the inverse Hessian of the
    deviance, both in the variance parameters (theta, residual SD), by central differences. Parameters on
    their bound are held.

    References
    ----------
    .. [1] Kuznetsova, Brockhoff & Christensen (2017), Journal of Statistical Software 82(13) (from memory).
    """
    p, q = len(fit.names), fit.random_cov.shape[0]
    rows = np.eye(p) if contrast is None else np.atleast_2d(np.asarray(contrast, float))
    if q == 0:
        return np.full(len(rows), fit.rows.sum() - p)
    moments = moments.with_random(q)
    scaled = solve_triangular(moments.x_scale.T, rows.T, lower=True).T
    point = np.append(fit.theta, np.sqrt(fit.residual))
    bounded = np.append(np.equal(*np.tril_indices(q)), True)
    free = np.flatnonzero(~(bounded & (point < 1e-4 * np.abs(point).max())))
    step = 1e-3 * np.maximum(np.abs(point), 0.02)

    def at(point: Array) -> tuple[float, Array]:
        now, variance = evaluate(moments, point[:-1], reml=fit.reml), point[-1] ** 2
        size = moments.n.sum() - p * fit.reml
        logs = now.deviance - size * (1 + np.log(2 * np.pi * now.residual))
        deviance = logs + now.residual * size / variance + size * np.log(2 * np.pi * variance)
        return deviance, variance * _quadratic(scaled, np.asarray(np.linalg.inv(now.information), float))

    moves = np.diag(step)[free]
    centre, variance = at(point)
    up, down = [at(point + m) for m in moves], [at(point - m) for m in moves]
    hessian = np.diag([u[0] - 2 * centre + d[0] for u, d in zip(up, down, strict=True)])
    for i in range(len(free)):
        for j in range(i):
            corners = [at(point + a * moves[i] + b * moves[j])[0] * a * b for a in (1, -1) for b in (1, -1)]
            hessian[i, j] = hessian[j, i] = sum(corners) / 4
    gradient = np.array([(u[1] - d[1]) / 2 for u, d in zip(up, down, strict=True)])
    return 2 * variance**2 / np.einsum("ik,ij,jk->k", gradient, 2 * np.linalg.pinv(hessian, hermitian=True), gradient)


def containment(moments: Moments) -> Array:
    """Return degrees of freedom by containment, as nlme counts them [1]_, one for each fixed column.

    Notes
    -----
    A column that varies within a subject, and the intercept, has rows - subjects - (such columns without the
    intercept); a column constant within every subject has subjects - 1 - (such columns). The first random column must
    be the intercept.

    References
    ----------
    .. [1] Pinheiro & Bates (2000), Mixed-Effects Models in S and S-PLUS, section 2.4.2 (from memory).
    """
    rows, subjects = moments.n.sum(), len(moments.subjects)
    squares = np.einsum("ij,mik,kj->mj", moments.x_scale, moments.xx, moments.x_scale)
    sums = (moments.xz[:, :, 0] @ moments.x_scale) * moments.z_scale[0, 0]
    inside = (squares - sums**2 / moments.n[:, None]).sum(axis=0) > 1e-9 * squares.sum(axis=0)
    intercept = ~inside & (np.ptp(sums / moments.n[:, None], axis=0) < 1e-9 * np.abs(sums).max(axis=0))
    between = ~inside & ~intercept
    return np.where(between, subjects - intercept.any() - between.sum(), rows - subjects - inside.sum())


def _random(fit: MixedFit, z: ArrayLike) -> Array:
    return np.atleast_2d(np.asarray(z, float))[:, : fit.random_cov.shape[0]]


def _quadratic(rows: Array, matrix: Array) -> Array:
    return np.einsum("ij,jk,ik->i", rows, matrix, rows)


def _interval(fit: MixedFit, estimate: Array, variance: Array, confidence: float, of: str) -> Prediction:
    check_proportion("confidence", confidence)
    df = len(fit.subjects) - 1 if fit.random_cov.size else fit.rows.sum() - len(fit.names)
    se = np.sqrt(variance)
    wide = student.ppf((1 + confidence) / 2, df) * se
    return Prediction(estimate=estimate, low=estimate - wide, high=estimate + wide, se=se, of=of)
