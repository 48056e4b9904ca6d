"""An invented rescue's true history: who came, what they weighed, what they had, how they left.

Nothing here knows how the rescue writes it down; the layout modules do that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

NAMES = (
    "Pip",
    "Moss",
    "Olive",
    "Basil",
    "Juno",
    "Rex",
    "Toffee",
    "Nettle",
    "Biscuit",
    "Sprout",
    "Marble",
    "Gizmo",
    "Pepper",
    "Hazel",
    "Cosmo",
    "Fern",
    "Rusty",
    "Dot",
    "Ziggy",
    "Clover",
    "Bramble",
    "Noodle",
    "Ember",
    "Pickle",
    "Onyx",
    "Sage",
    "Tango",
    "Willow",
    "Figaro",
    "Maple",
    "Echo",
    "Bean",
    "Flint",
    "Poppy",
    "Otto",
    "Ivy",
)
LIVE_SHARES = (("adopted", 0.68), ("transferred out", 0.12), ("returned to owner", 0.03), ("released", 0.02))
SAD_SHARES = (("died", 0.09), ("euthanised", 0.05), ("missing", 0.01))
PROBLEMS = (
    "stuck shed",
    "mouth rot",
    "respiratory infection",
    "burn",
    "metabolic bone disease",
    "internal parasites",
    "mites",
    "underweight",
)


@dataclass(frozen=True, slots=True)
class Species:
    """A species: plain common name, scientific name, usual adult weight in grams, and what this rescue calls it.

    Only a native species is ever released.
    """

    common: str
    scientific: str
    adult_g: float
    theirs: str
    native: bool = False


@dataclass(slots=True)
class Episode:
    """One problem of one stay."""

    condition: str
    found_on: date
    severity: str
    ended_on: date | None
    ended_as: str
    vet_on: date | None


@dataclass(slots=True)
class Stay:
    """One stay, as it truly was. ``left`` is None while the animal is in care."""

    stay_id: str
    animal_id: str
    name: str
    species: Species
    sex: str
    life_stage: str
    intake: date
    intake_type: str
    group: int = 1
    left: date | None = None
    outcome: str = ""
    episodes: list[Episode] = field(default_factory=list)
    weights: list[tuple[date, float]] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What kind of rescue to invent."""

    seed: int
    stays: int
    start: date
    last_day: date
    species: Sequence[Species]
    shares: Sequence[float]
    intake_types: Sequence[tuple[str, float]]
    stay_id: Callable[[int], str]
    animal_id: Callable[[int], str]
    weigh_every: tuple[int, int] = (10, 21)
    weigh_weekday: int | None = None
    round_to: float = 1.0
    groups: float = 0.04


def _pick(rng: np.random.Generator, shares: Sequence[tuple[str, float]]) -> str:
    chances = np.array([share for _, share in shares])
    return shares[int(rng.choice(len(shares), p=chances / chances.sum()))][0]


def _episodes(rng: np.random.Generator, stay: Stay, last_day: date) -> list[Episode]:
    count = int(rng.choice(3, p=[0.32, 0.53, 0.15]))
    end = min(stay.left or last_day, last_day)
    made = []
    for condition in rng.choice(len(PROBLEMS), size=count, replace=False):
        found = min(stay.intake + timedelta(days=int(rng.choice([0, 0, 0, 1, 2, 9, 20]))), end)
        over = found + timedelta(days=int(rng.lognormal(3.3, 0.6)) + 4)
        ended_as = "managed" if PROBLEMS[condition] == "metabolic bone disease" and rng.random() < 0.3 else "cleared"
        vet = found + timedelta(days=int(rng.integers(1, 7)))
        made.append(
            Episode(
                PROBLEMS[condition],
                found,
                str(rng.choice(["mild", "moderate", "severe"], p=[0.45, 0.4, 0.15])),
                over if over <= end else None,
                ended_as if over <= end else "",
                vet if vet <= end else None,
            )
        )
    return made


