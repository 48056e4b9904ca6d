"""The seven states of an animal's weight, and the evidence for the one it is in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.methods.trend import Slope, detectable, least_squares
from mendcurve.methods.trend_scan import FEWEST, Model, draw_in, scan
from mendcurve.questions.weights_data import Usual, percent_week
from mendcurve.questions.wording import count, day, listing
from mendcurve.records import Records

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
# Weighings from which a loss over all of them is told of.
LONG = 12
# Days looked back on for the slope that is shown.
SHOWN = 56


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

    @property
    def can_be_screened(self) -> bool:
        """Whether there are weighings enough, and a noise to hold them against."""
        return not self.group and self.series is not None and len(self.series) >= FEWEST and self.noise > 0

    @property
    def at_target(self) -> bool:
        """Whether the last weighing, or the mean of the last three, is at or above the target."""
        if self.series is None or not self.target_g > 0:
            return False
        last = self.series["log_g"].tail(3)
        return max(float(last.mean()), float(last.iloc[-1])) >= float(np.log(self.target_g))


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """One row of the screen and, where the animal is listed, its path."""

    row: dict[str, Any]
    path: pd.DataFrame | None


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
            animal.usual.gain / 2,
            f"half the usual gain of animals like it below target ({animal.usual.of}, {animal.usual.animals} animals)",
        )
    return 0.0, "what is usual for animals like it cannot be told: watched for loss only"


def model_of(animal: Animal, needed: float) -> Model:
    """Return what the scan holds the animal against."""
    if needed > 0:
        known = animal.usual or animal.any
        gain = max(known.gain, needed) if known else needed
        stopped: tuple[float, ...] = (0.0,)
    else:
        known, gain, stopped = animal.any, 0.0, (LOSS, SLOW_LOSS)
    spread = known.spread if known else abs(LOSS)
    if known and needed <= 0:  # it may have gained before, or not: both are well
        spread = float(np.hypot(known.gain, known.spread))
    return Model(
        noise=animal.noise,
        usual=gain,
        usual_sd=spread,
        needed=needed,
        stopped=stopped,
        tail=animal.tail,
        wander=known.wander if known else 0.0,
    )


def judge(animal: Animal, alarm: float, drop: str, records: Records) -> Judged:
    """Return the animal's state, in the order of ``STATES``, and its evidence."""
    since = (records.as_of - (animal.last_on if pd.notna(animal.last_on) else animal.came)).days
    needed, source = needed_gain(animal, records.as_of)
    row = _start(animal, since, needed)
    if animal.group:
        return _said(row, GROUP, "weighed as a group: single animals cannot be followed")
    if since > float(records.settings["watch.overdue_factor"]) * animal.every_days:
        what = f"not weighed for {count(since, 'day')}" if pd.notna(animal.last_on) else "never weighed since intake"
        return _said(row, OVERDUE, f"{what}, though due every {count(animal.every_days, 'day')}")
    if not animal.can_be_screened or animal.series is None:
        n = 0 if animal.series is None else len(animal.series)
        why = (
            f"{count(n, 'usable weighing')} since the last step, at least {FEWEST} are needed"
            if n < FEWEST
            else "too few weighings in these records to know the noise of a reading"
        )
        return _said(row, TOO_FEW, why)
    found = scan(animal.series["day"], animal.series["log_g"], model_of(animal, needed))
    alarmed = found.chance <= alarm and found.statistic > 0
    long = "" if alarmed else _long_loss(animal, float(records.settings["watch.drop_percent"]))
    onset = found.onset if alarmed else _onset(animal.series, bool(long), bool(drop))
    shown = animal.series.tail(max(int((animal.series["day"] >= onset).sum()), 3))
    line = _line(animal, shown)
    row |= {
        "slope_percent_week": percent_week(line.estimate),
        "low": percent_week(line.low),
        "high": percent_week(line.high),
        "detectable_percent_week": percent_week(detectable(shown["day"], animal.noise, alarm=alarm)),
        "circumstances": _circumstances(shown),
    }
    if alarmed or drop or long:
        losing = not alarmed or needed <= 0 or line.high < 0
        about = f"about {day(animal.came + pd.Timedelta(days=round(onset)))}"
        said = [f"{'loses weight' if losing else 'no gain to be seen'} since {about}"] if alarmed else []
        words = [*said, drop, long, f"needed {percent_week(needed):.1f} % a week, {source}" if needed > 0 else source]
        row |= {"state": LOSING if losing else STALLED, "listed": True, "why": "; ".join(w for w in words if w)}
        return _listed(animal, row, onset, line, needed)
    if animal.at_target:
        return _said(row, HOLDING, f"the last weighings are at or above {animal.target_g:,.0f} g and show no loss")
    if needed <= 0 and row["detectable_percent_week"] <= -percent_week(LOSS) and line.low <= 0:
        return _said(row, HOLDING, f"steady, no loss to be seen; {source}")
    if line.low > 0:
        return _said(row, GAINING, f"gains {percent_week(line.estimate):.1f} % a week; {source}")
    return _said(row, TOO_FEW, f"its weighings fit no gain as well as some; {source}")


