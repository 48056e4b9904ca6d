"""Intervals of shares and rates, differences of shares, and p-values adjusted for looking many times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Interval:
    """An estimate with its limits.

    Attributes
    ----------
    estimate, low, high : float or ndarray
        nan where ``n`` is 0: nothing was observed.
    k, n : float or ndarray
        Numerator and denominator (subjects, or subject-days of a rate).
    """

    estimate: Floats
    low: Floats
    high: Floats
    k: Floats
    n: Floats


def wilson(k: ArrayLike, n: ArrayLike, *, confidence: float = 0.95, design_effect: ArrayLike = 1.0) -> Interval:
    """Return the score interval of a share k / n [1]_, also at 0 and n.

    Parameters
    ----------
    k, n : array_like
        Subjects counted, of subjects at hand. Real numbers are allowed.
    confidence : float
    design_effect : array_like
        k and n are divided by it where subjects are clustered (1: each is independent).

    Raises
    ------
    InputError
        If k is below 0 or above n, the confidence outside 0-1, or the design effect not positive.

    References
    ----------
    .. [1] Wilson (1927), JASA 22:209-212 (from memory).
    """
    return _share("wilson", k, n, confidence, design_effect)


def exact(k: ArrayLike, n: ArrayLike, *, confidence: float = 0.95, design_effect: ArrayLike = 1.0) -> Interval:
    """Return the Clopper-Pearson interval of a share k / n: never too narrow, often too wide. As :func:`wilson`."""
    return _share("beta", k, n, confidence, design_effect)


def _share(method: str, k: ArrayLike, n: ArrayLike, confidence: float, design_effect: ArrayLike) -> Interval:
    check_proportion("confidence", confidence)
    count, size = np.broadcast_arrays(np.asarray(k, dtype=float), np.asarray(n, dtype=float))
    effect = np.asarray(design_effect, dtype=float)
    wrong = ~((count >= 0) & (count <= size))
    if wrong.any():
        found = [f"{a:g} of {b:g}" for a, b in zip(count[wrong][:5], size[wrong][:5], strict=True)]
        raise InputError("A share counts from 0 to all of its denominator,", found)
    if not (effect > 0).all():
        raise InputError(f"The design effect must be above 0, but it is {effect.min():g}.")
    some = np.where(size > 0, size, 1.0)
    low, high = proportion_confint(count / effect, some / effect, alpha=1 - confidence, method=method)
    blank = np.where(size > 0, 0.0, np.nan)
    low = np.where(count == 0, 0.0, low)  # rounding must not move the ends off 0 and 1
    high = np.where(count == size, 1.0, high)
    return interval(count / some + blank, low + blank, high + blank, count, size)


def newcombe(
    k1: ArrayLike, n1: ArrayLike, k2: ArrayLike, n2: ArrayLike, *,
    confidence: float = 0.95, design_effect: tuple[float, float] = (1.0, 1.0),
) -> Interval:  # fmt: skip
    """Return the difference k1 / n1 - k2 / n2 of two disjoint sets with the hybrid score interval [1]_.

    Notes
    -----
    Limits join the two Wilson intervals (method 10). ``k`` and ``n`` of the result hold both, last axis of length 2.

    References
    ----------
    .. [1] Newcombe (1998), Statistics in Medicine 17:873-890 (from memory).
    """
    one = wilson(k1, n1, confidence=confidence, design_effect=design_effect[0])
    two = wilson(k2, n2, confidence=confidence, design_effect=design_effect[1])
    return joined(one, two)


def joined(one: Interval, two: Interval) -> Interval:
    """Return ``one - two`` with limits joined from those of two independent estimates (square and add)."""
    gap = one.estimate - two.estimate
    low = gap - np.sqrt((one.estimate - one.low) ** 2 + (two.high - two.estimate) ** 2)
    high = gap + np.sqrt((one.high - one.estimate) ** 2 + (two.estimate - two.low) ** 2)
    return interval(gap, low, high, np.stack([one.k, two.k], -1), np.stack([one.n, two.n], -1))


def garwood(k: ArrayLike, exposure: ArrayLike, *, confidence: float = 0.95) -> Interval:
    """Return the rate k / exposure with the exact Poisson interval [1]_.

    Raises
    ------
    InputError
        If a count is negative or an exposure is not above 0.

    References
    ----------
    .. [1] Garwood (1936), Biometrika 28:437-442 (from memory).
    """
    check_proportion("confidence", confidence)
    count, time = np.broadcast_arrays(np.asarray(k, dtype=float), np.asarray(exposure, dtype=float))
    if (count < 0).any() or not (time > 0).all():
        raise InputError("A rate needs a count of 0 or more over an exposure above 0.")
    alpha = 1 - confidence
    low = np.where(count > 0, stats.gamma.ppf(alpha / 2, np.maximum(count, 1e-300)), 0.0)
    high = stats.gamma.ppf(1 - alpha / 2, count + 1)
    return interval(count / time, low / time, high / time, count, time)


def holm(p: ArrayLike) -> Floats:
    """Return p-values adjusted by Holm's step-down rule: the chance of any false claim is kept."""
    return _adjusted(p, "holm")


def benjamini_hochberg(p: ArrayLike) -> Floats:
    """Return p-values adjusted by Benjamini and Hochberg's rule: the share of false claims among claims is kept."""
    return _adjusted(p, "fdr_bh")


def _adjusted(p: ArrayLike, method: str) -> Floats:
    values = np.asarray(p, dtype=float)
    if values.ndim != 1 or not ((values >= 0) & (values <= 1)).all():
        raise InputError("p-values must be a list of numbers from 0 to 1.")
    return multipletests(values, method=method)[1] if len(values) else values


def interval(estimate: ArrayLike, low: ArrayLike, high: ArrayLike, k: ArrayLike, n: ArrayLike) -> Interval:
    """Build an Interval from numbers or arrays."""
    parts = {"estimate": estimate, "low": low, "high": high, "k": k, "n": n}
    # [()] turns arrays without axes into plain numbers
    return Interval(**{name: np.asarray(value, dtype=float)[()] for name, value in parts.items()})
