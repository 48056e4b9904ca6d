"""Every true parameter of the invented rescue, in one place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

import numpy as np

RESCUE = "Saltmarsh Lane Reptile and Amphibian Rescue"
RECORDS_START = date(2024, 5, 1)
AS_OF = date(2026, 10, 31)
SIMULATION_START = date(2023, 10, 1)
LAST_DAY = (AS_OF - RECORDS_START).days
FIRST_DAY = (SIMULATION_START - RECORDS_START).days

# --- arrivals -----------------------------------------------------------------------------------------------
EVENTS_PER_WEEK = 1.72
TREND_PER_YEAR = 0.16
SEASON_AMPLITUDE = 0.28
SEASON_PEAK_DAY = 237  # day of the year: late August
BEFORE_START = 0.85  # the rescue was less busy before its records start
OVERDISPERSION = 9.0  # gamma shape of a week's rate
WEEKDAY = (0.19, 0.13, 0.13, 0.13, 0.15, 0.17, 0.10)
BATCH = MappingProxyType({1: 0.76, 2: 0.14, 3: 0.06, 4: 0.03, 5: 0.01})
INTAKE_TYPES = MappingProxyType({"surrendered": 0.66, "stray": 0.17, "transferred in": 0.13, "confiscated": 0.04})
SEIZURE_DAY, SEIZURE_ANIMALS = (date(2025, 9, 16) - RECORDS_START).days, 24
RETURN_CHANCE, RETURN_MEAN_DAYS = 0.08, 70


@dataclass(frozen=True, slots=True)
class Species:
    """One species: taxon, housing, share of arrivals, adult and hatchling grams."""

    name: str
    taxon: str
    housing: str
    share: float
    adult_g: float
    young_g: float


SPECIES = tuple(
    Species(*row)
    for row in (
        ("bearded dragon", "lizard", "arid", 15, 390, 25),
        ("leopard gecko", "lizard", "arid", 13, 58, 8),
        ("crested gecko", "lizard", "tropical", 7, 42, 5),
        ("veiled chameleon", "lizard", "tropical", 4, 125, 15),
        ("blue-tongued skink", "lizard", "arid", 4, 480, 60),
        ("green iguana", "lizard", "tropical", 2, 1900, 150),
        ("corn snake", "snake", "arid", 12, 620, 30),
        ("ball python", "snake", "tropical", 9, 1350, 140),
        ("California kingsnake", "snake", "arid", 4, 700, 45),
        ("boa constrictor", "snake", "tropical", 2, 4200, 400),
        ("western hognose snake", "snake", "arid", 3, 210, 20),
        ("Hermann's tortoise", "tortoise", "arid", 6, 1150, 60),
        ("Russian tortoise", "tortoise", "arid", 6, 850, 50),
        ("sulcata tortoise", "tortoise", "arid", 2, 8500, 120),
        ("red-eared slider", "turtle", "aquatic", 7, 1100, 40),
        ("common box turtle", "turtle", "tropical", 2, 390, 40),
        ("White's tree frog", "frog", "tropical", 4, 55, 8),
        ("horned frog", "frog", "tropical", 2, 230, 25),
        ("axolotl", "salamander", "aquatic", 5, 150, 20),
        ("fire salamander", "salamander", "tropical", 2, 32, 6),
    )
)
BY_NAME = MappingProxyType({s.name: s for s in SPECIES})
BRUMATES = ("Hermann's tortoise", "Russian tortoise")
WINTERS = tuple(
    (date(y, 11, 18), date(y + 1, 2, 20)) for y in (2023, 2024, 2025, 2026)
)  # they are asleep, and not placed
BEARS_YOUNG = ("blue-tongued skink", "boa constrictor")  # the others lay eggs
LIFE_STAGES = MappingProxyType({"adult": 0.66, "subadult": 0.17, "juvenile": 0.17})
STAGE_MASS = MappingProxyType({"adult": 1.0, "subadult": 0.6, "juvenile": 0.25})


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition: what becomes of an episode if nothing else ends it first.

    ``median`` days to the end and ``spread`` of its logarithm; of those ends ``managed`` and ``misdiagnosed`` are
    shares; ``deadly`` is the daily chance of death after the first week while it is open. Severity multiplies.
    """

    name: str
    median: float
    spread: float
    deadly: float
    reptile: float
    amphibian: float
    managed: float = 0.0
    misdiagnosed: float = 0.01
    severities: tuple[float, float, float] = (0.35, 0.45, 0.20)


