"""The seven states of an animal's weight, and what is known about one animal."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from mendcurve.methods.trend_scan import FEWEST
from mendcurve.questions.weights_data import Usual
from mendcurve.questions.weights_pace import Pace
from mendcurve.questions.wording import day

STATES = (
    "group weight only",
    "overdue",
    "too few weighings to tell",
    "losing",
    "stalled",
    "holding at target",
    "gaining",
)
GROUP, OVERDUE, TOO_FEW, LOSING, STALLED, HOLDING, GAINING = STATES
# Losses looked for where no gain is needed: 1 % a week (the fastest unfed snakes lost 1.02 %, McCue 2007), and a
# quarter of it, which adds up to 12 % in a year.
LOSS, SLOW_LOSS = float(np.log(0.99) / 7), float(np.log(0.9975) / 7)


@dataclass(frozen=True, kw_only=True, eq=False)
class Animal:
    """What is known about the weight of one stay in care; ``series`` holds its usable weighings since the last step."""

    stay_id: str
    animal_id: str | None
    species: str
    taxon: str
    life_stage: str
    group: bool
    came: pd.Timestamp
    last_on: pd.Timestamp
    series: pd.DataFrame | None
    noise: float
    tail: float
    usual: Usual | None
    any: Usual | None
    target_g: float
    by_date: pd.Timestamp
    every_days: float
    walk: float = 0.0
    pace: Pace = field(default_factory=Pace)

    @property
    def can_be_screened(self) -> bool:
        """Whether there are weighings enough, and a noise to hold them against."""
        return not self.group and self.series is not None and len(self.series) >= FEWEST and self.noise > 0

    def since(self, as_of: pd.Timestamp) -> int:
        """Return the days since the last weighing, or since intake where there is none."""
        return int((as_of - (self.last_on if pd.notna(self.last_on) else self.came)).days)

    def overdue(self, as_of: pd.Timestamp, factor: float) -> bool:
        """Whether it has not been weighed for ``factor`` times the days between weighings."""
        return self.since(as_of) > factor * self.every_days

    @property
    def now(self) -> float:
        """Return the pace at the last weighing, as a share of the first."""
        return self.pace.at(float(self.series["day"].iloc[-1])) if self.series is not None else 1.0

    @property
    def at_target(self) -> bool:
        """Whether the last weighing, or the mean of the last three, is at or above the target."""
        if self.series is None or not self.target_g > 0:
            return False
        last = self.series["log_g"].tail(3)
        return max(float(last.mean()), float(last.iloc[-1])) >= float(np.log(self.target_g))


def needed_gain(animal: Animal, as_of: pd.Timestamp) -> tuple[float, str]:
    """Return the needed slope (log grams a day) and where it comes from, in words."""
    if not animal.target_g > 0:
        return 0.0, "no target is set: watched for loss only"
    if animal.at_target:
        return 0.0, "at target: watched for loss only"
    if pd.notna(animal.by_date) and animal.by_date > as_of and animal.series is not None:
        left = (animal.by_date - as_of).days
        gain = float((np.log(animal.target_g) - animal.series["log_g"].iloc[-1]) / left)
        if gain > 0:
            return gain, f"to reach {animal.target_g:,.0f} g by {day(animal.by_date)}"
    if animal.usual is not None and animal.usual.gain > 0:
        return (
            animal.usual.first / 2 * animal.now,
            f"half the usual gain of animals like it below target ({animal.usual.of}, {animal.usual.animals} animals)",
        )
    return 0.0, "what is usual for animals like it cannot be told: watched for loss only"
