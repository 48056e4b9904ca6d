"""Compare groups: effects with their intervals first, then log-rank, stratified log-rank, Gray, pairwise with Holm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from mendcurve.errors import InputError, nearest
from mendcurve.methods.arrays import Floats, per
from mendcurve.methods.intervals import holm
from mendcurve.methods.tally import Tally

WEIGHTS = ("log-rank", "left survival", "gehan-breslow", "tarone-ware", "peto-peto")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Test:
    """A test that groups do not differ.

    Attributes
    ----------
    groups : tuple of str, length G
    observed, expected : ndarray, shape (G,)
        Events, and events expected if the groups did not differ. Unit: events.
    score : ndarray, shape (G,)
        Weighted sum of observed minus expected.
    variance : ndarray, shape (G, G)
    chisq, p : float
        nan where nothing can be compared: no events, or fewer than two groups ever at risk.
    df : int
    """

    __test__ = False  # not a test of pytest

    groups: tuple[str, ...]
    observed: Floats
    expected: Floats
    score: Floats
    variance: Floats
    chisq: float
    df: int
    p: float

    def trend(self, scores: Sequence[float]) -> tuple[float, float]:
        """z and two-sided p of the test against a trend over ordered groups, one score a group."""
        s = np.asarray(scores, dtype=float)
        if s.shape != (len(self.groups),):
            raise InputError(f"A trend needs one score a group: {len(self.groups)} groups, {s.size} scores.")
        z = float(s @ self.score / np.sqrt(s @ self.variance @ s))
        return z, float(2 * stats.norm.sf(abs(z)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairwise:
    """Every pair of groups: ``pairs``, the raw ``p`` and the p-values ``adjusted`` by Holm's rule, shape (pairs,)."""

    pairs: tuple[tuple[str, str], ...]
    p: Floats
    adjusted: Floats


def log_rank(tally: Tally, strata: Mapping[str, tuple[str, str]] | None = None, *, weights: str = "log-rank") -> Test:
    """Test that groups end at the same rate (Mantel-Haenszel) [1]_; several causes count as one.

    Parameters
    ----------
    tally : Tally
        At least two groups. For one cause alone give ``tally.censoring_others(cause)``.
    strata : mapping of str to (stratum, group), optional
        Where the tally's groups are cells: which stratum and which compared group each is. Observed, expected and
        variance are summed over strata.
    weights : str
        "log-rank" (1), "left survival" (pooled Kaplan-Meier just before, R's rho=1), "gehan-breslow" (at risk),
        "tarone-ware" (its root), "peto-peto" (product of 1 - d / (n + 1), that day included).

    Raises
    ------
    InputError
        If there are fewer than two groups to compare, a cell of the tally has no stratum, or ``weights`` is unknown.

    Notes
    -----
    At risk on day t: entry < t <= exit, so delayed entry needs nothing special. Ties: hypergeometric variance, times
    the design effect of those at risk. Conditions are not assigned at random: a difference is no cause.

    References
    ----------
    .. [1] Mantel (1966), Cancer Chemotherapy Reports 50:163-170 (from memory).
    """
    if weights not in WEIGHTS:
        raise InputError(f'weights must be one of {", ".join(WEIGHTS)}, not "{weights}".{nearest(weights, WEIGHTS)}')
    cells = strata if strata is not None else {g: ("all", g) for g in tally.groups}
    left_out = [g for g in tally.groups if g not in cells]
    if left_out:
        found = [f"without one: {g}" for g in left_out]
        raise InputError("Every group of the tally needs a stratum and a group,", found)
    groups = tuple(dict.fromkeys(cells[g][1] for g in tally.groups))
    if len(groups) < 2:
        raise InputError("A comparison needs at least two groups,", [f"there is: {', '.join(groups) or 'none'}"])
    members: dict[str, list[tuple[str, int]]] = {}
    for g in tally.groups:
        members.setdefault(cells[g][0], []).append((g, groups.index(cells[g][1])))
    parts = [_one_stratum(tally, m, len(groups), weights) for m in members.values()]
    observed, expected, score, variance = (np.sum([p[i] for p in parts], axis=0) for i in range(4))
    chisq, df = _quadratic(score, variance, expected > 0)
    p = float(stats.chi2.sf(chisq, df)) if df else np.nan
    return Test(groups=groups, observed=observed, expected=expected, score=score, variance=variance, chisq=chisq,
                df=df, p=p)  # fmt: skip


def _one_stratum(
    tally: Tally, members: list[tuple[str, int]], size: int, weights: str
) -> tuple[Floats, Floats, Floats, Floats]:
    rows = [tally.group_index(g) for g, _ in members]
    to = np.array([i for _, i in members])
    n, d = np.zeros((size, len(tally.day))), np.zeros((size, len(tally.day)))
    np.add.at(n, to, tally.at_risk()[rows])
    np.add.at(d, to, tally.events.sum(axis=1)[rows])
    squares = (tally.design_effect()[0] * tally.at_risk())[rows].sum(axis=0)
    N, D = n.sum(axis=0), d.sum(axis=0)
    effect = per(squares, N)
    w = _weight(weights, N, D)
    share = per(n, N)
    expected = D * share
    tied = w**2 * effect * D * per(N - D, N - 1)
    variance = np.diag((tied * share).sum(axis=1)) - (tied * share) @ share.T
    return d.sum(axis=1), expected.sum(axis=1), (w * (d - expected)).sum(axis=1), variance


