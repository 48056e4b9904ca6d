"""Which animals have stopped gaining weight? One state for each animal in care, with its evidence."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.weights_animals import collect
from mendcurve.questions.weights_budget import level_for, lookable, see
from mendcurve.questions.weights_drops import DROP_UNITS, drops
from mendcurve.questions.weights_judging import judge
from mendcurve.questions.weights_states import STATES
from mendcurve.questions.wording import count, day, listing, percent
from mendcurve.records import Records
from mendcurve.records.building import TEXT

COLUMNS = (
    "stay_id",
    "animal_id",
    "species",
    "state",
    "listed",
    "last_weighed_on",
    "days_since",
    "weight_g",
    "target_g",
    "slope_percent_week",
    "low",
    "high",
    "needed_percent_week",
    "detectable_percent_week",
    "found_percent",
    "stop_found_percent",
    "since",
    "since_first",
    "since_last",
    "around",
    "drop_percent",
    "circumstances",
    "weighings",
    "why",
)
UNITS = {
    "days_since": "days",
    "weight_g": "g",
    "target_g": "g",
    **dict.fromkeys(
        ("slope_percent_week", "low", "high", "needed_percent_week", "detectable_percent_week"), "% a week"
    ),
    "found_percent": "% of changes of that size begun 8 weeks ago that are listed",
    "stop_found_percent": "% of stops (without a needed gain: losses of 1 % a week) begun 8 weeks ago that are listed",
    "drop_percent": "%",
    "weighings": "usable, since the last step",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Screen(Answer):
    """The state of each animal in care, drops apart, and how many false alarms to expect."""

    frame: pd.DataFrame
    drop_frame: pd.DataFrame
    paths: pd.DataFrame
    budget: float
    screened: int
    alarm: float
    expected: float
    expected_by_rules: float
    as_of: pd.Timestamp
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row an animal (or group) in care, in the order of the states; ``low``-``high`` is 95 %."""
        return self.frame

    def drops(self) -> pd.DataFrame:
        """Return the animals to weigh again today: a drop from their highest weight since the last step."""
        return self.drop_frame

    def states(self) -> pd.DataFrame:
        """Return how many animals are in each of the seven states, zeros too."""
        n = self.frame["state"].value_counts().reindex(list(STATES)).fillna(0).astype("int64")
        out = pd.DataFrame({"state": list(STATES), "animals": n.to_numpy()})
        out.attrs = {"units": {"animals": "stays in care"}, "title": "Weight states"}
        return out

    def weighings(self) -> pd.DataFrame:
        """Return the usable weighings since the last step of the listed animals, for drawing.

        ``needed_g`` is the weight if the animal had gained as needed from the onset on, ``fitted_g`` its slope since.
        """
        return self.paths

    def sentence(self) -> str:
        """Return how many animals have stopped gaining or are losing."""
        if not self.recorded:
            return "Weighings are not recorded."
        if self.frame.empty:
            return f"No animal was in care on {day(self.as_of)}."
        n = self.frame["state"].value_counts().reindex(list(STATES)).fillna(0).astype("int64")
        found = [f"{count(n['stalled'], 'seems', 'seem')} to have stopped gaining weight"] if n["stalled"] else []
        found += [f"{count(n['losing'], 'seems', 'seem')} to be losing weight"] if n["losing"] else []
        said = listing(found) if found else "none shows that it has stopped gaining or is losing weight"
        return (
            f"Of {count(len(self.frame), 'animal or group', 'animals and groups')} in care on {day(self.as_of)}, "
            f"{said}; {_some(n['too few weighings to tell'], 'has', 'have')} too few weighings to tell and "
            f"{_some(n['overdue'], 'is', 'are')} overdue for weighing. "
            f"About {self.expected:.2g} of those listed would "
            "be expected by chance alone."
        )

    @property
    def stops_found(self) -> float:
        """Return the share of stops begun 8 weeks ago that the screen would list, over the animals it looks at."""
        return float(self.frame["stop_found_percent"].mean()) / 100

    def notes(self) -> tuple[str, ...]:
        """Return how the list is made and what it is not."""
        return (
            "The list asks a question and gives no diagnosis: someone should look at these animals.",
            f"The rescue can handle {self.budget:g} false alarms a week, and {count(self.screened, 'animal')} had "
            f"weighings enough to be screened: one is listed where fewer than {100 * self.alarm:.2g} in 100 animals "
            "doing well would look as bad on the same days. An animal listed in two weeks counts twice. "
            f"{self.expected_by_rules:.2g} of the {self.expected:.2g} expected come from confirmed drops and long "
            "losses.",
            *self._power(),
            "Needed gain: half the median gain of animals of the species and life stage below target (else of the "
            "taxon group) at that day of a stay, or what a target date asks for. An animal is held against the gain "
            "that is usual, if that is less than a date asks for. Without a target only loss is watched for.",
            "Drops are listed apart, with the share that reading noise alone would show; 10 % is common practice, "
            "without a source.",
        )

    def _power(self) -> tuple[str, ...]:
        if not self.screened or not self.alarm > 0:
            return ()
        return (
            f"Of stops begun 8 weeks ago (without a needed gain: of losses of 1 % a week) it would list about "
            f"{percent(self.stops_found)}, by simulation on the days these animals were weighed; a smaller or later "
            "one is missed more often.",
        )


