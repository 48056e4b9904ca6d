"""The next quarter by zone: how many will be here, and how likely the places are not to be enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.occupancy_house import Laws, laws, paths
from mendcurve.methods.scores import law_quantile
from mendcurve.questions.answer import Answer
from mendcurve.questions.capacity_census import census, titled
from mendcurve.questions.capacity_house import TOTAL, Setup, setup
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.wording import between, count, day, percent, without_outcomes
from mendcurve.records.records import Records

LEVELS = (0.5, 0.8, 0.95)
PATHS = 2000
# Rows on all paths together: bounds time and memory for a large house.
MOST_ROWS = 3_000_000
PAST_WEEKS = 26
NOT_ASKED = "Requests turned away are not recorded: days over the places are given, not animals refused."


@dataclass(frozen=True, kw_only=True, eq=False)
class Forecast(Answer):
    """Fan of the census ahead.

    Attributes
    ----------
    frame : DataFrame
        One row a zone and day ahead: mean, median, low and high of the central 50, 80 and 95 %, places, chance over.
    zones : DataFrame
        One row a zone: places, share of days over, chance of at least one day over, first day it is likelier than not.
    past : DataFrame
        Census of the last 26 weeks.
    """

    frame: pd.DataFrame
    zones: pd.DataFrame
    past: pd.DataFrame
    weeks: int
    as_of: pd.Timestamp
    remarks: tuple[str, ...]
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the fan: one row a zone and day."""
        return self.frame

    def zones_frame(self) -> pd.DataFrame:
        """Return one row a zone."""
        return self.zones

    def past_frame(self) -> pd.DataFrame:
        """Return the census of the weeks before, by zone and day."""
        return self.past

    def sentence(self) -> str:
        """Return where the census is heading and which zone is likeliest to lack places."""
        if not self.outcomes:
            return without_outcomes("how many animals will be here")
        last = self.frame[self.frame["day"] == self.frame["day"].max()].iloc[-1]
        start = (
            f"In {count(self.weeks, 'week')}, on {day(last['day'])}, we expect about "
            f"{count(last['mean'], 'place')} taken, {between(last['low80'], last['high80'])} with a chance of 80 %"
        )
        known = self.zones[self.zones["places"].notna()]
        if known.empty:
            return f"{start}; the number of places is not recorded."
        worst = known.iloc[int(known["any_day_over"].to_numpy().argmax())]
        return (
            f"{start}; the zone likeliest to run short is {worst['zone']}, with more than its "
            f"{count(worst['places'], 'place')} needed on {percent(worst['share_of_days_over'])} of days and a chance "
            f"of {percent(worst['any_day_over'])} of at least one such day."
        )

    def notes(self) -> tuple[str, ...]:
        """Return the assumptions."""
        return self.remarks


def forecast(records: Records, weeks: int = 13, *, draws: int | None = None, seed: int = 20_260) -> Forecast:
    """Forecast the census of each zone, and of all together, day by day.

    Parameters
    ----------
    records : Records
    weeks : int
        Weeks ahead.
    draws : int, optional
        Parameter draws. Default: 100, fewer for a large house.
    seed : int

    Notes
    -----
    Counts are places: a group that shares one takes one. The law of a day is exact given the parameters (each animal
    here stays or goes by its zone's hazards; new ones come in weekly negative binomial events) and is mixed over
    parameter draws. The chance of at least one day over the places comes from simulated paths. The total has a law of
    its own: zone quantiles do not add.
    """
    made = setup(records, weeks=weeks, draws=draws, seed=seed)
    ahead = 7 * weeks
    found = laws(made.house, ahead)
    walked, n = walk(made, ahead, seed)
    dates = pd.date_range(made.as_of + pd.Timedelta(days=1), periods=ahead, unit="s")
    rows, zones = [], []
    for i, zone in shown(made):
        held = made.places.get(zone, np.nan)
        rows.append(_fan(zone, found.law[i], made.fixed[i], held, dates))
        path = (walked.sum(axis=1) if zone == TOTAL else walked[:, i]) + made.fixed[i]
        zones.append(_zone(zone, rows[-1], path, held))
    units = {c: "places" for c in rows[0].columns if c not in ("zone", "day", "over")} | {"over": "chance, 0-1"}
    frame = titled(pd.concat(rows, ignore_index=True), f"Census forecast, {weeks} weeks by day", **units)
    per_zone = titled(
        pd.DataFrame(zones),
        f"The next {weeks} weeks by zone",
        places="places",
        mean="places",
        share_of_days_over="share of days",
        any_day_over="chance, 0-1",
        worst_day_over="chance, 0-1",
        short_by="places",
    )
    past = census(records, made.spells).to_frame()
    past = past[past["day"] > made.as_of - pd.Timedelta(weeks=PAST_WEEKS)].reset_index(drop=True)
    kept = records.has("outcomes")
    frame, per_zone, past = (told_of(records, one) for one in (frame, per_zone, past))
    remarks = _remarks(records, made, found, n) if kept else ()
    return Forecast(
        frame=frame, zones=per_zone, past=past, weeks=weeks, as_of=made.as_of, remarks=remarks, outcomes=kept
    )


