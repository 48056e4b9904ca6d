"""What the screen sees of each animal, and the level at which the rescue's budget of false alarms is used up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mendcurve.methods.trend_likelihood import sharpness
from mendcurve.methods.trend_scan import Look, Model
from mendcurve.questions.weights_drops import confirmed_drop, long_loss
from mendcurve.questions.weights_states import LOSS, SLOW_LOSS, Animal, needed_gain
from mendcurve.records import Records

# A stop is held to show, or not, when it began so many days ago (our choice: five and eight weeks).
SOON, SHOWN = 35, 56
# Power with which a change is called detectable; power below which weighings are too few; share of animals that
# stopped which may be called gaining.
POWER, TOO_LITTLE, MISCALLED = 0.8, 0.2, 0.05
MOST = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """One animal's weighings held against simulated ones that do well.

    Attributes
    ----------
    look : Look
        Its times are days at the first pace where a gain is needed.
    days : ndarray
        Days since intake of the same weighings.
    now : float
        Days at the first pace in a day, at the last weighing.
    ratio, chance : float
        Of its own weighings.
    needed : float
        Log grams a day.
    source : str
        Where the needed gain comes from.
    by_rule : ndarray, shape (draws,)
        Simulated series that a rule of drops or long loss would list, whatever the level.
    """

    look: Look
    days: NDArray[np.float64]
    now: float
    ratio: float
    chance: float
    needed: float
    source: str
    by_rule: NDArray[np.bool_]

    @property
    def stop(self) -> float:
        """Return the change of slope looked for: from the usual gain to none, or from none to a loss of 1 % a week."""
        model = self.look.model
        return model.usual if self.needed > 0 else -LOSS

    def began(self, days: float) -> float:
        """Return the time of the look so many days before the last weighing, or of the first if that is later."""
        return float(np.interp(self.days[-1] - days, self.days, self.look.time))

    def day(self, time: float) -> float:
        """Return the day since intake of a time of the look."""
        return float(np.interp(time, self.look.time, self.days))

    def sharp(self) -> float:
        """Return in how many standard errors a change of slope of 1, eight weeks ago, shows."""
        return sharpness(self.look.time, self.began(SHOWN), self.look.model)

    def power(self, alarm: float) -> float:
        """Return the power of the test that knows noise, gain and day, for a stop eight weeks ago."""
        return float(norm.cdf(self.stop * self.sharp() - norm.isf(alarm)))

    def detectable(self, alarm: float) -> float:
        """Return the fall of slope eight weeks ago (per time of the look) that the same test finds in 80 of 100."""
        return float((norm.isf(alarm) + norm.ppf(POWER)) / self.sharp())

    def found(self, alarm: float, less: float) -> float:
        """Return the share of falls by ``less`` (per time of the look), eight weeks ago, that this screen lists."""
        ratios = self.look.after_a_stop(self.look.time[-1] - self.began(SHOWN), less)
        return float((self.look.chance(ratios) <= alarm).mean())

    def stops_found(self, alarm: float) -> float:
        """Return the share of stops (or of losses of 1 % a week), eight weeks ago, that this screen lists."""
        ratios = self.look.stopped(self.look.time[-1] - self.began(SHOWN))
        return float((self.look.chance(ratios) <= alarm).mean())

    def may_have_stopped(self) -> bool:
        """Whether more than 5 in 100 animals that stopped five weeks ago would look as well as this one."""
        ratios = self.look.stopped(self.look.time[-1] - self.began(SOON))
        return bool((ratios <= self.ratio).mean() > MISCALLED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """At which chance an animal is listed; false alarms expected a week in all, and those that rules add."""

    alarm: float
    expected: float
    by_rules: float


def model_of(animal: Animal, needed: float) -> Model:
    """Return what the scan holds the animal against.

    Slopes are a day at the first pace, where a gain is needed; else a day. A gain asked for by a date, and beyond
    what is usual, is not held against it: gaining as usual is no stop.
    """
    if needed > 0:
        known = animal.usual or animal.any
        asked = needed / animal.now
        gain = known.first if known and known.first > 0 else asked
        enough = min(asked, gain)
        spread = known.first_spread if known else abs(LOSS)
        return Model(
            noise=animal.noise,
            usual=gain,
            usual_sd=spread,
            needed=enough,
            stopped=(0.0,),
            tail=animal.tail,
            wander=animal.walk,
        )
    known = animal.any
    gain = max(known.gain, 0.0) if known else 0.0
    return Model(
        noise=animal.noise,
        usual=gain,
        usual_sd=max(known.spread, gain) if known else abs(LOSS),
        needed=0.0,
        stopped=(LOSS, SLOW_LOSS),
        tail=animal.tail,
        wander=animal.walk,
        # It may have gained before and hold now, or not: both are well.
        goes_on=0.5,
        slowed=0.0,
    )


def see(animal: Animal, records: Records) -> Seen:
    """Hold the weighings of an animal that can be screened against simulated ones."""
    assert animal.series is not None
    needed, source = needed_gain(animal, records.as_of)
    every = animal.series["day"].to_numpy()
    look = Look(animal.pace.days(every) if needed > 0 else every, model_of(animal, needed))
    days = every[-len(look.time) :]
    ratio = look.ratio(animal.series["log_g"].to_numpy()[None, :])
    limit = float(records.settings["watch.drop_percent"])
    again, large = confirmed_drop(days, look.healthy, animal.noise, limit)
    long, _ = long_loss(days, look.healthy, animal.noise, limit)
    return Seen(
        look=look,
        days=days,
        now=animal.now if needed > 0 else 1.0,
        ratio=float(ratio[0]),
        chance=float(look.chance(ratio)[0]),
        needed=needed,
        source=source,
        by_rule=again | large | long,
    )


def level_for(seen: Mapping[str, Seen], budget: float) -> Level:
    """Return the level at which animals that do well give ``budget`` false alarms a week, those of rules among them.

    Notes
    -----
    Never more than half of the animals doing well are listed. Where the rules alone give more than the budget the
    level is that of a tenth of it, and what to expect says so.
    """
    if not seen:
        return Level(alarm=0.0, expected=0.0, by_rules=0.0)
    by_rules = float(sum(one.by_rule.mean() for one in seen.values()))
    free = np.sort(np.concatenate([np.where(one.by_rule, np.inf, one.look.ranks) for one in seen.values()]))
    draws = len(free) / len(seen)
    room = max(budget - by_rules, budget / 10) * draws
    alarm = min(float(free[max(min(int(room), len(free)) - 1, 0)]), MOST)
    return Level(alarm=alarm, expected=by_rules + float((free <= alarm).sum() / draws), by_rules=by_rules)


def lookable(animals: list[Animal], as_of: pd.Timestamp, factor: float) -> list[Animal]:
    """Return the animals that are screened: not a group, not overdue, weighings enough."""
    return [a for a in animals if a.can_be_screened and not a.overdue(as_of, factor)]
