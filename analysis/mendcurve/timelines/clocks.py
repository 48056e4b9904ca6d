"""From which day an episode's time is counted: found, seen by the vet, first dose, or intake."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines.lookup import look_up

CLOCKS = {
    "found": "the day found",
    "vet seen": "the day the vet saw it",
    "first dose": "the first dose",
    "intake": "intake",
}


def on_clock(records: Records, frame: pd.DataFrame, clock: str) -> pd.DataFrame:
    """Return episodes with their days counted from another origin.

    Parameters
    ----------
    records : Records
    frame : DataFrame
        ``episodes(records)``, or rows of it.
    clock : one of ``CLOCKS``

    Returns
    -------
    DataFrame
        As ``frame`` with ``days``, ``first_day``, ``last_day``, ``entry``, ``exit`` from the origin, ``used`` for it,
        and ``reached``: whether the episode had that origin while it was open.

    Notes
    -----
    At risk from the latest of the origin, the day found and the first day of the records: with intake as origin the
    days before it was found are not at risk. Only the first dose given counts, not one planned.
    """
    if clock == "found":
        return frame.assign(reached=True)
    shift = (_origin(records, frame, clock) - frame["found_on"]).dt.days
    reached = shift.notna() & (shift <= frame["last_day"])
    shift = shift.where(reached, 0).astype("int64")
    last = frame["last_day"] - shift
    first = (frame["first_day"] - shift).clip(lower=0)
    return frame.assign(
        days=frame["days"] - shift, first_day=first, last_day=last, entry=first - 1, exit=last,
        used=frame["used"] & reached & (last >= first), reached=reached,
    )  # fmt: skip


def _origin(records: Records, frame: pd.DataFrame, clock: str) -> pd.Series:
    if clock == "intake":
        return frame["intake_date"]
    if clock == "vet seen":
        return frame["vet_seen_on"]
    doses = records["doses"]
    in_time = doses["given_at"] < records.as_of + pd.Timedelta(days=1)
    given = doses[(doses["result"].fillna("given") == "given") & in_time]
    by_course = given.groupby("course_id")["given_at"].min().dt.floor("D").dt.as_unit("s")
    courses = records["courses"]
    first = look_up(courses["course_id"], by_course)
    # begun before doses were written down: the first dose on record is not the first
    begun = courses["first_dose_at"].dt.floor("D").dt.as_unit("s")
    first = first.where(~(begun < records.start_of("doses")), begun)
    return look_up(frame["episode_id"], courses.assign(first=first).groupby("episode_id")["first"].min())
