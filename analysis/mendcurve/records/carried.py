"""Weights carried forward: the same number again and again, or a whole weighing day copied from the one before."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import gammaln

from mendcurve.records.weighed import Weighed
from mendcurve.records.words import numbered

# An animal weighed twice reads the same to within this share of its weight at best (common practice, no source).
NOISE = 0.015
STEPS = (0.01, 0.05, 0.1, 0.5, 1.0, 5.0, 10.0, 50.0, 100.0)
# Share of weights of a size that lie on a scale's step for it to be the step in use.
ON_STEP = 0.9
DIFFERENT = 3
_SIZES = np.array([f * 10.0**e for e in range(-2, 6) for f in (1, 2, 5)])
FEWEST = 3
DAY_FEWEST, DAY_SHARE = 5, 0.8
# Chance of one false flag in a whole table.
CHANCE = 0.01
ENOUGH = 50
# More than the days from 1900 to 2100.
_DAYS = 100_000


def carried(series: Weighed, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return which weights repeat the one before too often to be read from a scale.

    Parameters
    ----------
    series : Weighed
    weight : ndarray, shape (n,)
        Weights as typed, whatever their unit.

    Returns
    -------
    times : ndarray of int, shape (n,)
        How many weighings in a row have this weight, where that is too many; else 0. The first of them is not told of.
    first : ndarray of int, shape (n,)
        Place in ``series`` of the first of them.
    copied : ndarray of bool, shape (n,)
        Weights of a day on which nearly all animals weigh what they weighed the time before.

    Notes
    -----
    How often a weight repeats by chance follows from the step of the scale (found from the table, by size of weight)
    and the noise of weighing; where the table itself repeats more often at that size, its own share counts. Small
    animals on a coarse scale are therefore never told of.
    """
    n = len(weight)
    none = np.zeros(n, dtype=int)
    if not n:
        return none, none, none.astype(bool)
    before, day = series.beside(weight, 1), series.day.astype("float64")
    later = series.day > series.beside(day, 1)
    again = (weight == before) & later
    begin = np.maximum.accumulate(np.where(again, 0, np.arange(n)))
    length = np.bincount(begin, minlength=n)[begin]
    chance = _chance(series, weight, again, later)
    needed = np.maximum(FEWEST, np.ceil(np.log(CHANCE / n) / np.log(chance)))
    times = np.where(again & (length - 1 >= needed), length, 0)
    return times, begin, _copied_days(series, again, later, chance) & (times == 0)


def scale_step(series: Weighed, weight: np.ndarray, fresh: np.ndarray) -> np.ndarray:
    """Return the step of the scale for each weight.

    Notes
    -----
    The largest step that nearly all weights of its size (1, 2, 5, 10, ...) in the table lie on, or that all weights of
    its stay lie on, where that has three different ones.
    """
    size = np.searchsorted(_SIZES, weight)
    different = np.bincount(series.stay, weights=fresh)[series.stay] >= DIFFERENT
    table, stay = np.full(len(weight), STEPS[0]), np.full(len(weight), STEPS[0])
    seen = np.bincount(size, weights=fresh)
    for step in STEPS:
        off = np.abs(weight / step - np.round(weight / step)) > 1e-6
        share = np.bincount(size, weights=off & fresh) / np.maximum(seen, 1)
        table[(share <= 1 - ON_STEP)[size] & (step <= weight)] = step
        stay[(np.bincount(series.stay, weights=off)[series.stay] == 0) & different & (step <= weight)] = step
    return np.maximum(table, stay)


def _chance(series: Weighed, weight: np.ndarray, again: np.ndarray, later: np.ndarray) -> np.ndarray:
    """Return the chance that a weight is the one before, by chance."""
    steps = weight / scale_step(series, weight, ~again)
    theory = 1 / (2 * np.sqrt(np.pi) * NOISE * steps)
    fresh = later & ~np.r_[False, again[:-1]]
    bins = np.floor(np.log2(np.maximum(steps, 1))).astype(int)
    tried, hit = (np.bincount(bins, weights=w, minlength=bins.max() + 1) for w in (fresh, fresh & again))
    own = np.where(tried >= ENOUGH, hit / np.maximum(tried, 1), 0.0)[bins]
    return np.clip(np.maximum(theory, own), 1e-3, 0.99)


def _copied_days(series: Weighed, again: np.ndarray, later: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """Return the repeats of days on which most weights repeat and chance does not explain it."""
    day, at = np.unique(series.day, return_inverse=True)
    tried, hit = (np.bincount(at, weights=w) for w in (later, again))
    luck = np.bincount(at, weights=again * np.log(chance))
    ways = gammaln(tried + 1) - gammaln(hit + 1) - gammaln(tried - hit + 1)
    whole = (hit >= DAY_FEWEST) & (hit >= DAY_SHARE * tried) & (luck + ways < np.log(CHANCE / len(day)))
    return again & whole[at]


def same_day(weighings: pd.DataFrame, agree: float, use: pd.Series | None = None) -> pd.Series:
    """Return, for weights of one stay and day that disagree, the row of the day's first weight; missing for others.

    Parameters
    ----------
    weighings : DataFrame
    agree : float
        Largest ratio less one at which two weights of a day are taken as one.
    use : Series of bool, optional
        Rows to look at; default all.
    """
    alone = (~weighings["is_group_weight"] & (weighings["weight_g"] > 0)).to_numpy(dtype=bool)
    at = np.flatnonzero(alone if use is None else alone & use.to_numpy(dtype=bool))
    day = weighings["weighed_on"].to_numpy()[at].astype("datetime64[D]").astype("int64")
    stay_day = pd.Series(numbered(weighings["stay_id"])[0][at].astype("int64") * _DAYS + day % _DAYS)
    several = weighings.iloc[at[stay_day.duplicated(keep=False).to_numpy()]]
    by = several.groupby(["stay_id", "weighed_on"])
    apart = by["weight_g"].transform("max") > (1 + agree) * by["weight_g"].transform("min")
    first = by["source_row"].transform("min").where(apart)
    return first.where(first != several["source_row"]).reindex(weighings.index)
