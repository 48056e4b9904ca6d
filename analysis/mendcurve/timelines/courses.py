"""Treatment courses and their doses: what was due when, what became of it, and the hours covered."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines.dose_matching import (
    DAY,
    GIVEN,
    MISSED,
    NO_END,
    PENDING,
    REFUSED,
    STATES,
    Matched,
    Plans,
    covered,
    match,
)
from mendcurve.timelines.stays import LOST, stays

AS_RECORDED = "given as recorded"
NO_RECORD = "no record"
WHOLE = (*STATES, AS_RECORDED, NO_RECORD)
DECIDED = ("on time", "late", "missed", "refused", AS_RECORDED, NO_RECORD)
DOSE_COLUMNS = (
    "course_id",
    "episode_id",
    "stay_id",
    "cluster",
    "condition",
    "number",
    "due_at",
    "calendar_due_at",
    "given_at",
    "result",
    "state",
    "hours_off",
    "by_day",
    "has_time",
    "takes_effect_at",
)
COURSE_COLUMNS = (
    "course_id",
    "episode_id",
    "stay_id",
    "cluster",
    "species",
    "condition",
    "kind",
    "medicine",
    "route",
    "interval_hours",
    "planned",
    "first_dose_at",
    "stopped_at",
    "stop_reason",
    "left_on",
    "status",
    *(state.replace(" ", "_") for state in WHOLE),
    "given",
    "last_given_at",
    "next_due_at",
    "next_has_time",
    "hours_covered",
    "hours_due",
    "calendar_last_at",
    "calendar_covers_to",
)
_RESULTS = {"given": GIVEN, "refused": REFUSED, "missed": MISSED}
_FAR = 2**60


def doses(records: Records, frame: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return one row for each planned dose and for each record that answers none.

    Parameters
    ----------
    records : Records
    frame : DataFrame, optional
        ``stays(records)``, where it is at hand.

    Returns
    -------
    DataFrame, columns ``DOSE_COLUMNS``
        ``number`` is the dose of the course, from 1 (missing for a record that answers none); ``due_at`` h hours after
        the last one given; ``calendar_due_at`` on the fixed calendar. ``state`` is one of ``dose_matching.STATES``;
        ``hours_off`` is given minus due (hours; whole days where ``by_day``). By course: doses due = on time + late +
        missed + refused + not yet due.

    Notes
    -----
    The rules of matching are those of ``dose_matching.match``. A dose is judged missed when its time (due + h) ran out
    by the end of the as-of day, before the course was stopped and before the animal left; one that is due but whose
    time has not run out is not yet due. Records after the stop, or after the animal left, are extra. A stop without
    a time of day leaves that day's doses matched and none of them missed. Where misses are not recorded (see
    ``misses_recorded``) nothing is inferred: given doses are "given as recorded", a planned dose without a record is
    "no record". Doses of a course that is not in the records answer nothing and are left out here.

    Times are local and naive: across a change of the clocks an interval is off by an hour.
    """
    return _doses(records, _plans(records, frame))


