"""Pointwise confidence limits of curves: the mid-p beta product at every n, and the normal-theory forms by name."""

from __future__ import annotations

import numpy as np
from scipy import special, stats

from mendcurve.errors import InputError, check_proportion, nearest
from mendcurve.methods.arrays import Floats

NAMES = ("beta product", "log-log", "log", "plain")


def check_limits(limits: str, confidence: float) -> None:
    """Refuse an unknown name of limits or a confidence outside 0-1."""
    check_proportion("confidence", confidence)
    if limits not in NAMES:
        raise InputError(f'limits must be one of {", ".join(NAMES)}, but it is "{limits}".{nearest(limits, NAMES)}')


def normal_limits(share: Floats, se: Floats, confidence: float, limits: str) -> tuple[Floats, Floats]:
    """Return limits from a standard error on the plain, log or log-log scale, cut to 0-1.

    Notes
    -----
    ``log`` is share exp(+-z se/share); ``log-log`` is share ** exp(+-z se/(share log share)), as R's survfit has them
    for a survival curve and for a cumulative incidence alike. log-log is undefined (nan) where the share is 0 or 1,
    log where it is 0.
    """
    z = stats.norm.ppf(0.5 + confidence / 2)
    if limits == "plain":
        return np.clip(share - z * se, 0, 1), np.clip(share + z * se, 0, 1)
    inside = (share > 1e-12) & (share <= 1 if limits == "log" else share < 1 - 1e-12)
    p = np.where(inside, share, 0.5)
    if limits == "log":
        half = np.exp(np.minimum(z * se / p, 700.0))
        low, high = p / half, np.minimum(p * half, 1.0)
    else:
        half = np.exp(np.minimum(z * se / (p * -np.log(p)), 700.0))
        low, high = p**half, p ** (1 / half)
    return np.where(inside, low, np.nan), np.where(inside, high, np.nan)


def survival_limits(at_risk: Floats, ended: Floats, still: Floats, confidence: float) -> tuple[Floats, Floats]:
    """Mid-p beta product limits of a survival curve [1]_.

    Parameters
    ----------
    at_risk, ended, still : ndarray, shape (..., k)
        Subjects at risk on each day, ending on it, and known not to have ended by the moment the limit is for
        (already divided by the design effect).
    confidence : float

    Returns
    -------
    low, high : ndarray, shape (..., k)

    Notes
    -----
    Each end is a factor Beta(at risk, 1); d ends among n on one day make Beta(n - d + 1, d). The limit of one side
    takes the product so far, that of the other multiplies by one more factor Beta(still, 1), as if the next end
    followed at once; the mid-p limits are quantiles of the half-and-half mixture of both. Each product is replaced by
    the beta distribution with its mean and variance (the method of moments of [1]_): exact where nobody is censored,
    where the limits are the mid-p limits of a binomial proportion. No random numbers.

    References
    ----------
    .. [1] Fay, Brittain & Proschan (2013), Biostatistics 14:723-736.
    """
    mean, square = _survival_moments(at_risk, ended)
    one = still / (still + 1)
    two = one * (still + 1) / (still + 2)
    upper = beta_of(mean, square)
    lower = beta_of(mean * one, square * two)
    return mixture_limits(lower, upper, confidence)


def incidence_limits(at_risk: Floats, by_cause: Floats, still: Floats, confidence: float) -> tuple[Floats, Floats]:
    """Mid-p beta product limits of the cumulative incidence of each cause.

    Parameters
    ----------
    at_risk, still : ndarray, shape (G, k)
    by_cause : ndarray, shape (G, C, k)

    Returns
    -------
    low, high : ndarray, shape (G, C, k)

    Notes
    -----
    The construction of :func:`survival_limits` by cause. On a day with n at risk, what survives, what goes to the
    cause and what goes to the others share the mass as Dirichlet(n - d + 1, d_cause, d_others). The mass of one more
    step Beta(still, 1), left between the last event so far and the next, lies wholly off the cause for one side and
    wholly on it for the other; both are mixed half and half. First and second moments are exact (a recursion on the
    means of F, S, FS, F^2, S^2 solved by prefix sums); each side is the beta distribution with those moments. With one
    cause it is one minus the limits of survival; without censoring it is the mid-p interval of a binomial proportion.
    """
    n, d, dc = at_risk[:, None, :], by_cause.sum(axis=1, keepdims=True), by_cause
    s1, s2 = _survival_moments(n, d)
    before1, before2 = _lag(s1), _lag(s2)
    f1 = np.cumsum(before1 * dc / (n + 1), axis=-1)
    # E[FS] obeys x_k = x_(k-1) b_k + E[S^2]_(k-1) E[M B]_k, with b_k = E[S]_k / E[S]_(k-1)
    tiny = np.finfo(float).tiny
    cross = before2 * dc * (n - d + 1) / ((n + 1) * (n + 2))
    fs = s1 * np.cumsum(cross / np.maximum(s1, tiny), axis=-1)
    f2 = np.cumsum(2 * _lag(fs, 0.0) * dc / (n + 1) + before2 * dc * (dc + 1) / ((n + 1) * (n + 2)), axis=-1)
    a = still[:, None, :]
    off = beta_of(f1, f2)
    on = beta_of(f1 + s1 / (a + 1), f2 + 2 * fs / (a + 1) + 2 * s2 / ((a + 1) * (a + 2)))
    return mixture_limits(off, on, confidence)


