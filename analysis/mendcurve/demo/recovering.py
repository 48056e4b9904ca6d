"""How long episodes last in truth: distributions to draw from, and the exact curve they imply."""

from __future__ import annotations

from functools import cache
from itertools import combinations

import numpy as np
from scipy.stats import norm

from mendcurve.demo import truth

DAYS = 600  # days for which distributions are held


@cache
def end_chances(condition: str, severity: int) -> np.ndarray:
    """Chance that the episode ends (not by death or leaving) on each day 1..DAYS-1; index is the day."""
    c = truth.CONDITION[condition]
    edges = np.log((np.arange(DAYS) + 0.5) / (c.median * truth.SLOWER[severity])) / c.spread
    chance = np.diff(norm.cdf(edges), prepend=0.0)
    chance[1] += chance[0]
    chance[0] = 0.0
    chance[-1] += 1 - chance.sum()
    return chance


@cache
def death_hazard(condition: str, severity: int) -> np.ndarray:
    """Chance of death from this condition on each day, while it is open; none on day 0."""
    hazard = np.full(DAYS, truth.CONDITION[condition].deadly * truth.DEADLIER[severity])
    hazard[1:8] *= truth.FIRST_WEEK
    hazard[0] = 0.0
    return hazard


@cache
def killed_by(condition: str) -> np.ndarray:
    """Chance that this condition alone has killed by each day, averaged over severity and day found (from intake)."""
    total = np.zeros(DAYS)
    for severity, weight in enumerate(truth.CONDITION[condition].severities):
        hazard = death_hazard(condition, severity)
        alive_before = np.concatenate([[1.0], np.cumprod(1 - hazard)[:-1]])
        still_open = 1 - np.concatenate([[0.0], np.cumsum(end_chances(condition, severity))[:-1]])
        total += weight * np.cumsum(hazard * alive_before * still_open)
    return total


@cache
def killed_since_intake(condition: str) -> np.ndarray:
    """The same for a second or later condition, found some days after intake."""
    late = np.zeros(DAYS)
    for delay, weight in truth.FOUND_AFTER.items():
        late[delay:] += weight * killed_by(condition)[: DAYS - delay]
    return late


def extra_chances(main: str, amphibian: bool) -> dict[str, float]:
    """Chance of each other condition, given the main one."""
    return {
        o.name: truth.TOGETHER.get((main, o.name), truth.EXTRA[o.name])
        for o in truth.CONDITIONS
        if o.name != main and (o.amphibian if amphibian else o.reptile) > 0
    }


@cache
def sets_of_conditions() -> tuple[tuple[float, str, tuple[str, ...]], ...]:
    """Every possible set as (chance, main condition, others); at most four in all."""
    amphibians = sum(s.share for s in truth.SPECIES if s.taxon in ("frog", "salamander"))
    share = amphibians / sum(s.share for s in truth.SPECIES)
    out = []
    for amphibian, of_class in ((True, share), (False, 1 - share)):
        mains = {c.name: c.amphibian if amphibian else c.reptile for c in truth.CONDITIONS}
        for main, weight in mains.items():
            chances = extra_chances(main, amphibian)
            sets = [s for k in range(truth.MOST_CONDITIONS) for s in combinations(chances, k)] if weight else []
            raw = [float(np.prod([p if o in s else 1 - p for o, p in chances.items()])) for s in sets]
            scale = of_class * weight / sum(mains.values()) / max(sum(raw), 1e-300)
            out += [(scale * p, main, s) for p, s in zip(raw, sets, strict=True)]
    return tuple(out)


def _own_clearing(condition: str) -> np.ndarray:
    c = truth.CONDITION[condition]
    out = np.zeros(DAYS)
    for severity, weight in enumerate(c.severities):
        out += weight * end_chances(condition, severity) * np.cumprod(1 - death_hazard(condition, severity))
    return out * (1 - c.managed - c.misdiagnosed)


@cache
def cleared_curve(condition: str) -> np.ndarray:
    """Exact cumulative incidence of clearance by day since found, index = day.

    Notes
    -----
    On one day death comes first, then the end of an episode, then leaving. Other conditions of the animal can
    end it only by death; those found later than this one count from their own day.
    """
    t = np.arange(DAYS)
    alive = (1 - truth.BACKGROUND["died"]) ** t
    here = ((1 - truth.BACKGROUND["left"]) * (1 - truth.BACKGROUND["missing"])) ** np.maximum(t - 1, 0)
    ends, found = np.zeros(DAYS), 0.0
    own = _own_clearing(condition)
    for chance, main, others in sets_of_conditions():
        if condition != main and condition not in others:
            continue
        spared = alive * here
        for other in {main, *others} - {condition}:
            spared = spared * (1 - (killed_by(other) if other == main else killed_since_intake(other)))
        for delay, weight in ({0: 1.0} if condition == main else truth.FOUND_AFTER).items():
            found += chance * weight * spared[delay]
            ends[: DAYS - delay] += chance * weight * own[: DAYS - delay] * spared[delay:]
    return np.cumsum(ends) / found
