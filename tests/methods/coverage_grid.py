"""Limits of four kinds on simulated truth, cell by cell: how often they cover, how wide they are, where undefined."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy import special

from mendcurve.methods.limits import _lag, _survival_moments, beta_of
from mendcurve.methods.survival import cumulative_incidence, kaplan_meier, quantile
from mendcurve.methods.tally import Tally

SIZES = (5, 10, 20, 25, 50)
CENSORED = (0.0, 0.3, 0.6)
RATE = 1 / 25
DAYS = np.array([6, 17, 34, 60])  # the truth has 24, 51, 75 and 91 % ended: the quartiles, and day 60
SPLIT = 0.6
OURS, RIVALS = "mid-p beta product", ("log-log", "effective size, exact", "beta product")


def simulate(n: int, censored: float, seed: int, replicates: int) -> Tally:
    """Whole-day ends of two causes; replicates are the groups of one tally."""
    rng = np.random.default_rng(seed)
    size = n * replicates
    end = rng.exponential(1 / RATE, size)
    cause = np.where(rng.random(size) < SPLIT, 1, 2)
    cut = rng.exponential((1 - censored) / censored / RATE, size) if censored else np.full(size, np.inf)
    day = np.floor(np.minimum(end, cut))
    why = np.where(end <= cut, cause, 0)
    late = day > DAYS[-1] + 1  # beyond the days asked for nothing is needed
    replicate = np.repeat(np.char.mod("%d", np.arange(replicates)), n)
    return Tally.from_arrays(
        None, np.where(late, DAYS[-1] + 2.0, day), np.where(late, 0, why), group=replicate, causes=("1", "2")
    )


def grid(replicates: int = 1500) -> pd.DataFrame:
    """Return one row for each n, share censored, estimand, day and kind of limits: coverage, width, undefined."""
    rows = []
    for n in SIZES:
        for censored in CENSORED:
            tally = simulate(n, censored, n * 100 + int(censored * 10), replicates)
            for what, day, truth, at_risk, kinds in _estimands(tally):
                for kind, (low, high) in kinds.items():
                    blank = np.isnan(low) | np.isnan(high)
                    inside = (low - 1e-12 <= truth) & (truth <= high + 1e-12)
                    defined = inside[~blank].mean() if (~blank).any() else np.nan
                    wide, lost = (high - low)[~blank].mean(), (blank & (at_risk > 0)).mean()
                    rows.append((n, censored, what, day, kind, defined, wide, lost, at_risk.mean()))
    columns = ["n", "censored", "what", "day", "limits", "covers", "width", "undefined", "at_risk"]
    return pd.DataFrame(rows, columns=columns)


def _estimands(tally: Tally) -> Iterator[tuple[str, int, float, np.ndarray, dict[str, tuple[np.ndarray, np.ndarray]]]]:
    ended = 1 - np.exp(-RATE * (DAYS + 1))
    one, by = kaplan_meier(tally), cumulative_incidence(tally)
    plain = {"log-log": (kaplan_meier(tally, limits="log-log"), cumulative_incidence(tally, limits="log-log"))}
    n = tally.at_risk(DAYS)
    d = tally.any_cause().events
    for i, day in enumerate(DAYS):
        place = np.searchsorted(tally.day, day, side="right") - 1
        at = one.at([day])
        rest = n[:, i] - tally.any_cause().events[:, 0, place] * (tally.day[place] == day)
        kinds = {OURS: (at.low[:, 0], at.high[:, 0])}
        log = plain["log-log"][0].at([day])
        kinds["log-log"] = (log.low[:, 0], log.high[:, 0])
        kinds["effective size, exact"] = _effective(at.share[:, 0], at.se[:, 0], n[:, i], low_is_share=True)
        kinds["beta product"] = _beta_product(tally.at_risk()[:, : place + 1], d[:, 0, : place + 1], rest)
        yield "one cause", int(day), 1 - ended[i], n[:, i], kinds
        at, log = by.at([day]), plain["log-log"][1].at([day])
        for c in (0, 1):
            truth = (SPLIT, 1 - SPLIT)[c] * ended[i]
            kinds = {
                OURS: (at.low[:, c, 0], at.high[:, c, 0]), "log-log": (log.low[:, c, 0], log.high[:, c, 0]),
                "effective size, exact": _effective(at.share[:, c, 0], at.se[:, c, 0], n[:, i], low_is_share=False),
                "beta product": _beta_product_by_cause(tally, c, place, rest),
            }  # fmt: skip
            yield f"cause {c + 1}", int(day), truth, n[:, i], kinds
    for limits, curve in ((OURS, one), ("log-log", plain["log-log"][0])):
        found = quantile(curve, 0.5)
        # ended by day 16 in truth: 49 %, by 17: 51 %; never reached is no upper limit
        kinds = {limits: (np.nan_to_num(found.low, nan=0.0), np.where(np.isnan(found.high), 1e6, found.high))}
        yield "median", 17, 17.0, n[:, 1], kinds


def _effective(share, se, n, *, low_is_share):
    """Exact limits of a share at the size that has its variance (from memory: Dorey & Korn 1987)."""
    variance = se**2
    size = np.where(variance > 1e-12, share * (1 - share) / np.where(variance > 1e-12, variance, 1.0), n)
    good = size > 0
    size = np.where(good, size, 1.0)
    k = size * share
    low = np.where(k > 1e-9, special.betaincinv(np.maximum(k, 1e-9), size - k + 1, 0.025), 0.0)
    high = np.where(size - k > 1e-9, special.betaincinv(k + 1, np.maximum(size - k, 1e-9), 0.975), 1.0)
    return np.where(good, low, np.nan), np.where(good, high, np.nan)


def _quantile(beta, p):
    a, b = beta
    proper = (a > 0) & (b > 0)
    return np.where(
        proper, special.betaincinv(np.where(proper, a, 1), np.where(proper, b, 1), p), (a > 0).astype(float)
    )


def _beta_product(n, d, rest):
    mean, square = (m[:, -1] for m in _survival_moments(n, d))
    one = rest / (rest + 1)
    two = one * (rest + 1) / (rest + 2)
    return _quantile(beta_of(mean * one, square * two), 0.025), _quantile(beta_of(mean, square), 0.975)


def _beta_product_by_cause(tally, c, place, rest):
    use = slice(0, place + 1)
    n, dc = tally.at_risk()[:, use], tally.events[:, c, use]
    d = tally.events[:, :, use].sum(axis=1)
    s1, s2 = _survival_moments(n, d)
    before1, before2 = _lag(s1), _lag(s2)
    f1 = np.cumsum(before1 * dc / (n + 1), axis=-1)
    cross = before2 * dc * (n - d + 1) / ((n + 1) * (n + 2))
    fs = s1 * np.cumsum(cross / np.maximum(s1, np.finfo(float).tiny), axis=-1)
    f2 = np.cumsum(2 * _lag(fs, 0.0) * dc / (n + 1) + before2 * dc * (dc + 1) / ((n + 1) * (n + 2)), axis=-1)
    a = rest
    off = beta_of(f1[:, -1], f2[:, -1])
    on = beta_of(f1[:, -1] + s1[:, -1] / (a + 1),
                 f2[:, -1] + 2 * fs[:, -1] / (a + 1) + 2 * s2[:, -1] / ((a + 1) * (a + 2)))  # fmt: skip
    return _quantile(off, 0.025), _quantile(on, 0.975)


def against_the_narrowest(table: pd.DataFrame, *, covers: float = 0.93) -> pd.DataFrame:
    """Return our rows with ``narrowest``: our width over that of the narrowest kind that covers and is defined."""
    key = ["n", "censored", "what", "day"]
    good = table[(table["covers"] >= covers) & (table["undefined"] < 0.005)]
    best = good.groupby(key)["width"].min().rename("best")
    ours = table[table["limits"] == OURS].merge(best, on=key, how="left")
    return ours.assign(narrowest=ours["width"] / ours["best"])
