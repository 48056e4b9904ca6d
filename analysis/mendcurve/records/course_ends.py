"""Doses outside their course: before its first, after it was stopped, more than were planned."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.likely import likely_day
from mendcurve.records.review import Review, looked_up, worded


def check_doses(review: Review) -> None:
    """Doubt doses given before their course began or after it ended; none is changed.

    Notes
    -----
    Days, not hours, are compared. Doses refused or missed do not count towards those planned.
    """
    frame = review.tables["doses"]
    if not len(frame):
        return
    courses = review.tables["courses"].drop_duplicates("course_id").set_index("course_id")
    day = frame["given_at"].dt.floor("D")
    first, stopped, row = (
        looked_up(frame["course_id"], courses[name]) for name in ("first_dose_at", "stopped_at", "source_row")
    )
    begun, ended = first.dt.floor("D"), stopped.dt.floor("D")
    early, late = day < begun, day > ended
    likely = likely_day(day, early | late, begun, ended)
    for bad, when, at in (
        (early, "on or after the first dose of {course}", begun),
        (late, "no later than the day {course} was stopped", ended),
    ):
        rule = worded(
            f"a dose should be given {when}, {{at}} (courses, row {{row}})",
            bad,
            course=frame["course_id"],
            at=at,
            row=row,
        )
        review.doubt("doses", bad, "given_at", rule, "Correct the date, or the course it belongs to.", likely)
    extra, planned = _beyond_plan(frame, courses["doses_planned"])
    extra = extra & ~early & ~late
    rule = worded(
        "{course} was planned for {planned} doses (courses, row {row}), and as many were given before this one",
        extra,
        course=frame["course_id"],
        planned=planned,
        row=row,
    )
    do = "Correct the doses planned, or the course it belongs to; a course that is repeated is a course of its own."
    review.doubt("doses", extra, "given_at", rule, do)


def _beyond_plan(frame: pd.DataFrame, plans: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Return which doses were given after all planned had been, and how many were planned."""
    planned = looked_up(frame["course_id"], plans)
    given = (frame["result"] == "given").astype("int64")
    order = frame.sort_values(["given_at", "source_row"], kind="stable").index
    number = given.loc[order].groupby(frame["course_id"].loc[order]).cumsum().reindex(frame.index)
    return ((number > planned) & (given == 1)).fillna(False).astype(bool), planned
