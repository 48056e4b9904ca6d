"""Intervals when several rows belong together: doses of a course, conditions of an animal, animals of a clutch."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats
from mendcurve.methods.curves import Incidence, cumulative_incidence
from mendcurve.methods.intervals import wilson
from mendcurve.methods.limits import incidence_limits
from mendcurve.methods.tally import Tally


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClusterShare:
    """A share of trials, many a cluster.

    Attributes
    ----------
    estimate, low, high, se : float
        Pooled share, Wilson limits at the effective size, standard error by cluster. Unit: proportion.
    design_effect : float
        Variance by cluster over the binomial one.
    k, n : float
        Successes and trials.
    clusters : int
    """

    estimate: float
    low: float
    high: float
    se: float
    design_effect: float
    k: float
    n: float
    clusters: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClusterIncidence:
    """Cumulative incidence at chosen days with variance by cluster.

    Attributes
    ----------
    causes : tuple of str, length C
    day : ndarray, shape (m,)
    share, low, high, se, design_effect : ndarray, shape (C, m)
    subjects : float
    clusters : int
    """

    causes: tuple[str, ...]
    day: Floats
    share: Floats
    low: Floats
    high: Floats
    se: Floats
    design_effect: Floats
    subjects: float
    clusters: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Resampled:
    """An estimate with percentile limits from resampling whole clusters; ``used`` draws gave a finite value."""

    estimate: Floats
    low: Floats
    high: Floats
    se: Floats
    used: NDArray[np.int64]


def cluster_share(
    successes: ArrayLike, trials: ArrayLike, cluster: ArrayLike | None = None, *, confidence: float = 0.95
) -> ClusterShare:
    """Return the pooled share of successes with its variance by cluster (ratio estimator) [1]_.

    Parameters
    ----------
    successes, trials : array_like, shape (n,)
    cluster : array_like, shape (n,), optional
        Rows with one value belong together; None: every row is a cluster.

    Raises
    ------
    InputError
        If a row has more successes than trials.

    Notes
    -----
    SE^2 = m/(m-1) sum over clusters of (y - p n)^2 / (sum n)^2. Limits: Wilson with y and n divided by the design
    effect. Where the share is 0 or 1, or there is one cluster, the variance says nothing about the clustering: every
    cluster then counts as one trial of its mean size (design effect sum n^2 / sum n).

    References
    ----------
    .. [1] Rao & Scott (1992), Biometrics 48:577-585 (from memory).
    """
    y, n = np.asarray(successes, dtype=float), np.asarray(trials, dtype=float)
    if (y > n).any() or (y < 0).any():
        raise InputError("Successes must lie between 0 and the trials of their row.", [f"row {np.argmax(y > n)}"])
    code = np.arange(len(y)) if cluster is None else np.unique(np.asarray(cluster), return_inverse=True)[1].reshape(-1)
    y, n = np.bincount(code, weights=y), np.bincount(code, weights=n)
    y, n = y[n > 0], n[n > 0]
    m, size = len(n), n.sum()
    p = y.sum() / size if size else np.nan
    binomial = p * (1 - p) / size if size else np.nan
    if m > 1 and binomial > 0:
        variance = m / (m - 1) * ((y - p * n) ** 2).sum() / size**2
        effect = variance / binomial
    else:
        effect = float((n**2).sum() / size) if size else 1.0
        variance = binomial * effect
    # no spread between clusters at all is luck, not infinite information
    kept = effect if effect > 0 else 1.0
    limits = wilson(y.sum(), size, confidence=confidence, design_effect=kept)
    return ClusterShare(
        estimate=float(p), low=float(limits.low), high=float(limits.high), se=float(np.sqrt(variance)),
        design_effect=float(effect), k=float(y.sum()), n=float(size), clusters=m,
    )  # fmt: skip


def cluster_incidence(
    entry: ArrayLike | None, exit: ArrayLike, cause: ArrayLike, cluster: ArrayLike, days: ArrayLike, *,
    weight: ArrayLike | None = None, causes: tuple[str, ...] = ("event",), confidence: float = 0.95,
) -> ClusterIncidence:  # fmt: skip
    """Return cumulative incidence at the given days, with the infinitesimal jackknife summed by cluster.

    Parameters
    ----------
    entry, exit, cause, weight, causes : as :meth:`Tally.from_arrays`
    cluster : array_like, shape (n,)
        Stay, or animal where stays repeat.
    days : array_like, shape (m,)

    Notes
    -----
    One influence a row and day from prefix sums, no loop over rows. Without clusters the SE is the Greenwood type,
    exactly so where nobody enters late. Limits: mid-p beta product with counts divided by the design effect of that
    day: the variance by cluster over that of independent subjects, at least 1; where an event-free or all-event curve
    has no variance, the clusters' sizes (sum of squares over sum). Where subjects are clustered, m clusters estimate
    their own variance, so it is widened by m/(m-1) and the squared ratio of Student's t to the normal quantile [1]_.

    References
    ----------
    .. [1] Korn & Graubard (1998), Survey Methodology 24:193-201 (from memory).
    """
    check_proportion("confidence", confidence)
    begin = np.full(len(np.asarray(exit)), -1.0) if entry is None else np.asarray(entry, dtype=float)
    w = np.ones(len(begin)) if weight is None else np.asarray(weight, dtype=float)
    tally = Tally.from_arrays(begin, exit, cause, weight=w, causes=causes)
    wanted = np.atleast_1d(np.asarray(days, dtype=float))
    code = np.unique(np.asarray(cluster), return_inverse=True)[1].reshape(-1)
    at = cumulative_incidence(tally).at(wanted)
    single = _independent(tally).at(wanted)
    shape = (len(causes), len(wanted))
    variance = np.zeros(shape)
    for m, day in enumerate(wanted):
        for c, row in enumerate(influences(tally, begin, exit, cause, day)):
            variance[c, m] = (np.bincount(code, weights=w * row) ** 2).sum()
    sizes = np.bincount(code, weights=w)
    by_size = (sizes**2).sum() / sizes.sum()
    plain = single.se[0] ** 2
    effect = np.where(plain > 1e-16, np.divide(variance, plain, out=np.ones(shape), where=plain > 1e-16), by_size)
    effect = np.maximum(effect, 1.0)
    few = _few_clusters(len(sizes), confidence) if sizes.max(initial=0.0) > 1 else 1.0
    low, high = _limits_at(tally, wanted, effect * few, confidence)
    return ClusterIncidence(
        causes=causes, day=wanted, share=at.share[0], low=low, high=high, se=np.sqrt(variance), design_effect=effect,
        subjects=float(w.sum()), clusters=len(sizes),
    )  # fmt: skip


def _few_clusters(m: int, confidence: float) -> float:
    if m < 2:
        return 1.0
    tail = 0.5 + confidence / 2
    return float(m / (m - 1) * (stats.t.ppf(tail, m - 1) / stats.norm.ppf(tail)) ** 2)


def _independent(tally: Tally) -> Incidence:
    # the same counts as if every subject stood alone
    alone = replace(tally, entered2=tally.entered, events2=tally.events, censored2=tally.censored)
    return cumulative_incidence(alone)


def influences(tally: Tally, entry: ArrayLike, exit: ArrayLike, cause: ArrayLike, day: float) -> Iterator[Floats]:
    """Yield, cause by cause, the derivative of F_c(day) by the weight of each row, shape (rows,).

    Parameters
    ----------
    tally : Tally
        Of these rows: one group.
    entry, exit, cause : as :meth:`Tally.from_arrays`
    day : float
    """
    why = np.asarray(cause)
    n, d = tally.at_risk()[0], tally.events[0].sum(axis=0)
    per = np.divide(1.0, n, out=np.zeros_like(n), where=n > 0)
    q = d * per
    before = np.concatenate([[1.0], np.cumprod(1 - q)[:-1]])
    survive = np.divide(1.0, 1 - q, out=np.zeros_like(q), where=1 - q > 1e-12)
    at_exit, at_entry = (np.searchsorted(tally.day, np.asarray(x, dtype=float)) for x in (exit, entry))
    now = tally.day <= day
    to_cause = np.where(now, before * per, 0.0)
    for c in range(len(tally.causes)):
        qc = tally.events[0, c] * per
        share = np.cumsum(before * qc)
        gap = np.where(now, (share[now][-1] if now.any() else 0.0) - share, 0.0)
        to_any = gap * survive * per
        path = np.cumsum(to_cause * qc - to_any * q)
        ended = (why > 0) * -to_any[at_exit] + (why == c + 1) * to_cause[at_exit]
        yield ended - (path[at_exit] - path[at_entry])


def _limits_at(tally: Tally, days: Floats, effect: Floats, confidence: float) -> tuple[Floats, Floats]:
    low, high = np.zeros(effect.shape), np.ones(effect.shape)
    n, after = tally.at_risk(), tally.after()
    for m, day in enumerate(days):
        place = np.searchsorted(tally.day, day, side="right") - 1
        if place < 0:
            continue
        for c in range(effect.shape[0]):
            e, upto = effect[c, m], slice(0, place + 1)
            still = np.where(n > 0, n - tally.events.sum(axis=1), after) if tally.day[place] == day else after
            found = incidence_limits(n[:, upto] / e, tally.events[..., upto] / e, still[:, upto] / e, confidence)
            low[c, m], high[c, m] = found[0][0, c, -1], found[1][0, c, -1]
    return low, high


def bootstrap(
    statistic: Callable[[Floats], ArrayLike], cluster: ArrayLike, *, seed: int, draws: int = 999,
    confidence: float = 0.95,
) -> Resampled:  # fmt: skip
    """Resample whole clusters and recompute a statistic of the row weights.

    Parameters
    ----------
    statistic : callable
        Takes weights of the rows, shape (n,), whole numbers from 0; returns a number or an array.
    cluster : array_like, shape (n,)
        Rows with one value are drawn together: comparing conditions that share animals keeps what they share.
    seed : int
        The same seed gives the same limits.

    Raises
    ------
    InputError
        If there are fewer than two clusters: nothing can be resampled.

    Notes
    -----
    Percentile limits [1]_ of the draws in which the statistic is finite; their number is returned.

    References
    ----------
    .. [1] Efron & Tibshirani (1993), An Introduction to the Bootstrap (from memory).
    """
    check_proportion("confidence", confidence)
    code = np.unique(np.asarray(cluster), return_inverse=True)[1].reshape(-1)
    m = int(code.max()) + 1 if len(code) else 0
    if m < 2:
        raise InputError("Resampling needs at least two clusters,", [f"there are {m}"])
    rng = np.random.default_rng(seed)
    centre = np.asarray(statistic(np.ones(len(code))), dtype=float)
    times = (np.bincount(rng.integers(0, m, m), minlength=m).astype(float) for _ in range(draws))
    draw = np.array([statistic(t[code]) for t in times], dtype=float)
    used = np.isfinite(draw).sum(axis=0)
    draw = np.where(np.isfinite(draw), draw, np.nan)
    enough = used > draws / 2  # limits of the lucky half of the draws would be too narrow
    tail = (1 - confidence) / 2
    filled = np.where(enough, draw, 0.0)
    low, high = np.nanquantile(filled, [tail, 1 - tail], axis=0)
    se = np.nanstd(filled, axis=0, ddof=1)
    low, high, se = (np.where(enough, x, np.nan)[()] for x in (low, high, se))
    return Resampled(estimate=centre[()], low=low, high=high, se=se, used=used)