CONDITIONS = tuple(
    Condition(*row)
    for row in (
        ("stuck shed", 15, 0.50, 0.00012, 17, 0),
        ("mouth infection", 33, 0.45, 0.00100, 12, 3),
        ("noisy breathing", 42, 0.45, 0.00170, 12, 0, 0.05),
        ("thermal burn", 72, 0.40, 0.00180, 6, 0),
        ("soft bones", 80, 0.45, 0.00180, 9, 6, 0.12),
        ("mites", 21, 0.40, 0.00012, 11, 0),
        ("intestinal parasites", 36, 0.40, 0.00045, 14, 32),
        ("underweight", 58, 0.42, 0.00075, 16, 36),
        ("wound", 30, 0.45, 0.00070, 8, 20),
        ("eye infection", 20, 0.45, 0.00010, 1.3, 1.5),
        ("persistent viral infection", 24, 0.40, 0.00110, 2.0, 2.0, 1.0, 0.0),
    )
)
CONDITION = MappingProxyType({c.name: c for c in CONDITIONS})
NAMES = tuple(c.name for c in CONDITIONS)
LIFELONG = ("persistent viral infection",)
FAMILIES = MappingProxyType(
    {
        "infections": ("mouth infection", "noisy breathing", "eye infection"),
        "skin": ("stuck shed", "wound"),
        "parasites": ("mites", "intestinal parasites"),
    }
)
HEALTHY = 0.13  # share of arrivals with no condition at all
SEVERITIES = ("mild", "moderate", "severe")
SLOWER = (0.8, 1.0, 1.3)  # severity times the median
DEADLIER = (0.35, 1.0, 2.3)  # severity times the chance of death
FIRST_WEEK = 2.5  # times the chance of death on days 1 to 7
# Chance that a second condition is there, given the main one: everyone's, and pairs that go together.
EXTRA = MappingProxyType(
    {
        "stuck shed": 0.09,
        "mouth infection": 0.06,
        "noisy breathing": 0.05,
        "thermal burn": 0.015,
        "soft bones": 0.05,
        "mites": 0.07,
        "intestinal parasites": 0.15,
        "underweight": 0.15,
        "wound": 0.04,
        "eye infection": 0.004,
        "persistent viral infection": 0.004,
    }
)
TOGETHER = MappingProxyType(
    {
        ("intestinal parasites", "underweight"): 0.45,
        ("underweight", "intestinal parasites"): 0.42,
        ("soft bones", "underweight"): 0.35,
        ("underweight", "soft bones"): 0.16,
        ("mites", "stuck shed"): 0.28,
        ("stuck shed", "mites"): 0.16,
        ("mouth infection", "noisy breathing"): 0.22,
        ("thermal burn", "wound"): 0.15,
        ("noisy breathing", "mouth infection"): 0.24,
        ("persistent viral infection", "noisy breathing"): 0.40,
    }
)
MOST_CONDITIONS = 4
FOUND_AFTER = MappingProxyType({0: 0.62, 1: 0.14, 3: 0.10, 8: 0.09, 15: 0.05})  # days, for the second and later ones
RELAPSE = 0.05
# Daily chances that hold for every animal, ill or not.
BACKGROUND = MappingProxyType({"died": 0.00008, "left": 0.0011, "missing": 0.00001})
EUTHANASIA_SHARE = 0.35

