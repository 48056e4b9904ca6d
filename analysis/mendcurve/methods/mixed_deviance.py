"""The profiled deviance of a linear mixed model and its gradient, from per-subject moments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from mendcurve.methods.mixed_moments import Array, Moments


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Totals:
    """Everything the deviance needs at one theta; in the scaled columns of the moments.

    Attributes
    ----------
    deviance : float
        Minus twice the (restricted) log-likelihood, all constants included.
    gradient : ndarray, shape (number of theta,)
    beta : ndarray, shape (p,)
    information : ndarray, shape (p, p)
        X' V^-1 X times the residual variance.
    residual : float
        Residual variance.
    u : ndarray, shape (m, q)
        Spherical random effects; Lambda u are the random effects.
    inverse : ndarray, shape (m, q, q)
        (I + Lambda' Z'Z Lambda)^-1 of each subject.
    """

    deviance: float
    gradient: Array
    beta: Array
    information: Array
    residual: float
    u: Array
    inverse: Array


def factor(theta: Array, q: int) -> Array:
    """Return the relative covariance factor Lambda, lower triangular, from theta (row by row)."""
    out = np.zeros((q, q))
    out[np.tril_indices(q)] = theta
    return out


def evaluate(moments: Moments, theta: Array, *, reml: bool) -> Totals:
    """Return the profiled deviance [1]_ at theta.

    Notes
    -----
    d(theta) = log|L|^2 + n (1 + log(2 pi r^2 / n)) for ML, with L L' = I + Lambda' Z'Z Lambda and r^2 the penalised
    residual sum of squares; REML adds log|R_X|^2 and has n - p for n. Blocks of a subject are inverted in closed form.
    The gradient of r^2 is that of the penalised sum of squares at its minimum (envelope theorem).

    References
    ----------
    .. [1] Bates, Maechler, Bolker & Walker (2015), Journal of Statistical Software 67(1), section 3 (from memory).
    """
    q = moments.zz.shape[-1]
    lam = factor(theta, q)
    zz_lam = moments.zz @ lam
    inverse, log_det = _inverse(np.eye(q) + lam.T @ zz_lam)
    lam_zx = lam.T @ moments.xz.transpose(0, 2, 1)
    lam_zy = moments.zy @ lam
    w = inverse @ lam_zx
    information = moments.xx.sum(0) - np.tensordot(lam_zx, w, ((0, 1), (0, 1)))
    right = moments.xy.sum(0) - np.einsum("mip,mi->p", w, lam_zy)
    chol = cho_factor(information, lower=True)
    beta = cho_solve(chol, right)
    u = (inverse @ (lam_zy - lam_zx @ beta)[:, :, None])[:, :, 0]
    # Rows that lie exactly on the model leave rounding error, of either sign; fit() refuses them.
    squares = max(moments.yy.sum() - moments.xy.sum(0) @ beta - np.einsum("mi,mi->", u, lam_zy), 1e-300)
    n, p = moments.n.sum(), len(beta)
    free = n - p if reml else n
    deviance = log_det.sum() + free * (1 + np.log(2 * np.pi * squares / free))
    if reml:
        scale = np.abs(np.diag(moments.x_scale))
        deviance += 2 * (np.log(np.diag(chol[0])).sum() + np.log(scale).sum())
    # Z'(y - X beta - Z Lambda u), and the pieces that depend on the entry of Lambda that moves.
    left_over = moments.zy - np.tensordot(moments.xz, beta, (1, 0)) - (zz_lam @ u[:, :, None])[:, :, 0]
    cov = cho_solve(chol, np.eye(p))
    gradient = np.empty(len(theta))
    for k, (row, col) in enumerate(zip(*np.tril_indices(q), strict=True)):
        step = np.zeros((q, q))
        step[row, col] = 1.0
        half = step.T @ zz_lam
        change = half + half.transpose(0, 2, 1)
        slope = (inverse * change).sum() - free / squares * 2 * (u[:, col] @ left_over[:, row])
        if reml:
            cross = moments.xz[:, :, row].T @ w[:, col, :]
            moved = -(cross + cross.T) + np.tensordot(w, change @ w, ((0, 1), (0, 1)))
            slope += np.sum(cov * moved)
        gradient[k] = slope
    return Totals(
        deviance=float(deviance),
        gradient=gradient,
        beta=beta,
        information=information,
        residual=float(squares / free),
        u=u,
        inverse=inverse,
    )


def _inverse(block: Array) -> tuple[Array, Array]:
    """Return inverse and log determinant of 1x1 or 2x2 blocks."""
    if block.shape[-1] == 1:
        return 1 / block, np.log(block[:, 0, 0])
    a, b, d = block[:, 0, 0], block[:, 0, 1], block[:, 1, 1]
    det = a * d - b * b
    out = np.empty_like(block)
    out[:, 0, 0], out[:, 1, 1] = d / det, a / det
    out[:, 0, 1] = out[:, 1, 0] = -b / det
    return out, np.log(det)
