"""Weights of two animals weighed on one day that were written in each other's row."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.weighed import Weighed, neighbours

# Each weight must be this far (log scale: a quarter) from both its neighbours, and this near to what the other's are.
APART = 0.25
NEAR = 0.15
NEIGHBOUR_DAYS = 120


def swapped(series: Weighed) -> np.ndarray:
    """Return, for each weighing, the place in ``series`` of the one it was swapped with; -1 for none.

    Notes
    -----
    Two animals weighed the same day; each weight is out of its own series and fits the other's. Animals of nearly the
    same weight cannot be told apart, and a swap of theirs changes nothing.
    """
    around = neighbours(series)
    at = np.flatnonzero((around.apart() > APART) & (around.near <= NEIGHBOUR_DAYS))
    partner = np.full(len(series.log), -1)
    if len(at) < 2:
        return partner
    own, meant = series.log[at], around.expected[at]
    left = _cells(series.day[at], own, meant, at)
    # Cells beside a cell hold what is as near but across its edge.
    both = pd.concat(
        [
            left.merge(
                _cells(series.day[at], meant + a * NEAR, own + b * NEAR, at),
                on=["day", "one", "two"],
                suffixes=("", "_other"),
            )
            for a in (-1, 0, 1)
            for b in (-1, 0, 1)
        ],
        ignore_index=True,
    )
    i, j = both["place"].to_numpy(), both["place_other"].to_numpy()
    gap = np.maximum(np.abs(series.log[i] - around.expected[j]), np.abs(series.log[j] - around.expected[i]))
    fits = (series.stay[i] != series.stay[j]) & (gap < NEAR)
    best = pd.DataFrame({"i": i, "j": j, "gap": gap})[fits].sort_values(["gap", "i", "j"]).drop_duplicates("i")
    partner[best["i"].to_numpy()] = best["j"].to_numpy()
    # Only pairs that name each other.
    mutual = (partner >= 0) & (partner[partner] == np.arange(len(partner)))
    return np.where(mutual, partner, -1)


def _cells(day: np.ndarray, one: np.ndarray, two: np.ndarray, place: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "day": day,
            "one": np.floor(one / NEAR).astype("int64"),
            "two": np.floor(two / NEAR).astype("int64"),
            "place": place,
        }
    )
