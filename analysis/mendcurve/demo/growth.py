"""True weight paths and the weighings taken of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.demo import truth
from mendcurve.demo.arrivals import NEVER, Stay

MEAL = {"snake": 0.09, "lizard": 0.02}
SHED = 0.08
CLUTCH_LOSS = 0.13


@dataclass(slots=True)
class Growth:
    """The true weight path of one stay: grams, and log grams a day."""

    start: float
    rate: float
    target: float
    has_target: bool
    ceiling: float  # log growth since intake at which it stops
    stall_from: int | None = None
    stall_to: int = NEVER
    stall_rate: float = 0.0


def slope(rng: np.random.Generator, stay: Stay) -> float:
    """Draw the animal's own growth in the first phase. Unit: log grams a day."""
    percent = truth.growth_percent_week(ruling(stay), _stage(stay)) + truth.SLOPE_SD * rng.standard_normal()
    return float(np.log1p(percent / 100) / 7)


def ruling(stay: Stay) -> str:
    """Return the condition that rules the animal's growth: underweight, else the main one, else none."""
    names = [e.condition for e in stay.episodes if not e.relapse]
    return "underweight" if "underweight" in names else next((e.condition for e in stay.episodes if e.main), "none")


def _stage(stay: Stay) -> str:
    return "juvenile" if stay.stage == "hatchling" else stay.stage


def gained(rate: float, days: np.ndarray | float) -> np.ndarray:
    """Return log growth since intake after ``days``: full rate in the first phase, a share of it later."""
    first = np.minimum(days, truth.FIRST_PHASE_DAYS)
    return np.asarray(rate * (first + truth.LATER_SHARE * (np.asarray(days) - first)))


def path(rng: np.random.Generator, stay: Stay) -> Growth:
    """Draw intake weight, slope, target and ceiling of one stay."""
    s, rate = stay.species, slope(rng, stay)
    young = stay.stage == "hatchling"
    healthy = (s.young_g if young else s.adult_g * truth.STAGE_MASS[stay.stage]) * np.exp(0.14 * rng.standard_normal())
    thin = next((e for e in stay.episodes if e.condition == "underweight" and not e.relapse), None)
    rate = max(rate, 0.0006) if thin else rate
    gain = float(gained(rate, thin.ends - stay.day)) if thin else 0.06 + 0.10 * rng.random()
    start = healthy * np.exp(-gain) if thin else healthy * np.exp(-0.04 * rng.random())
    has_target = thin is not None or (bool(stay.episodes) and rng.random() < 0.35)
    ceiling = gain + 0.05 if thin else (0.9 if stay.stage in ("hatchling", "juvenile") else 0.25)
    return Growth(start, rate, start * float(np.exp(gain)), has_target, ceiling)


def _may_stall(stay: Stay, growth: Growth) -> str:
    """Return "now", "past" or "" for an animal that could be one of those whose growth stops."""
    age = truth.LAST_DAY - stay.day
    if not growth.has_target or stay.size > 1 or stay.special:
        return ""
    if stay.out <= truth.LAST_DAY:
        return "past" if stay.day >= 0 and stay.out - stay.day > 90 else ""
    below = float(gained(growth.rate, age - 30.0)) < np.log(growth.target / growth.start)
    return "now" if below and 45 < age < 300 else ""


def plant_stalls(rng: np.random.Generator, stays: list[Stay], paths: list[Growth]) -> None:
    """Stop the growth of some animals: most of them still in care at the as-of date and below target."""
    kind = np.array([_may_stall(s, g) for s, g in zip(stays, paths, strict=True)])
    for rank, row in enumerate(rng.permutation(np.flatnonzero(kind == "now"))[: truth.STALLS_NOW + truth.LOSING_NOW]):
        longest = min(truth.STALL_DAYS[1], truth.LAST_DAY - stays[row].day - 10)
        since = int(rng.integers(truth.STALL_DAYS[0], max(longest, truth.STALL_DAYS[0] + 1)))
        paths[row].stall_from = truth.LAST_DAY - since
        if rank < truth.LOSING_NOW:
            paths[row].stall_rate = float(np.log1p(truth.LOSING_PERCENT_WEEK / 100) / 7)
    for row in rng.permutation(np.flatnonzero(kind == "past"))[: truth.STALLS_PAST]:
        paths[row].stall_from = stays[row].day + 25
        paths[row].stall_to = stays[row].day + 63