def screen(records: Records) -> Screen:
    """Give each stay in care one of seven states.

    Notes
    -----
    In this order: group weight only; overdue (no weighing for ``watch.overdue_factor`` times the days between
    weighings); too few weighings to tell; losing; stalled; holding at target; gaining. Losing and stalled are decided
    by ``methods.trend_scan`` at the level at which animals that do well, weighed on the same days, give as many false
    alarms a week as the rescue can handle, those by rules included. The slope shown does not decide: of a listed
    animal it is the slope since it stopped, with an interval over all days on which it may have stopped; else that
    over the last 8 weeks. Noise is the larger of the species' scatter about its own path and that of rounding to the
    scale's step. "Too few weighings to tell": the test that knows noise, gain and day has less than 20 % power for a
    stop 8 weeks ago; or the weighings fit a stop 5 weeks ago as well (more than 5 in 100 animals that stopped then
    look as well). A drop confirmed by a second weighing within 7 days, or larger than the noise of its own weighings
    explains, and a sure loss over 12 weighings or more, make an animal "losing".
    """
    budget = float(records.settings["watch.false_alarms_per_week"])
    animals, _ = collect(records)
    ready = lookable(animals, records.as_of, float(records.settings["watch.overdue_factor"]))
    seen = {animal.stay_id: see(animal, records) for animal in ready}
    level = level_for(seen, budget)
    drop_frame = drops(records, animals)
    confirmed = drop_frame.set_index("stay_id")["confirmed"] if len(drop_frame) else pd.Series(dtype="object")
    judged = [judge(a, seen.get(a.stay_id), level.alarm, str(confirmed.get(a.stay_id, "")), records) for a in animals]
    frame = pd.DataFrame([j.row for j in judged], columns=list(COLUMNS))
    if len(drop_frame):
        frame["drop_percent"] = frame["stay_id"].map(drop_frame.set_index("stay_id")["drop_percent"]).astype("float64")
    rank = frame["state"].map({s: i for i, s in enumerate((*STATES[3:5], *STATES[:3], *STATES[5:]))})
    frame = (
        frame.assign(rank=rank).sort_values(["rank", "stay_id"], kind="stable", ignore_index=True).drop(columns="rank")
    )
    frame["animal_id"] = frame["animal_id"].astype(TEXT)
    frame.attrs = {"units": UNITS, "title": f"Weight of the animals in care on {day(records.as_of)}"}
    paths = [j.path for j in judged if j.path is not None]
    drop_frame.attrs = {"units": DROP_UNITS, "title": "Weigh again today"}
    return Screen(
        frame=frame,
        drop_frame=drop_frame,
        paths=pd.concat(paths, ignore_index=True) if paths else pd.DataFrame(columns=["stay_id"]),
        budget=budget,
        screened=len(ready),
        alarm=level.alarm,
        expected=level.expected,
        expected_by_rules=level.by_rules,
        as_of=records.as_of,
        recorded=len(records["weighings"]) > 0,
    )


def _some(n: int, one: str, many: str) -> str:
    return count(n, one, many) if n else f"none {one}"