def _survival_moments(n: Floats, d: Floats) -> tuple[Floats, Floats]:
    first = np.cumprod((n - d + 1) / (n + 1), axis=-1)
    return first, np.cumprod((n - d + 1) * (n - d + 2) / ((n + 1) * (n + 2)), axis=-1)


def _lag(x: Floats, start: float = 1.0) -> Floats:
    return np.concatenate([np.full((*x.shape[:-1], 1), start), x[..., :-1]], axis=-1)


def beta_of(mean: Floats, square: Floats) -> tuple[Floats, Floats]:
    """Return a, b of the beta distribution with this mean and mean square; (0, 1) is all mass at 0, (1, 0) at 1."""
    m = np.clip(mean, 0.0, 1.0)
    variance = square - m * m
    spread = m * (1 - m)
    proper = (variance > 1e-14 * m * m) & (spread > 1e-14)
    total = np.divide(spread, variance, out=np.ones_like(m), where=proper) - 1
    proper &= total > 0
    at_one = (m > 0.5).astype(float)
    return np.where(proper, m * total, at_one), np.where(proper, (1 - m) * total, 1 - at_one)


def mixture_limits(
    first: tuple[Floats, Floats], second: tuple[Floats, Floats], confidence: float
) -> tuple[Floats, Floats]:
    """Return the two tail quantiles of the half-and-half mixture of two beta distributions."""
    alpha = (1 - confidence) / 2
    parts = np.broadcast_arrays(*first, *second)
    return _mixture_quantile(alpha, *parts), _mixture_quantile(1 - alpha, *parts)


def _mixture_quantile(p: float, a1: Floats, b1: Floats, a2: Floats, b2: Floats) -> Floats:
    degenerate1, degenerate2 = (a1 == 0) | (b1 == 0), (a2 == 0) | (b2 == 0)
    out = np.empty(a1.shape)
    both = degenerate1 & degenerate2
    at_zero = 0.5 * (a1 == 0) + 0.5 * (a2 == 0)
    out[both] = np.where(p <= at_zero[both], 0.0, 1.0)
    for here, known_at_zero, a, b in (
        (degenerate1 & ~degenerate2, a1 == 0, a2, b2),
        (degenerate2 & ~degenerate1, a2 == 0, a1, b1),
    ):
        rest = np.clip(np.where(known_at_zero[here], 2 * p - 1, 2 * p), 0.0, 1.0)
        out[here] = special.betaincinv(a[here], b[here], rest)
    free = ~degenerate1 & ~degenerate2
    if free.any():
        # most days of a curve change nothing: solve each distinct mixture once
        parts, back = np.unique(np.stack([a1[free], b1[free], a2[free], b2[free]]), axis=1, return_inverse=True)
        out[free] = _solve(p, *parts)[back.reshape(-1)]
    return out


def _solve(p: float, a1: Floats, b1: Floats, a2: Floats, b2: Floats) -> Floats:
    """Quantile of each mixture: Halley's steps from that of its log odds' first cumulants, halved where they leave."""
    odds, spread = _first_guess(p, a1, b1, a2, b2)
    x = np.clip(special.expit(odds), 1e-300, 1 - 1e-16)
    low, high, still = np.zeros_like(x), np.ones_like(x), np.arange(len(x))
    log1, log2 = special.betaln(a1, b1), special.betaln(a2, b2)
    for _ in range(80):
        a, b, c, d, at = a1[still], b1[still], a2[still], b2[still], x[still]
        miss = 0.5 * (special.betainc(a, b, at) + special.betainc(c, d, at)) - p
        one, two = 0.5 * _density(a, b, log1[still], at), 0.5 * _density(c, d, log2[still], at)
        low[still] = np.where(miss < 0, at, low[still])
        high[still] = np.where(miss < 0, high[still], at)
        step = _halley(miss, one + two, one * _bend(a, b, at) + two * _bend(c, d, at))
        new = at - step
        inside = (new >= low[still]) & (new <= high[still])
        x[still] = np.where(inside, new, 0.5 * (low[still] + high[still]))
        # the error left after a step, in standard deviations, is of the order of its cube
        settled = inside & (np.abs(step) <= _SHORT * np.minimum(spread[still], 1.0) * at * (1 - at))
        still = still[~settled & (high[still] - low[still] > 1e-15 * at)]
        if not len(still):
            break
    return _bisected(p, x, a1, b1, a2, b2)


