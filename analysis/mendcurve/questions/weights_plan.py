"""How often to weigh each animal so that a stall shows in time, and which weighings are overdue."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from mendcurve.errors import InputError
from mendcurve.methods.trend_likelihood import Model, sharpness
from mendcurve.questions.answer import Answer
from mendcurve.questions.weights_animals import collect
from mendcurve.questions.weights_budget import POWER, lookable
from mendcurve.questions.weights_data import percent_week
from mendcurve.questions.weights_states import LOSS, Animal
from mendcurve.questions.wording import count, day
from mendcurve.records import Records

# Days between weighings that are tried, longest first.
INTERVALS = (28, 21, 14, 10, 7, 5, 4, 3, 2, 1)
COLUMNS = (
    "stay_id",
    "species",
    "last_weighed_on",
    "due_on",
    "days_overdue",
    "every_days",
    "weigh_every_days",
    "shown_percent",
    "smallest_percent_week",
    "noise_percent",
    "why_not",
)
UNITS = {
    "days_overdue": "days",
    "every_days": "days between weighings now planned",
    "weigh_every_days": "days between weighings that would show it",
    "shown_percent": "% of such stalls shown in time at the days now planned",
    "smallest_percent_week": "fall of the gain, % a week, shown in 80 of 100 at the days now planned",
    "noise_percent": "% of a reading",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan(Answer):
    """How often each animal should be weighed, and what is overdue."""

    frame: pd.DataFrame
    stall_percent_week: float
    weeks: int
    alarm: float
    as_of: pd.Timestamp
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row an animal in care that is weighed by itself."""
        return self.frame

    def overdue(self) -> pd.DataFrame:
        """Return the animals whose next weighing should have been before the as-of date, the longest overdue first."""
        late = self.frame[self.frame["days_overdue"] > 0]
        late = late.sort_values(["days_overdue", "stay_id"], ascending=[False, True], kind="stable", ignore_index=True)
        late = late[["stay_id", "species", "last_weighed_on", "due_on", "days_overdue"]]
        late.attrs = {"units": {"days_overdue": "days"}, "title": f"Overdue for weighing on {day(self.as_of)}"}
        return late

    def sentence(self) -> str:
        """Return how many animals are weighed often enough, and how many are overdue."""
        if not self.recorded:
            return "Weighings are not recorded."
        told = self.frame[self.frame["why_not"] == ""]
        enough = int((told["weigh_every_days"] >= told["every_days"]).sum())
        late = int((self.frame["days_overdue"] > 0).sum())
        return (
            f"A fall of the gain by {self.stall_percent_week:g} % a week would show within "
            f"{count(self.weeks, 'week')} in {100 * POWER:.0f} of 100 for {enough} of {count(len(told), 'animal')} "
            f"weighed as planned now; {count(late, 'weighing is', 'weighings are')} overdue on {day(self.as_of)}."
        )

    def notes(self) -> tuple[str, ...]:
        """Return what the plan rests on."""
        left = self.frame[self.frame["why_not"] != ""]["why_not"].value_counts()
        return (
            "The stall is taken to begin today. By formula, for the test that knows the day it began, at the level of "
            "the screen; the screen does not know the day and finds about nine in ten of what that test finds.",
            "Earlier weighings count: they tell the level and, with what animals like it gain, the gain before.",
            *(f"{count(n, 'animal')} without an answer: {why}." for why, n in left.items()),
        )


def plan(records: Records, *, stall_percent_week: float = 1.0, weeks: int = 8) -> Plan:
    """Return how often to weigh each animal so that a stall shows within some weeks.

    Parameters
    ----------
    records : Records
    stall_percent_week : float
        By how much the gain falls, in % a week: what an animal gained before, where it stops altogether.
    weeks : int
        It should show within so many weeks, in 80 of 100.

    Raises
    ------
    InputError
        If the stall is not between 0 and 50 % a week, or the weeks not between 1 and 52.
    """
    if not 0 < stall_percent_week < 50:
        raise InputError("A stall is a fall of the gain, in % a week.", [f"{stall_percent_week:g} given"], "Write 1.0.")
    if not 1 <= weeks <= 52:
        raise InputError("A stall can be asked to show within 1 to 52 weeks.", [f"{weeks} given"])
    animals, _ = collect(records)
    ready = lookable(animals, records.as_of, float(records.settings["watch.overdue_factor"]))
    alarm = min(float(records.settings["watch.false_alarms_per_week"]) / max(len(ready), 1), 0.5)
    less = -float(np.log1p(-stall_percent_week / 100)) / 7
    rows = [_row(a, less, weeks, alarm, records.as_of) for a in animals if not a.group]
    frame = pd.DataFrame(rows, columns=list(COLUMNS)).sort_values("stay_id", ignore_index=True)
    frame["weigh_every_days"] = frame["weigh_every_days"].astype("Int64")
    frame.attrs = {"units": UNITS, "title": "How often to weigh"}
    return Plan(
        frame=frame,
        stall_percent_week=stall_percent_week,
        weeks=weeks,
        alarm=alarm,
        as_of=records.as_of,
        recorded=len(records["weighings"]) > 0,
    )


def _row(animal: Animal, less: float, weeks: int, alarm: float, as_of: pd.Timestamp) -> tuple[object, ...]:
    last = animal.last_on if pd.notna(animal.last_on) else animal.came
    due = last + pd.Timedelta(days=round(animal.every_days))
    known = (animal.stay_id, animal.species, animal.last_on, due, (as_of - due).days, animal.every_days)
    if not animal.noise > 0:
        return (*known, pd.NA, np.nan, np.nan, np.nan, "too few weighings to know the noise of a reading")
    sharp = {every: _sharp(animal, every, weeks, as_of) for every in {*INTERVALS, round(animal.every_days)}}
    power = {every: float(norm.cdf(less * value - norm.isf(alarm))) for every, value in sharp.items()}
    enough = next((every for every in INTERVALS if power[every] >= POWER), None)
    now = round(animal.every_days)
    smallest = (norm.isf(alarm) + norm.ppf(POWER)) / sharp[now] if sharp[now] > 0 else np.nan
    return (
        *known,
        pd.NA if enough is None else enough,
        100 * power[now],
        -percent_week(-smallest),
        100 * animal.noise,
        "" if enough is not None else "not even weighed every day would it show",
    )


def _sharp(animal: Animal, every: int, weeks: int, as_of: pd.Timestamp) -> float:
    """Return the sharpness for a change as of today, weighed so often for so many weeks after what is known now."""
    today = float((as_of - animal.came).days)
    past = np.empty(0) if animal.series is None else animal.series["day"].to_numpy()[-60:]
    time = np.concatenate([past[past <= today], today + np.arange(every, 7 * weeks + 1, every)])
    if len(time) < 2:
        return 0.0
    known = animal.usual or animal.any
    model = Model(
        noise=animal.noise,
        usual=known.gain if known else 0.0,
        usual_sd=known.spread if known else -LOSS,
        needed=0.0,
        stopped=(LOSS,),
        wander=animal.walk,
    )
    return sharpness(time, today, model, own_slope_known=False)