def log_weight(g: Growth, stay: Stay, days: np.ndarray, asleep: list[tuple[int, int]]) -> np.ndarray:
    """Return the true log weight on ``days``, without eggs, meals or reading noise."""
    awake = (days - stay.day).astype(float)
    for a, b in asleep:
        awake = awake - np.clip(days - a, 0, b - a)
    stalled = (
        np.zeros(len(days)) if g.stall_from is None else np.clip(days - g.stall_from, 0, g.stall_to - g.stall_from)
    )
    gain = np.minimum(gained(g.rate, awake - stalled), g.ceiling) + g.stall_rate * stalled
    for a, b in asleep:
        gain = gain - 0.0003 * np.clip(days - a, 0, b - a)
    return np.asarray(np.log(g.start) + gain)


def weigh(rng: np.random.Generator, stay: Stay, g: Growth, lasting: dict[str, dict]) -> pd.DataFrame:
    """Return the weighings of one stay up to its end or the as-of date."""
    last = min(stay.out, truth.LAST_DAY)
    asleep = lasting["brumating"].get(stay.key, [])
    step = 14 if stay.special == "resident" else int(rng.choice([7, 7, 7, 4]))
    planned = stay.day + np.arange(0, last - stay.day + 1, step)
    jitter = np.where(np.arange(len(planned)) > 0, rng.integers(-1, 2, len(planned)), 0)
    days = np.clip(planned + jitter, stay.day, last)
    taken = rng.random(len(days)) < truth.WEIGHED
    taken[0] = rng.random() < 0.97
    days = np.unique(days[taken])
    value = log_weight(g, stay, days, asleep)
    words: list[list[str]] = [[] for _ in days]
    value = value + _happenings(rng, stay, days, words, lasting)
    value = value + truth.NOISE[stay.taxon] * rng.standard_normal(len(days))
    grams = np.exp(value)
    scale = np.where(grams < 50, 0.1, 1.0)
    grams = np.maximum(np.round(np.round(grams / scale) * scale, 1), 0.5)
    return pd.DataFrame(
        {
            "key": stay.key,
            "weighed_on": days,
            "weight": grams,
            "circumstance": ["; ".join(sorted(w)) for w in words],
            "step": step,
        }
    )


def _happenings(
    rng: np.random.Generator, stay: Stay, days: np.ndarray, words: list[list[str]], lasting: dict[str, dict]
) -> np.ndarray:
    shift = np.zeros(len(days))
    shed = (rng.random(len(days)) < SHED) & (stay.taxon in ("lizard", "snake"))
    fed = (rng.random(len(days)) < 0.06) & (stay.taxon in MEAL)
    emptied = (rng.random(len(days)) < 0.05) & (stay.taxon in ("tortoise", "frog"))
    shift = shift + fed * MEAL.get(stay.taxon, 0) * rng.uniform(0.7, 1.3, len(days))
    shift = shift - emptied * rng.uniform(0.02, 0.05, len(days))
    if stay.key in lasting["gravid"]:
        since, laid = lasting["gravid"][stay.key]
        carrying = (days >= since) & (days < laid)
        shift = shift + CLUTCH_LOSS * np.clip((days - since) / (laid - since), 0, 1) * carrying
        first_after = np.flatnonzero(days >= laid)[:1]
        born = "gave birth" if stay.species.name in truth.BEARS_YOUNG else "laid eggs"
        _note(words, np.isin(np.arange(len(days)), first_after), born)
        _note(words, carrying, "gravid")
    asleep = np.zeros(len(days), dtype=bool)
    for a, b in lasting["brumating"].get(stay.key, []):
        asleep |= (days >= a) & (days <= b)
    if stay.species.name == "leopard gecko" and len(days) > 6 and rng.random() < 0.06:
        at = int(rng.integers(2, len(days) - 3))
        shift[at:] -= 0.11
        _note(words, np.arange(len(days)) == at, "tail lost")
    for mask, word in ((shed, "shed"), (fed, "fed"), (emptied, "bladder emptied"), (asleep, "brumating")):
        _note(words, mask, word)
    return shift


def _note(words: list[list[str]], mask: np.ndarray, word: str) -> None:
    for k in np.flatnonzero(mask):
        words[k].append(word)
