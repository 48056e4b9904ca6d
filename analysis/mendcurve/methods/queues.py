"""Textbook queues: how many places a steady flow needs. The check beside the forecast, not the forecast."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

from mendcurve.errors import InputError, check_proportion

# A search for places stops here: a rescue with more has mistyped a rate.
MOST_PLACES = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A waiting line before ``places`` that are all alike, in the long run.

    Attributes
    ----------
    waits : float
        Share of arrivals that wait at all (Erlang C). Unit: proportion, 0-1.
    queue : float
        Mean number waiting. Unit: animals.
    wait : float
        Mean wait over all arrivals. Unit: mean stays.
    over_one_stay : float
        Share that waits longer than one mean stay. Unit: proportion, 0-1.
    """

    waits: float
    queue: float
    wait: float
    over_one_stay: float


def offered_load(rate: float, stay: float) -> float:
    """Return rate x mean stay: the mean number present with room for all (Little's law).

    Parameters
    ----------
    rate : float
        Arrivals a day. Unit: animals per day.
    stay : float
        Mean stay. Unit: days.

    References
    ----------
    Little (1961), Operations Research 9:383-387 (from memory).
    """
    return _load(rate) * _load(stay)


def _load(load: float) -> float:
    if not (math.isfinite(load) and load >= 0):
        raise InputError(f"A rate, a stay and a load must be numbers of at least 0, but one is {load:g}.")
    return float(load)


def _places(places: int) -> int:
    if places != int(places) or places < 0:
        raise InputError(f"Places must be a whole number of at least 0, but it is {places:g}.")
    return int(places)


def erlang_b(places: int, load: float) -> float:
    """Return the share of arrivals refused when all places are taken (Erlang loss).

    B_0 = 1; B_k = a B_{k-1} / (k + a B_{k-1}). Depends on the mean stay only, not on its shape; used for hospital wards
    by de Bruin et al. (2010), Ann Oper Res, doi:10.1007/s10479-009-0647-8. Refused animals do not come back.
    """
    load = _load(load)
    blocked = 1.0
    for k in range(1, _places(places) + 1):
        blocked = load * blocked / (k + load * blocked)
    return blocked


def carried(places: int, load: float) -> float:
    """Return the mean number of places taken when arrivals are refused at full: a (1 - B)."""
    return load * (1 - erlang_b(places, load))


def erlang_c(places: int, load: float) -> Waiting:
    """Return the waiting line of Erlang's second formula: nobody is refused, stays are exponential.

    Raises
    ------
    InputError
        If the load is not below the number of places: the line would grow without end.
    """
    places, load = _places(places), _load(load)
    if load >= places:
        raise InputError(
            f"With {places} places and a load of {load:g} the waiting line grows without end.",
            remedy="The load must be below the number of places.",
        )
    blocked, use = erlang_b(places, load), load / places
    waits = blocked / (1 - use * (1 - blocked))
    wait = waits / (places - load)
    return Waiting(waits=waits, queue=load * wait, wait=wait, over_one_stay=waits * math.exp(-(places - load)))


def places_for(load: float, refused: float) -> int:
    """Return the fewest places with at most the share ``refused`` turned away (Erlang loss)."""
    load = _load(load)
    check_proportion("The share refused", refused)
    if load == 0:
        return 0
    blocked, places = 1.0, 0
    while blocked > refused:
        places += 1
        if places > MOST_PLACES:
            raise InputError(
                f"A load of {load:g} needs more than {MOST_PLACES:,} places.",
                remedy="Look at the intake rate and the mean stay: one of them is mistyped.",
            )
        blocked = load * blocked / (places + load * blocked)
    return places


def load_for(places: int, refused: float) -> float:
    """Return the largest load with at most the share ``refused`` turned away by ``places`` (Erlang loss, inverted)."""
    check_proportion("The share refused", refused)
    if _places(places) < 1:
        raise InputError(f"A load needs at least one place, but there are {places}.")
    most = (places + 1) / (1 - refused)  # a (1 - B) <= places bounds the load
    return float(optimize.brentq(lambda a: erlang_b(places, a) - refused, 0.0, most, xtol=1e-13, rtol=1e-14))


def present_quantile(mean: ArrayLike, p: ArrayLike) -> NDArray[np.int64]:
    """Return the p-quantile of the number present when no one is refused (M/G/infinity): Poisson(mean)."""
    return _quantile(stats.poisson.ppf(p, mean))


def present_above(mean: ArrayLike, places: ArrayLike) -> NDArray[np.float64]:
    """Return the share of days with more than ``places`` present when no one is refused (M/G/infinity)."""
    return np.asarray(stats.poisson.sf(places, mean))


def count_quantile(mean: ArrayLike, size: ArrayLike, p: ArrayLike) -> NDArray[np.int64]:
    """Return the p-quantile of a negative binomial count, variance mean + mean^2 / size."""
    return _quantile(stats.nbinom.ppf(p, size, _p(mean, size)))


def count_above(mean: ArrayLike, size: ArrayLike, limit: ArrayLike) -> NDArray[np.float64]:
    """Return the chance that a negative binomial count is above ``limit``."""
    return np.asarray(stats.nbinom.sf(limit, size, _p(mean, size)))


def count_chance(mean: ArrayLike, size: ArrayLike, count: ArrayLike) -> NDArray[np.float64]:
    """Return the chance of exactly ``count`` under a negative binomial law."""
    return np.asarray(stats.nbinom.pmf(count, size, _p(mean, size)))


def count_variance(mean: float, size: float) -> float:
    """Return mean + mean^2 / size."""
    return mean + mean**2 / size


def _p(mean: ArrayLike, size: ArrayLike) -> NDArray[np.float64]:
    mean, size = np.asarray(mean, dtype=float), np.asarray(size, dtype=float)
    if not ((mean > 0).all() and (size > 0).all()):
        raise InputError(
            "The mean and the size of a negative binomial count must be above 0.",
            [f"mean {mean.min():g}, size {size.min():g}"],
        )
    return size / (size + mean)


def _quantile(value: ArrayLike) -> NDArray[np.int64]:
    value = np.asarray(value)
    if not np.isfinite(value).all():
        raise InputError("A quantile must be between 0 and 1 (95 is written 0.95), and a mean at least 0.")
    return value.astype(np.int64)


def restarting_quarantine(rate: float, days: float) -> float:
    """Return the expected days until a shared room is clear if every arrival restarts the clock.

    (e^(rate days) - 1) / rate, the wait for a gap of ``days`` in a Poisson stream of ``rate`` a day (textbook).
    """
    if _load(rate) == 0:
        return float(days)
    return math.expm1(rate * _load(days)) / rate


def filling_wait(batch: int, rate: float) -> float:
    """Return the mean wait for a room of ``batch`` to fill, all in together: (batch - 1) / (2 rate). Unit: days."""
    if _load(rate) == 0:
        raise InputError("A room never fills without arrivals: the rate is 0.")
    return (_places(batch) - 1) / (2 * rate)
