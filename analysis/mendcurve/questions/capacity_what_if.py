"""What would change if recovery were faster, stays shorter, places more, intake less, or many came at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from mendcurve.methods.occupancy_changes import faster, shorter
from mendcurve.methods.occupancy_house import House, mean_census
from mendcurve.questions.answer import Answer
from mendcurve.questions.capacity_census import titled
from mendcurve.questions.capacity_forecast import NOT_ASKED, shown, walk
from mendcurve.questions.capacity_house import Setup, setup
from mendcurve.questions.capacity_places import first_enough
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.wording import count, without_outcomes
from mendcurve.records.records import Records

AS_NOW = "as now"
LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scenario:
    """One change: of the house, of the intake, of the places, or many animals at once."""

    name: str
    change: Callable[[House], House] = lambda house: house
    thin: float = 0.0
    seizure: int = 0
    more_places: dict[str, int] | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class WhatIf(Answer):
    """Scenarios side by side; ``frame`` has a row for each scenario and zone."""

    frame: pd.DataFrame
    weeks: int
    remarks: tuple[str, ...]
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return a row for each scenario and zone."""
        return self.frame

    def sentence(self) -> str:
        """Return the change that takes most places off the mean census."""
        if not self.outcomes:
            return without_outcomes("what a change would do to the places taken")
        last = self.frame[(self.frame["scenario"] != AS_NOW) & (self.frame["zone"] == self.frame["zone"].iloc[-1])]
        if last.empty or last["difference"].min() >= 0:
            return f"None of the changes looked at would free places in the next {count(self.weeks, 'week')}."
        best = last.loc[last["difference"].idxmin()]
        return (
            f"If nothing else changed, {best['scenario']} would free most: on average {-best['difference']:.1f} places "
            f"over the next {count(self.weeks, 'week')} ({-best['high']:.1f} to {-best['low']:.1f}, 95 % interval)."
        )

    def notes(self) -> tuple[str, ...]:
        """Return the assumptions."""
        return self.remarks if self.outcomes else ()


def what_if(
    records: Records,
    weeks: int = 13,
    *,
    scenarios: tuple[Scenario, ...] | None = None,
    draws: int | None = None,
    seed: int = 20_260,
) -> WhatIf:
    """Compare scenarios with the forecast as now, if nothing else changed.

    Parameters
    ----------
    scenarios : tuple of Scenario, optional
        Default: :func:`usual`.

    Notes
    -----
    All scenarios use the same parameter draws and the same luck for each animal and event, so that differences are
    those of the scenarios. The mean census is exact given the parameters (its interval: between parameter draws, 95 %);
    days over and places needed come from paths.
    """
    made = setup(records, weeks=weeks, draws=draws, seed=seed)
    ahead = 7 * weeks
    chosen = usual(made) if scenarios is None else scenarios
    confidence = float(records.settings["capacity.confidence"])
    base: list[_Measured] = []
    rows: list[dict[str, object]] = []
    for scenario in (Scenario(name=AS_NOW), *chosen):
        house = scenario.change(made.house)
        walked, _ = walk(replace(made, house=house), ahead, seed, thin=scenario.thin, seizure=scenario.seizure)
        exact = _mean(house, scenario, ahead)
        for i, zone in shown(made):
            path = (walked.sum(axis=1) if i == len(made.zones) else walked[:, i]) + made.fixed[i]
            mean = (exact.sum(axis=1) if i == len(made.zones) else exact[:, i]).mean(axis=1) + made.fixed[i]
            held = made.places.get(zone, np.nan) + (scenario.more_places or {}).get(zone, 0)
            base.append(_measured(zone, mean, path, held, confidence))
            rows.append(_row(scenario.name, zone, base[-1], base[len(rows) % len(shown(made))]))
    frame = titled(
        pd.DataFrame(rows),
        "If nothing else changed",
        places="places",
        mean="places",
        difference="places",
        low="places",
        high="places",
        days_over="days",
        days_over_change="days",
        needed="places",
    )
    more = () if records.has("requests") else (NOT_ASKED,)
    return WhatIf(
        outcomes=records.has("outcomes"),
        frame=told_of(records, frame),
        weeks=weeks,
        remarks=(
            f"Difference: mean places taken over the next {count(weeks, 'week')}, less as now, with its 95 % interval "
            "between parameter draws. Days over: expected days with more than the places needed.",
            "Animals were not assigned to faster or slower care at random: what made past stays shorter need not make "
            "new ones so.",
            *made.notes,
            *more,
        ),
    )