def _start(animal: Animal, since: int, needed: float) -> dict[str, Any]:
    known = animal.series is not None
    nothing = dict.fromkeys(("slope_percent_week", "low", "high", "detectable_percent_week", "drop_percent"), np.nan)
    return {
        "stay_id": animal.stay_id,
        "animal_id": animal.animal_id,
        "species": animal.species,
        "listed": False,
        "last_weighed_on": animal.last_on,
        "days_since": since if pd.notna(animal.last_on) else pd.NA,
        "weight_g": float(animal.series["weight_g"].iloc[-1]) if known and animal.series is not None else np.nan,
        "target_g": animal.target_g,
        **nothing,
        "needed_percent_week": percent_week(needed),
        "since": pd.NaT,
        "circumstances": "",
        "weighings": len(animal.series) if animal.series is not None else 0,
    }


def _said(row: dict[str, Any], state: str, why: str) -> Judged:
    return Judged(row={**row, "state": state, "why": why}, path=None)


def _listed(animal: Animal, row: dict[str, Any], onset: float, line: Slope, needed: float) -> Judged:
    assert animal.series is not None
    since = animal.came + pd.Timedelta(days=round(onset))
    path = animal.series[["stay_id", "weighed_on", "day", "weight_g", "in_course", "brumating", "gravid"]].copy()
    after = path["day"] >= onset
    at = np.exp(line.intercept + line.estimate * path["day"])
    level = float(np.exp(line.intercept + line.estimate * onset))
    path["fitted_g"] = at.where(after)
    path["needed_g"] = (level * np.exp(needed * (path["day"] - onset))).where(after)
    path["state"], path["species"], path["since"] = row["state"], animal.species, since
    return Judged(row={**row, "since": since}, path=path)


def _onset(series: pd.DataFrame, long: bool, drop: bool) -> float:
    """Return from where to show an animal that the scan did not list: all, since its highest weight, or 8 weeks."""
    recent = series[series["day"] >= series["day"].iloc[-1] - SHOWN]
    if long:
        return float(series["day"].iloc[0])
    return float(recent["day"].loc[recent["log_g"].idxmax()] if drop else recent["day"].iloc[0])


def _line(animal: Animal, shown: pd.DataFrame) -> Slope:
    assert animal.series is not None
    whole = animal.series
    held = draw_in(whole["day"].to_numpy(), whole["log_g"].to_numpy()[None, :], animal.noise)[0]
    return least_squares(shown["day"], held[-len(shown) :], noise=animal.noise)


def _long_loss(animal: Animal, limit: float) -> str:
    """Say so where the line through all weighings since the last step has surely fallen by the limit of a drop."""
    assert animal.series is not None
    if len(animal.series) < LONG:
        return ""
    line = least_squares(animal.series["day"], animal.series["log_g"], noise=animal.noise)
    span = float(np.ptp(animal.series["day"]))
    if 100 * -np.expm1(line.high * span) < limit:
        return ""
    fall, since = 100 * -np.expm1(line.estimate * span), day(animal.series["weighed_on"].iloc[0])
    return f"down by {fall:.0f} % over {count(len(animal.series), 'weighing')} since {since}"


def _circumstances(shown: pd.DataFrame) -> str:
    words = [
        ("in a treatment course", shown["in_course"]),
        ("brumating", shown["brumating"]),
        ("gravid", shown["gravid"]),
        ("shed", shown["circumstance"].str.contains("shed")),
    ]
    return listing([word for word, flags in words if flags.any()])
