"""Mean cost of an episode when some are still running, and exact sums."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from mendcurve.errors import InputError, check_proportion


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanCost:
    """Mean cost up to a horizon, with limits by resampling clusters.

    Attributes
    ----------
    estimate, low, high : float
        Mean cost of a subject and its limits (nan where there are too few to say). Unit: that of the costs.
    n, complete, clusters : int
        Subjects; those followed to their end or to the horizon; clusters resampled.
    closed_mean : float
        Plain mean over complete subjects, which leaves out those still running: for comparison only.
    """

    estimate: float
    low: float
    high: float
    n: int
    complete: int
    clusters: int
    closed_mean: float


def exact_sum(amounts: Iterable[Decimal]) -> Decimal:
    """Return the sum in exact decimals; nothing sums to 0."""
    return sum(amounts, Decimal(0))


def simple_weighted(time: np.ndarray, event: np.ndarray, total: np.ndarray, horizon: float) -> tuple[float, float]:
    """Estimate (1/n) sum of complete_i M_i / K(T_i-) and its standard error [1]_.

    Parameters
    ----------
    time, total : ndarray, shape (n,)
        Follow-up and cost up to the horizon.
    event : ndarray of bool, shape (n,)
        Ended (in any way), not cut off.
    horizon : float
        Where cost stops being counted; whoever reaches it is complete.

    Returns
    -------
    mean, standard_error : float

    Notes
    -----
    K is the Kaplan-Meier curve of being cut off; on one time events come before censorings, so that whoever ended at a
    time is not at risk of being cut off then. From memory of the paper.

    References
    ----------
    .. [1] Bang & Tsiatis (2000), Biometrika 87:329-343 (from memory).
    """
    time, event, cost = _checked(time, event, np.asarray(total, dtype=float)[:, None])
    ones = np.ones((1, len(time)))
    until, complete = np.minimum(time, horizon), event | (time >= horizon)
    total = cost[:, 0]
    weight = complete / _uncensored(time, event, until, ones)[0]
    n, mean = len(time), float(weight @ total / len(time))
    cut = np.unique(time[~event & (time < horizon)])
    lost = np.array([np.sum(~event & (time == u)) for u in cut])
    at_risk = np.array([np.sum(time > u) for u in cut]) + lost
    k_after = np.cumprod(1 - lost / at_risk) if len(cut) else np.ones(0)
    spread = [_spread(weight * (until > u), total) for u in cut]
    extra = float(np.sum(lost / k_after**2 * spread)) if len(cut) else 0.0
    variance = (np.sum(weight * (total - mean) ** 2) / n + extra / n) / n
    return mean, float(np.sqrt(variance))


def interval_means(time: np.ndarray, event: np.ndarray, cost: np.ndarray, cuts: np.ndarray) -> float:
    """Estimate sum over intervals of S(a_k) times the mean cost of those followed past a_k [1]_.

    ``cost`` has shape (n, k): what each subject cost in (a_k, b_k]; costs of those cut off inside count. See
    ``partitioned`` for the parameters.

    References
    ----------
    .. [1] Lin, Feuer, Etzioni & Wax (1997), Biometrics 53:419-434 (from memory).
    """
    time, event, cost = _checked(time, event, cost)
    total = 0.0
    for k, a in enumerate(cuts[:-1]):
        past = (time > a) | (a == 0)
        if past.any():
            total += _survival(time, event, a) * cost[past, k].mean()
    return float(total)


def partitioned(
    time: np.ndarray, event: np.ndarray, cost: np.ndarray, cuts: np.ndarray, *, weight: np.ndarray | None = None
) -> np.ndarray:
    """Estimate sum over intervals k of (1/n) sum of complete_ik M_ik / K(min(T_i, b_k)-) [1]_.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Follow-up since the origin.
    event : ndarray of bool, shape (n,)
        Ended (in any way), not cut off.
    cost : ndarray, shape (n, k)
        What each subject cost in (a_k, b_k] (the first interval holds the origin too).
    cuts : ndarray, shape (k + 1,)
        Ends of the intervals, ascending from 0; the last is the horizon.
    weight : ndarray, shape (draws, n), optional
        How often each subject counts; once, if not given.

    Returns
    -------
    ndarray, shape (draws,)
        Mean cost of a subject up to the horizon.

    Raises
    ------
    InputError
        For lengths that differ, missing or negative times, or cuts that do not ascend from 0.

    Notes
    -----
    A subject is complete in interval k when it ended, or was followed to b_k. K as in ``simple_weighted``. Subjects
    under observation from their origin only: delayed entries are left out by the caller. Where nobody is followed past
    the last cut, and some are cut off before it, later costs are unknown and count 0: choose a horizon that is reached.

    References
    ----------
    .. [1] Bang & Tsiatis (2000), Biometrika 87:329-343; partitioned form (from memory).
    """
    time, event, cost = _checked(time, event, cost)
    cuts = _checked_cuts(cuts, cost)
    weight = np.ones((1, len(time))) if weight is None else np.asarray(weight, dtype=float)
    return (weight * _inflated(time, event, cost, cuts, weight)).sum(1) / weight.sum(1)


def mean_cost(
    time: np.ndarray,
    event: np.ndarray,
    cost: np.ndarray,
    cuts: np.ndarray,
    *,
    cluster: np.ndarray | None = None,
    confidence: float = 0.95,
    draws: int = 1000,
    seed: int = 0,
) -> MeanCost:
    """Estimate the mean cost with limits by a studentised bootstrap of clusters on the log scale.

    Parameters
    ----------
    time, event, cost, cuts
        As for ``partitioned``.
    cluster : ndarray, shape (n,), optional
        Subjects that share a cluster (an animal) are drawn together; each its own, if not given.
    confidence : float
    draws, seed : int

    Returns
    -------
    MeanCost
        Limits are nan with fewer than 5 clusters that cost anything, or where all cost the same: too few to say.

    Raises
    ------
    InputError
        As for ``partitioned``; and for a confidence outside 0-1.

    Notes
    -----
    Costs are skewed: the plain percentile bootstrap covers too seldom with few animals, so each draw's distance is
    taken in its own standard error, of log mean (Efron & Tibshirani 1993, from memory). The standard error treats the
    censoring weights as known within a draw.
    """
    check_proportion("confidence", confidence)
    time, event, cost = _checked(time, event, cost)
    cuts = _checked_cuts(cuts, cost)
    code = np.arange(len(time)) if cluster is None else np.unique(np.asarray(cluster), return_inverse=True)[1]
    groups = int(code.max(initial=-1)) + 1
    complete = event | (time >= cuts[-1])
    low = high = np.nan
    centre = float(partitioned(time, event, cost, cuts)[0]) if len(time) else np.nan
    if len(np.unique(code[cost.sum(1) > 0])) >= 5:
        low, high = _limits(time, event, cost, cuts, code, confidence, np.random.default_rng(seed), draws)
    closed = float(cost[complete].sum(1).mean()) if complete.any() else np.nan
    return MeanCost(
        estimate=centre,
        low=low,
        high=high,
        n=len(time),
        complete=int(complete.sum()),
        clusters=groups,
        closed_mean=closed,
    )


def _limits(
    time: np.ndarray,
    event: np.ndarray,
    cost: np.ndarray,
    cuts: np.ndarray,
    code: np.ndarray,
    confidence: float,
    rng: np.random.Generator,
    draws: int,
) -> tuple[float, float]:
    groups, block = int(code.max()) + 1, max(1, 4_000_000 // len(time))
    (centre,), (relative,) = _moments(time, event, cost, cuts, code, np.ones((1, groups)))
    distance = []
    for start in range(0, draws, block):
        counts = rng.multinomial(groups, np.full(groups, 1 / groups), min(block, draws - start))
        mean, error = _moments(time, event, cost, cuts, code, counts)
        usable = (mean > 0) & (error > 0)
        distance.append((np.log(mean[usable]) - np.log(centre)) / error[usable])
    known = np.concatenate(distance)
    if not len(known) or relative == 0:
        return np.nan, np.nan  # every subject costs the same: the data say nothing of spread
    tail = (1 - confidence) / 2
    far, near = np.quantile(known, [1 - tail, tail])
    return float(centre * np.exp(-far * relative)), float(centre * np.exp(-near * relative))


def _moments(
    time: np.ndarray, event: np.ndarray, cost: np.ndarray, cuts: np.ndarray, code: np.ndarray, counts: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and relative standard error by draw, clusters counted ``counts`` times; shape (draws,) each."""
    weight = counts[:, code]
    value, size = _inflated(time, event, cost, cuts, weight), weight.sum(1)
    mean = (weight * value).sum(1) / size
    off = np.zeros(counts.shape)
    np.add.at(off.T, code, (value - mean[:, None]).T)
    error = np.sqrt((counts * off**2).sum(1)) / size
    return mean, np.divide(error, mean, out=np.zeros_like(error), where=mean > 0)


