"""Where the days of a stay go: quarantine, treatment, waiting for a home, and within them waiting for the vet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import Told, told
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.wording import count, day, listing, percent, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.places import spells, zones_known
from mendcurve.timelines.stays import stays

WAITING = "waiting for a home"
VET = "of these, waiting for the vet"
COLUMNS = (
    "phase",
    "animals",
    "animal_days",
    "share",
    "median",
    "median_low",
    "median_high",
    "still_in_it",
    "assumed_days",
)
DEFINITION = (
    "Days under observation, in animal-days. A day belongs to the zone the animal was in at its end; an animal "
    "recorded as ready for a home is waiting for one in whatever zone. Median: the first day by which half had "
    "left the phase, those still in it included. An animal that became a permanent "
    "resident is followed up to that day. Waiting for the vet: from the day a condition was found to the "
    "day a vet saw it, or to its end; these days lie within the others."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Phases(Answer):
    """Animal-days by phase.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: animals that entered the phase; animal_days; share of all animal-days (proportion); median length
        of the phase with limits (days); still_in_it (animals); assumed_days: of them by the rescue's rules, not by a
        move on record.
    recorded : bool
        Whether any zone is recorded.
    """

    frame: pd.DataFrame
    as_of: pd.Timestamp
    recorded: bool
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each phase, then the wait for the vet."""
        return self.frame

    def sentence(self) -> str:
        """Return where the days went."""
        if not self.outcomes:
            return without_outcomes("how many days animals were in care")
        if not self.recorded:
            return "Where animals were during their stay is not recorded, so its phases cannot be told apart."
        rows = self.frame[(self.frame["phase"] != VET) & (self.frame["animal_days"] > 0)]
        if not len(rows):
            return f"Up to {day(self.as_of)} no animal was in care."
        rows = rows.sort_values("animal_days", ascending=False, kind="stable")
        first, *rest = [(percent(r["share"]), _during(r["phase"])) for r in rows.to_dict("records")]
        parts = listing([f"{first[0]} were spent {first[1]}", *(f"{share} {where}" for share, where in rest)])
        total = int(rows["animal_days"].sum())
        return f"Of {count(total, 'animal-day')} up to {day(self.as_of)}, {parts}."

    def notes(self) -> tuple[str, ...]:
        """Return the definition and how much is by rule."""
        if not self.outcomes:
            return ()
        zones = self.frame[self.frame["phase"] != VET]
        total, assumed = int(zones["animal_days"].sum()), int(zones["assumed_days"].sum())
        if not assumed:
            return (DEFINITION,)
        return (
            DEFINITION,
            f"{assumed:,} of {total:,} animal-days are placed by the rescue's rules: no move is recorded for them.",
        )


def phases(records: Records) -> Phases:
    """Return where the days of all stays went since the records start."""
    frame = stays(records)
    pieces = _pieces(records, frame)
    rows = [_row(str(name), some, records) for name, some in pieces.groupby("phase", sort=False)]
    table = pd.DataFrame(rows, columns=list(COLUMNS)).sort_values("animal_days", ascending=False, kind="stable")
    total = table["animal_days"].sum()
    wait = _waits(records, frame)
    if len(wait):
        table = pd.concat([table, pd.DataFrame([_row(VET, wait, records)])], ignore_index=True)
    table["share"] = table["animal_days"] / total if total else np.nan
    table = table.reset_index(drop=True).astype({"animal_days": "int64", "assumed_days": "int64", "animals": "int64"})
    units = {"animals": "animals", "still_in_it": "animals", "share": "proportion"}
    units |= dict.fromkeys(("animal_days", "assumed_days"), "animal-days")
    units |= dict.fromkeys(("median", "median_low", "median_high"), "days")
    table.attrs.update(title="Where the days go", definition=DEFINITION, units=units)
    recorded = zones_known(records) or records.has("periods")
    table = told_of(records, table)
    return Phases(frame=table, outcomes=records.has("outcomes"), as_of=records.as_of, recorded=recorded)


