"""Units and decimals that slipped: by the animal's own weighings on both sides, and by the species' wide bounds."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.weighed import Weighed, in_order, neighbours

OUNCE, POUND = 28.349523125, 453.59237
# Factor of a weight to what it should be -> what probably happened, and the same as a condition of the likely value.
SLIPS = {
    10.0: "a decimal point may be missing",
    0.1: "a decimal point may have slipped",
    100.0: "a decimal point may be missing, two places from the end",
    0.01: "a decimal point may have slipped by two places",
    1000.0: "the number may be grams and its unit kilograms",
    0.001: "the number may be kilograms and its unit grams",
    1 / OUNCE: "the number may be ounces and its unit grams",
    OUNCE: "the number may be grams and its unit ounces",
    1 / POUND: "the number may be pounds and its unit grams",
    POUND: "the number may be grams and its unit pounds",
}
IF = {
    10.0: "if a decimal point is missing",
    0.1: "if a decimal point slipped",
    100.0: "if a decimal point is missing, two places from the end",
    0.01: "if a decimal point slipped by two places",
    1000.0: "if the number is grams",
    0.001: "if the number is kilograms",
    1 / OUNCE: "if the number is ounces",
    OUNCE: "if the number is grams",
    1 / POUND: "if the number is pounds",
    POUND: "if the number is grams",
}
# The unit written with the number, where the factor is that of two units: "250 g" is no number of grams in ounces.
WRITTEN = {1000.0: "kg", 0.001: "g", 1 / OUNCE: "g", OUNCE: "oz", 1 / POUND: "g", POUND: "lb"}
# What is left of a factor of a thousand where the unit written is another.
THREE_PLACES = {
    1000.0: "a decimal point may be missing, three places from the end",
    0.001: "a decimal point may have slipped by three places",
}
_IF_THREE = {
    1000.0: "if a decimal point is missing, three places from the end",
    0.001: "if a decimal point slipped by three places",
}
_LOGS = np.log(list(SLIPS))
# How near the step from one weighing to the next must be to a factor, on the log scale: animals change by a quarter
# between weighings, units by ten and more. The same for the distance from the animal's other weighings.
NEAR = 0.3
# More than this from both neighbours within JUMP_DAYS is doubtful whatever the factor (clinics query below 0.5 and
# above 2 within 14 days: common practice, no source).
JUMP = 2.0
JUMP_DAYS = 14
NEIGHBOUR_DAYS = 120
STRAY = "it may belong to another animal, or be a slip"


def suspects(weighings: pd.DataFrame) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Return, for each weighing, its factor to its neighbours, what probably happened ("" for nothing), and theirs (g).

    Notes
    -----
    A step from one weighing to the next that is nearly a factor of ``SLIPS`` begins a level; the level of most
    weighings of the stay is right, and the others are told of, be they one or several in a row. Where two levels have
    as many, nothing can be said (see :func:`undecided`). What is no factor but more than twice or less than half of
    both its neighbours within 14 days is told of too; at an end, of the two next to it. A lasting change differs from
    one neighbour only. Group weights are compared with nothing.
    """
    series = in_order(weighings)
    return spread(series, *slipped(series), weighings.index)


def spread(
    series: Weighed, dev: np.ndarray, why: np.ndarray, expected: np.ndarray, index: pd.Index
) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Return factor, reason and expected weight (g) as columns of the table."""
    return (
        series.spread(np.exp(dev), np.nan, index),
        series.spread(why, "", index),
        series.spread(np.exp(expected), np.nan, index),
    )


def slipped(series: Weighed) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return log factor, reason ("" for none) and expected log weight of each weighing of ``series``."""
    level, main = levels(series)
    expected = _beside_main(series, level == main)
    factor = _nearest(level - main)
    dev = series.log - expected
    unit = (factor >= 0) & (np.abs(dev - _LOGS[factor]) < NEAR)
    why = np.full(len(series.log), "", dtype=object)
    why[unit] = np.array(list(SLIPS.values()), dtype=object)[factor[unit]]
    # The others are held against each other only.
    rest = np.flatnonzero(~unit)
    around = neighbours(series.only(~unit))
    expected[rest] = around.expected
    why[rest[(around.apart() > np.log(JUMP)) & (around.near <= JUMP_DAYS)]] = STRAY
    return series.log - expected, why, expected