def _weights(rng: np.random.Generator, stay: Stay, plan: Plan) -> list[tuple[date, float]]:
    adult = stay.species.adult_g * {"hatchling": 0.08, "juvenile": 0.4, "adult": 1.0}[stay.life_stage]
    healthy = adult * rng.lognormal(0, 0.15)
    thin = healthy * rng.uniform(0.65, 0.98)
    rate = rng.uniform(0.008, 0.03)
    end = min(stay.left or plan.last_day, plan.last_day)
    day, made = stay.intake, []
    while day <= end:
        days = (day - stay.intake).days
        grams = (healthy - (healthy - thin) * np.exp(-rate * days)) * rng.normal(1, 0.015)
        made.append((day, float(max(plan.round_to, round(grams / plan.round_to) * plan.round_to))))
        day += timedelta(days=int(rng.integers(plan.weigh_every[0], plan.weigh_every[1] + 1)))
        if plan.weigh_weekday is not None:
            day += timedelta(days=(plan.weigh_weekday - day.weekday()) % 7)
    return [(when, round(grams, 1)) for when, grams in made]


def _stay(rng: np.random.Generator, plan: Plan, intake: date, back: Stay | None) -> Stay:
    chances = np.array(plan.shares, dtype=float)
    if back is not None:
        stay = Stay(
            "", back.animal_id, back.name, back.species, back.sex, back.life_stage, intake, "returned", back.group
        )
    else:
        species = plan.species[int(rng.choice(len(plan.species), p=chances / chances.sum()))]
        sex = str(rng.choice(["male", "female", "unknown"], p=[0.38, 0.37, 0.25]))
        stage = str(rng.choice(["adult", "juvenile", "hatchling"], p=[0.7, 0.25, 0.05]))
        kind = _pick(rng, plan.intake_types)
        stage = "hatchling" if kind == "born in care" else stage
        group = int(rng.integers(2, 7)) if rng.random() < plan.groups and species.adult_g < 300 else 1
        stay = Stay("", "", str(rng.choice(NAMES)), species, sex, stage, intake, kind, group)
    sad = rng.random() < sum(share for _, share in SAD_SHARES)
    stay.outcome = _pick(rng, SAD_SHARES if sad else LIVE_SHARES)
    if stay.outcome == "released" and not stay.species.native:
        stay.outcome = "transferred out"
    days = int(rng.lognormal(2.9, 1.0) if sad else rng.lognormal(4.1, 0.7))
    left = intake + timedelta(days=days)
    if left <= plan.last_day:
        stay.left = left
    else:
        stay.outcome = ""
    stay.episodes = _episodes(rng, stay, plan.last_day)
    stay.weights = _weights(rng, stay, plan)
    return stay


def invent(plan: Plan) -> list[Stay]:
    """Make the stays of one rescue, in order of intake.

    Parameters
    ----------
    plan : Plan
        The kind of rescue.

    Returns
    -------
    list of Stay
        ``plan.stays`` of them; about one adopted animal in twelve comes back for a second stay.
    """
    rng = np.random.default_rng(plan.seed)
    span = (plan.last_day - plan.start).days
    first = int(plan.stays * 0.94)
    days = np.sort(rng.integers(0, span - 2, size=first))
    made = [_stay(rng, plan, plan.start + timedelta(days=int(day)), None) for day in days]
    adopted = [s for s in made if s.outcome == "adopted" and s.left is not None and (plan.last_day - s.left).days > 60]
    for place, stay in enumerate(made):
        stay.animal_id = plan.animal_id(place + 1)
    for which in rng.choice(len(adopted), size=plan.stays - first, replace=False):
        gone = adopted[int(which)]
        assert gone.left is not None
        again = gone.left + timedelta(days=int(rng.integers(12, 58)))
        made.append(_stay(rng, plan, again, gone))
    made.sort(key=lambda stay: stay.intake)
    for place, stay in enumerate(made):
        stay.stay_id = plan.stay_id(place + 1)
    return made
