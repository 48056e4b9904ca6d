"""Who is in care: by day and zone, today against places, intake by month, requests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from pandas.api.typing import NaTType

from mendcurve.methods.occupancy import census as count_by_day
from mendcurve.methods.occupancy import leaving
from mendcurve.questions.answer import Answer
from mendcurve.questions.capacity_house import TOTAL, Setup, setup
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.wording import count, day, listing, percent, were, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period
from mendcurve.timelines.places import places_on, spells, zone_order
from mendcurve.timelines.stays import stays


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown(Answer):
    """A frame with its sentence and notes."""

    frame: pd.DataFrame
    says: str
    remarks: tuple[str, ...] = ()
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the frame, units and title in ``attrs``."""
        return self.frame

    def sentence(self) -> str:
        """Return the answer in one sentence."""
        return self.says

    def notes(self) -> tuple[str, ...]:
        """Return what was left out, and why."""
        return self.remarks


def titled(frame: pd.DataFrame, title: str, **units: str) -> pd.DataFrame:
    """Return the frame with its title and the units of its columns in ``attrs``."""
    frame.attrs["title"] = title
    frame.attrs["units"] = units
    return frame


def census(records: Records, moved: pd.DataFrame | None = None) -> Shown:
    """Count animals and places taken, by zone, at the end of every day since the records start.

    Parameters
    ----------
    records : Records
    moved : DataFrame, optional
        ``timelines.places.spells(records)``, where it is at hand.
    """
    moved = spells(records) if moved is None else moved
    zones = zone_order(records, moved["zone"])
    first = records.records_start
    days = max((records.as_of - first).days + 1, 1)
    dates = pd.date_range(first, periods=days, unit="s")
    animals, taken = (daily(moved, zones, first, days, what) for what in ("animals", "places"))
    held = places_by_day(records, zones, dates)
    names = [*zones, TOTAL] if len(zones) > 1 else list(zones)
    frame = pd.DataFrame(
        {
            "zone": np.repeat(names, days),
            "day": np.tile(dates.to_numpy(), len(names)),
            "animals": animals[: len(names)].ravel(),
            "places_taken": taken[: len(names)].ravel(),
            "places": np.concatenate([held, np.full((1, days), np.nan)])[: len(names)].ravel(),
        }
    )
    title = "Census by zone and day"
    frame = titled(frame, title, animals="animals", places_taken="places", places="places")
    here = int(animals[-1, -1]) if zones else 0
    mean = float(animals[-1].mean()) if zones else 0.0
    return Shown(
        frame=frame,
        says=f"On {day(records.as_of)}, {count(here, 'animal')} {were(here)} in care; since {day(first)} "
        f"there were {mean:.{0 if mean >= 10 else 1}f} on an average day.",
        remarks=(
            "Counted at the end of the day: in on the day of intake, out on the day of outcome. A group that shares "
            "a place takes one place.",
            *_lost(records, moved),
        ),
    )


def daily(
    moved: pd.DataFrame, zones: tuple[str, ...], first: pd.Timestamp, days: int, what: str = "places"
) -> np.ndarray:
    """Return the census, shape (zones + 1, days) from ``first`` on; the last row is the total."""
    code = moved["zone"].map({z: i for i, z in enumerate(zones)})
    start, end = ((moved[c] - first) / pd.Timedelta(days=1) for c in ("from_date", "to_date"))
    by_zone = count_by_day(start, end, days, weight=moved[what], group=code, groups=max(len(zones), 1))
    return np.concatenate([by_zone, by_zone.sum(axis=0, keepdims=True)])


def places_by_day(records: Records, zones: tuple[str, ...], dates: pd.DatetimeIndex) -> np.ndarray:
    """Return the places of each zone on each day, shape (zones, days); nan: no number, or takes no place."""
    out = np.full((len(zones), len(dates)), np.nan)
    for change in sorted({dates[0], *records["housing"]["from_date"].dropna()}):
        known = places_on(records, change).reindex(list(zones)).astype("float64").to_numpy()
        out[:, dates >= change] = known[:, None]
    return out


def _lost(records: Records, moved: pd.DataFrame) -> tuple[str, ...]:
    lost = int(moved.loc[moved["next"] == "lost track of", "animals"].sum())
    return (
        (f"{count(lost, 'animal')} lost track of {were(lost)} taken to have left at the last record.",) if lost else ()
    )


def today(records: Records) -> Shown:
    """Count those in care today by zone against places, and when the next place falls free.

    Notes
    -----
    "Next free": the first day by which, with a chance of at least 80 %, one of those in the zone today will have left
    it; from the zone's past, not from any one animal.
    """
    made = setup(records, weeks=1)
    now = made.spells[made.spells["to_date"].isna()]
    by_zone = now.groupby("zone")[["animals", "places"]].sum().reindex(list(made.zones)).fillna(0).astype("int64")
    held = pd.Series(made.places, dtype="float64").reindex(list(made.zones))
    frame = pd.DataFrame(
        {
            "zone": list(made.zones),
            "animals": by_zone["animals"].to_numpy(),
            "places_taken": by_zone["places"].to_numpy(),
            "places": held.to_numpy(),
            "free": (held - by_zone["places"]).to_numpy(),
            "next_free_by": [_next_free(made, i) for i in range(len(made.zones))],
        }
    )
    frame = titled(
        frame,
        f"In care on {day(records.as_of)}",
        animals="animals",
        places_taken="places",
        places="places",
        free="places",
    )
    if not records.has("outcomes"):
        return Shown(frame=told_of(records, frame), says=without_outcomes("who is in care today"), outcomes=False)
    return Shown(frame=frame, says=_today_says(frame, records.as_of), remarks=_today_notes(frame, made.notes))