def courses(records: Records, frame: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return one row for each course: how far it got, how many doses of each state, and the hours covered.

    Parameters
    ----------
    records : Records
    frame : DataFrame, optional
        ``stays(records)``, where it is at hand.

    Returns
    -------
    DataFrame, columns ``COURSE_COLUMNS``
        One count column for each state. ``hours_covered``: union of [given, given + h) within [first, end), end being
        the earliest of first + n h, end of the as-of day, the stop, the day the animal left; ``hours_due`` is the
        length of [first, end). ``status``: completed (every planned dose was given), past its end (time is up, not
        every dose given), stopped, left (the animal left first), running.
    """
    plan = _plans(records, frame)
    rows = _doses(records, plan)
    count = pd.crosstab(rows["course_id"], rows["state"]).reindex(
        index=plan["course_id"], columns=list(WHOLE), fill_value=0
    )
    count.columns = [state.replace(" ", "_") for state in WHOLE]
    out = plan.merge(count.reset_index(), on="course_id", how="left", validate="one_to_one")
    given = rows[(rows["result"] == "given") & rows["given_at"].notna()]
    by_course = given.groupby("course_id")["takes_effect_at"]
    ids = out["course_id"]
    out["given"] = by_course.size().reindex(ids, fill_value=0).to_numpy("int64")
    out["last_given_at"] = by_course.max().reindex(ids).to_numpy("datetime64[s]")
    out["status"] = _status(out)
    pending = rows[rows["state"] == STATES[PENDING]].drop_duplicates("course_id").set_index("course_id")
    pending = pending.reindex(ids).reset_index(drop=True)
    out["next_due_at"] = pending["due_at"].astype("datetime64[s]").where(out["status"] == "running")
    out["next_has_time"] = ~pending["by_day"].astype("boolean").fillna(True).astype(bool)
    out["hours_covered"], out["hours_due"] = _coverage(plan, given)
    step = pd.to_timedelta(out["interval_hours"].astype("float64") * 3600, unit="s").astype("timedelta64[s]")
    last = out["first_dose_at"] + step * (out["planned"].astype("float64") - 1)
    out["calendar_last_at"] = last.astype("datetime64[s]")
    out["calendar_covers_to"] = (last + step).astype("datetime64[s]")
    return out.reindex(columns=list(COURSE_COLUMNS))


def hours(records: Records, start: pd.Timestamp, end: pd.Timestamp, frame: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return ``hours_covered`` and ``hours_due`` of each course (see ``courses``) on the days of a period."""
    plan = _plans(records, frame)
    rows = _doses(records, plan)
    given = rows[(rows["result"] == "given") & rows["given_at"].notna()]
    inside, due = _coverage(plan, given, _seconds(start), _seconds(end) + DAY)
    return plan[["course_id", "condition", "cluster"]].assign(hours_covered=inside, hours_due=due)


def _plans(records: Records, frame: pd.DataFrame | None) -> pd.DataFrame:
    """Return the courses with their stay, and how far they are matched and judged (``_matched_to``, ``_judged_to``)."""
    frame = stays(records) if frame is None else frame
    episodes = records["conditions"].drop_duplicates("episode_id")[["episode_id", "stay_id", "condition"]]
    by_stay = frame.groupby("stay_id").agg(
        cluster=("cluster", "first"),
        species=("species", "first"),
        here=("end", lambda e: e.eq("in care").any()),
        lost=("end", lambda e: e.eq(LOST).any()),
        out=("outcome_date", "max"),
        seen=("last_seen", "max"),
    )
    gone = by_stay["out"].where(~by_stay["lost"], by_stay["seen"]).where(~by_stay["here"])
    by_stay = by_stay[["cluster", "species"]].assign(left_on=gone.astype("datetime64[s]")).reset_index()
    table = records["courses"].drop_duplicates("course_id").rename(columns={"doses_planned": "planned"})
    plan = table.merge(episodes, on="episode_id", how="left").merge(by_stay, on="stay_id", how="left")
    as_of_end = _seconds(records.as_of) + DAY
    stop = plan["stopped_at"].where(plan["stopped_at"] < records.as_of + pd.Timedelta(days=1))
    dated = stop.notna() & (stop == stop.dt.floor("D"))
    stop_at, left = _int(stop), _int(plan["left_on"])
    return plan.assign(
        stopped_at=stop.astype("datetime64[s]"),
        cluster=plan["cluster"].fillna(plan["course_id"]),
        _judged_to=np.minimum(np.minimum(stop_at, left), as_of_end),
        _matched_to=np.minimum(stop_at + np.where(dated, DAY, 1), np.minimum(left, _FAR) + DAY),
        _end=np.minimum(np.minimum(stop_at, left + DAY), as_of_end),
    )


def _doses(records: Records, plan: pd.DataFrame) -> pd.DataFrame:
    written = _written(records, plan)
    found = _found(written, plan)
    first, step = _int(plan["first_dose_at"]), _step(plan)
    has, numbered = found.record >= 0, found.number > 0
    spot, at = np.where(has, found.record, len(written)), np.append(found.at, 0)
    calendar = first[found.course] + (found.number - 1) * step[found.course]
    of_course = plan[["course_id", "episode_id", "stay_id", "cluster", "condition"]]
    rows = of_course.take(found.course).reset_index(drop=True).assign(
        number=pd.Series(found.number).where(numbered).astype("Int64"), due_at=_stamp(found.due, np.ones_like(has)),
        calendar_due_at=_stamp(calendar, numbered), given_at=_take(written["given_at"], spot),
        result=_take(written["result"], spot), state=np.array(STATES, dtype=object)[found.state],
        hours_off=np.where(has, found.off / 3600, np.nan), by_day=found.by_day,
        has_time=_take(written["given_at_has_time"].astype("boolean"), spot),
        takes_effect_at=_stamp(at[spot], has), _order=np.where(has, at[spot], found.due), _course=found.course,
    )  # fmt: skip
    rows = _unjudged(rows, misses_recorded(records, rows["course_id"]))
    rows = rows.sort_values(["_course", "_order", "number"], kind="stable", ignore_index=True)
    return rows.astype({"state": "str"}).reindex(columns=list(DOSE_COLUMNS))


def _written(records: Records, plan: pd.DataFrame) -> pd.DataFrame:
    """Return the records of doses up to the as-of day, by course and time; ``_course`` is the row of ``plan``."""
    table = records["doses"]
    table = table[table["given_at"] < records.as_of + pd.Timedelta(days=1)]
    place = pd.Series(np.arange(len(plan)), index=plan["course_id"])
    table = table.assign(_course=table["course_id"].map(place))
    return table[table["_course"].notna()].sort_values(["_course", "given_at"], kind="stable", ignore_index=True)


def _found(written: pd.DataFrame, plan: pd.DataFrame) -> Matched:
    plans = Plans(
        first=_int(plan["first_dose_at"]), step=_step(plan), timed=plan["first_dose_at_has_time"].to_numpy(bool),
        planned=plan["planned"].astype("float64").fillna(NO_END).to_numpy("int64"),
        judged_to=plan["_judged_to"].to_numpy("int64"), matched_to=plan["_matched_to"].to_numpy("int64"),
    )  # fmt: skip
    return match(
        plans, course=written["_course"].to_numpy("int64"), time=_int(written["given_at"]),
        timed=written["given_at_has_time"].to_numpy(bool),
        result=written["result"].map(_RESULTS).fillna(GIVEN).to_numpy("int64"),
    )  # fmt: skip


def misses_recorded(records: Records, course_ids: pd.Series) -> pd.Series:
    """Return whether doses not given are written down for each of ``course_ids``, as booleans with their index.

    The rescue says so (``doses.misses_recorded``), or a dose of the course is written down as missed or refused.
    """
    if records.settings["doses.misses_recorded"]:
        return pd.Series(True, index=course_ids.index)
    table = records["doses"]
    table = table[table["given_at"] < records.as_of + pd.Timedelta(days=1)]
    return course_ids.isin(table.loc[table["result"].isin(["missed", "refused"]), "course_id"]).astype(bool)


def _unjudged(rows: pd.DataFrame, judged: pd.Series) -> pd.DataFrame:
    """Where misses are not recorded, call nothing late, on time or missed that rests on an unwritten dose."""
    state = rows["state"].mask(~judged & rows["state"].isin(["on time", "late"]), AS_RECORDED)
    return rows.assign(state=state.mask(~judged & (state == "missed"), NO_RECORD))


def _status(out: pd.DataFrame) -> pd.Series:
    done = out["given"] >= out["planned"].astype("float64").fillna(np.inf)
    over = (out["not_yet_due"] == 0) & out["planned"].notna()
    status = np.select(
        [done, over, out["stopped_at"].notna(), out["left_on"].notna()],
        ["completed", "past its end", "stopped", "left"],
        "running",
    )
    return pd.Series(status, index=out.index).astype("str")


def _coverage(
    plan: pd.DataFrame, given: pd.DataFrame, start: int = -_FAR, stop: int = _FAR
) -> tuple[np.ndarray, np.ndarray]:
    """Hours covered, and hours to cover, of each course between ``start`` and ``stop`` (seconds)."""
    first, step = _int(plan["first_dose_at"]), _step(plan)
    whole = plan["planned"].astype("float64").fillna(NO_END // 2**10).to_numpy("int64") * step
    end = np.minimum(np.minimum(first + whole, plan["_end"].to_numpy("int64")), stop)
    first = np.maximum(first, start)
    end = np.maximum(end, first)
    place = pd.Series(np.arange(len(plan)), index=plan["course_id"])
    given = given.assign(_course=given["course_id"].map(place))
    given = given.sort_values(["_course", "takes_effect_at"], kind="stable")
    inside = covered(first, step, end, given["_course"].to_numpy("int64"), _int(given["takes_effect_at"]))
    return inside / 3600, (end - first) / 3600


def _step(plan: pd.DataFrame) -> np.ndarray:
    return np.rint(plan["interval_hours"].to_numpy("float64") * 3600).astype(np.int64)


def _seconds(day: pd.Timestamp) -> int:
    return int(day.as_unit("s").asm8.astype("int64"))


def _int(times: pd.Series) -> np.ndarray:
    """Seconds since 1970 of local time; far in the future where missing."""
    values = times.astype("datetime64[s]").to_numpy().astype("int64")
    return np.where(times.isna().to_numpy(), _FAR, values)


def _stamp(seconds: np.ndarray, known: np.ndarray) -> pd.Series:
    return pd.Series(np.where(known, seconds, 0).astype("datetime64[s]")).where(known.astype(bool))


def _take(values: pd.Series, spot: np.ndarray) -> pd.Series:
    """Return values by position; one past the end is missing."""
    return values.reindex(spot).reset_index(drop=True)
