"""Linear mixed model with a random intercept, or intercept and slope, by REML or maximum likelihood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import OptimizeResult, minimize

from mendcurve.errors import InputError
from mendcurve.methods.mixed_deviance import Totals, evaluate, factor
from mendcurve.methods.mixed_moments import Array, Moments

# Relative standard deviations (random to residual, in scaled columns) from which the search starts.
FAR = 1e5
"""Largest ratio of a subject's spread to the noise that is looked for."""
STARTS = (1.0, 0.1, 10.0, 100.0)
# Steps from each start before the better one is followed to its end.
BEGIN = 8
STEPS = ("plain", "random intercept", "random intercept and slope")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedFit:
    """A fitted mixed model, in the user's own units.

    Attributes
    ----------
    names, random_names, subjects : tuple of str
    model : str
        "random intercept and slope", "random intercept" or "plain": what the data allowed.
    reml : bool
        Whether ``log_likelihood`` is the restricted one.
    beta, se : ndarray, shape (p,)
        Fixed effects and standard errors. Unit: y per unit of the column.
    cov : ndarray, shape (p, p)
        Covariance of ``beta``.
    random_cov : ndarray, shape (q, q)
        Covariance of the random effects; q = 0 for the plain model.
    residual : float
        Residual variance. Unit: y squared.
    log_likelihood : float
        With all constants, as lme4 and nlme report it.
    effects : ndarray, shape (m, q)
        Predicted random effects (BLUPs).
    effects_cov : ndarray, shape (m, q, q)
        Their variance given ``beta``.
    effects_slope : ndarray, shape (m, q, p)
        How they move against ``beta``: d effects / d beta = - effects_slope.
    rows : ndarray, shape (m,)
        Rows of each subject.
    singular : bool
        A random variance is estimated as zero, or the correlation as one.
    words : tuple of str
        What was stepped down and why, and what a singular fit means: one sentence each.
    theta : ndarray
        Relative covariance factor in the scaled columns.
    """

    names: tuple[str, ...]
    random_names: tuple[str, ...]
    subjects: tuple[str, ...]
    model: str
    reml: bool
    beta: Array
    se: Array
    cov: Array
    random_cov: Array
    residual: float
    log_likelihood: float
    effects: Array
    effects_cov: Array
    effects_slope: Array
    rows: Array
    singular: bool
    words: tuple[str, ...]
    theta: Array


def fit(moments: Moments, *, reml: bool = True, step_down: bool = True, fewest: int = 3) -> MixedFit:
    """Fit y = X beta + Z b + e, b ~ N(0, G) for each subject, e ~ N(0, s^2).

    Parameters
    ----------
    moments : Moments
        From ``mixed_moments.moments``.
    reml : bool
        Restricted likelihood (default) or maximum likelihood.
    step_down : bool
        Whether to fit a simpler model, with words, where the data cannot tell the random effects apart.
    fewest : int
        Subjects that must carry information about a random effect for it to be estimated.

    Raises
    ------
    InputError
        If nothing can be estimated, the rows lie exactly on the model, or ``step_down`` is False and the data cannot
        carry the random effects.

    Notes
    -----
    Identifiability is checked before fitting: an intercept needs ``fewest`` subjects and rows beyond one a subject; a
    slope needs ``fewest`` subjects with two different values and rows beyond two a subject. The search runs over the
    relative covariance factor with the analytic gradient, from the two best of four starts; the better end is kept, and
    it must be stationary. The search has no bounds: the deviance is the same for either sign of a column of the
    factor, and a bound at 0 would be a trap, since the gradient vanishes there.
    """
    q, words = identifiable(moments, fewest=fewest)
    if words and not step_down:
        raise InputError("The random effects asked for cannot be estimated.", words, "Ask for a simpler model.")
    if q == 0:
        return _plain(moments, reml, words)
    kept = moments.with_random(q)
    theta, at = _search(kept, reml)
    lam = factor(theta, q)
    singular = bool(np.min(np.abs(np.diag(lam))) < 1e-4 * max(1.0, np.abs(lam).max()))
    if singular:
        words = (*words, _singular_words(lam, q))
    return _in_user_units(kept, theta, at, reml, singular, words)


def identifiable(moments: Moments, *, fewest: int = 3) -> tuple[int, tuple[str, ...]]:
    """Return how many random columns the data can carry, and a sentence for each step down."""
    q, words = moments.zz.shape[-1], []
    n, m = moments.n, len(moments.n)
    if q == 2:
        det = moments.zz[:, 0, 0] * moments.zz[:, 1, 1] - moments.zz[:, 0, 1] ** 2
        spread = det > 1e-10 * moments.zz[:, 0, 0] * moments.zz[:, 1, 1]
        beyond = int((n - 1 - spread).sum())
        if spread.sum() < fewest or beyond < 1:
            why = (
                f"only {int(spread.sum())} of {m} were measured at two different times (at least {fewest} are needed)"
                if spread.sum() < fewest
                else "none was measured more than twice"
            )
            words.append(f"Slopes of single subjects are not estimated: {why}.")
            q = 1
    if q == 1 and (m < fewest or (n > 1).sum() < min(2, fewest)):
        why = (
            "every subject was measured once, so differences between subjects cannot be told from noise"
            if (n == 1).all()
            else f"there are {m} subjects, of which {int((n > 1).sum())} measured more than once"
        )
        words.append(f"Levels of single subjects are not estimated: {why}.")
        q = 0
    return q, tuple(words)


