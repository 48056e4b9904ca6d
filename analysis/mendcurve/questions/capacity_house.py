"""From records to what a forecast needs: who is where, how they move on, what comes in."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from mendcurve.methods import arrivals
from mendcurve.methods.occupancy import CENSORED, bootstrap_weights, kernel
from mendcurve.methods.occupancy_house import House
from mendcurve.methods.occupancy_law import WEEK, Stream
from mendcurve.questions.capacity_kinds import Kinds, inside, kinds
from mendcurve.questions.wording import count, listing
from mendcurve.records.records import Records
from mendcurve.timelines.places import LOST, SPLIT_OFF, places_on, spells, zone_order
from mendcurve.timelines.stays import stays

TOTAL = "all zones"
DRAWS = 100
# Rows of one day and type are one event only where two by chance are rare.
ONE_A_DAY = 0.5
# A year more than the season needs: older weeks say little about the next quarter.
MOST_WEEKS = 208
# Laws of a large house are wide, and its parameters well known: fewer draws do.
LARGE_CENSUS = 150


@dataclass(frozen=True, kw_only=True, eq=False)
class Setup:
    """A house made from records, with the words that belong to it.

    Attributes
    ----------
    zones : tuple of str
        Zones in order; the total comes last in results.
    house : House
    fixed : ndarray, shape (zones + 1,)
        Places held by permanent residents.
    places : dict of str to float
        Places by zone today; nan: none recorded, or takes no place.
    spells, stays : DataFrame
        Timelines the house was made from.
    treatment : str
        The treatment zone; where there is none, the first.
    weeks, events, large : int
        Weeks of intake used, events in them, large events among them.
    seasonal : bool
    notes : tuple of str
    """

    zones: tuple[str, ...]
    house: House
    fixed: np.ndarray
    places: dict[str, float]
    spells: pd.DataFrame = field(repr=False)
    stays: pd.DataFrame = field(repr=False)
    as_of: pd.Timestamp
    treatment: str
    weeks: int
    events: int
    large: int
    seasonal: bool
    notes: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Zones and, where there are several, the total."""
        return (*self.zones, TOTAL)


def setup(records: Records, *, weeks: int, draws: int | None = None, seed: int = 20_260) -> Setup:
    """Make the house a forecast starts from; the same records, draws and seed give the same house."""
    everyone = stays(records)
    moved = spells(records, everyone)
    zones = zone_order(records, moved["zone"])
    lasting = moved["permanent"]
    here = moved[moved["to_date"].isna() & ~lasting]
    if draws is None:
        draws = int(np.clip(DRAWS * LARGE_CENSUS / max(len(here), 1), 30, DRAWS))
    rng = np.random.default_rng(seed)
    start = _first_day(records)
    kind = kinds(records, moved, zones, start)
    moved = moved.assign(code=kind.code)
    used = _used_spells(moved[~lasting], records.as_of, start, kind)
    weight = bootstrap_weights(used["cluster"], draws, rng)
    states = max(len(kind.names), 1)
    moves_on = kernel(
        used["code"],
        used["entry"],
        used["exit"],
        used["goes_to"],
        zones=states,
        weights=weight,
        at_risk=int(records.settings["counts.at_risk"]),
    )
    incoming = _incoming(records, everyone, moved, start)
    streams, share, seasonal, large, n_weeks = _streams(records, incoming, start, weeks, draws, rng)
    house = House(
        kernel=moves_on,
        zone=kind.code[here.index].to_numpy("int64"),
        age=(records.as_of - here["from_date"]).dt.days.to_numpy("int64"),
        weight=here["places"].to_numpy("int64"),
        streams=streams,
        share=share,
        entry=_entry(incoming, states, draws, rng),
        belongs=kind.belongs(zones) if zones else None,
    )
    fixed = moved[moved["to_date"].isna() & lasting].groupby("zone")["places"].sum().reindex(list(zones)).fillna(0)
    known = places_on(records, records.as_of)
    return Setup(
        zones=zones,
        house=house,
        fixed=np.append(fixed.to_numpy("int64"), int(fixed.sum())),
        places={z: float(known.get(z, np.nan)) if pd.notna(known.get(z, np.nan)) else np.nan for z in zones},
        spells=moved,
        stays=everyone,
        as_of=records.as_of,
        treatment=next((z for z in (records.settings["zones.treatment"], *zones) if z in zones), ""),
        weeks=n_weeks,
        events=incoming["event"].nunique(),
        large=large,
        seasonal=seasonal,
        notes=_notes(everyone, moved, kind, n_weeks, seasonal, large, draws),
    )


def _first_day(records: Records) -> pd.Timestamp:
    return max(records.start_of("intakes"), records.start_of("outcomes"))


def _used_spells(moved: pd.DataFrame, as_of: pd.Timestamp, start: pd.Timestamp, kind: Kinds) -> pd.DataFrame:
    """Return the spells as seen from the records start: entry, exit and where to, in days since entering the zone."""
    states = len(kind.names)
    follows = moved.sort_values(["stay_id", "part", "from_date"], kind="stable").groupby(["stay_id", "part"])["code"]
    since = moved["from_date"]
    ended = moved["next"]
    exit_ = (moved["to_date"].fillna(as_of) - since).dt.days - (ended == SPLIT_OFF)
    entry = ((start - since).dt.days - 1).clip(lower=-1)
    censored = moved["to_date"].isna() | ended.isin([LOST, SPLIT_OFF])
    to = follows.shift(-1).reindex(moved.index).fillna(states).where(~censored, CENSORED)
    out = moved.assign(entry=entry, exit=exit_, goes_to=to.astype("int64"))
    out = out[(out["exit"] > out["entry"]) & ~((out["exit"] == 0) & out["goes_to"].between(0, states - 1))]
    lent = [out[(out["zone"] == kind.names[i][0]) & (out["code"] != i)].assign(code=i) for i in sorted(kind.borrows)]
    return pd.concat([out, *lent], ignore_index=True) if lent else out


