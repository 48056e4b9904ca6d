"""When will an animal reach its target weight? Its own path simulated on from its last weighing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.weights_ahead import DRAWS, HORIZON, Likes, alike, reaching
from mendcurve.questions.weights_animals import collect
from mendcurve.questions.weights_data import noise_of, usable
from mendcurve.questions.weights_screen import screen
from mendcurve.questions.weights_states import LOSING, STALLED, Animal
from mendcurve.questions.wording import between, count, day, listing
from mendcurve.records import Records

COLUMNS = (
    "stay_id",
    "species",
    "weight_g",
    "target_g",
    "median_days",
    "low_days",
    "high_days",
    "not_in_90_percent",
    "weighings",
    "every_days",
    "like",
    "half_life_days",
    "why_not",
)
UNITS = {
    "weight_g": "g",
    "target_g": "g",
    **dict.fromkeys(("median_days", "low_days", "high_days"), "days from the as-of date"),
    "not_in_90_percent": "% of simulated futures",
    "weighings": "usable, since the last step",
    "every_days": "days between weighings",
    "half_life_days": "days",
}
AHEAD = 90
# Usable weighings since the last step below which nothing is said.
FEWEST = 2
TOO_FEW, NONE_LIKE = "too few weighings", "too few animals like it"
NOT_NOW = {LOSING: "not while it is losing", STALLED: "not while it has stopped gaining"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Targets(Answer):
    """Days until each animal below target is first weighed at or above it.

    ``futures`` holds, by stay, the day it is reached in each simulated future (infinite: not within 365 days, or it
    left before).
    """

    frame: pd.DataFrame
    futures: dict[str, np.ndarray]
    as_of: pd.Timestamp
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row an animal below target: median and 80 % range; missing beyond 365 days."""
        return self.frame

    def sentence(self) -> str:
        """Return how many are below target and how many of them should reach it within 90 days."""
        if not self.recorded:
            return "Target weights are not recorded."
        told = self.frame[self.frame["why_not"] == ""]
        if self.frame.empty:
            return f"No animal in care on {day(self.as_of)} was below a target weight."
        if told.empty:
            return f"{count(len(self.frame), 'animal')} below target, of none of which a day can be said."
        soon = int((told["not_in_90_percent"] < 50).sum())
        said = count(soon, "is", "are") if soon else "none is"
        first = told.sort_values("median_days", kind="stable", na_position="last").iloc[0]
        tail = ""
        if np.isfinite(first["median_days"]):
            tail = (
                f" The first is {first['stay_id']} ({first['species']}), in about {count(first['median_days'], 'day')} "
                f"(80 % range {between(first['low_days'], first['high_days'], 'days')})."
            )
        return (
            f"Of {count(len(told), 'animal')} below target on {day(self.as_of)}, {said} "
            f"more likely than not to be weighed at target within {AHEAD} days.{tail}"
        )

    def notes(self) -> tuple[str, ...]:
        """Return who was left out, and what the simulation assumes."""
        left = self.frame.loc[self.frame["why_not"] != "", "why_not"].value_counts()
        lives = self.frame.dropna(subset="half_life_days").drop_duplicates("like").sort_values("like")
        fitted = [
            f"{life:.0f} days ({like})" for like, life in zip(lives["like"], lives["half_life_days"], strict=True)
        ]
        return (
            *(f"{count(n, 'animal')} below target without a day: {why}." for why, n in left.items()),
            f"A dash: not reached in so many of the futures within {HORIZON} days, animals that leave before included.",
            "The day is that of the first scheduled weighing at or above target; an animal that leaves before does not "
            "reach it. Leaving is taken as equally likely on each day, at the rate of the animals of the taxon group "
            "that were below target (beside 5 leavings at the rate of all).",
            *([f"Half of the difference between an animal's slope and that of animals like it is lost in: "
               f"{listing(fitted)}; estimated from their weighings, starting from 60 days (30 to 120 would surprise "
               "nobody)."] if fitted else []),
            "How often such ranges held on past days: weights.targets_backtest(records).",
        )  # fmt: skip


def target_days(records: Records) -> Targets:
    """Simulate each animal's weight on to its target.

    Notes
    -----
    Level and slope at the last weighing are the animal's own, filtered from its weighings since the last step in the
    model of ``methods.growing``, made from the animals of its species and life stage (at least 10; else of its taxon
    group) up to their first weighing at target. The slope reverts to the mean's, the level wanders, each scheduled
    weighing has reading noise, and mean and scales are drawn from about their likelihood. 4,000 futures, seeded.
    ``median_days``, ``low_days`` and ``high_days`` are 50, 10 and 90 % points over *all* futures; a point that so many
    never reach within 365 days, or leave before, is missing. An animal that the screen calls losing or stalled gets no
    days.
    """
    animals, _ = collect(records)
    below = [a for a in animals if not a.group and a.target_g > 0 and not a.at_target]
    futures: dict[str, np.ndarray] = {}
    rows = []
    if below:
        use = usable(records)
        likes = alike(use, noise_of(use), records)
        state = screen(records).to_frame().set_index("stay_id")["state"].to_dict()
        for animal in below:
            row, reached = _one(animal, likes, str(state.get(animal.stay_id, "")), records.as_of)
            rows.append(row)
            if reached is not None:
                futures[animal.stay_id] = reached
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    frame.attrs = {"units": UNITS, "title": "Days until target weight"}
    return Targets(frame=frame, futures=futures, as_of=records.as_of, recorded=len(records["targets"]) > 0)


def _one(animal: Animal, likes: Likes, state: str, as_of: pd.Timestamp) -> tuple[dict[str, object], np.ndarray | None]:
    n = 0 if animal.series is None else len(animal.series)
    row: dict[str, object] = {
        "stay_id": animal.stay_id,
        "species": animal.species,
        "weight_g": np.nan if animal.series is None else float(animal.series["weight_g"].iloc[-1]),
        "target_g": animal.target_g,
        **dict.fromkeys(COLUMNS[4:8], np.nan),
        "weighings": n,
        "every_days": animal.every_days,
        "like": "",
        "half_life_days": np.nan,
        "why_not": "",
    }
    if n < FEWEST or not animal.noise > 0:
        return row | {"why_not": TOO_FEW}, None
    if state in NOT_NOW:
        return row | {"why_not": NOT_NOW[state]}, None
    found = likes.of(animal)
    if found is None:
        return row | {"why_not": NONE_LIKE}, None
    key, model = found
    reached = reaching(animal, model, likes.leaving.get(animal.taxon), as_of)
    points = np.sort(reached)[[DRAWS // 2, DRAWS // 10, 9 * DRAWS // 10]]
    points = np.where(np.isfinite(points), points, np.nan)
    row |= dict(zip(COLUMNS[4:7], points.tolist(), strict=True))
    return row | {
        "not_in_90_percent": float(100 * (reached > AHEAD).mean()),
        "like": " ".join(key[::-1]),
        "half_life_days": model.half_life,
    }, reached
