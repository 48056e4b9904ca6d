"""When will an animal reach its target weight? Its own path simulated on from its last weighing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.weights_animals import collect
from mendcurve.questions.weights_data import Usual, choose_usual
from mendcurve.questions.weights_states import Animal
from mendcurve.questions.wording import between, count, day
from mendcurve.records import Records
from mendcurve.timelines.stays import stays

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
    "why_not",
)
UNITS = {
    "weight_g": "g",
    "target_g": "g",
    **dict.fromkeys(("median_days", "low_days", "high_days"), "days from the as-of date"),
    "not_in_90_percent": "% of simulated futures",
    "weighings": "usable, since the last step",
}
DRAWS, SEED = 4000, 20_240_503
# Days simulated; days in which half of the difference between an animal's slope and its group's is lost (our choice).
HORIZON, HALF_LIFE = 365, 60
AHEAD = 90


@dataclass(frozen=True, kw_only=True, eq=False)
class Targets(Answer):
    """Days until each animal below target is first weighed at or above it."""

    frame: pd.DataFrame
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
            return f"{count(len(self.frame), 'animal')} below target, none with weighings enough to say when."
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
        """Return what the simulation assumes and what has not been checked."""
        left = self.frame[self.frame["why_not"] != ""]
        return (
            *([f"{count(len(left), 'animal')} below target left out: too few weighings."] if len(left) else []),
            f"A dash: not reached in so many of the futures within {HORIZON} days, animals that leave before included.",
            "The day is that of the first scheduled weighing at or above target; an animal that leaves before does not "
            "reach it. Leaving is taken as equally likely on each day, at the rate of the taxon group.",
            f"Half of the difference between an animal's slope and its group's is taken to be lost in {HALF_LIFE} "
            "days: our choice, not estimated.",
            "These ranges have been checked against what happened later on invented records only: take them as a first "
            "guess.",
        )


def target_days(records: Records) -> Targets:
    """Simulate each animal's weight on to its target.

    Notes
    -----
    Level and slope at the last weighing come from a mixed model of the animals below target of its species and life
    stage (else taxon group), with the animal's own effects and their uncertainty. The slope reverts to the group's, the
    level wanders as the group's do, each scheduled weighing has reading noise. 4,000 futures, seeded. ``median_days``,
    ``low_days`` and ``high_days`` are 50, 10 and 90 % points over *all* futures; a point that so many never reach
    within 365 days, or leave before, is missing.
    """
    animals, gains = collect(records)
    leaving = _leaving(records)
    rows = []
    for rank, animal in enumerate(animals):
        if animal.group or not animal.target_g > 0 or animal.at_target:
            continue
        usual = choose_usual(gains, animal.species, animal.life_stage, animal.taxon)
        rows.append(_one(animal, usual, leaving.get(animal.taxon, 0.0), records.as_of, rank))
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    frame.attrs = {"units": UNITS, "title": "Days until target weight"}
    return Targets(frame=frame, as_of=records.as_of, recorded=len(records["targets"]) > 0)


def _one(animal: Animal, usual: Usual | None, leaving: float, as_of: pd.Timestamp, rank: int) -> dict[str, object]:
    n = 0 if animal.series is None else len(animal.series)
    weight = np.nan if animal.series is None else float(animal.series["weight_g"].iloc[-1])
    row: dict[str, object] = {
        "stay_id": animal.stay_id,
        "species": animal.species,
        "weight_g": weight,
        "target_g": animal.target_g,
        **dict.fromkeys(COLUMNS[4:8], np.nan),
        "weighings": n,
        "why_not": "",
    }
    if animal.series is None or n < 3 or not animal.noise > 0:
        return row | {"why_not": "too few weighings"}
    if usual is None or animal.series["series"].iloc[-1] not in usual.fit.subjects:
        return row | {"why_not": "too few animals like it"}
    since = int((as_of - animal.last_on).days)
    weighed, grams = _futures(animal, usual, since, np.random.default_rng((SEED, rank)))
    hit = grams >= np.log(animal.target_g)
    first = np.where(hit.any(axis=0), weighed[np.argmax(hit, axis=0)], np.inf)
    rng = np.random.default_rng((SEED, rank, 1))
    gone = rng.geometric(leaving, DRAWS) if leaving > 0 else np.full(DRAWS, np.inf)
    reached = np.where(first <= gone, first, np.inf)
    points = np.sort(reached)[[DRAWS // 2, DRAWS // 10, 9 * DRAWS // 10]]
    points = np.where(np.isfinite(points), points, np.nan)
    row |= dict(zip(COLUMNS[4:7], points.tolist(), strict=True))
    return row | {"not_in_90_percent": float(100 * (reached > AHEAD).mean())}


def _futures(animal: Animal, usual: Usual, since: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return days of the scheduled weighings after the as-of date (k,) and log readings at them (k, draws)."""
    assert animal.series is not None
    fit, series = usual.fit, str(animal.series["series"].iloc[-1])
    i, last = fit.subjects.index(series), float(animal.series["day"].iloc[-1])
    q = fit.random_cov.shape[0]
    at = np.array([[1.0, last], [0.0, 1.0]])  # level at the last weighing, slope
    z = at[:, :q]
    centre = at @ fit.beta + z @ fit.effects[i]
    move = at - z @ fit.effects_slope[i]
    cov = move @ fit.cov @ move.T + z @ fit.effects_cov[i] @ z.T
    level, slope = rng.multivariate_normal(centre, cov, DRAWS, method="eigh").T
    steps = np.arange(1, HORIZON + since + 1)
    weighed = steps[(steps % round(animal.every_days) == 0) & (steps > since)]
    rate = np.log(2) / HALF_LIFE
    lasting = (1 - np.exp(-rate * weighed)) / rate
    path = level + fit.beta[1] * weighed[:, None] + (slope - fit.beta[1]) * lasting[:, None]
    gaps = np.diff(weighed, prepend=0)[:, None]
    walk = np.cumsum(usual.wander * np.sqrt(gaps) * rng.standard_normal((len(weighed), DRAWS)), axis=0)
    return weighed - since, path + walk + animal.noise * rng.standard_normal((len(weighed), DRAWS))


def _leaving(records: Records) -> dict[str, float]:
    """Return the share of animals of each taxon group that leave in a day, however they leave."""
    frame = stays(records)
    frame = frame[frame["used"] & ~frame["permanent"]]
    days = (frame["exit"] - frame["entry"]) * frame["animals"]
    left = frame["animals"].where(frame["end"].isin(("live", "died", "missing")), 0)
    rate = left.groupby(frame["taxon"]).sum() / days.groupby(frame["taxon"]).sum()
    return {str(taxon): float(share) for taxon, share in rate.items() if 0 < share < 1}