def _bisected(p: float, x: Floats, a1: Floats, b1: Floats, a2: Floats, b2: Floats) -> Floats:
    """Halve where a density without end at 0 or 1 has misled the steps: only parameters below 1 have one."""
    odd = np.flatnonzero(np.minimum(np.minimum(a1, b1), np.minimum(a2, b2)) < 1)
    if not len(odd):
        return x
    a, b, c, d = a1[odd], b1[odd], a2[odd], b2[odd]
    miss = 0.5 * (special.betainc(a, b, x[odd]) + special.betainc(c, d, x[odd])) - p
    wrong = np.abs(miss) > 1e-9
    a, b, c, d, odd = a[wrong], b[wrong], c[wrong], d[wrong], odd[wrong]
    low, high = np.zeros(len(odd)), np.ones(len(odd))
    for _ in range(200 if len(odd) else 0):
        at = 0.5 * (low + high)
        below = 0.5 * (special.betainc(a, b, at) + special.betainc(c, d, at)) < p
        low, high = np.where(below, at, low), np.where(below, high, at)
    x[odd] = 0.5 * (low + high)
    return x


_SHORT = 5e-4
"""A step this short, in standard deviations of the log odds, leaves an error below 1e-9 of them."""


def _first_guess(p: float, a1: Floats, b1: Floats, a2: Floats, b2: Floats) -> tuple[Floats, Floats]:
    """Log odds of the quantile by the first four cumulants (Cornish and Fisher; from memory), and their spread."""
    (m1, v1, s1, k1), (m2, v2, s2, k2) = _log_odds(a1, b1), _log_odds(a2, b2)
    apart = 0.5 * (m1 - m2)
    spread = np.sqrt(0.5 * (v1 + v2) + apart**2)
    skew = (0.5 * (s1 + s2) + 1.5 * apart * (v1 - v2)) / spread**3
    tail = 0.5 * (k1 + k2) / spread**4
    z = special.ndtri(p)
    bent = z + (z * z - 1) / 6 * skew + (z**3 - 3 * z) / 24 * tail - (2 * z**3 - 5 * z) / 36 * skew**2
    known = np.minimum(np.minimum(a1, b1), np.minimum(a2, b2)) > 2  # below, the series says nothing
    return 0.5 * (m1 + m2) + spread * np.where(known, bent, z), spread


def _log_odds(a: Floats, b: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean, variance and the next two cumulants of the log odds of a beta distribution, by series for large a and b."""
    c, d = np.maximum(a, 1e-3), np.maximum(b, 1e-3)
    mean = np.log(c) - np.log(d) - 0.5 / c + 0.5 / d - 1 / (12 * c**2) + 1 / (12 * d**2)
    variance = 1 / c + 0.5 / c**2 + 1 / (6 * c**3) + 1 / d + 0.5 / d**2 + 1 / (6 * d**3)
    third = (1 / d**2 + 1 / d**3 + 0.5 / d**4) - (1 / c**2 + 1 / c**3 + 0.5 / c**4)
    return mean, variance, third, 2 / c**3 + 3 / c**4 + 2 / d**3 + 3 / d**4


def _halley(miss: Floats, slope: Floats, bend: Floats) -> Floats:
    """Step of Halley's method; beyond all bounds where the slope is lost."""
    good = slope > 0
    # a step of more than 1 leaves the interval whatever its length
    newton = np.divide(miss, slope, out=np.full_like(miss, 2.0), where=good & (slope > np.abs(miss) / 2))
    curved = np.divide(newton * bend, slope, out=np.zeros_like(miss), where=good)
    return np.asarray(newton / np.clip(1 - 0.5 * curved, 0.5, 2.0), dtype=float)


def _bend(a: Floats, b: Floats, x: Floats) -> Floats:
    """Slope of the log density of a beta distribution; 0, so that steps are Newton's, at the very ends."""
    inside = (x > 1e-12) & (x < 1 - 1e-12)
    y = np.where(inside, x, 0.5)
    return np.where(inside, (a - 1) / y - (b - 1) / (1 - y), 0.0)


def _density(a: Floats, b: Floats, log_beta: Floats, x: Floats) -> Floats:
    return np.exp(np.minimum(special.xlogy(a - 1, x) + special.xlog1py(b - 1, -x) - log_beta, 700.0))
