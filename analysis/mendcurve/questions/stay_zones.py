"""Which zones a stay passes through: the share of animals in each by day since intake, and the days spent in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from mendcurve.methods.multistate import Occupation, Spells, occupation
from mendcurve.methods.tally import Tally, last_day_with
from mendcurve.questions.answer import Answer
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.spans import sentence_case
from mendcurve.questions.stay_length import observed
from mendcurve.questions.wording import between, count, day, listing, were, without_outcomes
from mendcurve.records.records import Records
from mendcurve.records.settings import Settings
from mendcurve.timelines.parts import SPLIT_OFF
from mendcurve.timelines.places import spells, zone_order, zones_known
from mendcurve.timelines.stays import IN_CARE, LOST, stays

HORIZON = 180
CONFIDENCE = 0.95
LEFT, KEPT = "left care", "kept for life"
GONE = ("live", "died", "missing", "not recorded")
COLUMNS = ("zone", "days", "days_low", "days_high", "animals", "assumed_days")
BY_DAY = ("zone", "day", "share", "low", "high")
DEFINITION = (
    "Days an animal is expected to spend in each zone from its intake up to the last day told, animals that have left "
    "counted with 0 days from then on (Aalen-Johansen over the zones; errors by animal, a group being one). A day "
    "belongs to the zone the animal was in at its end. Left care: every outcome, alive or not."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Zones(Answer):
    """Where animals are by day since intake.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: days expected in each zone, and out of care, up to ``horizon``, with limits; animals ever seen in
        it; assumed_days: animal-days placed there by the rescue's rules, not by a move on record.
    shares : DataFrame
        ``BY_DAY``: share of animals in each zone at the end of each day, with limits (proportion).
    horizon : int
        Last day told: 180, or the last day with enough animals still followed. Unit: days since intake.
    animals, clusters : int
        Under observation; of their own (a group, or an animal that came back, is one).
    residents, lost : int
        Animals kept for life from their first day, left out; animals lost track of, cut at their last record.
    recorded, enough : bool
        Whether zones are known at all; whether there are enough animals.
    """

    frame: pd.DataFrame
    shares: pd.DataFrame
    horizon: int
    animals: int
    clusters: int
    residents: int
    lost: int
    recorded: bool
    enough: bool
    as_of: pd.Timestamp
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each zone and for each way to be out of it."""
        return self.frame

    def by_day(self) -> pd.DataFrame:
        """Return the share in each zone by day since intake."""
        return self.shares

    def sentence(self) -> str:
        """Return the days expected in each zone."""
        if not self.outcomes:
            return without_outcomes("how many days animals spend in each zone")
        if not self.recorded:
            return "Which zone animals were in is not recorded, so the days in each cannot be told."
        who = f"Of {count(self.animals, 'animal')} in care up to {day(self.as_of)}"
        if not self.enough:
            return f"{who}: too few, or too few seen from their intake, to say how many days are spent in each zone."
        rows = self.frame[~self.frame["zone"].isin([LEFT, KEPT])]
        parts = [_said(row) for row in rows.to_dict("records")]
        return f"{who}, the first {self.horizon} days after intake hold on average {listing(parts)}."

    def notes(self) -> tuple[str, ...]:
        """Return the definition, what is by rule, and who was left out."""
        if not self.outcomes:
            return ()
        out = [DEFINITION]
        assumed = int(self.frame["assumed_days"].sum())
        if self.recorded and assumed:
            out.append(
                f"Of the animal-days under observation up to day {self.horizon}, {assumed:,} are placed in a zone by "
                "the rescue's rules: no move is recorded for them, so those days follow the rule, not the animal."
            )
        if self.enough and self.horizon < HORIZON:
            out.append(f"Told up to day {self.horizon}: later on too few animals are followed.")
        if self.residents:
            n = self.residents
            out.append(f"{sentence_case(count(n, 'animal'))} kept for life from the first day {were(n)} left out.")
        if self.lost:
            out.append(
                f"{sentence_case(count(self.lost, 'animal'))} {were(self.lost)} lost track of: cut at the last record."
            )
        return tuple(out)


def zones(records: Records) -> Zones:
    """Return the days expected in each zone up to 180 days after intake, and the share in each by day.

    Notes
    -----
    Observed from the later of intake and the records' start, in the zone the animal was then in. The last day told is
    the last with ``counts.at_risk`` stays still followed. A resident declared later on leaves the zones that day as
    "kept for life". Limits of days are symmetrical, cut at 0 and at the last day told.
    """
    every = stays(records)
    rows = observed(every)
    known = zones_known(records)
    steps = _steps(records, every, rows) if known else pd.DataFrame()
    horizon = _horizon(rows, records.settings) if len(steps) else 0
    clusters = int(rows["cluster"].nunique())
    fresh = int((rows["entry"] == -1).sum())
    enough = (
        horizon > 0
        and clusters >= int(records.settings["counts.animals"])
        and fresh >= int(records.settings["counts.at_risk"])
    )
    table, by_day = pd.DataFrame(columns=list(COLUMNS)), pd.DataFrame(columns=list(BY_DAY))
    if enough:
        names = _names(records, steps)
        found = occupation(
            _spells(steps, names, horizon), states=names, at=np.arange(horizon + 1), begin=0, horizon=horizon
        )
        table, by_day = _table(found, steps, horizon), _by_day(found)
    for_life = every["permanent"] & (every["permanent_from"] <= every["intake_date"])
    days = dict.fromkeys(("days", "days_low", "days_high"), "days")
    table.attrs.update(title="Days in each zone", definition=DEFINITION,
                       units={**days, "animals": "animals", "assumed_days": "animal-days"})  # fmt: skip
    shares = dict.fromkeys(("share", "low", "high"), "proportion")
    by_day.attrs.update(title="Share in each zone", units={"day": "days since intake", **shares})
    return Zones(
        outcomes=records.has("outcomes"), frame=told_of(records, table), shares=told_of(records, by_day),
        horizon=horizon, clusters=clusters,
        animals=int(rows.loc[rows["end"] != SPLIT_OFF, "animals"].sum()),
        residents=int(every.loc[for_life, "animals"].sum()),
        lost=int(rows.loc[rows["end"] == LOST, "animals"].sum()), recorded=known, enough=enough, as_of=records.as_of,
    )  # fmt: skip


