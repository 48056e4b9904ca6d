"""Kaplan-Meier, Nelson-Aalen and cumulative incidence from a tally, with delayed entry and exact ties."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from mendcurve.errors import InputError, nearest
from mendcurve.methods.arrays import Floats, look_up, per
from mendcurve.methods.limits import check_limits, incidence_limits, normal_limits, survival_limits
from mendcurve.methods.tally import Tally

VARIANCES = ("greenwood", "aalen")
_START = {"se": 0.0, "design_effect": 1.0}
"""Before anybody is seen: nothing is known."""


class _Later:
    """Limits that hold between two days of the grid, computed when first asked for: half the work of a curve."""

    limits_later: Callable[[], tuple[Floats, Floats]]

    @cached_property
    def _pair(self) -> tuple[Floats, Floats]:
        return self.limits_later()

    @property
    def low_later(self) -> Floats:
        """Lower limits up to the next day: those cut off on the day are no longer seen, new entries are."""
        return self._pair[0]

    @property
    def high_later(self) -> Floats:
        """Upper limits up to the next day."""
        return self._pair[1]


@dataclass(frozen=True, kw_only=True, eq=False)
class Curve(_Later):
    """Share of subjects not yet ended, by day since origin.

    Attributes
    ----------
    groups : tuple of str, length G
    day : ndarray, shape (k,)
        Days on which somebody entered or left, ascending; the first is -1 where all are observed from their origin.
        Unit: days since origin.
    share, low, high : ndarray, shape (G, k)
        Estimate after the ends of that day, and confidence limits. Unit: proportion, 0-1.
    se : ndarray, shape (G, k)
        Standard error of ``share``. Unit: proportion.
    at_risk, events, after : ndarray, shape (G, k)
        Subjects under observation on ``day``, ended on it, and under observation just after it. Unit: subjects.
    limits_later : callable
        Gives ``low_later``, ``high_later``, shape (G, k): limits on the days up to the next in ``day``, where those
        censored on it are no longer seen, new entries are.
    design_effect : ndarray, shape (G, k)
        Sum of squared weights over sum of weights of those at risk; 1 where each row is one subject.
    confidence : float
    limits : str
    """

    groups: tuple[str, ...]
    day: Floats
    share: Floats
    low: Floats
    high: Floats
    limits_later: Callable[[], tuple[Floats, Floats]]
    se: Floats
    at_risk: Floats
    events: Floats
    after: Floats
    design_effect: Floats
    confidence: float
    limits: str

    def at(self, days: ArrayLike) -> Curve:
        """The curve on the given days: the last value at or before each; at_risk and events are those of that day."""
        return _at(self, days, _START | {"share": 1.0})


@dataclass(frozen=True, kw_only=True, eq=False)
class Incidence(_Later):
    """Share of subjects that ended in each way, by day since origin.

    Attributes
    ----------
    groups, causes : tuple of str, lengths G and C
    day : ndarray, shape (k,)
        As in :class:`Curve`. Unit: days since origin.
    share, low, high, se : ndarray, shape (G, C, k)
        Cumulative incidence, limits, standard error. Unit: proportion.
    limits_later : callable
        Gives ``low_later``, ``high_later``, shape (G, C, k): limits up to the next day.
    free : ndarray, shape (G, k)
        Share not ended in any way; ``share.sum(axis=1) + free`` is 1.
    at_risk, after, design_effect : ndarray, shape (G, k)
    events : ndarray, shape (G, C, k)
    confidence : float
    limits, variance : str
    """

    groups: tuple[str, ...]
    causes: tuple[str, ...]
    day: Floats
    share: Floats
    low: Floats
    high: Floats
    limits_later: Callable[[], tuple[Floats, Floats]]
    se: Floats
    free: Floats
    at_risk: Floats
    events: Floats
    after: Floats
    design_effect: Floats
    confidence: float
    limits: str
    variance: str

    def at(self, days: ArrayLike) -> Incidence:
        """The curves on the given days: the last value at or before each; at_risk and events are those of that day."""
        return _at(self, days, _START | {"share": 0.0, "free": 1.0})

    def cause(self, name: str) -> int:
        """Position of a cause; an unknown name is refused with the nearest known."""
        if name not in self.causes:
            known = ", ".join(self.causes)
            raise InputError(f'There is no cause "{name}"; there are {known}.{nearest(name, self.causes)}')
        return self.causes.index(name)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hazard:
    """Cumulative hazard of any end: ``cumulative`` (G, k) with ``se``, ``low``, ``high``, by ``day`` (k,)."""

    groups: tuple[str, ...]
    day: Floats
    cumulative: Floats
    se: Floats
    low: Floats
    high: Floats
    confidence: float


def kaplan_meier(tally: Tally, *, confidence: float = 0.95, limits: str = "beta product") -> Curve:
    """Estimate S(t) = product over d <= t of (1 - events_d / at_risk_d) [1]_; several causes count as one.

    Parameters
    ----------
    tally : Tally
    confidence : float
        Between 0 and 1.
    limits : str
        "beta product" (mid-p, the rule here at every n [2]_), or "log-log", "log", "plain" as R's survfit has them.

    Raises
    ------
    InputError
        If ``confidence`` is outside 0-1 (95 is answered with: write 0.95), or ``limits`` has another name.

    Notes
    -----
    On one day events come before censorings. At risk on day t: entry < t <= exit. Standard error: Greenwood, times
    the design effect of those at risk; 0 where the share is 0 or 1. Beyond the last day observed the last value is
    carried on with ``at_risk`` 0: do not print it.

    References
    ----------
    .. [1] Kaplan & Meier (1958), JASA 53:457-481.
    .. [2] Fay, Brittain & Proschan (2013), Biostatistics 14:723-736.
    """
    check_limits(limits, confidence)
    n, d, after = tally.at_risk(), tally.events.sum(axis=1), tally.after()
    effect, effect_after = tally.design_effect()
    still = _still(n, d, effect, after, effect_after)
    share = np.cumprod(1 - per(d, n), axis=-1)
    se = share * np.sqrt(np.cumsum(effect * per(d, n * (n - d)), axis=-1))
    if limits == "beta product":
        low, high = survival_limits(n / effect, d / effect, still, confidence)
    else:
        low, high = normal_limits(share, se, confidence, limits)

    def later() -> tuple[Floats, Floats]:
        if limits != "beta product":
            return low, high
        return survival_limits(n / effect, d / effect, after / effect_after, confidence)

    return Curve(
        groups=tally.groups, day=tally.day, share=share, low=low, high=high, limits_later=later, se=se, at_risk=n,
        events=d, after=after, design_effect=effect, confidence=confidence, limits=limits,
    )  # fmt: skip


def nelson_aalen(tally: Tally, *, confidence: float = 0.95) -> Hazard:
    """Estimate the cumulative hazard H(t) = sum over d <= t of events_d / at_risk_d [1]_.

    Notes
    -----
    Variance: sum of events / at_risk^2 (times the design effect); limits on the log scale, nan before the first event.

    References
    ----------
    .. [1] Aalen (1978), Annals of Statistics 6:701-726 (from memory).
    """
    check_limits("log", confidence)
    n, d = tally.at_risk(), tally.events.sum(axis=1)
    total = np.cumsum(per(d, n), axis=-1)
    se = np.sqrt(np.cumsum(tally.design_effect()[0] * per(d, n * n), axis=-1))
    half = np.exp(np.divide(se, total, out=np.zeros_like(se), where=total > 0) * stats.norm.ppf(0.5 + confidence / 2))
    low, high = (np.where(total > 0, x, np.nan) for x in (total / half, total * half))
    return Hazard(
        groups=tally.groups, day=tally.day, cumulative=total, se=se, low=low, high=high, confidence=confidence
    )


def cumulative_incidence(
    tally: Tally, *, confidence: float = 0.95, limits: str = "beta product", variance: str = "greenwood"
) -> Incidence:
    """Estimate F_c(t) = sum over d <= t of S(d-1) events_cd / at_risk_d for every cause (Aalen-Johansen) [1]_.

    Parameters
    ----------
    tally : Tally
    confidence : float
    limits : str
        "beta product" (mid-p, by cause), or "log-log", "log", "plain" as R's survfit has them.
    variance : str
        "greenwood" (also the infinitesimal jackknife) or "aalen", the delta method of R's cuminc.

    Raises
    ------
    InputError
        If an option has an unknown name or ``confidence`` is outside 0-1.

    Notes
    -----
    All causes of one day share one risk set: ties are exact and no number is random. The variance costs linear time.

    References
    ----------
    .. [1] Aalen & Johansen (1978), Scandinavian Journal of Statistics 5:141-150 (from memory).
    """
    check_limits(limits, confidence)
    if variance not in VARIANCES:
        raise InputError(f'variance must be greenwood or aalen, but it is "{variance}".{nearest(variance, VARIANCES)}')
    n, d, after = tally.at_risk(), tally.events.sum(axis=1), tally.after()
    effect, effect_after = tally.design_effect()
    still = _still(n, d, effect, after, effect_after)
    free = np.cumprod(1 - per(d, n), axis=-1)
    before = np.concatenate([np.ones((len(n), 1)), free[:, :-1]], axis=1)
    share = np.cumsum(before[:, None] * per(tally.events, n[:, None]), axis=-1)
    spread = _greenwood if variance == "greenwood" else _aalen
    se = np.sqrt(np.maximum(spread(share, before, free, n, d, tally.events, effect), 0.0))
    if limits == "beta product":
        by_cause = tally.events / effect[:, None]
        low, high = incidence_limits(n / effect, by_cause, still, confidence)
    else:
        low, high = normal_limits(share, se, confidence, limits)

    def later() -> tuple[Floats, Floats]:
        if limits != "beta product":
            return low, high
        return incidence_limits(n / effect, tally.events / effect[:, None], after / effect_after, confidence)

    return Incidence(
        groups=tally.groups, causes=tally.causes, day=tally.day, share=share, low=low, high=high,
        limits_later=later, se=se, free=free, at_risk=n, events=tally.events, after=after, design_effect=effect,
        confidence=confidence, limits=limits, variance=variance,
    )  # fmt: skip


def _still(n: Floats, d: Floats, effect: Floats, after: Floats, effect_after: Floats) -> Floats:
    # known not to have ended by the close of the day; where nobody is seen on it, those who enter just after it
    return np.where(n > 0, (n - d) / effect, after / effect_after)


def _greenwood(share: Floats, before: Floats, free: Floats, n: Floats, d: Floats, dc: Floats, effect: Floats) -> Floats:
    # sum_j (F - F_j)^2 d/(n(n-d)) + S^2 d_c (n-d_c)/n^3 - 2 (F - F_j) S d_c/n^2, opened into prefix sums
    one = effect * per(d, n * (n - d))
    n3, S, e = n[:, None], before[:, None], effect[:, None]
    own = e * S**2 * dc * per(n3 - dc, n3**3)
    cross = e * S * per(dc, n3**2)
    return _square(share, one[:, None]) + np.cumsum(own, axis=-1) - 2 * _linear(share, cross)


def _aalen(share: Floats, before: Floats, free: Floats, n: Floats, d: Floats, dc: Floats, effect: Floats) -> Floats:
    # sum_j S^2/n^2 { t_c d_c [1 - (F - F_j)/S_j]^2 + t_o d_o [(F - F_j)/S_j]^2 }, t = (n - d)/(n - 1) for ties
    n3, S, left, e = n[:, None], before[:, None], free[:, None], effect[:, None]
    do = d[:, None] - dc
    own = e * S**2 * dc * _ties(dc, n3) * per(np.ones_like(n3), n3**2)
    other = np.where(left > 0, e * S**2 * do * _ties(do, n3) * per(np.ones_like(n3), n3**2), 0.0)
    to_left = per(np.ones_like(left), left)
    return np.cumsum(own, axis=-1) - 2 * _linear(share, own * to_left) + _square(share, (own + other) * to_left**2)


def _square(share: Floats, weight: Floats) -> Floats:
    # sum_(j<=t) (F_t - F_j)^2 w_j
    w = np.broadcast_to(weight, share.shape)
    sums = (np.cumsum(w * share**power, axis=-1) for power in (0, 1, 2))
    zero, one, two = sums
    return share**2 * zero - 2 * share * one + two


def _linear(share: Floats, weight: Floats) -> Floats:
    # sum_(j<=t) (F_t - F_j) w_j
    return share * np.cumsum(weight, axis=-1) - np.cumsum(weight * share, axis=-1)


def _ties(d: Floats, n: Floats) -> Floats:
    return np.where(d > 1, per(n - d, n - 1), 1.0)


_Steps = TypeVar("_Steps", Curve, Incidence)


def _at(curve: _Steps, days: ArrayLike, start: dict[str, float]) -> _Steps:
    wanted = np.atleast_1d(np.asarray(days, dtype=float))
    place = np.searchsorted(curve.day, wanted, side="right")
    new: dict[str, Any] = {}
    for name, value in start.items():
        cells: Floats = getattr(curve, name)
        padded = np.concatenate([np.full((*cells.shape[:-1], 1), value), cells], axis=-1)
        new[name] = padded[..., place]
    before, on_grid = place == 0, np.isin(wanted, curve.day)

    def later() -> tuple[Floats, Floats]:  # before anybody is seen nothing is known: 0 to 1
        low, high = (x[..., np.maximum(place - 1, 0)] for x in (curve.low_later, curve.high_later))
        return np.where(before, 0.0, low), np.where(before, 1.0, high)

    if on_grid.all():
        new["low"], new["high"] = curve.low[..., place - 1], curve.high[..., place - 1]
    elif not len(curve.day):
        new["low"], new["high"] = np.zeros_like(new["se"]), np.ones_like(new["se"])
    else:  # on a day of the grid its own limits, between two days those that hold there
        own = (x[..., np.maximum(place - 1, 0)] for x in (curve.low, curve.high))
        new["low"], new["high"] = (np.where(on_grid, x, y) for x, y in zip(own, later(), strict=True))
    new["limits_later"] = later
    nobody = np.zeros_like(curve.after)
    new["at_risk"] = look_up(curve.day, curve.at_risk, curve.after, wanted)
    new["after"] = look_up(curve.day, curve.after, curve.after, wanted)
    spare = nobody if curve.events.ndim == 2 else nobody[:, None]
    new["events"] = look_up(curve.day, curve.events, np.broadcast_to(spare, curve.events.shape), wanted)
    return replace(curve, day=wanted, **new)