def usual(made: Setup) -> tuple[Scenario, ...]:
    """Return the scenarios of the planning report, for the zones the rescue has."""
    code = {z: i for i, z in enumerate(made.zones)}
    out = []
    for percent in (10, 20) if made.zones else ():
        name = f"leaving {made.treatment} {percent} % faster"
        out.append(Scenario(name=name, change=_changed(faster, percent / 100, zone=code[made.treatment])))
    taken = np.bincount(made.house.to_zone[made.house.zone], minlength=len(made.zones))
    lasting = [z for i, z in enumerate(made.zones[:3]) if taken[i]]
    out += [Scenario(name=f"7 days shorter in {z}", change=_changed(shorter, 7, zone=code[z])) for z in lasting]
    out += [Scenario(name=f"5 more places in {z}", more_places={z: 5}) for z in _tightest(made)]
    return (
        *out,
        Scenario(name="20 % less intake", thin=0.2),
        Scenario(name="a seizure of 30 animals tomorrow", seizure=30),
    )


def _changed(how: Callable, *given: float, zone: int) -> Callable[[House], House]:
    def change(house: House) -> House:
        kernel = house.kernel
        for kind in np.flatnonzero(house.to_zone == zone):
            kernel = how(kernel, *given, zone=int(kind))
        return replace(house, kernel=kernel)

    return change


def _tightest(made: Setup) -> list[str]:
    taken = (
        np.bincount(made.house.to_zone[made.house.zone], made.house.weight, minlength=len(made.zones))
        + made.fixed[: len(made.zones)]
    )
    use = {
        z: taken[i] / made.places[z]
        for i, z in enumerate(made.zones)
        if made.places[z] > 0 and taken[i] > made.fixed[i]
    }
    return [max(use, key=use.__getitem__)] if use else []


def _mean(house: House, scenario: Scenario, ahead: int) -> np.ndarray:
    """Return the exact mean census, shape (draws, zones, days), with intake thinned and a seizure added."""
    if scenario.thin:
        house = replace(house, streams=tuple(replace(s, mean=s.mean * (1 - scenario.thin)) for s in house.streams))
    mean = mean_census(house, ahead)
    if scenario.seizure:
        from mendcurve.methods.occupancy_house import where

        mean = mean + scenario.seizure * where(house, ahead)[1].transpose(0, 2, 1)
    return mean


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    mean: np.ndarray
    places: float
    days_over: float
    needed: int


def _measured(zone: str, mean: np.ndarray, path: np.ndarray, held: float, confidence: float) -> _Measured:
    share = np.bincount(path.astype("int64").ravel()).cumsum() / path.size
    over = np.nan if np.isnan(held) else float((path > held).sum(axis=1).mean())
    return _Measured(mean, held, over, first_enough(share, confidence))


def _row(name: str, zone: str, now: _Measured, base: _Measured) -> dict[str, object]:
    apart = now.mean - base.mean
    low, high = np.quantile(apart, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return {
        "scenario": name,
        "zone": zone,
        "places": now.places,
        "mean": float(now.mean.mean()),
        "difference": float(apart.mean()),
        "low": float(low),
        "high": float(high),
        "days_over": now.days_over,
        "days_over_change": now.days_over - base.days_over,
        "needed": now.needed,
        "needed_change": now.needed - base.needed,
    }
