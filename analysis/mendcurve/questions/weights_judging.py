"""The state of one animal's weight, and the evidence for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.methods.trend import Slope, least_squares
from mendcurve.methods.trend_scan import FEWEST, draw_in
from mendcurve.questions.weights_around import around
from mendcurve.questions.weights_budget import POWER, SHOWN, TOO_LITTLE, Seen
from mendcurve.questions.weights_data import percent_week
from mendcurve.questions.weights_drops import long_loss
from mendcurve.questions.weights_states import (
    GAINING,
    GROUP,
    HOLDING,
    LOSING,
    OVERDUE,
    STALLED,
    TOO_FEW,
    Animal,
    needed_gain,
)
from mendcurve.questions.wording import count, day, listing
from mendcurve.records import Records

MISSING = (
    "slope_percent_week",
    "low",
    "high",
    "detectable_percent_week",
    "found_percent",
    "stop_found_percent",
    "drop_percent",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """One row of the screen and, where the animal is listed, its path."""

    row: dict[str, Any]
    path: pd.DataFrame | None


def judge(animal: Animal, seen: Seen | None, alarm: float, drop: str, records: Records) -> Judged:
    """Return the animal's state, in the order of ``STATES``, and its evidence."""
    needed, _ = needed_gain(animal, records.as_of)
    since = animal.since(records.as_of)
    row = _start(animal, since, needed)
    if animal.group:
        return _said(row, GROUP, "weighed as a group: single animals cannot be followed")
    if animal.overdue(records.as_of, float(records.settings["watch.overdue_factor"])):
        what = f"not weighed for {count(since, 'day')}" if pd.notna(animal.last_on) else "never weighed since intake"
        return _said(row, OVERDUE, f"{what}, though due every {count(animal.every_days, 'day')}")
    if seen is None or animal.series is None:
        n = 0 if animal.series is None else len(animal.series)
        why = (
            f"{count(n, 'usable weighing')} since the last step, at least {FEWEST} are needed"
            if n < FEWEST
            else "too few weighings in these records to know the noise of a reading"
        )
        return _said(row, TOO_FEW, why)
    row |= _power(seen, alarm)
    alarmed = seen.chance <= alarm
    long = "" if alarmed else _long_words(animal, float(records.settings["watch.drop_percent"]))
    if alarmed:
        return _listed_by_scan(animal, seen, row, [drop, _needs(seen)], records)
    if drop or long:
        return _listed_by_rule(animal, row, drop, [long, _needs(seen)])
    shown = animal.series[animal.series["day"] >= animal.series["day"].iloc[-1] - SHOWN]
    line = _line(animal, animal.series.tail(max(len(shown), FEWEST)))
    row |= _slope(line.estimate, line.low, line.high) | {"circumstances": _circumstances(shown)}
    return _not_listed(animal, seen, row, line, alarm)


def _not_listed(animal: Animal, seen: Seen, row: dict[str, Any], line: Slope, alarm: float) -> Judged:
    power = seen.power(alarm)
    what = "stop of gain" if seen.needed > 0 else "loss of 1 % a week"
    if power < TOO_LITTLE:
        return _said(
            row,
            TOO_FEW,
            f"at best they would show a {what} begun {SHOWN // 7} weeks ago in {100 * power:.0f} cases of 100",
        )
    if seen.needed > 0:
        if seen.may_have_stopped():
            return _said(row, TOO_FEW, f"its weighings fit a stop of gain as well as a gain; {seen.source}")
        slow = "; too slow for the date" if line.high < seen.needed else ""
        return _said(row, GAINING, f"gains {percent_week(line.estimate):.1f} % a week{slow}; {seen.source}")
    if animal.at_target:
        return _said(row, HOLDING, f"the last weighings are at or above {animal.target_g:,.0f} g and show no loss")
    if line.low > 0:
        return _said(row, GAINING, f"gains {percent_week(line.estimate):.1f} % a week; {seen.source}")
    if power >= POWER:
        return _said(row, HOLDING, f"steady, no loss to be seen; {seen.source}")
    return _said(row, TOO_FEW, f"its weighings fit no gain as well as some; {seen.source}")


def _power(seen: Seen, alarm: float) -> dict[str, Any]:
    less = seen.detectable(alarm)
    return {
        "detectable_percent_week": percent_week(less * seen.now),
        "found_percent": 100 * seen.found(alarm, less),
        "stop_found_percent": 100 * seen.stops_found(alarm),
    }


