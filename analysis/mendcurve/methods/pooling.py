"""Small groups: cumulative incidence that borrows from related groups, span by span, as far as they agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats
from mendcurve.methods.curves import Incidence, cumulative_incidence
from mendcurve.methods.tally import Tally

SPREAD = np.linspace(0.02, 4.0, 60)
"""Grid of 1/sqrt(a), about the relative spread of groups: from all but equal to fourfold."""
LEVEL = np.exp(np.linspace(np.log(0.05), np.log(20.0), 81))
"""Grid of the level of a span's hazard, relative to the pooled one."""
MISFIT = 0.01
"""A group is not pooled if its most surprising cell has a p-value below this after Bonferroni."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pooled:
    """Cumulative incidence of groups that borrow from each other, beside what each has of its own.

    Attributes
    ----------
    groups, causes : tuple of str, lengths G and C
    day : ndarray, shape (k,)
        Unit: days since origin.
    share, low, high : ndarray, shape (G, C, k)
        Posterior mean and limits; the raw ones where a group is not pooled. Unit: proportion.
    raw : Incidence
        Each group alone.
    subjects : ndarray, shape (G,)
    own_weight : ndarray, shape (G,)
        Weight of the group's own data in its hazards, 0-1 (1 where not pooled).
    pooled : ndarray of bool, shape (G,)
    why_not : tuple of str, length G
        Empty where pooled; else the reason in words.
    """

    groups: tuple[str, ...]
    causes: tuple[str, ...]
    day: Floats
    share: Floats
    low: Floats
    high: Floats
    raw: Incidence
    subjects: Floats
    own_weight: Floats
    pooled: NDArray[np.bool_]
    why_not: tuple[str, ...]

    def at(self, days: Floats | list[float] | float) -> tuple[Floats, Floats, Floats]:
        """Estimate, low and high on the given days, each (G, C, len(days)): the last value at or before each day."""
        place = np.searchsorted(self.day, np.atleast_1d(np.asarray(days, dtype=float)), side="right")
        start = np.zeros((len(self.groups), len(self.causes), 1))
        cells = (np.concatenate([start, x], axis=-1)[..., place] for x in (self.share, self.low, self.high))
        share, low, high = cells
        return share, low, high


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cells:
    # a column a cause and span, shape (G, cells): events, expected; a day, shape (C, k): hazard, events
    events: Floats
    expected: Floats
    hazard: Floats
    span: NDArray[np.int64]
    unseen: NDArray[np.bool_]
    by_day: Floats


def pool(
    tally: Tally, *, spans: tuple[float, ...] = (7, 30, 90), confidence: float = 0.95, draws: int = 1000, seed: int = 0
) -> Pooled:
    """Estimate the cumulative incidence of related small groups together [1]_.

    Parameters
    ----------
    tally : Tally
        Groups that may borrow from each other: taxa within one condition, or conditions of one named family.
    spans : tuple of float
        Last day of each span; (7, 30, 90) makes 0-7, 8-30, 31-90 and later. Unit: days since origin.
    confidence : float
    draws, seed : int
        Seeded draws behind the limits: the same tally gives the same numbers.

    Raises
    ------
    InputError
        If spans do not rise, or there are fewer than 100 draws.

    Notes
    -----
    Per cause and span, events of a group ~ Poisson(theta level E), E the events expected from the pooled day hazards
    of all groups, theta ~ Gamma(a, a). The posterior runs over a grid of a (half-Cauchy(1) on 1/sqrt(a)) and of the
    level (flat on its logarithm), so that neither the likeness of groups nor the pooled hazard is taken as known.
    A span in which no group had the event keeps Jeffreys' rate, half an event over the time of all groups.
    A day's hazards h become 1 - product over causes of (1 - h)^theta, split among causes in proportion.
    Weighted counts are divided by the group's design effect. A group whose events by span surprise what the others
    predict (p below 0.01 after Bonferroni) is not pooled, nor is one without another group to borrow from.

    References
    ----------
    .. [1] Clayton & Kaldor (1987), Biometrics 43:671-681 (from memory): the gamma-Poisson model.
    """
    check_proportion("confidence", confidence)
    if list(spans) != sorted(set(spans)):
        raise InputError("Spans must rise from one to the next,", [", ".join(f"{s:g}" for s in spans)])
    if draws < 100:
        raise InputError(f"Limits need at least 100 draws, but draws is {draws}.")
    raw = cumulative_incidence(tally, confidence=confidence)
    cells = _cells(tally, spans)
    some = tally.entered.sum(axis=1) > 0
    p = _surprise(cells)
    odd = p.min(axis=1, initial=1.0) * max(cells.events.shape[1], 1) < MISFIT
    use = some & ~odd if (some & ~odd).sum() > 1 else np.zeros(len(some), dtype=bool)
    share, low, high = raw.share.copy(), raw.low.copy(), raw.high.copy()
    own = np.ones(len(some))
    if use.any():
        kept = _cells(_rows(tally, use), spans)
        rng = np.random.default_rng(seed)
        factor, own[use] = _posterior(kept, draws, rng)
        shape = _shape(kept, draws, rng)
        tail = (1 - confidence) / 2
        for i, g in enumerate(np.flatnonzero(use)):
            drawn = _incidence(kept, factor[:, i], shape)
            share[g] = drawn.mean(axis=0)
            low[g], high[g] = np.quantile(drawn, [tail, 1 - tail], axis=0)
    return Pooled(
        groups=tally.groups, causes=tally.causes, day=tally.day, share=share, low=low, high=high, raw=raw,
        subjects=tally.entered.sum(axis=1), own_weight=own, pooled=use,
        why_not=tuple(_reason(u, o, s) for u, o, s in zip(use, odd, some, strict=True)),
    )  # fmt: skip


def _reason(used: bool, odd: bool, some: bool) -> str:
    if used:
        return ""
    if odd:
        return "its course differs from the others by more than chance, so it stands alone"
    return "no other group to borrow from" if some else "nobody is in it"


def _rows(tally: Tally, use: NDArray[np.bool_]) -> Tally:
    chosen = [g for g, u in zip(tally.groups, use, strict=True) if u]
    total = tally.one(chosen[0])
    for g in chosen[1:]:
        total = total + tally.one(g)
    return total


def _cells(tally: Tally, spans: tuple[float, ...]) -> _Cells:
    effect = np.maximum(tally.entered2.sum(axis=1), 1e-300) / np.maximum(tally.entered.sum(axis=1), 1e-300)
    effect = np.where(tally.entered.sum(axis=1) > 0, effect, 1.0)
    n, d = tally.at_risk() / effect[:, None], tally.events / effect[:, None, None]
    span = np.searchsorted(np.asarray(spans, dtype=float), tally.day)
    onto = (span[:, None] == np.arange(len(spans) + 1)).astype(float)
    total = n.sum(axis=0)
    hazard = np.divide(d.sum(axis=0), total, out=np.zeros(d.shape[1:]), where=total > 0)
    # nobody had it in this span: one event over all the time seen is the unit, its rate is drawn about half of that
    unseen = (d.sum(axis=0) @ onto) == 0
    time = total @ onto
    flat = np.divide(1.0, time, out=np.zeros_like(time), where=time > 0)
    hazard = np.where(unseen[:, span], np.where(total > 0, np.minimum(flat[span], 0.5), 0.0), hazard)
    C, S = unseen.shape
    events = (d @ onto).reshape(len(n), C * S)
    expected = np.stack([(n * h) @ onto for h in hazard], axis=1).reshape(len(n), C * S)
    return _Cells(events=events, expected=expected, hazard=hazard, span=span, unseen=unseen.reshape(-1),
                  by_day=d.sum(axis=0))  # fmt: skip


def _log_likelihood(d: Floats, e: Floats) -> Floats:
    """Negative binomial of one cell for each a, level and group, shape (a, level, G)."""
    a, mean = (SPREAD**-2)[:, None, None], LEVEL[None, :, None] * e
    nb = special.gammaln(d + a) - special.gammaln(a) - special.gammaln(d + 1) - a * np.log1p(mean / a)
    return nb + special.xlogy(d, np.where(e > 0, mean / (a + mean), 1.0))


def _prior() -> Floats:
    # half-Cauchy(1) on the grid of 1/sqrt(a), its ends counted half (trapezoid); flat on the logarithm of the level
    ends = np.ones(len(SPREAD))
    ends[[0, -1]] = 0.5
    return np.log(ends / (1 + SPREAD**2))[:, None] + np.zeros(len(LEVEL))


def _weights(log: Floats) -> Floats:
    w = np.exp(log - log.max())
    return w / w.sum()


def _surprise(cells: _Cells) -> Floats:
    """Two-sided mid-p of each group's events in each cell, as the other groups predict them, shape (G, cells)."""
    G, K = cells.events.shape
    p = np.ones((G, K))
    a = (SPREAD**-2)[:, None]
    for k in np.flatnonzero(~cells.unseen):
        d, e = cells.events[:, k], cells.expected[:, k]
        log = _log_likelihood(d, e)
        for g in np.flatnonzero((e > 0) & (d.sum() > d)):
            w = _weights(_prior() + log.sum(axis=2) - log[:, :, g])
            mean = LEVEL * e[g]
            q = a / (a + mean)
            below = (w * stats.nbinom.cdf(np.ceil(d[g]) - 1, a, q)).sum()
            at = (w * stats.nbinom.pmf(np.round(d[g]), a, q)).sum()
            p[g, k] = min(1.0, 2 * min(below + at / 2, 1 - below - at / 2))
    return p