def _incoming(records: Records, everyone: pd.DataFrame, moved: pd.DataFrame, start: pd.Timestamp) -> pd.DataFrame:
    """Return a row for each new intake since the start: date, event, places, animals and first zone."""
    new = everyone[everyone["is_intake"] & ~everyone["dead_on_arrival"] & (everyone["intake_date"] >= start)]
    row = new.groupby("stay_id", sort=False).agg(
        date=("intake_date", "first"),
        kind=("intake_type", "first"),
        arrival=("arrival_id", "first"),
        animals=("animals", "sum"),
    )
    first = moved[moved["from_date"] == moved.groupby("stay_id")["from_date"].transform("min")]
    row = row.join(first.groupby("stay_id").agg(code=("code", "first"), places=("places", "sum")))
    row["code"] = row["code"].ffill().bfill().fillna(0).astype("int64")
    row["places"] = row["places"].fillna(row["animals"]).astype("int64")
    days = max((records.as_of - start).days + 1, 1)
    rare = row["kind"].map(row["kind"].value_counts() / days) < ONE_A_DAY
    together = row["kind"].astype(str) + row["date"].dt.strftime(" %Y-%m-%d")
    alone = pd.Series(row.index.astype(str), index=row.index)
    row["event"] = row["arrival"].astype(object).where(row["arrival"].notna(), together.where(rare, alone))
    return row


def _streams(
    records: Records, row: pd.DataFrame, start: pd.Timestamp, weeks: int, draws: int, rng: np.random.Generator
) -> tuple[tuple[Stream, ...], np.ndarray, bool, int, int]:
    """Return the streams ahead, the share of each weekday, whether seasonal, the large events, the weeks used."""
    events = row.groupby("event", sort=False).agg(
        date=("date", "first"), animals=("animals", "sum"), places=("places", lambda p: tuple(sorted(p)))
    )
    back = (records.as_of - events["date"]).dt.days
    # A rescue in its first days is given one week, so far as it has gone.
    n_weeks = int(np.clip(((records.as_of - start).days + 1) // WEEK, 1, MOST_WEEKS))
    seen = back < n_weeks * WEEK
    large = events["animals"] >= int(records.settings["capacity.large_event"])
    usual = events[seen & ~large]
    counts = np.bincount(n_weeks - 1 - back[seen & ~large].to_numpy() // WEEK, minlength=n_weeks)
    fit = arrivals.weekly(counts, ahead=weeks, draws=draws, rng=rng)
    streams = []
    if len(usual):
        streams.append(_stream(fit.mean, fit.size, usual["places"], draws, rng))
    rare = events[seen & large]
    if len(rare):
        mean = arrivals.rare_rate(len(rare), n_weeks, ahead=weeks, draws=draws, rng=rng)
        streams.append(_stream(mean, np.full(draws, np.inf), rare["places"], draws, rng))
    # Day 0 of a week ahead is tomorrow: a past day falls on the same weekday as day (-1 - days back) mod 7.
    share = arrivals.day_shares(np.bincount((-1 - usual.index.map(back).to_numpy("int64")) % WEEK, minlength=WEEK))
    return tuple(streams), share, fit.seasonal, len(rare), n_weeks


def _stream(mean: np.ndarray, size: np.ndarray, batches: pd.Series, draws: int, rng: np.random.Generator) -> Stream:
    times = batches.value_counts(sort=False)
    return Stream(
        mean=mean,
        size=size,
        batches=tuple(times.index),
        chance=arrivals.batch_chances(times.to_numpy(), draws=draws, rng=rng),
    )


def _entry(row: pd.DataFrame, states: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    times = np.bincount(row["code"].to_numpy("int64"), minlength=states)
    out = np.zeros((draws, times.size))
    if not times.sum():
        out[:, 0] = 1.0
        return out
    out[:, times > 0] = arrivals.batch_chances(times[times > 0], draws=draws, rng=rng)
    return out


def _notes(
    everyone: pd.DataFrame, moved: pd.DataFrame, kind: Kinds, weeks: int, seasonal: bool, large: int, draws: int
) -> tuple[str, ...]:
    lost = int(everyone.loc[everyone["end"] == LOST, "animals"].sum())
    lasting = int(moved.loc[moved["to_date"].isna() & moved["permanent"], "animals"].sum())
    assumed = int(moved["assumed"].sum())
    notes = [
        f"Intake of {count(weeks, 'week')}; "
        + (
            "season and damped trend fitted, both shrunk to flat."
            if seasonal
            else "a steady rate, because a season needs two years of records."
        ),
        "Animals move independently of each other: full zones turn no one away and hold no one back.",
        f"Laws are exact given the parameters and mixed over {draws} parameter draws.",
    ]
    own = [f"{name} {inside(zone)}" for zone, name in kind.names if name]
    if own:
        notes.append(f"Days in a zone are estimated apart for {listing(own)}; for the rest of each zone together.")
    if large:
        notes.append(f"{count(large, 'large intake event')} ({listing(['kept apart', 'as rare as they were'])}).")
    if lasting:
        notes.append(
            f"{count(lasting, 'permanent resident')} never {'leaves' if lasting == 1 else 'leave'} and "
            f"{'is' if lasting == 1 else 'are'} counted apart."
        )
    if lost:
        notes.append(f"{count(lost, 'animal')} lost track of {'is' if lost == 1 else 'are'} not counted as in care.")
    if assumed:
        notes.append(
            f"The zone follows from the rescue's rules, not from a move, in {assumed:,} of {len(moved):,} spells."
        )
    return tuple(notes)
