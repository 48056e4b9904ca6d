"""Read off a curve: days by which a share has ended, restricted mean, days lost by cause, time still to come."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats, per
from mendcurve.methods.curves import Curve, Incidence, kaplan_meier
from mendcurve.methods.tally import Tally

TOLERANCE = 1e-9
"""Slack in "the curve is at or past p": a share of exactly one half must not miss it by floating error."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quantile:
    """Day by which a share p has ended: ``estimate``, ``low``, ``high`` (G,), nan where not reached; days since origin.

    ``reached`` (G,) is the largest share the curve shows and ``last`` (G,) the last day anybody is observed, for the
    sentence "not reached by day ...; by then ...".
    """

    p: float
    estimate: Floats
    low: Floats
    high: Floats
    reached: Floats
    last: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Days:
    """A mean of days up to a horizon: ``estimate``, ``se``, ``low``, ``high``, shape (G,), or (G, C) by cause."""

    horizon: float
    estimate: Floats
    se: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Remaining:
    """Days until a subject's time ends in any way, given the days so far.

    Attributes
    ----------
    elapsed : ndarray, shape (m,)
        Days so far; the subject has not ended on or before that day. Unit: days since origin.
    shares : tuple of float, length s
    days : ndarray, shape (m, s)
        Further days until that share of such subjects has ended; nan where the data do not reach. Unit: days.
    beyond : ndarray of bool, shape (m, s)
        True where the answer is "beyond our data".
    at_risk : ndarray, shape (m,)
        Subjects still observed just after ``elapsed``: those the answer stands on.
    """

    elapsed: Floats
    shares: tuple[float, ...]
    days: Floats
    beyond: NDArray[np.bool_]
    at_risk: Floats


def quantile(curve: Curve | Incidence, p: float, cause: str | None = None, *, plateau: str = "first") -> Quantile:
    """Return the first day on which the share that has ended is at or past p.

    Parameters
    ----------
    curve : Curve or Incidence
    p : float
        Share ended, between 0 and 1 (0.5: the median).
    cause : str, optional
        Which cause of an Incidence; None: the end in any way, of a Curve only.
    plateau : str
        "first", or "midpoint": where the curve equals p exactly over an interval, the middle of it, as in R.

    Raises
    ------
    InputError
        If p is outside 0-1, a cause is missing or unknown, or ``plateau`` has another name.

    Notes
    -----
    Compared with tolerance 1e-9. Limits: the days on which the pointwise limits cross p; nan where one never does.
    """
    check_proportion("p", p)
    if plateau not in ("first", "midpoint"):
        raise InputError(f'plateau must be first or midpoint, but it is "{plateau}".')
    ended, low, high = _ended(curve, cause)
    estimate, early, late = (_crossing(curve.day, x, p, plateau) for x in (ended, high, low))
    early = np.maximum(early, 0.0)  # too few subjects to exclude any day: no day lies before the origin
    seen = np.where(curve.at_risk > 0, curve.day, -np.inf).max(axis=1, initial=-np.inf)
    last = np.where(np.isfinite(seen), seen, np.nan)
    return Quantile(p=p, estimate=estimate, low=early, high=late, reached=ended.max(axis=1, initial=0.0), last=last)


def _ended(curve: Curve | Incidence, cause: str | None) -> tuple[Floats, Floats, Floats]:
    if isinstance(curve, Curve):
        if cause is not None:
            raise InputError("A survival curve has no causes: give an incidence to ask for one cause.")
        return 1 - curve.share, 1 - curve.high, 1 - curve.low
    if cause is None:
        raise InputError("Which cause? Give cause=, one of: " + ", ".join(curve.causes))
    c = curve.cause(cause)
    return curve.share[:, c], curve.low[:, c], curve.high[:, c]


def _crossing(day: Floats, ended: Floats, p: float, plateau: str) -> Floats:
    past = ended >= p - TOLERANCE  # nan compares as False: an undefined limit crosses nothing
    first = past.argmax(axis=1) if past.size else np.zeros(len(ended), dtype=np.int64)
    found = np.where(past.any(axis=1), day[first] if len(day) else np.nan, np.nan)
    if plateau == "first":
        return found
    beyond = ended > p + TOLERANCE
    level = np.abs(np.take_along_axis(ended, first[:, None], axis=1)[:, 0] - p) <= TOLERANCE
    end = np.where(beyond.any(axis=1), day[beyond.argmax(axis=1)], day[-1])
    return np.where(past.any(axis=1) & level, (found + end) / 2, found)


def restricted_mean(curve: Curve, horizon: float) -> Days:
    """Return the mean of min(T, horizon): the area under the curve from its first day, or 0, to the horizon.

    Parameters
    ----------
    curve : Curve
    horizon : float
        Unit: days since origin. No later than enough subjects remain: past the last day observed it is refused.

    Returns
    -------
    Days, each shape (G,). Unit: days since origin.

    Raises
    ------
    InputError
        If the horizon is not positive, or lies beyond the last observed day of a group that has not all ended.

    Notes
    -----
    SE^2 = sum over days j of (area from j to the horizon)^2 d_j / (n_j (n_j - d_j)), times the design effect: the
    variance of the estimate, not of min(T, horizon); no n/(n-1) factor. Limits: estimate +- z SE, kept
    between 0 and the horizon.
    """
    _check_horizon(curve, curve.share, horizon)
    edges, share = _pieces(curve.day, curve.share, horizon, 1.0)
    area = np.diff(edges) * share
    from_day = np.cumsum(area[:, ::-1], axis=1)[:, ::-1]
    rest = _from(edges, from_day, curve.day)
    n, d = curve.at_risk, curve.events
    variance = (rest**2 * curve.design_effect * per(d, n * (n - d))).sum(axis=1)
    return _days(horizon, area.sum(axis=1), np.sqrt(variance), curve.confidence)