def _inflated(
    time: np.ndarray, event: np.ndarray, cost: np.ndarray, cuts: np.ndarray, weight: np.ndarray
) -> np.ndarray:
    """Cost of each subject in each draw, complete intervals weighted by 1/K; shape (draws, n)."""
    out = np.zeros_like(weight, dtype=float)
    for k, end in enumerate(cuts[1:]):
        spent = cost[:, k] * (event | (time >= end))
        # K of a draw is 0 only past the last subject drawn, whose weight is 0.
        free = _uncensored(time, event, np.minimum(time, end), weight)
        out += np.divide(spent, free, out=np.zeros_like(out), where=free > 0)
    return out


def _uncensored(time: np.ndarray, event: np.ndarray, at: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """K(at-) in each draw: product over censoring times u < at of 1 - cut off at u / at risk of it."""
    cut = np.unique(time[~event])
    if not len(cut):
        return np.ones((len(weight), len(at)))
    order = np.argsort(time, kind="stable")
    past = np.concatenate([np.cumsum(weight[:, order][:, ::-1], axis=1)[:, ::-1], np.zeros((len(weight), 1))], axis=1)
    later = past[:, np.searchsorted(time[order], cut, side="right")]
    lost = np.zeros((len(weight), len(cut)))
    np.add.at(lost.T, np.searchsorted(cut, time[~event]), weight[:, ~event].T)
    at_risk = later + lost
    step = 1 - np.divide(lost, at_risk, out=np.zeros_like(lost), where=at_risk > 0)
    curve = np.concatenate([np.ones((len(weight), 1)), np.cumprod(step, axis=1)], axis=1)
    return curve[:, np.searchsorted(cut, at, side="left")]


def _survival(time: np.ndarray, event: np.ndarray, at: float) -> float:
    when = np.unique(time[event & (time <= at)])
    return float(np.prod([1 - np.sum(event & (time == t)) / np.sum(time >= t) for t in when]))


def _spread(weight: np.ndarray, total: np.ndarray) -> float:
    if weight.sum() <= 0:
        return 0.0
    first, second = weight @ total / weight.sum(), weight @ total**2 / weight.sum()
    return float(second - first**2)


def _checked(time: np.ndarray, event: np.ndarray, cost: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    time, event, cost = np.asarray(time, dtype=float), np.asarray(event).astype(bool), np.asarray(cost, dtype=float)
    if cost.ndim != 2 or not len(time) == len(event) == len(cost):
        raise InputError(
            "time, event and cost must have one entry a subject, and cost one column an interval.",
            [f"time {time.shape}, event {event.shape}, cost {cost.shape}"],
        )
    bad = ~(np.isfinite(time) & (time >= 0))
    if bad.any():
        raise InputError(
            f"Follow-up must be 0 or more, but {bad.sum()} of {len(time)} are not.",
            remedy="Leave these subjects out, and count them.",
        )
    if not np.isfinite(cost).all():
        raise InputError("Every cost must be a number.", remedy="Write 0 where nothing was spent.")
    return time, event, cost


def _checked_cuts(cuts: np.ndarray, cost: np.ndarray) -> np.ndarray:
    cuts = np.asarray(cuts, dtype=float)
    if cuts[0] != 0 or (np.diff(cuts) <= 0).any() or len(cuts) != cost.shape[1] + 1:
        raise InputError(
            "Cuts must ascend from 0, one more than there are cost columns.",
            [f"cuts {cuts.tolist()}, {cost.shape[1]} columns"],
        )
    return cuts
