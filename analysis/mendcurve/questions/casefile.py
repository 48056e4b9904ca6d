"""One animal's path, from intake to home: zones, conditions, courses, doses, weights and milestones; no people."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.questions.answer import Answer
from mendcurve.questions.casefile_tracks import TRACKS, tracks
from mendcurve.questions.wording import count, day, listing, were
from mendcurve.records.records import Records
from mendcurve.timelines.stays import stays

COLUMNS = ("track", "from_day", "to_day", "what", "state", "value", "from_date", "to_date")
_CAME = {"surrendered": "surrendered by its keeper", "stray": "found as a stray", "transferred in": "transferred in",
         "confiscated": "confiscated", "returned": "returned", "born in care": "born in care"}  # fmt: skip
_WENT = {"adopted": "went to a new home", "returned to owner": "went back to its owner",
         "transferred out": "moved on to another rescue", "released": "was released", "died": "died",
         "euthanised": "was put to sleep", "euthanised at owner's request": "was put to sleep at its owner's request",
         "missing": "went missing", "lost track of": "has no later record", "in care": "is still in care"}  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Path(Answer):
    """One stay as tracks over days since intake; for outsiders only where its story may be told.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: one row for each spell in a zone, condition, course, dose, weighing and milestone. Days since
        intake; ``to_day`` is missing where it still lasts; ``value`` in grams for weighings and targets. Without dates
        if public.
    """

    frame: pd.DataFrame
    stay_id: str
    species: str
    public: bool
    may_be_told: bool
    asked_for: bool = True
    came: str = ""
    animals: int = 1
    days: int = 0
    end: str = ""
    other_stays: int = 0

    def to_frame(self) -> pd.DataFrame:
        """Return every track, in order."""
        return self.frame

    def track(self, name: str) -> pd.DataFrame:
        """Return one track: zone, condition, course, dose, weight, target or milestone."""
        return self.frame[self.frame["track"] == name].reset_index(drop=True)

    @property
    def ended(self) -> bool:
        """Whether the stay is over."""
        return self.end not in ("in care", "lost track of")

    def sentence(self) -> str:
        """Return the path in a few plain sentences."""
        if not self.may_be_told:
            if not self.asked_for:
                return "No story is told here: the records allow it of no animal."
            return "The story of this animal may not be told outside the rescue, so nothing of it is shown."
        who = f"this {self.species}" if self.animals == 1 else f"this group of {self.animals:,} ({self.species})"
        ill = self.track("condition")["what"].drop_duplicates().tolist()
        found = f" Found: {listing(ill)}." if ill else ""
        parts = [f"{who[0].upper()}{who[1:]} was {self.came}.{found}", self._treated(), self._weighed(), self._went()]
        return " ".join(part for part in parts if part)

    def notes(self) -> tuple[str, ...]:
        """Return what is not shown."""
        if not self.may_be_told:
            return ('A story may be told where the records say so (intakes, column "story_ok").',)
        notes = [
            "No person, place or note is shown." + (" Days are counted from intake; no dates." if self.public else "")
        ]
        if self.other_stays:
            notes.append(f"The animal has {count(self.other_stays, 'other stay')}, not shown here.")
        return tuple(notes)

    def _treated(self) -> str:
        doses, seen = self.track("dose"), self.track("milestone")
        vet = seen[seen["what"] == "seen by a vet"]
        first = f"A vet first saw it on day {vet['from_day'].iloc[0]}. " if len(vet) else ""
        n = len(self.track("course"))
        if not n:
            return first.strip()
        given = int(doses["state"].isin(["on time", "late", "extra", "given as recorded"]).sum())
        return f"{first}It was given {count(given, 'dose')} in {count(n, 'course')} of treatment."

    def _weighed(self) -> str:
        rows = self.track("weight")
        rows = rows[rows["state"] == "usable"]
        if len(rows) < 2:
            return ""
        first, last = rows["value"].iloc[0], rows["value"].iloc[-1]
        change = 100 * (last / first - 1)
        moved = f"{abs(change):.0f} % {'more' if change > 0 else 'less'}" if abs(change) >= 0.5 else "the same"
        decimals = 0 if min(first, last) >= 100 else 1
        start, end = rows["from_day"].iloc[0], rows["from_day"].iloc[-1]
        return f"It weighed {first:,.{decimals}f} g on day {start} and {last:,.{decimals}f} g on day {end}, {moved}."

    def _went(self) -> str:
        went = _WENT.get(self.end, f"left ({self.end})")
        on = f"on day {self.days}" if self.ended else f"on day {self.days}, the last one recorded"
        return f"{self._cleared()}It {went} {on}."

    def _cleared(self) -> str:
        ill = self.track("condition")
        clear = ill[ill["state"] == "cleared"]
        if not len(clear):
            return ""
        if len(clear) < len(ill):
            return f"Of its {len(ill)} conditions {len(clear)} {were(len(clear))} cleared. "
        last = "The last of its conditions" if len(ill) > 1 else "It"
        return f"{last} was cleared on day {clear['to_day'].max()}. "


def path(records: Records, one: str, public: bool = True) -> Path:
    """Return the path of one stay, or of the latest stay of an animal.

    Parameters
    ----------
    records : Records
    one : str
        A ``stay_id`` or an ``animal_id``; empty where there is no animal to tell of.
    public : bool
        For outsiders: only where ``story_ok`` is set, without dates; else an answer without data that says so.

    Raises
    ------
    InputError
        If no stay and no animal has this id; the nearest known is named.

    Notes
    -----
    Notes, people, rooms, medicines, reasons and amounts are never read here.
    """
    if not one:
        return Path(frame=_shaped(pd.DataFrame(), public), stay_id="", species="", public=public, may_be_told=False,
                    asked_for=False)  # fmt: skip
    every = stays(records)
    mine = every[every["stay_id"] == one]
    if not len(mine):
        mine = every[every["animal_id"] == one]
    if not len(mine):
        ids = [*every["stay_id"], *every["animal_id"].dropna()]
        raise InputError(f'No stay and no animal is called "{one}".', remedy=f"Give one id.{nearest(one, ids)}")
    latest = mine["stay_id"].iloc[-1]
    rows = mine[mine["stay_id"] == latest]
    row = rows.iloc[-1]
    if public and not bool(row["story_ok"]):
        return Path(frame=_shaped(pd.DataFrame(), True), stay_id="", species="", public=True, may_be_told=False)
    known = every["animal_id"].notna() & (every["animal_id"] == row["animal_id"])
    frame = _shaped(tracks(records, rows, every), public)
    return Path(
        frame=frame, stay_id=str(latest), species=str(row["species"]), public=public, may_be_told=True,
        came=_arrival(row, public), animals=int(rows["animals"].sum()), days=int(rows["days"].max()),
        end=str(row["outcome"]), other_stays=int(every.loc[known, "stay_id"].nunique() - 1) if known.any() else 0,
    )  # fmt: skip


def _arrival(row: pd.Series, public: bool) -> str:
    when = f"in {row['intake_date']:%B %Y}" if public else f"on {day(row['intake_date'])}"
    return f"{_CAME.get(str(row['intake_type']), 'taken in')} {when}"


def _shaped(frame: pd.DataFrame, public: bool) -> pd.DataFrame:
    columns = [c for c in COLUMNS if not (public and c.endswith("_date"))]
    frame = frame.reindex(columns=columns).astype({"from_day": "Int64", "to_day": "Int64", "value": "float64"})
    order = frame["track"].map({name: i for i, name in enumerate(TRACKS)})
    frame = (
        frame.assign(order=order)
        .sort_values(["order", "from_day"], kind="stable", ignore_index=True)
        .drop(columns="order")
    )
    frame.attrs.update(title="One animal's path", units={"from_day": "days since intake", "to_day": "days since intake",
                                                         "value": "g"})  # fmt: skip
    return frame