def levels(series: Weighed) -> tuple[np.ndarray, np.ndarray]:
    """Return the level of each weighing (log of the factors stepped since the first), and that of most of its stay.

    Missing main level: no single level has most weighings.
    """
    n = len(series.log)
    step = series.log - series.beside(series.log, 1)
    gap = series.day - series.beside(series.day.astype("float64"), 1)
    factor = _nearest(step)
    jumped = np.where((factor >= 0) & (gap <= NEIGHBOUR_DAYS), _LOGS[factor], 0.0)
    if not jumped.any():
        return np.zeros(n), np.zeros(n)
    start = np.r_[True, series.stay[1:] != series.stay[:-1]]
    total = np.cumsum(jumped)
    base = np.maximum.accumulate(np.where(start, np.arange(n), 0))
    level = np.round(total - (total[base] - jumped[base]), 3)
    some = np.isin(series.stay, np.unique(series.stay[jumped != 0]))
    counts = (
        pd.DataFrame({"stay": series.stay[some], "level": level[some]})
        .value_counts(sort=False)
        .rename("n")
        .reset_index()
        .sort_values(["stay", "n"], ascending=[True, False])
    )
    best = counts.drop_duplicates("stay").set_index("stay")
    tied = counts["n"].eq(counts["stay"].map(best["n"])).groupby(counts["stay"]).sum() > 1
    right = best["level"].where(~tied.reindex(best.index))
    main = np.zeros(n)
    main[some] = right.reindex(series.stay[some]).to_numpy()
    return level, main


def undecided(series: Weighed) -> np.ndarray:
    """Return which weighings differ by a unit from their only neighbour, with nothing to say which is wrong.

    Returns
    -------
    ndarray of int, shape (n,)
        Place in ``series`` of the other one; -1 for none.

    Notes
    -----
    Two weighings of a stay, at most ``NEIGHBOUR_DAYS`` apart, whose factor no animal grows by (28 and more).
    """
    n = len(series.log)
    other = np.full(n, -1)
    count = np.bincount(series.stay, minlength=1)[series.stay] if n else np.zeros(0)
    level, _ = levels(series)
    first = np.flatnonzero((count[:-1] == 2) & (series.stay[1:] == series.stay[:-1])) if n > 1 else np.zeros(0, int)
    first = first[np.abs(level[first + 1] - level[first]) > np.log(20)]
    other[first], other[first + 1] = first + 1, first
    return other


def _nearest(distance: np.ndarray) -> np.ndarray:
    """Return the number of the factor each log distance is near, -1 for none."""
    out = np.full(len(distance), -1)
    far = np.flatnonzero(np.abs(distance) > np.abs(_LOGS).min() - NEAR)
    off = np.abs(distance[far, None] - _LOGS[None, :])
    best = off.argmin(axis=1)
    out[far] = np.where(off[np.arange(len(far)), best] < NEAR, best, -1)
    return out


def _beside_main(series: Weighed, main: np.ndarray) -> np.ndarray:
    """Return the mean log weight of the nearest weighings of the main level on both sides, or of the one there is."""
    if main.all():
        return series.log.copy()
    frame = pd.Series(np.where(main, series.log, np.nan)).groupby(series.stay)
    before, after = frame.ffill().to_numpy(), frame.bfill().to_numpy()
    return np.where(np.isnan(before), after, np.where(np.isnan(after), before, (before + after) / 2))


def fitting(why: pd.Series, unit: pd.Series) -> pd.Series:
    """Return reasons with those taken back that speak of another unit than the one written with the number."""
    for factor, written in WRITTEN.items():
        other = (why == SLIPS[factor]) & (unit != written).fillna(False).astype(bool)
        why = why.mask(other, THREE_PLACES.get(factor, STRAY))
    return why


def likely_by_factor(why: pd.Series, weight: pd.Series) -> pd.Series:
    """Return the likely weight of those that slipped by a factor, in words; empty for the others."""
    out = pd.Series("", index=why.index, dtype=object)
    factors = {text: number for said in (SLIPS, THREE_PLACES) for number, text in said.items()}
    meant = {said[number]: words[number] for said, words in ((SLIPS, IF), (THREE_PLACES, _IF_THREE)) for number in said}
    hit = why.isin(list(factors))
    if not hit.any():
        return out
    factor = why[hit].map(factors).astype("float64")
    words = why[hit].map(meant)
    grams = (weight[hit] / factor).astype("float64")
    said = [f"{g:.4g} g, {word}" for g, word in zip(grams, words, strict=True)]
    out.loc[hit] = pd.Series(said, index=out.index[hit], dtype=object)
    return out


def likely_by_bounds(weight: pd.Series, low: pd.Series, high: pd.Series, own: pd.Series, unit: pd.Series) -> pd.Series:
    """Return which weights within the bounds could have been meant, the nearest to the animal's own first, in words.

    Parameters
    ----------
    weight, low, high : Series of float
        Grams; only rows outside their bounds.
    own : Series of float
        The animal's usual weight (g), missing where not known; only a weight near it (threefold) is then offered.
    unit : Series of str
        The unit written with the number: no slip of another unit is offered.
    """
    out = pd.Series("", index=weight.index, dtype=object)
    if not len(out):
        return out
    for factor, said in IF.items():
        meant = weight / factor
        fits = (meant >= low) & (meant <= high) & (own.isna() | (np.abs(np.log(meant / own)) < np.log(3)))
        fits &= unit == WRITTEN[factor] if factor in WRITTEN else True
        text = meant.map("{:.4g} g, ".format).astype(object) + said
        out = out.mask(fits & (out == ""), text).mask(fits & (out != "") & (out != text), out + "; or " + text)
    return out