def _search(moments: Moments, reml: bool) -> tuple[Array, Totals]:
    q = moments.zz.shape[-1]
    diagonal = np.equal(*np.tril_indices(q))

    def objective(theta: Array) -> tuple[float, Array]:
        # a line search may leap where squares overflow: the edge of what is looked for answers for all beyond it
        at = evaluate(moments, theta * min(1.0, FAR / max(np.abs(theta).max(), 1.0)), reml=reml)
        return at.deviance, at.gradient

    starts = [start * diagonal for start in STARTS]
    firsts = [evaluate(moments, start, reml=reml) for start in starts]
    _some_noise(min(first.residual for first in firsts), moments)
    order = np.argsort([first.deviance for first in firsts])[:2]

    def lowest(start: Array, most: int, settled: float) -> OptimizeResult:
        options = {"maxiter": most, "ftol": settled, "gtol": 1e-8}
        return minimize(objective, start, jac=True, method="L-BFGS-B", options=options)

    # A few steps from each tell which valley is the lower one. The deviance is rounded at about
    # 1e-11 of itself, its gradient is not: the last step is Newton's.
    begun = min((lowest(starts[i], BEGIN, 1e-6) for i in order), key=lambda end: float(end.fun))
    lam = factor(_newton(lambda theta: objective(theta)[1], lowest(begun.x, 500, 1e-11).x), q)
    lam = lam * np.where(np.diag(lam) < 0, -1.0, 1.0)
    best = lam[np.tril_indices(q)]
    at = evaluate(moments, best, reml=reml)
    # Curvature grows with the number of subjects: this is about how far the deviance could still fall.
    fall = (at.gradient * np.maximum(np.abs(best), 0.01)) ** 2 / len(moments.n)
    if fall.max(initial=0) > 1e-5:
        raise InputError(
            "The mixed model's likelihood has no maximum that could be found.",
            [f"gradient {np.array2string(at.gradient, precision=3)}"],
            "Fit a simpler model, or look for values far from the rest.",
        )
    return best, at


def _newton(gradient: Callable[[Array], Array], theta: Array) -> Array:
    """Return theta after up to two Newton steps, each kept where it makes the gradient smaller."""
    here = gradient(theta)
    for _ in range(2):
        step = 1e-4 * np.maximum(np.abs(theta), 0.01)
        curve = np.array([(gradient(theta + move) - here) / move.sum() for move in np.diag(step)])
        curve = (curve + curve.T) / 2
        if np.linalg.eigvalsh(curve).min() <= 0:
            return theta
        moved = theta - np.linalg.solve(curve, here)
        there = gradient(moved)
        if not np.abs(there).max() < 0.5 * np.abs(here).max():
            return theta
        theta, here = moved, there
    return theta


def _some_noise(residual: float, moments: Moments) -> None:
    if not residual > 1e-12 * moments.yy.sum() / moments.n.sum():
        raise InputError(
            "The rows lie exactly on the model: there is no noise to estimate.",
            [f"residual variance {residual:.3g}"],
            "Look whether values were copied forward.",
        )


def _singular_words(lam: Array, q: int) -> str:
    if q == 1 or abs(lam[0, 0]) < 1e-4:
        return "Levels of single subjects differ no more than noise would make them: their variance is estimated as 0."
    if np.hypot(lam[1, 0], lam[1, 1]) < 1e-4:
        return "Slopes of single subjects differ no more than noise would make them: their variance is estimated as 0."
    return "Level and slope of single subjects are estimated to go wholly together (correlation of 1 or -1)."


def _in_user_units(
    moments: Moments, theta: Array, at: Totals, reml: bool, singular: bool, words: tuple[str, ...]
) -> MixedFit:
    p, q = moments.xz.shape[1:]
    lam = factor(theta, q)
    back_x = solve_triangular(moments.x_scale, np.eye(p))
    back_z = solve_triangular(moments.z_scale, np.eye(q))
    cov = at.residual * back_x @ np.linalg.inv(at.information) @ back_x.T
    to_effects = back_z @ lam
    slope = to_effects @ at.inverse @ np.einsum("ji,mpj->mip", lam, moments.xz) @ moments.x_scale
    return MixedFit(
        names=moments.names,
        random_names=moments.random_names,
        subjects=moments.subjects,
        model=STEPS[q],
        reml=reml,
        beta=back_x @ at.beta,
        se=np.sqrt(np.diag(cov)),
        cov=cov,
        random_cov=at.residual * to_effects @ to_effects.T,
        residual=at.residual,
        log_likelihood=-at.deviance / 2,
        effects=at.u @ to_effects.T,
        effects_cov=at.residual * to_effects @ at.inverse @ to_effects.T,
        effects_slope=slope,
        rows=moments.n,
        singular=singular,
        words=words,
        theta=theta,
    )


def _plain(moments: Moments, reml: bool, words: tuple[str, ...]) -> MixedFit:
    """Ordinary least squares, as the mixed model with no random effects."""
    only = moments.with_random(1)
    at = evaluate(only, np.zeros(1), reml=reml)
    _some_noise(at.residual, moments)
    whole = _in_user_units(only, np.zeros(1), at, reml, False, words)
    m, p = len(moments.subjects), len(moments.names)
    return MixedFit(
        names=whole.names,
        random_names=(),
        subjects=whole.subjects,
        model=STEPS[0],
        reml=reml,
        beta=whole.beta,
        se=whole.se,
        cov=whole.cov,
        random_cov=np.zeros((0, 0)),
        residual=whole.residual,
        log_likelihood=whole.log_likelihood,
        effects=np.zeros((m, 0)),
        effects_cov=np.zeros((m, 0, 0)),
        effects_slope=np.zeros((m, 0, p)),
        rows=moments.n,
        singular=False,
        words=words,
        theta=np.zeros(0),
    )
