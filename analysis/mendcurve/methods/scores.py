"""How good a forecast was: proper scores, probability integral transforms, interval scores. Lower is better.

A *law* is a probability mass function on 0, 1, 2, ...: an array whose last axis runs over the counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from mendcurve.errors import InputError, check_proportion

Floats = NDArray[np.float64]

# Mass of a law that may be missing or too much: sums of a few thousand doubles, or a tail cut at 1e-12.
TOLERANCE = 1e-6


def check_law(law: ArrayLike) -> Floats:
    """Return ``law`` as an array if every mass is at least 0 and each law sums to 1.

    Raises
    ------
    InputError
        Otherwise, with the sum or the mass found.
    """
    law = np.asarray(law, dtype=float)
    if law.ndim == 0 or law.shape[-1] == 0:
        raise InputError("A law needs a probability for at least one count, but it is empty.")
    if not np.isfinite(law).all() or law.min() < -1e-9:
        raise InputError("Every probability of a law must be a number of at least 0.", [f"found {law.min():g}"])
    total = law.sum(axis=-1)
    worst = np.abs(total - 1).max()
    if worst > TOLERANCE:
        raise InputError(
            "The probabilities of a law must sum to 1.",
            [f"a sum is {total.flat[0]:g}, off by {worst:g}"],
            "Divide by the sum, or keep more of the tail.",
        )
    return law


def check_counts(seen: ArrayLike) -> NDArray[np.int64]:
    """Return what was seen as whole numbers of at least 0, else raise InputError."""
    seen = np.asarray(seen)
    values = np.asarray(seen, dtype=float)
    if not np.isfinite(values).all() or (values < 0).any() or (values != np.round(values)).any():
        raise InputError(
            "A count that was seen must be a whole number of at least 0.", [f"found {values.ravel()[:5].tolist()}"]
        )
    return values.astype(np.int64)


def _positive(name: str, value: ArrayLike) -> Floats:
    value = np.asarray(value, dtype=float)
    if not (value > 0).all():
        raise InputError(f"{name} must be above 0, but it is {value.min():g}.")
    return value


def crps_law(law: ArrayLike, seen: ArrayLike) -> Floats:
    """Continuous ranked probability score of a law: sum over k of (F(k) - 1{k >= y})^2 [1]_.

    Parameters
    ----------
    law : array, shape (..., counts)
        Probability of 0, 1, 2, ....
    seen : array of int, shape (...)
        The count that came. Unit: as the law's counts.

    Returns
    -------
    ndarray, shape (...)
        Unit: as the counts. Lower is better; for a law that is certain it is the absolute error.

    Notes
    -----
    A count beyond the law's last is scored as if the law had mass 0 there.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), JASA 102:359-378.
    """
    law, y = check_law(law), check_counts(seen)
    below = np.cumsum(law, axis=-1)
    k = np.arange(law.shape[-1])
    beyond = np.maximum(0, y - law.shape[-1])
    return np.sum((below - (k >= y[..., None])) ** 2, axis=-1) + beyond


def crps_normal(mean: ArrayLike, sd: ArrayLike, seen: ArrayLike) -> Floats:
    """CRPS of a normal forecast: sd (z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)), z = (y - mean) / sd.

    Gneiting & Raftery (2007), JASA 102:359-378, equation 21.
    """
    sd = _positive("The standard deviation of a forecast", sd)
    z = (np.asarray(seen, dtype=float) - mean) / sd
    return sd * (z * (2 * special.ndtr(z) - 1) + 2 * stats.norm.pdf(z) - 1 / np.sqrt(np.pi))


def crps_poisson(mean: ArrayLike, seen: ArrayLike) -> Floats:
    """CRPS of a Poisson forecast in closed form, exponentially scaled Bessel functions (no overflow at large means).

    (y - m)(2F(y) - 1) + 2 m f(y) - m e^(-2m) (I0(2m) + I1(2m)); Wei & Held (2014), TEST 23:787-805 (from memory).
    """
    m, y = _positive("The mean of a Poisson forecast", mean), check_counts(seen)
    bessel = special.ive(0, 2 * m) + special.ive(1, 2 * m)
    return (y - m) * (2 * stats.poisson.cdf(y, m) - 1) + 2 * m * stats.poisson.pmf(y, m) - m * bessel


def negative_binomial_law(mean: float, size: float, *, tail: float = 1e-12) -> Floats:
    """Return the negative binomial law (variance mean + mean^2 / size) on 0 .. the 1 - ``tail`` point, renormalised."""
    mean, size = float(_positive("The mean", mean)), float(_positive("The size", size))
    p = size / (size + mean)
    last = int(stats.nbinom.isf(tail, size, p)) + 1
    law = stats.nbinom.pmf(np.arange(last + 1), size, p)
    return law / law.sum()


def crps_negative_binomial(mean: float, size: float, seen: int) -> float:
    """CRPS of a negative binomial forecast, variance mean + mean^2 / size, by the sum of :func:`crps_law`."""
    return float(crps_law(negative_binomial_law(mean, size), seen))


def crps_ensemble(members: ArrayLike, seen: ArrayLike, *, fair: bool = False) -> Floats:
    """CRPS of an ensemble: mean |x - y| - sum |x - x'| / (2 m^2) [1]_.

    Parameters
    ----------
    members : array, shape (..., m)
    seen : array, shape (...)
    fair : bool
        Divide the second term by 2 m (m - 1): unbiased for the law the members are a sample of [2]_.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), JASA 102:359-378.
    .. [2] Ferro (2014), Q J R Meteorol Soc 140:1917-1923 (from memory).
    """
    x = np.sort(np.asarray(members, dtype=float), axis=-1)
    m = x.shape[-1] if x.ndim else 0
    if m < 1 + fair:
        raise InputError(f"An ensemble needs at least {1 + fair} members, but it has {m}.")
    y = np.asarray(seen, dtype=float)
    # sum over pairs of |x - x'| = 2 sum over i of (2 i - m - 1) x_(i), i = 1..m
    spread = 2 * np.sum((2 * np.arange(1, m + 1) - m - 1) * x, axis=-1)
    return np.abs(x - y[..., None]).mean(axis=-1) - spread / (2 * m * (m - 1) if fair else 2 * m**2)


def log_score_law(law: ArrayLike, seen: ArrayLike) -> Floats:
    """Return minus the log of the probability the law gave to what came; infinite where it gave none."""
    law, y = check_law(law), check_counts(seen)
    inside = np.minimum(y, law.shape[-1] - 1)
    p = np.where(y < law.shape[-1], np.take_along_axis(law, inside[..., None], axis=-1)[..., 0], 0.0)
    with np.errstate(divide="ignore"):  # log 0 is the answer here: the worst score there is
        return -np.log(np.maximum(p, 0))


def log_score_normal(mean: ArrayLike, sd: ArrayLike, seen: ArrayLike) -> Floats:
    """Minus the log density of a normal forecast at what came."""
    return -stats.norm.logpdf(seen, mean, _positive("The standard deviation of a forecast", sd))


def dawid_sebastiani(mean: ArrayLike, variance: ArrayLike, seen: ArrayLike) -> Floats:
    """((y - mean) / sd)^2 + 2 log sd: uses two moments only.

    Dawid & Sebastiani (1999), Annals of Statistics 27:65-81 (from memory).
    """
    variance = _positive("The variance of a forecast", variance)
    away = np.asarray(seen, dtype=float) - np.asarray(mean, dtype=float)
    return away**2 / variance + np.log(variance)


def pit_ends(law: ArrayLike, seen: ArrayLike) -> tuple[Floats, Floats]:
    """Return F(y - 1) and F(y): the ends between which the probability integral transform of a count lies.

    Czado, Gneiting & Held (2009), Biometrics 65:1254-1261.
    """
    law, y = check_law(law), check_counts(seen)
    below = np.minimum(np.concatenate([np.zeros((*law.shape[:-1], 1)), np.cumsum(law, axis=-1)], axis=-1), 1.0)
    last = law.shape[-1]
    ends = [np.take_along_axis(below, np.minimum(k, last)[..., None], axis=-1)[..., 0] for k in (y, y + 1)]
    return ends[0], ends[1]


def randomised_pit(law: ArrayLike, seen: ArrayLike, rng: np.random.Generator) -> Floats:
    """Return F(y - 1) + U (F(y) - F(y - 1)), U uniform: uniform on 0-1 if, and only if, the law is right."""
    low, high = pit_ends(law, seen)
    return low + rng.random(low.shape) * (high - low)


def covered(pit: ArrayLike, level: float) -> NDArray[np.bool_]:
    """Whether a central interval of this level held what came, judged by its (randomised) PIT.

    Intervals of counts hold more than they say; by the randomised PIT a right forecast holds exactly ``level``.
    """
    check_proportion("The level of an interval", level)
    return np.abs(np.asarray(pit, dtype=float) - 0.5) <= level / 2


def law_quantile(law: ArrayLike, p: float) -> NDArray[np.int64]:
    """Return the smallest count at which the cumulative law is at or past ``p`` (tolerance 1e-12)."""
    check_proportion("A quantile", p)
    return np.argmax(np.cumsum(check_law(law), axis=-1) >= p - 1e-12, axis=-1)


def interval_score(low: ArrayLike, high: ArrayLike, seen: ArrayLike, alpha: ArrayLike) -> Floats:
    """(high - low) + 2/alpha (low - y)+ + 2/alpha (y - high)+ for a central 1 - alpha interval.

    Gneiting & Raftery (2007), JASA 102:359-378, section 6.2.
    """
    low, high, y, alpha = (np.asarray(a, dtype=float) for a in (low, high, seen, alpha))
    if (low > high).any():
        raise InputError(
            "The lower end of an interval must not be above its upper end.", remedy="Exchange the two ends."
        )
    if ((alpha <= 0) | (alpha >= 1)).any():
        raise InputError(
            f"alpha must be between 0 and 1, but it is {alpha.max():g}.", remedy="A 95 % interval has alpha 0.05."
        )
    return (high - low) + 2 / alpha * (np.maximum(0, low - y) + np.maximum(0, y - high))


def weighted_interval_score(
    median: ArrayLike, low: ArrayLike, high: ArrayLike, alpha: ArrayLike, seen: ArrayLike
) -> Floats:
    """(|y - median| / 2 + sum of alpha/2 IS_alpha) / (K + 1/2) over K intervals on the last axis.

    Twice the mean pinball loss over the same quantiles; Bracher, Ray, Gneiting & Reich (2021) (from memory).
    """
    y, alpha = np.asarray(seen, dtype=float), np.asarray(alpha, dtype=float)
    each = interval_score(low, high, y[..., None], alpha)
    return (np.abs(y - np.asarray(median, dtype=float)) / 2 + (alpha / 2 * each).sum(axis=-1)) / (alpha.shape[-1] + 0.5)


def pinball(quantile: ArrayLike, level: ArrayLike, seen: ArrayLike) -> Floats:
    """Level (y - q) where y is at or above the quantile, (1 - level)(q - y) below it."""
    q, level, y = (np.asarray(a, dtype=float) for a in (quantile, level, seen))
    if ((level <= 0) | (level >= 1)).any():
        raise InputError(f"The level of a quantile must be between 0 and 1, but it is {level.max():g}.")
    return np.where(y >= q, level * (y - q), (1 - level) * (q - y))
