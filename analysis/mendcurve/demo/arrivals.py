"""Who arrives when: weekly events, batches, one seizure, returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TypeVar

import numpy as np

from mendcurve.demo import truth

NEVER = 10**6
K = TypeVar("K", str, int)


@dataclass(slots=True)
class Episode:
    """One condition of one stay; days are counted from records start, like every day in this package."""

    condition: str
    severity: int
    found: int
    ends: int  # when it would end, if nothing else came first
    how: str
    kills: int
    main: bool = False
    end: int | None = None  # when it was in fact ended
    vet: int | None = None
    animals: int | None = None
    relapse: bool = False
    id: str = ""


@dataclass(slots=True)
class Stay:
    """One stay as it is in truth, beyond the as-of date too."""

    species: truth.Species
    day: int
    how: str
    stage: str
    sex: str
    arrival: int
    key: int
    animal: int
    size: int = 1
    split_from: int | None = None
    dead_on_arrival: bool = False
    note: str = ""
    special: str = ""
    episodes: list[Episode] = field(default_factory=list)
    zones: list[tuple[int, str]] = field(default_factory=list)
    ends: list[tuple[int, str, int]] = field(default_factory=list)  # day, outcome, animals
    taken: list[tuple[int, int]] = field(default_factory=list)  # day, animals that go on as a stay of their own
    id: str = ""

    @property
    def out(self) -> int:
        """Day the last animal leaves in truth."""
        return max(d for d, _, _ in self.ends) if self.ends and self.left_on(NEVER) == 0 else NEVER

    def left_on(self, day: int) -> int:
        """Animals still in this row at the end of ``day``."""
        gone = sum(n for d, _, n in self.ends if d <= day) + sum(n for d, n in self.taken if d <= day)
        return self.size - gone

    @property
    def taxon(self) -> str:
        """Taxon group."""
        return self.species.taxon


def choose(rng: np.random.Generator, shares: Mapping[K, float]) -> K:
    """Draw one key of ``shares`` in proportion to its value."""
    weight = np.array(list(shares.values()), dtype=np.float64)
    return list(shares)[int(rng.choice(len(weight), p=weight / weight.sum()))]


def event_days(rng: np.random.Generator, scale: float) -> np.ndarray:
    """Days of all intake events, ascending: negative binomial by week, weekdays by their shares."""
    weeks = np.arange(truth.FIRST_DAY, truth.LAST_DAY + 1, 7)
    rate = truth.event_rate(weeks + 3) * scale
    shape = truth.OVERDISPERSION * scale
    count = rng.poisson(rate * rng.gamma(shape, 1 / shape, size=len(weeks)))
    start = truth.RECORDS_START + timedelta(days=truth.FIRST_DAY)
    share = np.roll(np.array(truth.WEEKDAY), -start.weekday())
    days = np.repeat(weeks, count) + rng.choice(7, size=count.sum(), p=share / share.sum())
    return np.sort(days[days <= truth.LAST_DAY])


def draw(rng: np.random.Generator, day: int, how: str, arrival: int, key: int) -> Stay:
    """Draw one animal: species, stage, sex."""
    chosen = truth.BY_NAME[choose(rng, {s.name: s.share for s in truth.SPECIES})]
    return Stay(
        chosen,
        day,
        how,
        choose(rng, truth.LIFE_STAGES),
        choose(rng, {"female": 0.42, "male": 0.38, "unknown": 0.20}),
        arrival,
        key,
        key,
    )


def arrive(rng: np.random.Generator, scale: float) -> list[Stay]:
    """Return the single animals of every event up to the as-of date, and those of the seizure."""
    stays: list[Stay] = []
    for arrival, day in enumerate(event_days(rng, scale)):
        how = choose(rng, truth.INTAKE_TYPES)
        alike: Stay | None = None
        for _ in range(choose(rng, truth.BATCH)):
            stay = draw(rng, int(day), how, arrival, len(stays))
            if alike is not None and rng.random() < 0.6:
                stay.species = alike.species
            alike = stay
            stays.append(stay)
    seized = 10**6
    names = ("leopard gecko", "corn snake", "ball python", "red-eared slider")
    for k in range(truth.SEIZURE_ANIMALS):
        stay = draw(rng, truth.SEIZURE_DAY, "confiscated", seized, len(stays))
        stay.species, stay.special = truth.BY_NAME[names[k % 4 if k < 16 else k % 2]], "seizure"
        stays.append(stay)
    return stays


def come_back(rng: np.random.Generator, stay: Stay, key: int) -> Stay | None:
    """Return the second stay of an adopted animal, if it comes back."""
    end = stay.ends[-1] if stay.ends else None
    if end is None or end[1] != "adopted" or stay.size > 1 or rng.random() > truth.RETURN_CHANCE:
        return None
    day = end[0] + 2 + int(rng.exponential(truth.RETURN_MEAN_DAYS))
    stage = {"juvenile": "subadult"}.get(stay.stage, stay.stage)
    return Stay(stay.species, day, "returned", stage, stay.sex, 10**7 + key, key, stay.animal)
