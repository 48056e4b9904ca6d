"""Differences between two groups, each with its interval: at a day, in a quantile, in restricted mean, as a ratio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats
from mendcurve.methods.curves import cumulative_incidence, kaplan_meier
from mendcurve.methods.intervals import interval, joined
from mendcurve.methods.quantiles import quantile, restricted_mean
from mendcurve.methods.tally import Tally


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference:
    """What group ``one`` has more than group ``two``.

    Attributes
    ----------
    one, two : str
    estimate, low, high : float
        In the unit of what is compared (proportion, days); a ratio where the function says so. nan: not reached.
    se, p : float
        Standard error and two-sided p where the limits come from them, else nan.
    """

    one: str
    two: str
    estimate: float
    low: float
    high: float
    se: float = np.nan
    p: float = np.nan


def difference_at(
    tally: Tally, one: str, two: str, day: float, cause: str | None = None, *, confidence: float = 0.95
) -> Difference:
    """Return the difference in cumulative incidence (of a cause, or of any end) at a day.

    Raises
    ------
    InputError
        If a group or cause is unknown, or nobody of a group is seen up to that day.

    Notes
    -----
    Limits join the mid-p beta product limits of both groups (square and add), as Newcombe's do for two shares. The
    groups are taken as disjoint: where they share subjects, resample instead.
    """
    cells = []
    for name in (one, two):
        alone = tally.one(name) if cause is not None else tally.one(name).any_cause()
        _check_seen(alone, name, day)
        at = cumulative_incidence(alone, confidence=confidence).at(day)
        c = alone.cause_index(cause or "event")
        cells.append((at.share[0, c, 0], at.low[0, c, 0], at.high[0, c, 0]))
    return _joined(one, two, *cells)


def difference_in_quantile(
    tally: Tally, one: str, two: str, p: float = 0.5, cause: str | None = None, *, confidence: float = 0.95
) -> Difference:
    """Return the difference of the days by which a share p has ended (0.5: medians), of a cause or in any way.

    Notes
    -----
    Limits join those of both quantiles (square and add); nan where a quantile or the limit needed is not reached.
    """
    cells = []
    for name in (one, two):
        alone = tally.one(name)
        if cause is None:
            found = quantile(kaplan_meier(alone, confidence=confidence), p)
        else:
            found = quantile(cumulative_incidence(alone, confidence=confidence), p, cause)
        cells.append((found.estimate[0], found.low[0], found.high[0]))
    return _joined(one, two, *cells)


def difference_in_restricted_mean(
    tally: Tally, one: str, two: str, horizon: float, *, confidence: float = 0.95
) -> Difference:
    """Return the difference of mean days, up to the horizon, until the end in any way; limits estimate +- z SE."""
    means = [restricted_mean(kaplan_meier(tally.one(name), confidence=confidence), horizon) for name in (one, two)]
    gap = float(means[0].estimate[0] - means[1].estimate[0])
    se = float(np.hypot(means[0].se[0], means[1].se[0]))
    half = stats.norm.ppf(0.5 + confidence / 2) * se
    p = float(2 * stats.norm.sf(abs(gap) / se)) if se > 0 else np.nan
    return Difference(one=one, two=two, estimate=gap, low=gap - half, high=gap + half, se=se, p=p)


def hazard_ratio(tally: Tally, one: str, two: str, cause: str | None = None, *, confidence: float = 0.95) -> Difference:
    """Return the ratio of (cause-specific) hazards of one over two, by Cox's partial likelihood with Efron ties.

    Returns
    -------
    Difference
        ``estimate``, ``low``, ``high`` are ratios; ``se`` is of the log ratio; p by Wald. All nan where one group has
        no event, so that no finite ratio fits.

    Notes
    -----
    Ties are Efron's where events are whole numbers, Breslow's where weights are not. SE^2 is multiplied by the design
    effect of all entered. One ratio for all days is a summary only where hazards are proportional.
    """
    check_proportion("confidence", confidence)
    pair = tally.one(one) + tally.one(two)
    pair = pair.any_cause() if cause is None else pair.censoring_others(cause)
    n, d = pair.at_risk(), pair.events[:, 0]
    if (d.sum(axis=1) == 0).any():
        return Difference(one=one, two=two, estimate=np.nan, low=np.nan, high=np.nan)
    beta, information = _newton(n, d)
    effect = pair.entered2.sum() / pair.entered.sum()
    se = float(np.sqrt(effect / information))
    half = stats.norm.ppf(0.5 + confidence / 2) * se
    low, middle, high = (float(x) for x in np.exp([beta - half, beta, beta + half]))
    p = float(2 * stats.norm.sf(abs(beta) / se)) if se > 0 else np.nan
    return Difference(one=one, two=two, estimate=middle, low=low, high=high, se=se, p=p)


def _newton(n: Floats, d: Floats) -> tuple[float, float]:
    """Log hazard ratio of row 0 over row 1 and its information, from at-risk and events by day."""
    total = d.sum(axis=0)
    tied = total > 0
    n, d, total = n[:, tied], d[:, tied], total[tied]
    if (total == np.round(total)).all():
        times = total.astype(np.int64)
        day = np.repeat(np.arange(len(times)), times)
        gone = (np.arange(len(day)) - np.repeat(np.cumsum(times) - times, times)) / total[day]
        risk, weight = n[:, day] - gone * d[:, day], np.ones(len(day))
    else:
        risk, weight = n, total
    beta = 0.0
    for _ in range(100):
        share = risk[0] * np.exp(beta) / (risk[0] * np.exp(beta) + risk[1])
        score, information = d[0].sum() - weight @ share, weight @ (share * (1 - share))
        if information <= 0:
            return np.nan, np.nan
        step = np.clip(score / information, -1.0, 1.0)  # a long first step must not overshoot the flat tails
        beta += step
        if abs(step) < 1e-12:
            break
    return float(beta), float(information)


def _joined(one: str, two: str, first: tuple[float, ...], second: tuple[float, ...]) -> Difference:
    a, b = (interval(e, low, high, np.nan, np.nan) for e, low, high in (first, second))
    gap = joined(a, b)
    return Difference(one=one, two=two, estimate=float(gap.estimate), low=float(gap.low), high=float(gap.high))


def _check_seen(tally: Tally, name: str, day: float) -> None:
    free = kaplan_meier(tally).at(day).share[0, 0]
    if tally.at_risk([day])[0, 0] == 0 and free > 1e-9 and not (tally.at_risk()[0] > 0)[tally.day >= day].any():
        seen = tally.day[tally.at_risk()[0] > 0]
        last = f"last seen on day {seen.max():g}" if len(seen) else "nobody is in it"
        raise InputError(f"Group {name} must be observed on day {day:g} to be compared there,", [last])
