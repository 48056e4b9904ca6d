"""Growth and loss no animal has: from one weighing to the next, by life stage."""

from __future__ import annotations

import numpy as np

from mendcurve.records.weighed import Weighed

# Log growth a day, by life stage at intake: a hatchling may double in a week, an adult in five (common practice, no
# source; wide, since growth in captivity is plastic). The rescue's own animals widen it and never narrow it.
DAILY = {"egg": 0.10, "hatchling": 0.10, "juvenile": 0.05, "subadult": 0.03, "adult": 0.02, "unknown": 0.05}
# Beside growth: one meal can more than double a snake (TRADE 2.3); water and eggs make less of the others.
AT_ONCE = {"snake": np.log(2.5), "other": np.log(1.8)}
# Eggs, young, water or a tail lost take less than this share at once; then 2 % a day.
LOSS_AT_ONCE, LOSS_DAILY = np.log(2.5), 0.02
# The rescue's own growth, over so many weighings: one alone is mostly noise.
SPAN = 4
ENOUGH, TAIL, TIMES = 200, 0.9, 4.0


def impossible(series: Weighed, stage: np.ndarray, snake: np.ndarray) -> np.ndarray:
    """Return 1 where no animal can have grown so much since the weighing before, -1 where it cannot have lost it, or 0.

    Parameters
    ----------
    series : Weighed
        Without weights already told of.
    stage : ndarray of str, shape (n,)
        Life stage at intake.
    snake : ndarray of bool, shape (n,)
    """
    change = series.log - series.beside(series.log, 1)
    days = series.day - series.beside(series.day.astype("float64"), 1)
    up = np.where(snake, AT_ONCE["snake"], AT_ONCE["other"]) + daily_bounds(series, stage) * days
    down = LOSS_AT_ONCE + LOSS_DAILY * days
    return np.where(change > up, 1, np.where(change < -down, -1, 0))


def daily_bounds(series: Weighed, stage: np.ndarray) -> np.ndarray:
    """Return the daily log growth allowed: the wide rule, or four times what 90 % of the life stage stay under."""
    bound = np.full(len(stage), DAILY["unknown"])
    change = series.log - series.beside(series.log, SPAN)
    days = series.day - series.beside(series.day.astype("float64"), SPAN)
    for name, rule in DAILY.items():
        mine = stage == name
        long = mine & (days > 0)
        seen = change[long] / days[long]
        own = TIMES * np.quantile(seen, TAIL) if len(seen) >= ENOUGH else rule
        bound[mine] = max(rule, own)
    return bound