def _horizon(rows: pd.DataFrame, settings: Settings) -> int:
    """Return the last day told; where nobody is cut off after the last with enough at risk, all 180."""
    if not len(rows):
        return 0
    gone = rows["end"].isin(GONE) | rows["permanent"]
    tally = Tally.from_arrays(rows["entry"].to_numpy(), rows["exit"].to_numpy(), gone.to_numpy("int64"))
    last = float(last_day_with(tally, int(settings["counts.at_risk"]))[0])
    if np.isnan(last):
        return 0
    cut = rows.loc[~gone & (rows["exit"] >= last), "exit"]
    return int(min(HORIZON, cut.min() if len(cut) else HORIZON))


def _steps(records: Records, every: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Return spells on the clock of their stay, within its days under observation.

    At risk on ``(entry, exit]``, in the zone from the end of day ``since``; ``next``: the next zone, ``LEFT``,
    ``KEPT``, or empty where cut off.
    """
    key = ["stay_id", "part"]
    place = spells(records, every)[[*key, "zone", "from_date", "to_date", "assumed", "next"]]
    of_stay = rows[[*key, "cluster", "animals", "clock_start", "entry", "exit", "permanent", "end"]]
    both = place.merge(of_stay, on=key)
    since = (both["from_date"] - both["clock_start"]).dt.days
    upto = (both["to_date"] - both["clock_start"]).dt.days.fillna(np.inf)
    first = ~both.duplicated(key)
    # a move on the last day followed counts, unless the stay ended on it
    goes_on = (both["end"] == IN_CARE) & ~both["permanent"]
    last = (upto > both["exit"]) | ((upto == both["exit"]) & ~goes_on)
    end = np.where(both["permanent"], KEPT, np.where(both["end"].isin(GONE), LEFT, ""))
    both = both.assign(
        since=since.clip(lower=both["entry"] + 1), entry=since.where(~first, since - 1).clip(lower=both["entry"]),
        exit=upto.clip(upper=both["exit"]), next=np.where(last, end, both["next"].to_numpy(dtype=object)),
    )  # fmt: skip
    return both[both["exit"] > both["entry"]].reset_index(drop=True)


def _names(records: Records, steps: pd.DataFrame) -> tuple[str, ...]:
    onward = steps["next"]
    other = onward[~onward.isin([KEPT, LEFT, ""])]
    met = pd.Series([*steps["zone"], *other], dtype="object")
    return (*zone_order(records, met), *(name for name in (KEPT, LEFT) if (onward == name).any()))


def _spells(steps: pd.DataFrame, names: tuple[str, ...], horizon: int) -> Spells:
    """Return the spells up to the horizon, for later ones tell nothing of it."""
    steps = steps[steps["entry"] < horizon]
    code = {name: i for i, name in enumerate(names)}
    to = steps["next"].map(code).fillna(-1).where(steps["exit"] <= horizon, -1)
    return Spells.of(
        steps["cluster"].to_numpy(dtype=object), steps["entry"], steps["exit"].clip(upper=horizon),
        steps["zone"].map(code), to, weight=steps["animals"],
    )  # fmt: skip


def _table(found: Occupation, steps: pd.DataFrame, horizon: int) -> pd.DataFrame:
    half = stats.norm.ppf(0.5 + CONFIDENCE / 2) * found.time_se
    within = steps["exit"].clip(upper=horizon) - steps["since"].clip(upper=horizon)
    assumed = (within * steps["animals"]).where(steps["assumed"], 0).groupby(steps["zone"]).sum()
    # animals split off go on, in the same zone, under the stay split from the group
    whole = steps[steps["end"] != SPLIT_OFF]
    seen = whole.drop_duplicates(["stay_id", "part", "zone"]).groupby("zone")["animals"].sum()
    ended = steps.groupby("next")["animals"].sum()
    animals = [int(seen.get(name, ended.get(name, 0))) for name in found.states]
    return pd.DataFrame({
        "zone": found.states, "days": found.time, "days_low": np.maximum(found.time - half, 0.0),
        "days_high": np.minimum(found.time + half, horizon), "animals": animals,
        "assumed_days": [int(assumed.get(name, 0)) for name in found.states],
    })  # fmt: skip


def _by_day(found: Occupation) -> pd.DataFrame:
    parts = [
        pd.DataFrame({"zone": name, "day": found.day, "share": found.share[i], "low": found.low[i],
                      "high": found.high[i]})
        for i, name in enumerate(found.states)
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _said(row: dict[Any, Any]) -> str:
    low, high = float(row["days_low"]), float(row["days_high"])
    places = 0 if high >= 10 else 1
    days = f"{float(row['days']):,.{places}f}"
    return f"{days} in {row['zone']} (95 % interval {between(low, high, decimals=places)})"
