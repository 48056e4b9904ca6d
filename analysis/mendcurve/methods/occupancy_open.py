"""The open house in continuous time: Poisson arrivals, any stay curve, those present today (M/G/infinity)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from mendcurve.errors import InputError
from mendcurve.methods.occupancy_law import poisson_binomial

Floats = NDArray[np.float64]


def share_at(day: ArrayLike, share: ArrayLike, when: ArrayLike) -> Floats:
    """Return a step curve, right-continuous and 1 before its first day, at ``when``."""
    steps = np.concatenate([[1.0], np.asarray(share, dtype=float)])
    return steps[np.searchsorted(np.asarray(day, dtype=float), when, side="right")]


def area(day: ArrayLike, share: ArrayLike, start: float, end: float) -> float:
    """Return the area under a step curve from ``start`` to ``end``. Unit: days."""
    day = np.asarray(day, dtype=float)
    cuts = np.concatenate([[start], day[(day > start) & (day < end)], [end]])
    return float(np.sum(np.diff(cuts) * share_at(day, share, cuts[:-1])))


def still_here(day: ArrayLike, share: ArrayLike, already: ArrayLike, ahead: ArrayLike) -> Floats:
    """Return S(already + ahead) / S(already): the chance of still being here ``ahead`` days from now.

    Raises
    ------
    InputError
        If the curve is 0 at ``already``: beyond our data.
    """
    now = share_at(day, share, already)
    if (now <= 0).any():
        raise InputError("No stay in the data was as long as one already is: its remaining time is beyond our data.")
    return share_at(day, share, np.add(already, ahead)) / now


def remaining_mean(day: ArrayLike, share: ArrayLike, already: float, ahead: float) -> float:
    """Return the mean number of the next ``ahead`` days still spent here. Unit: days."""
    still_here(day, share, already, 0)
    return area(day, share, already, already + ahead) / float(share_at(day, share, already))


def new_present(day: ArrayLike, share: ArrayLike, rates: ArrayLike) -> float:
    """Return the mean number present at the end of the last day among arrivals of days 1, 2, ....

    Parameters
    ----------
    rates : array, shape (days,)
        Arrivals on day 1, 2, ..., spread evenly over the day. Unit: animals per day.
    """
    rates = np.atleast_1d(np.asarray(rates, dtype=float))
    back = range(rates.size - 1, -1, -1)
    return float(sum(r * area(day, share, b, b + 1) for r, b in zip(rates, back, strict=True)))


def open_house_law(new: float, residents: ArrayLike, *, tail: float = 1e-14) -> Floats:
    """Return the law of the census: Poisson(new) plus one Bernoulli a resident; shape (counts,)."""
    most = int(stats.poisson.isf(tail, new)) + 1 if new > 0 else 0
    law = np.convolve(
        stats.poisson.pmf(np.arange(most + 1), new), poisson_binomial(np.asarray(residents)[:, None])[:, 0]
    )
    return law / law.sum()