def days_lost(incidence: Incidence, horizon: float) -> Days:
    """Return, by cause, the mean days up to the horizon lost to it: the area under its cumulative incidence.

    Returns
    -------
    Days, each shape (G, C). Unit: days. With the restricted mean of the days free they add up to the horizon.

    Notes
    -----
    Variance: multinomial ends on each day, linearised (equal to the infinitesimal jackknife), times the design effect.
    """
    _check_horizon(incidence, incidence.free, horizon)
    n, dc, d = incidence.at_risk[:, None], incidence.events, incidence.events.sum(axis=1, keepdims=True)
    free = incidence.free[:, None]
    before = np.concatenate([np.ones((*free.shape[:-1], 1)), free[..., :-1]], axis=-1)
    left = np.maximum(horizon - np.maximum(incidence.day, 0.0), 0.0)
    lost = before * per(dc, n) * left
    rest = lost.sum(axis=-1, keepdims=True) - np.cumsum(lost, axis=-1)
    seen = incidence.day <= horizon
    terms = (
        rest**2 * per(d, n * (n - d))
        + (before * left) ** 2 * per(dc * (n - dc), n**3)
        - 2 * rest * before * left * per(dc, n**2)
    ) * incidence.design_effect[:, None]
    variance = np.where(seen, terms, 0.0).sum(axis=-1)
    return _days(horizon, lost.sum(axis=-1), np.sqrt(np.maximum(variance, 0.0)), incidence.confidence)


def remaining_time(
    tally: Tally, elapsed: ArrayLike, *, shares: tuple[float, ...] = (0.1, 0.5, 0.9), at_least: float = 1
) -> Remaining:
    """Return the days until the time ends in any way, for subjects that have come so far.

    Parameters
    ----------
    tally : Tally
        One group; causes are taken together.
    elapsed : array_like, shape (m,)
        Days so far: not ended on or before that day. Unit: days since origin.
    shares : tuple of float
        (0.1, 0.5, 0.9): the median and the 80 % range.
    at_least : float
        Fewer subjects than this still observed just after ``elapsed``: beyond the data.

    Raises
    ------
    InputError
        If the tally has several groups, or a share is outside 0-1.

    Notes
    -----
    The share still there t days on is S(elapsed + t) / S(elapsed); the day is the first on which it is at or below
    1 - share (tolerance 1e-9). Whatever the curve does not reach is nan and ``beyond``, never infinity.
    """
    if len(tally.groups) != 1:
        raise InputError(
            "Time still to come is asked of one group,", [", ".join(tally.groups)], "Use tally.one(group)."
        )
    for share in shares:
        check_proportion("share", share)
    so_far = np.atleast_1d(np.asarray(elapsed, dtype=float))
    out = np.full((len(so_far), len(shares)), np.nan)
    n_after = np.zeros(len(so_far))
    # those who came so far are a curve of their own: a tiny early risk set must not speak for them
    for day in np.unique(so_far):
        here = so_far == day
        later = tally.starting_at(day + 1)
        curve = kaplan_meier(later)
        n_after[here] = tally.at_risk([day + 1])[0, 0]
        if n_after[here][0] >= at_least:
            out[here] = [_crossing(curve.day, 1 - curve.share, s, "first")[0] - day for s in shares]
    return Remaining(elapsed=so_far, shares=tuple(shares), days=out, beyond=np.isnan(out), at_risk=n_after)


def _pieces(day: Floats, share: Floats, horizon: float, start: float) -> tuple[Floats, Floats]:
    inside = (day > 0) & (day < horizon)
    at_zero = np.searchsorted(day, 0.0, side="right")  # ends on day 0 have already happened at 0
    first = share[:, [at_zero - 1]] if at_zero else np.full((len(share), 1), start)
    return np.concatenate([[0.0], day[inside], [horizon]]), np.concatenate([first, share[:, inside]], axis=1)


def _from(edges: Floats, area_from: Floats, day: Floats) -> Floats:
    # area between a day and the horizon, for days that are edges; 0 past the horizon
    place = np.searchsorted(edges, np.maximum(day, 0.0))
    padded = np.concatenate([area_from, np.zeros((len(area_from), 1))], axis=1)
    return padded[:, np.minimum(place, padded.shape[1] - 1)]


def _check_horizon(curve: Curve | Incidence, free: Floats, horizon: float) -> None:
    if not horizon > 0:
        raise InputError(f"The horizon must be a number of days above 0, but it is {horizon:g}.")
    last = np.where(curve.at_risk > 0, curve.day, -np.inf).max(axis=1, initial=-np.inf)
    open_end = free[:, -1] > TOLERANCE if free.shape[1] else np.ones(len(free), dtype=bool)
    short = [
        f"{g}: last seen on day {d:g}"
        for g, d, o in zip(curve.groups, last, open_end, strict=True)
        if o and d < horizon
    ]
    if short:
        raise InputError(f"The curve must reach the horizon, day {horizon:g}, but it does not for:", short)


def _days(horizon: float, estimate: Floats, se: Floats, confidence: float) -> Days:
    half = stats.norm.ppf(0.5 + confidence / 2) * se
    low, high = np.maximum(estimate - half, 0.0), np.minimum(estimate + half, horizon)
    return Days(horizon=horizon, estimate=estimate, se=se, low=low, high=high)