def _next_free(made: Setup, zone: int) -> pd.Timestamp | NaTType:
    there = made.house.to_zone[made.house.zone] == zone
    if not there.any():
        return pd.NaT
    stay, _ = leaving(made.house.kernel, made.house.zone[there], made.house.age[there], 91)
    none_left = stay.prod(axis=1).mean(axis=0)
    soon = np.flatnonzero(none_left <= 0.2)
    return made.as_of + pd.Timedelta(days=int(soon[0]) + 1) if soon.size else pd.NaT


def _today_says(frame: pd.DataFrame, as_of: pd.Timestamp) -> str:
    total = int(frame["animals"].sum())
    known = frame[frame["places"].notna()]
    start = f"On {day(as_of)}, {count(total, 'animal')} {were(total)} in care"
    if known.empty:
        return f"{start}; the number of places is not recorded."
    full = known.loc[known["free"] <= 0, "zone"].tolist()
    taken, held = int(known["places_taken"].sum()), int(known["places"].sum())
    end = f"{listing(full)} {'is' if len(full) == 1 else 'are'} full" if full else "no zone is full"
    return (
        f"{start}; {taken} of {count(held, 'place')} were taken ({percent(taken / held) if held else '–'}), and {end}."
    )


def _today_notes(frame: pd.DataFrame, notes: tuple[str, ...]) -> tuple[str, ...]:
    none = frame.loc[frame["places"].isna(), "zone"].tolist()
    kept = tuple(n for n in notes if "permanent" in n or "lost track" in n or "follows from" in n)
    more = (f"No number of places is recorded for {listing(none)}, or it takes none.",) if none else ()
    return (
        "Next free: the first day by which, with a chance of at least 80 %, one of those there will have left; blank: "
        "not within 13 weeks.",
        *more,
        *kept,
    )


def flow(records: Records) -> Shown:
    """Count intake by month: events, stays and animals, each against the same month a year before."""
    everyone = stays(records)
    new = everyone[everyone["is_intake"] & (everyone["intake_date"] >= records.records_start)]
    months = pd.period_range(records.records_start, records.as_of, freq="M")
    month = new["intake_date"].dt.to_period("M")
    event = new["arrival_id"].astype(object).where(new["arrival_id"].notna(), new["stay_id"])
    frame = pd.DataFrame(
        {
            "month": months.to_timestamp(),
            "events": event.groupby(month).nunique().reindex(months, fill_value=0).to_numpy(),
            "animals": new["animals"].groupby(month).sum().reindex(months, fill_value=0).to_numpy(),
        }
    )
    before = frame["animals"].shift(12).astype("float64")
    frame["year_before"] = before
    end = months[-1].end_time.normalize()
    frame["whole_month"] = (frame["month"] >= records.records_start) & (
        frame.index < len(frame) - (records.as_of < end)
    )
    frame = titled(frame, "Intake by month", events="events", animals="animals", year_before="animals")
    whole = frame[frame["whole_month"]]
    if whole.empty:
        came = count(int(frame["animals"].sum()), "animal")
        says = f"{came} came in since {day(records.records_start)}; there is no whole month yet."
    else:
        most = whole.iloc[int(whole["animals"].to_numpy().argmax())]
        says = (
            f"In {count(len(whole), 'whole month')}, {count(int(whole['animals'].sum()), 'animal')} came in, "
            f"{whole['animals'].mean():.0f} a month on average; the most, {int(most['animals'])}, came in "
            f"{most['month']:%B %Y}."
        )
    return Shown(frame=frame, says=says, remarks=("Animals split from a group already here are no new intake.",))


def requests(records: Records, period: Period | None = None) -> Shown:
    """Count requests to take animals, by the answer given."""
    columns = ["answer", "requests", "animals"]
    if not records.has("requests"):
        frame = titled(
            pd.DataFrame(
                {
                    "answer": pd.Series(dtype="str"),
                    "requests": pd.Series(dtype="int64"),
                    "animals": pd.Series(dtype="int64"),
                }
            ),
            "Requests by answer",
            animals="animals",
        )
        return Shown(
            frame=frame,
            says="Requests turned away are not recorded.",
            remarks=("Animals that were refused are in no intake table: a census cannot show them.",),
        )
    table = records["requests"]
    table = table[table["asked_on"] <= records.as_of]
    when = f"Since {day(records.records_start)}"
    if period is not None:
        table = table[period.contains(table["asked_on"])]
        when = f"From {day(period.start)} to {day(period.end)}"
    table = table.assign(animals=table["animals"].fillna(1).astype("int64"))
    frame = table.groupby("answer").agg(requests=("animals", "size"), animals=("animals", "sum")).reset_index()[columns]
    frame = titled(
        frame.sort_values("animals", ascending=False, ignore_index=True), "Requests by answer", animals="animals"
    )
    total, away = int(frame["animals"].sum()), int(frame.loc[frame["answer"] == "no room", "animals"].sum())
    return Shown(
        frame=frame,
        says=f"{when} we were asked to take {count(total, 'animal')}; for {away} of them there was no room.",
        remarks=("An animal asked about twice counts twice.",),
    )