def _listed_by_scan(animal: Animal, seen: Seen, row: dict[str, Any], words: list[str], records: Records) -> Judged:
    assert animal.series is not None
    found = seen.look.since(animal.series["log_g"].to_numpy())
    onset, first, last = (seen.day(t) for t in (found.likely, found.first, found.last))
    # A slope at the first pace becomes one a day at the pace since the onset.
    pace = (seen.look.time[-1] - found.likely) / (animal.series["day"].iloc[-1] - onset)
    low, mid, high = (pace * v for v in (found.low, found.estimate, found.high))
    losing = seen.needed <= 0 or high < 0
    on, first_on, last_on = (animal.came + pd.Timedelta(days=round(d)) for d in (onset, first, last))
    shown = animal.series[animal.series["day"] >= onset]
    row |= _slope(mid, low, high) | {
        "circumstances": _circumstances(shown),
        "since": on,
        "since_first": first_on,
        "since_last": last_on,
        "around": around(records, animal.stay_id, first_on, last_on),
    }
    what = "loses weight" if losing else "no gain to be seen"
    said = f"{what} since about {day(on)} (some day from {day(first_on)} to {day(last_on)})"
    row |= {"state": LOSING if losing else STALLED, "listed": True, "why": "; ".join(w for w in [said, *words] if w)}
    return _drawn(animal, row, onset, mid)


def _listed_by_rule(animal: Animal, row: dict[str, Any], drop: str, words: list[str]) -> Judged:
    assert animal.series is not None
    onset = _onset(animal.series, bool(drop))
    shown = animal.series.tail(max(int((animal.series["day"] >= onset).sum()), FEWEST))
    line = _line(animal, shown)
    row |= _slope(line.estimate, line.low, line.high) | {
        "circumstances": _circumstances(shown),
        "since": animal.came + pd.Timedelta(days=round(onset)),
        "state": LOSING,
        "listed": True,
        "why": "; ".join(w for w in [drop, *words] if w),
    }
    return _drawn(animal, row, onset, line.estimate)


def _slope(estimate: float, low: float, high: float) -> dict[str, Any]:
    return {"slope_percent_week": percent_week(estimate), "low": percent_week(low), "high": percent_week(high)}


def _needs(seen: Seen) -> str:
    return f"needed {percent_week(seen.needed):.1f} % a week, {seen.source}" if seen.needed > 0 else seen.source


def _start(animal: Animal, since: int, needed: float) -> dict[str, Any]:
    known = animal.series is not None
    return {
        "stay_id": animal.stay_id,
        "animal_id": animal.animal_id,
        "species": animal.species,
        "listed": False,
        "last_weighed_on": animal.last_on,
        "days_since": since if pd.notna(animal.last_on) else pd.NA,
        "weight_g": float(animal.series["weight_g"].iloc[-1]) if known and animal.series is not None else np.nan,
        "target_g": animal.target_g,
        **dict.fromkeys(MISSING, np.nan),
        "needed_percent_week": percent_week(needed),
        **dict.fromkeys(("since", "since_first", "since_last"), pd.NaT),
        "circumstances": "",
        "around": "",
        "weighings": len(animal.series) if animal.series is not None else 0,
    }


def _said(row: dict[str, Any], state: str, why: str) -> Judged:
    return Judged(row={**row, "state": state, "why": why}, path=None)


def _drawn(animal: Animal, row: dict[str, Any], onset: float, slope: float) -> Judged:
    """Return the row with the weighings, the line of ``slope`` through those since the onset, and the needed one."""
    assert animal.series is not None
    path = animal.series[["stay_id", "weighed_on", "day", "weight_g", "in_course", "brumating", "gravid"]].copy()
    after, lapse = path["day"] >= onset, path["day"] - onset
    level = float((np.log(path["weight_g"]) - slope * lapse)[after].mean())
    needed = np.log1p(row["needed_percent_week"] / 100) / 7
    path["fitted_g"] = np.exp(level + slope * lapse).where(after)
    path["needed_g"] = np.exp(level + needed * lapse).where(after)
    path["state"], path["species"] = row["state"], animal.species
    path["since"], path["since_first"], path["since_last"] = row["since"], row["since_first"], row["since_last"]
    return Judged(row=row, path=path)


def _onset(series: pd.DataFrame, drop: bool) -> float:
    """Return from where to show an animal that the scan did not list: since its highest of 8 weeks, or all."""
    recent = series[series["day"] >= series["day"].iloc[-1] - SHOWN]
    return float(recent["day"].loc[recent["log_g"].idxmax()] if drop else series["day"].iloc[0])


def _line(animal: Animal, shown: pd.DataFrame) -> Slope:
    assert animal.series is not None
    whole = animal.series
    held = draw_in(whole["day"].to_numpy(), whole["log_g"].to_numpy()[None, :], animal.noise)[0]
    return least_squares(shown["day"], held[-len(shown) :], noise=animal.noise)


def _long_words(animal: Animal, limit: float) -> str:
    """Say so where the line through all weighings since the last step has surely fallen by the limit of a drop."""
    assert animal.series is not None
    own = animal.series
    sure, fall = long_loss(own["day"].to_numpy(), own["log_g"].to_numpy()[None, :], animal.noise, limit)
    if not sure[0]:
        return ""
    since = day(own["weighed_on"].iloc[0])
    return f"down by {100 * -np.expm1(fall[0]):.0f} % over {count(len(own), 'weighing')} since {since}"


def _circumstances(shown: pd.DataFrame) -> str:
    words = [
        ("in a treatment course", shown["in_course"]),
        ("brumating", shown["brumating"]),
        ("gravid", shown["gravid"]),
        ("shed", shown["circumstance"].str.contains("shed")),
    ]
    return listing([word for word, flags in words if flags.any()])