# --- housing ------------------------------------------------------------------------------------------------
QUARANTINE_DAYS = MappingProxyType(
    {"lizard": 30, "snake": 60, "tortoise": 45, "turtle": 45, "frog": 30, "salamander": 30}
)
QUARANTINE_LAG, TREATMENT_LAG = 3, 5  # mean days beyond what is needed
ADOPTION_DAYS = MappingProxyType(
    {"lizard": 34, "snake": 44, "tortoise": 36, "turtle": 55, "frog": 26, "salamander": 30}
)

# --- weight: percent a week in the first six weeks; half of it later ------------------------------------------
GROWTH = MappingProxyType(
    {
        "none": 0.3,
        "stuck shed": 0.5,
        "mouth infection": 1.1,
        "noisy breathing": 0.8,
        "thermal burn": 0.6,
        "soft bones": 0.9,
        "mites": 0.7,
        "intestinal parasites": 1.0,
        "underweight": 2.2,
        "wound": 0.5,
        "eye infection": 0.6,
        "persistent viral infection": 0.3,
    }
)
STAGE_GROWTH = MappingProxyType({"adult": 0.0, "subadult": 0.4, "juvenile": 1.2})
FIRST_PHASE_DAYS, LATER_SHARE = 42, 0.5
SLOPE_SD = 0.35  # percent a week, between animals
NOISE = MappingProxyType(  # SD of one reading, share of weight
    {"lizard": 0.015, "snake": 0.030, "tortoise": 0.020, "turtle": 0.020, "frog": 0.045, "salamander": 0.030}
)
STALLS_NOW, LOSING_NOW, STALLS_PAST = 8, 4, 4
STALL_DAYS = (35, 63)
LOSING_PERCENT_WEEK = -1.3
WEIGHED = 0.91  # chance that a weighing due took place

# --- doses --------------------------------------------------------------------------------------------------
DOSE_MISSED, DOSE_REFUSED, DOSE_LATE = 0.06, 0.03, 0.10
VET_MEAN_DAYS, VET_SEEN = 4.0, 0.95


def _checked(condition: str) -> Condition:
    if condition not in CONDITION:
        raise KeyError(condition)
    return CONDITION[condition]


def arrivals_per_week(day: date) -> float:
    """Expected intake events a week at ``day``, apart from the seizure, groups and returns. Unit: events/week."""
    t = (day - RECORDS_START).days
    return float(event_rate(np.array([t]))[0])


def event_rate(t: np.ndarray) -> np.ndarray:
    """Expected intake events a week at ``t`` days since records start."""
    year_day = t + (RECORDS_START - date(RECORDS_START.year, 1, 1)).days
    season = 1 + SEASON_AMPLITUDE * np.cos(2 * np.pi * (year_day - SEASON_PEAK_DAY) / 365.25)
    busy = np.where(t < 0, BEFORE_START, 1 + TREND_PER_YEAR * t / 365.25)
    return np.asarray(EVENTS_PER_WEEK * season * busy)


def growth_percent_week(condition: str = "none", stage: str = "adult", day: int = 0) -> float:
    """Mean growth on ``day`` since intake, before any stall and below the animal's ceiling. Unit: percent a week."""
    rate = GROWTH[condition] + STAGE_GROWTH[stage]
    return rate if day < FIRST_PHASE_DAYS else rate * LATER_SHARE


def cleared_by(condition: str, day: Any) -> Any:
    """Cumulative incidence of clearance by ``day`` since found, deaths and departures competing. Unit: share, 0-1.

    Exact for the first episode of a single animal: all sets of conditions, severities and days found are summed.
    """
    from mendcurve.demo.recovering import cleared_curve

    share = cleared_curve(_checked(condition).name)[np.asarray(day, dtype=int)]
    return float(share) if np.ndim(share) == 0 else share


def dose_shares() -> dict[str, float]:
    """Share of planned doses given (on time or late), refused and missed."""
    return {"given": 1 - DOSE_MISSED - DOSE_REFUSED, "refused": DOSE_REFUSED, "missed": DOSE_MISSED}