def shown(made: Setup) -> list[tuple[int, str]]:
    """Return the zones to show with their place in the laws; the total last, where there are several zones."""
    zones = list(enumerate(made.zones))
    return [*zones, (len(zones), TOTAL)] if len(zones) != 1 else zones


def walk(made: Setup, ahead: int, seed: int, **more: float) -> tuple[np.ndarray, int]:
    """Simulate paths, fewer in a large house; return them and their number."""
    come = sum(float(s.mean.sum(axis=1).mean()) * np.mean([len(b) for b in s.batches]) for s in made.house.streams)
    n = int(np.clip(MOST_ROWS / max(made.house.zone.size + come, 1), 200, PATHS))
    return paths(made.house, ahead, n, seed, **more), n  # type: ignore[arg-type]


def _fan(zone: str, law: np.ndarray, fixed: int, held: float, dates: pd.DatetimeIndex) -> pd.DataFrame:
    counts = np.arange(law.shape[1]) + fixed
    out: dict[str, object] = {
        "zone": zone,
        "day": dates,
        "mean": law @ counts,
        "median": law_quantile(law, 0.5) + fixed,
    }
    for level in LEVELS:
        name = f"{100 * level:.0f}"
        out[f"low{name}"] = law_quantile(law, (1 - level) / 2) + fixed
        out[f"high{name}"] = law_quantile(law, (1 + level) / 2) + fixed
    out["places"] = held
    out["over"] = np.nan if np.isnan(held) else law[:, counts > held].sum(axis=1)
    return pd.DataFrame(out)


def _zone(zone: str, fan: pd.DataFrame, path: np.ndarray, held: float) -> dict[str, object]:
    over = fan["over"].to_numpy()
    none = np.isnan(held)
    return {
        "zone": zone,
        "places": held,
        "mean": float(fan["mean"].mean()),
        "share_of_days_over": np.nan if none else float(over.mean()),
        "any_day_over": np.nan if none else float((path > held).any(axis=1).mean()),
        "worst_day_over": np.nan if none else float(over.max()),
        "worst_day": pd.NaT if none or over.max() <= 0 else fan["day"].iloc[int(over.argmax())],
        "short_by": np.nan if none else float(np.maximum(path - held, 0).max(axis=1).mean()),
    }


def _remarks(records: Records, made: Setup, found: Laws, n: int) -> tuple[str, ...]:
    error = max(float(e.max()) for e in found.error)
    chance = 0.5 / np.sqrt(n)
    more = () if records.has("requests") else (NOT_ASKED,)
    return (
        *made.notes,
        f"Monte Carlo error of a daily chance: at most {100 * error:.1f} percentage points (standard error); "
        f"of a chance of at least one day, from {n:,} paths: at most {100 * chance:.1f}.",
        *more,
        "Forecasts rest on the past of one rescue; leave room for what has not happened before.",
    )
