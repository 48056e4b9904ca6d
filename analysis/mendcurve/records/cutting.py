"""Records as they were known on an earlier day: later facts gone, and what they closed open again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.links import PARENTS
from mendcurve.records.review import among

if TYPE_CHECKING:
    from mendcurve.records.records import Records


@dataclass(frozen=True, slots=True)
class Cut:
    """When a row of a table became known, and which later dates of it take which other columns with them."""

    known_on: str
    reopened: Mapping[str, tuple[str, ...]]


# Left alone: what was planned in advance and known before (due_at, by_date, starts_on, ends_on).
CUTS: dict[str, Cut] = {
    "intakes": Cut("intake_date", {}),
    "outcomes": Cut("outcome_date", {}),
    "conditions": Cut("found_on", {"vet_seen_on": (), "ended_on": ("ended_as",)}),
    "checks": Cut("checked_on", {}),
    "courses": Cut("first_dose_at", {"stopped_at": ("stop_reason",)}),
    "doses": Cut("given_at", {}),
    "weighings": Cut("weighed_on", {}),
    "targets": Cut("set_on", {}),
    "periods": Cut("from_date", {"to_date": ()}),
    "moves": Cut("moved_on", {}),
    "housing": Cut("from_date", {}),
    "requests": Cut("asked_on", {"answered_on": ()}),
    "followups": Cut("seen_on", {}),
    "spending": Cut("spent_on", {}),
    "grants": Cut("awarded_on", {}),
    "receipts": Cut("received_on", {}),
}


def cut_tables(tables: Mapping[str, pd.DataFrame], as_of: pd.Timestamp) -> dict[str, pd.DataFrame]:
    """Return the tables as known at the end of ``as_of``.

    A row whose stay, episode, course or grant was not known yet goes with it, though its own date be earlier.
    """
    out = {name: _cut(name, frame, as_of) for name, frame in tables.items()}
    for child, column, parent in PARENTS:
        if len(out[parent]) < len(tables[parent]):
            gone = set(tables[parent][column]) - set(out[parent][column])
            frame = out[child]
            out[child] = frame[~among(frame[column], gone)].reset_index(drop=True)
    return out


def _cut(name: str, frame: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    rule = CUTS[name]
    night = as_of + pd.Timedelta(days=1)
    keep = frame[rule.known_on] < night
    out = frame if keep.all() else frame[keep].reset_index(drop=True)
    for date, others in rule.reopened.items():
        later = out[date] >= night
        if later.any():
            out = out.assign(**{c: out[c].where(~later) for c in (date, *others)})
            if name == "requests":
                # The question was open; what was answered was not known.
                out = out.assign(answer=out["answer"].where(~later, "waiting"))
    return out


def cut(records: Records, as_of: str | pd.Timestamp) -> Records:
    """Return ``records`` as they were known at the end of ``as_of``.

    Raises
    ------
    InputError
        If ``as_of`` is after the records' own as-of date.
    """
    day = pd.Timestamp(as_of).normalize()
    if day > records.as_of:
        raise InputError(
            f"Records complete up to {records.as_of:%Y-%m-%d} cannot be cut at {day:%Y-%m-%d}.",
            remedy="Give an earlier day.",
        )
    return replace(
        records, tables=cut_tables(records.tables, day), as_of=day, records_start=min(records.records_start, day)
    )