def _posterior(cells: _Cells, draws: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Draw each group's multiplier of the pooled hazard, shape (draws, G, cells), and the weight of its own data."""
    G, K = cells.events.shape
    factor, own = np.ones((draws, G, K)), np.zeros((G, K))
    for k in range(K):
        d, e = cells.events[:, k], cells.expected[:, k]
        if cells.unseen[k]:
            factor[:, :, k] = rng.gamma(0.5, 1.0, (draws, 1))
            continue
        weights = _weights(_prior() + _log_likelihood(d, e).sum(axis=2))
        # systematic draws from the grid: every part of it is met in proportion
        point = np.searchsorted(np.cumsum(weights.reshape(-1)), (np.arange(draws) + rng.random()) / draws)
        i, j = np.unravel_index(rng.permutation(np.minimum(point, weights.size - 1)), weights.shape)
        a, level = (SPREAD**-2)[i][:, None], LEVEL[j][:, None]
        factor[:, :, k] = level * rng.gamma(a + d, 1.0) / (a + level * e)
        own[:, k] = (level * e / (a + level * e)).mean(axis=0)
    size = cells.expected.sum(axis=1)
    weight = np.divide((own * cells.expected).sum(axis=1), size, out=np.zeros(G), where=size > 0)
    return factor, weight


def _shape(cells: _Cells, draws: int, rng: np.random.Generator) -> Floats:
    """Draw how a span's pooled events fall on its days (Bayesian bootstrap), as a multiplier, shape (draws, C, k)."""
    d = cells.by_day
    drawn = rng.standard_gamma(d, (draws, *d.shape))
    for s in np.unique(cells.span):
        here = cells.span == s
        total, sums = d[:, here].sum(axis=1), drawn[:, :, here].sum(axis=2)
        drawn[:, :, here] *= np.divide(total, sums, out=np.zeros_like(sums), where=sums > 0)[:, :, None]
    return np.divide(drawn, d, out=np.ones_like(drawn), where=d > 0)


def _incidence(cells: _Cells, factor: Floats, shape: Floats) -> Floats:
    """Cumulative incidence of one group for each draw, shape (draws, C, k)."""
    by_span = factor.reshape(*shape.shape[:2], -1)
    power = by_span[:, :, cells.span] * shape * -np.log1p(-np.minimum(cells.hazard, 1 - 1e-9))
    total = power.sum(axis=1)
    free = np.exp(-np.cumsum(total, axis=1))
    before = np.concatenate([np.ones((len(free), 1)), free[:, :-1]], axis=1)
    part = np.divide(power, total[:, None], out=np.zeros_like(power), where=total[:, None] > 0)
    return np.cumsum(part * (before * -np.expm1(-total))[:, None], axis=2)
