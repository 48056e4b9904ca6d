"""Treatment: were doses given on time, and how many hours were covered; the other questions of treatment by name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.clusters import cluster_share
from mendcurve.questions.answer import Answer
from mendcurve.questions.spans import from_to, span
from mendcurve.questions.treatment_after import AfterCourse, after_course
from mendcurve.questions.treatment_courses import NO_COURSES, Courses, NextDoses, courses, next_doses
from mendcurve.questions.treatment_wait import VetWait, vet_wait
from mendcurve.questions.treatment_weight import WeightAfter, weight_after
from mendcurve.questions.wording import count, listing, percent, share_of, were
from mendcurve.records.records import Records
from mendcurve.timelines import courses as timeline
from mendcurve.timelines.period import Period

__all__ = [
    "AfterCourse",
    "Courses",
    "Doses",
    "NextDoses",
    "VetWait",
    "WeightAfter",
    "after_course",
    "courses",
    "doses",
    "next_doses",
    "vet_wait",
    "weight_after",
]

JUDGED = ("on time", "late", "missed", "refused")
_RULE = (
    "A dose is due h hours after the last one given; within h/4 it is on time, later it is late, and with nothing "
    "before due + h it was missed. Doses of one course hang together: intervals go by course."
)
_DOSE_UNITS = {
    "courses": "courses", "doses_due": "doses", "on_time": "doses", "late": "doses", "missed": "doses",
    "refused": "doses", "extra": "doses", "given_as_recorded": "doses", "no_record": "doses",
    "share_on_time": "proportion", "low": "proportion", "high": "proportion", "hours_covered": "hours",
    "hours_due": "hours",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Doses(Answer):
    """Doses due in a period: one row in all, and one for each condition and month."""

    frame: pd.DataFrame
    period: Period
    recorded: bool
    misses_recorded: bool
    strays: int
    unjudged: int

    def to_frame(self) -> pd.DataFrame:
        """Return ``by`` (all, condition, month), ``group``, counts by state, share on time, hours covered."""
        return self.frame

    def by_condition(self) -> pd.DataFrame:
        """Return the rows of conditions."""
        return _rows_of(self.frame, "condition", "Doses by condition")

    def by_month(self) -> pd.DataFrame:
        """Return the rows of months."""
        return _rows_of(self.frame, "month", "Doses by month")

    def sentence(self) -> str:
        """Return the share on time with its interval, what became of the rest, and the hours covered."""
        if not self.recorded:
            return NO_COURSES
        row = self.frame.iloc[0]
        if row["courses"] == 0:
            return f"No dose was due {from_to(self.period)}."
        if not self.misses_recorded:
            return (
                f"{count(row['given_as_recorded'], 'dose')} {were(row['given_as_recorded'])} given as recorded "
                f"{from_to(self.period)}, on {count(row['courses'], 'course')}; doses not given are not recorded, so "
                f"nothing is called missed or on time."
            )
        due, on_time = row["doses_due"], row["on_time"]
        if due == 0:
            return f"No dose whose time is up was due {from_to(self.period)}."
        rest = listing(
            [
                f"{count(row[s], 'dose')} {were(row[s])} {w}"
                for s, w in (("late", "late"), ("missed", "missed"), ("refused", "refused"))
                if row[s]
            ]
        )
        interval = share_of(on_time, due, row["low"], row["high"])
        tail = f"; {rest}" if rest else ""
        hours = percent(row["hours_covered"] / row["hours_due"])
        judged = row["courses"] - self.unjudged
        others = (
            f" On {count(self.unjudged, 'other course')} doses not given are not recorded, so nothing is called missed "
            f"or on time there: {count(row['given_as_recorded'], 'dose')} {were(row['given_as_recorded'])} given as "
            "recorded."
            if self.unjudged
            else ""
        )
        return (
            f"Of {count(due, 'dose')} due {from_to(self.period)} on {count(judged, 'course')}, {interval} "
            f"{were(on_time)} given on time{tail}. "
            f"{row['hours_covered']:,.0f} of {row['hours_due']:,.0f} hours under treatment ({hours}) were covered."
            f"{others}"
        )

    def notes(self) -> tuple[str, ...]:
        """Return the rule, extra doses, and records that name no course."""
        if not self.recorded:
            return ()
        notes = [_RULE]
        if not self.misses_recorded:
            notes.append(
                'The rescue has not said that doses not given are written down (setting "doses.misses_recorded").'
            )
        elif self.unjudged:
            notes.append(
                "Only courses with a dose written down as missed or refused are judged: the rescue has not said that "
                'doses not given are written down for all (setting "doses.misses_recorded").'
            )
        extra = int(self.frame["extra"].iloc[0])
        if extra:
            notes.append(f"{count(extra, 'record')} {were(extra)} of a dose when none was due: extra, in no share.")
        if self.strays:
            notes.append(
                f"{count(self.strays, 'dose')} of a course that is not in the records {were(self.strays)} left out."
            )
        return tuple(notes)


def doses(records: Records, period: Period | None = None) -> Doses:
    """Count the doses due in a period by what became of them.

    Parameters
    ----------
    records : Records
    period : Period

    Returns
    -------
    Doses

    Notes
    -----
    Counts are of doses due in the period whose time is up; extra doses by the day given. ``share_on_time`` is on time
    over on time + late + missed + refused, Wilson limits with both numbers divided by the design effect of courses.
    Where the rescue has not said that doses not given are written down, only courses with a dose written down as
    missed or refused are judged, and hours are of these courses.
    """
    period = span(records, period)
    rows = timeline.doses(records)
    when = rows["due_at"].where(rows["number"].notna(), rows["given_at"]).dt.floor("D")
    rows = rows.assign(month=when.dt.strftime("%Y-%m"), condition=rows["condition"].fillna("not recorded"))
    rows = rows[period.contains(when) & rows["state"].isin([*timeline.DECIDED, "extra"])]
    hours = timeline.hours(records, period.start, period.end)
    hours = hours[timeline.misses_recorded(records, hours["course_id"])]
    hours["condition"] = hours["condition"].fillna("not recorded")
    parts = [_counted(rows.assign(group="all doses"), hours.assign(group="all doses"), "all", ["all doses"])]
    parts.append(_counted(rows.assign(group=rows["condition"]), hours.assign(group=hours["condition"]), "condition"))
    parts.append(_counted(rows.assign(group=rows["month"]), None, "month"))
    frame = pd.concat(parts, ignore_index=True)
    due = rows.drop_duplicates("course_id")["course_id"]
    judged = timeline.misses_recorded(records, due)
    misses = bool(judged.any()) or bool(records.settings["doses.misses_recorded"])
    if not misses:
        blank = ["share_on_time", "low", "high", "hours_covered", "hours_due"]
        frame = frame.assign(**dict.fromkeys(blank, np.nan))
    frame.attrs.update(title="Doses due, and what became of them", units=_DOSE_UNITS, definition=_RULE)
    strays = int((~records["doses"]["course_id"].isin(records["courses"]["course_id"])).sum())
    return Doses(
        frame=frame,
        period=period,
        recorded=bool(len(records["courses"])),
        misses_recorded=misses,
        strays=strays,
        unjudged=int((~judged).sum()),
    )


def _counted(rows: pd.DataFrame, hours: pd.DataFrame | None, by: str, groups: list[str] | None = None) -> pd.DataFrame:
    groups = sorted(rows["group"].dropna().unique()) if groups is None else groups
    table = pd.crosstab(rows["group"], rows["state"]).reindex(
        index=groups, columns=[*timeline.DECIDED, "extra"], fill_value=0
    )
    table.columns = [c.replace(" ", "_") for c in table.columns]
    table = table.astype("int64").assign(courses=rows.groupby("group")["course_id"].nunique()).fillna({"courses": 0})
    table["doses_due"] = table[["on_time", "late", "missed", "refused"]].sum(axis=1)
    limits = [_limits(rows[(rows["group"] == g) & rows["state"].isin(JUDGED)]) for g in groups]
    table[["share_on_time", "low", "high"]] = np.array(limits, dtype=float).reshape(-1, 3)
    covered = hours.groupby("group")[["hours_covered", "hours_due"]].sum() if hours is not None else pd.DataFrame()
    table[["hours_covered", "hours_due"]] = covered.reindex(index=groups, columns=["hours_covered", "hours_due"])
    table.insert(0, "by", by)
    table = table.rename_axis("group").reset_index().astype({"courses": "int64", "group": "str", "by": "str"})
    return table[["by", "group", *_DOSE_UNITS]]


def _limits(rows: pd.DataFrame) -> tuple[float, float, float]:
    if not len(rows):
        return np.nan, np.nan, np.nan
    on_time = rows["state"].eq("on time").to_numpy(float)
    got = cluster_share(on_time, np.ones(len(rows)), rows["course_id"].to_numpy(object))
    return got.estimate, got.low, got.high


def _rows_of(frame: pd.DataFrame, by: str, title: str) -> pd.DataFrame:
    part = frame[frame["by"] == by].drop(columns="by").rename(columns={"group": by}).reset_index(drop=True)
    part.attrs = {**frame.attrs, "title": title}
    return part