def _weight(name: str, n: Floats, d: Floats) -> Floats:
    if name == "left survival":
        return np.concatenate([[1.0], np.cumprod(1 - per(d, n))[:-1]])
    return {
        "log-rank": np.ones_like(n),
        "gehan-breslow": n,
        "tarone-ware": np.sqrt(n),
        "peto-peto": np.cumprod(1 - d / (n + 1)),
    }[name]


def _quadratic(score: Floats, variance: Floats, present: NDArray[np.bool_]) -> tuple[float, int]:
    # the last group present is given by the others; a group never at risk at an event tells nothing
    use = np.flatnonzero(present & (np.diag(variance) > 0))[:-1]
    if not len(use):
        return np.nan, 0
    return float(score[use] @ np.linalg.solve(variance[np.ix_(use, use)], score[use])), len(use)


def pairwise(tally: Tally) -> Pairwise:
    """Return the log-rank test of every pair of groups, adjusted by Holm's rule.

    Notes
    -----
    A pair in which nothing can be compared has p nan and is not counted among the tests adjusted for.
    """
    pairs = tuple(combinations(tally.groups, 2))
    p = np.array([log_rank(_two(tally, *pair)).p for pair in pairs])
    adjusted = np.full(len(p), np.nan)
    known = np.isfinite(p)
    adjusted[known] = holm(p[known])
    return Pairwise(pairs=pairs, p=p, adjusted=adjusted)


def _two(tally: Tally, one: str, two: str) -> Tally:
    return tally.one(one) + tally.one(two)


def gray(tally: Tally, cause: str) -> Test:
    """Test that groups have the same cumulative incidence of a cause (Gray, rho = 0) [1]_.

    Raises
    ------
    InputError
        If any subject enters later than the others (the test has no form for delayed entry), fewer than two groups
        are there, or the cause is unknown.

    Notes
    -----
    Each group's subjects at risk are raised to R = n (1 - F(t-)) / S(t-), those who ended otherwise staying in; the
    score is observed minus expected by R. Variance as in R's cuminc (from memory), times the design effect.

    References
    ----------
    .. [1] Gray (1988), Annals of Statistics 16:1141-1154 (from memory).
    """
    c = tally.cause_index(cause)
    if len(tally.groups) < 2:
        raise InputError("A comparison needs at least two groups,", [f"there is: {', '.join(tally.groups)}"])
    if (tally.entered[:, 1:] > 0).any():
        raise InputError(
            "Gray's test cannot take delayed entry, and here some enter later than others.",
            [f"entered after day {tally.day[0]:g}: {tally.entered[:, 1:].sum():g} of {tally.entered.sum():g}"],
            "Compare the cumulative incidence at a day, or restrict to those seen from their origin.",
        )
    observed = tally.events[:, c].sum(axis=1)
    score, variance = _gray_sums(tally, c)
    chisq, df = _quadratic(score, variance, tally.entered.sum(axis=1) > 0)
    p = float(stats.chi2.sf(chisq, df)) if df else np.nan
    return Test(groups=tally.groups, observed=observed, expected=observed - score, score=score, variance=variance,
                chisq=chisq, df=df, p=p)  # fmt: skip


def _gray_sums(tally: Tally, c: int) -> tuple[Floats, Floats]:
    """Score (G,) and its variance (G, G); one step a day with events, all groups at once."""
    n_all, d_all, effect = tally.at_risk(), tally.events.sum(axis=1), tally.design_effect()[0]
    share = 1 - per(d_all, n_all)
    S_all = np.cumprod(share, axis=1)
    S_before = np.concatenate([np.ones((len(n_all), 1)), S_all[:, :-1]], axis=1)
    step = S_before * per(tally.events[:, c], n_all)
    F_before = np.cumsum(step, axis=1) - step
    G = len(n_all)
    score, v, a_c, v2, v3 = np.zeros(G), np.zeros((G, G)), np.zeros((G, G)), np.zeros((G, G)), np.zeros(G)
    pooled = 0.0
    for j in np.flatnonzero(d_all.sum(axis=0) > 0):
        n, here = n_all[:, j], n_all[:, j] > 0
        d1, d2 = tally.events[:, c, j], d_all[:, j] - tally.events[:, c, j]
        raised = np.where(here, per(n, S_before[:, j]), 0.0)
        total, risk = raised.sum(), raised * (1 - F_before[:, j])
        score += d1 - d1.sum() * risk / risk.sum()
        jump = d1.sum() / total
        a = np.diag(raised) - np.outer(raised, raised) / total
        a_c = a_c + a * jump / (1 - pooled)
        left, S = 1 - pooled - jump, S_all[:, j]
        other = per(np.full(G, left), S)
        # events of the cause: binomial within the pooled hazard
        t4 = 1 - other
        ties = 1 - per(np.full(G, d1.sum() - 1), total * S_before[:, j] - 1) if d1.sum() > 1 else np.ones(G)
        t3 = np.where(here, effect[:, j] * ties * S_before[:, j] * per(np.full(G, jump), n), 0.0)
        t1 = a - t4 * a_c
        v, v2, v3 = v + (t1 * t3) @ t1.T, v2 + t1 * t4 * t3, v3 + t4**2 * t3
        # events of the other causes
        ties = np.where(d2 > 1, 1 - per(d2 - 1, n - 1), 1.0)
        t3 = np.where(S > 0, effect[:, j] * ties * S_before[:, j] ** 2 * per(d2, n**2), 0.0)
        t1 = other * a_c
        v, v2, v3 = v + (t1 * t3) @ t1.T, v2 - t1 * other * t3, v3 + other**2 * t3
        pooled += jump
    return score, v + (a_c * v3) @ a_c.T + a_c @ v2.T + v2 @ a_c.T