def _pieces(records: Records, frame: pd.DataFrame) -> pd.DataFrame:
    """Cut zone spells where an animal was ready for a home or became a resident; join pieces of one phase.

    ``open``: it goes on on the as-of date. ``cut``: it goes on, or the animal became a resident; how long the phase
    would have lasted is then not known.
    """
    names = {str(records.settings["zones.adoption"]): WAITING}
    far = records.as_of + pd.Timedelta(days=1)
    since = frame.drop_duplicates("stay_id").set_index("stay_id")["permanent_from"]
    zone = spells(records, frame)
    zone = zone.assign(upto=zone["to_date"].fillna(far), stops=look_up(zone["stay_id"], since).fillna(far))
    zone = zone.assign(upto=zone[["upto", "stops"]].min(axis=1), phase=zone["zone"].replace(names))
    begins, ends = (at.fillna(far) for at in _ready(records, zone["stay_id"], far))
    both = pd.concat(
        [
            zone.assign(upto=_earlier(zone["upto"], begins)),
            zone.assign(from_date=_later(zone["from_date"], begins), upto=_earlier(zone["upto"], ends), phase=WAITING),
            zone.assign(from_date=_later(zone["from_date"], ends)),
        ],
        ignore_index=True,
    )
    both = both[both["from_date"] < both["upto"]].sort_values(["stay_id", "part", "from_date"], kind="stable")
    key = ["stay_id", "part", "phase"]
    new = ~both[key].eq(both[key].shift()).all(axis=1)
    both = both.assign(run=new.cumsum(), assumed_to=_length(both, records) * both["animals"] * both["assumed"])
    out = both.groupby("run", sort=False).agg(
        stay_id=("stay_id", "first"), part=("part", "first"), cluster=("cluster", "first"), phase=("phase", "first"),
        animals=("animals", "first"),
        from_date=("from_date", "first"), upto=("upto", "last"), stops=("stops", "last"),
        assumed_days=("assumed_to", "sum"),
    )  # fmt: skip
    out["open"] = out["upto"] == far
    out["cut"] = out["open"] | (out["upto"] == out["stops"])
    return out.reset_index(drop=True)


def _earlier(one: pd.Series, other: pd.Series) -> pd.Series:
    return one.where(one <= other, other)


def _later(one: pd.Series, other: pd.Series) -> pd.Series:
    return one.where(one >= other, other)


def _length(rows: pd.DataFrame, records: Records) -> pd.Series:
    start = rows["from_date"].where(rows["from_date"] >= records.records_start, records.records_start)
    return (rows["upto"] - start).dt.days.clip(lower=0)


def _ready(records: Records, stay: pd.Series, far: pd.Timestamp) -> tuple[pd.Series, pd.Series]:
    """Return from when and up to which day (not counted) the animal was last ready for a home, on the index of stay."""
    table = records["periods"]
    table = table[(table["what"] == "ready for a home") & (table["from_date"] <= records.as_of)]
    last = table.sort_values("from_date", kind="stable").drop_duplicates("stay_id", keep="last").set_index("stay_id")
    ends = (last["to_date"] + pd.Timedelta(days=1)).fillna(far)
    return look_up(stay, last["from_date"]), look_up(stay, ends)


def _waits(records: Records, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the waits for the vet: one for each stay, from the first condition found unseen."""
    if not records.has("conditions", "vet_seen_on"):
        return pd.DataFrame()
    rows = episodes(records, frame)
    rows = rows[rows["used"] & ~rows["lifelong"] & ~rows["relapse"]]
    end = rows["vet_seen_on"].fillna(rows["end_date"])
    far = records.as_of + pd.Timedelta(days=1)
    rows = rows.assign(
        from_date=rows["found_on"], upto=end.fillna(far), open=end.isna(), cut=end.isna(), assumed_days=0
    )
    rows = rows.sort_values(["stay_id", "upto"], kind="stable").drop_duplicates(["stay_id", "part"])
    return rows[["stay_id", "part", "cluster", "animals", "from_date", "upto", "open", "cut", "assumed_days"]]


def _row(name: str, some: pd.DataFrame, records: Records) -> dict[str, object]:
    animal_days = int((_length(some, records) * some["animals"]).sum())
    last = (some["upto"] - some["from_date"]).dt.days - some["cut"].astype("int64")
    first = (records.records_start - some["from_date"]).dt.days.clip(lower=0)
    rows = pd.DataFrame({
        "entry": first - 1, "exit": last, "cause": (~some["cut"]).astype("int64"), "animals": some["animals"],
        "cluster": some["cluster"],
    })  # fmt: skip
    rows = rows[rows["exit"] > rows["entry"]]
    one: Told | None = next(told(rows, None, ("over",), records.settings), None)
    middle, low, high = (float("nan"),) * 3 if one is None else one.median_any()
    return {
        "phase": name, "animals": int(some.drop_duplicates(["stay_id", "part"])["animals"].sum()),
        "animal_days": animal_days,
        "median": middle, "median_low": low, "median_high": high,
        "still_in_it": int(some.loc[some["open"], "animals"].sum()), "assumed_days": int(some["assumed_days"].sum()),
    }  # fmt: skip


def _during(phase: str) -> str:
    return phase if phase == WAITING else f"in {phase}"
