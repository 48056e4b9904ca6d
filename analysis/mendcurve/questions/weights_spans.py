"""Which weighings a curve of weight is made of: the whole stay, the first treatment course, or what followed it."""

from __future__ import annotations

import pandas as pd

from mendcurve.questions.wording import count
from mendcurve.records import Records
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.weights import course_days

STAY, COURSE, AFTER = PARTS = ("stay", "course", "after")
# Days from its beginning within which a part must have its first weighing.
BASE_WITHIN = 3
BEGINNING = {STAY: "intake", COURSE: "the first day of a course", AFTER: "the last day of a course"}


def in_part(frame: pd.DataFrame, records: Records, part: str) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the usable weighings of one part, ``day`` counted from its beginning, and who was left out.

    Notes
    -----
    Every animal has a weighing within 3 days of the beginning (for a course also before it, the nearest), its base. A
    level after a step is kept where it has two weighings: one alone tells no gain.
    """
    had = frame["stay_id"].nunique()
    words: list[str] = []
    if part != STAY:
        spans = first_courses(records)
        begin, until = ("first", "last") if part == COURSE else ("last", "next")
        start = look_up(frame["stay_id"], spans[begin])
        day = (frame["weighed_on"] - start).dt.days
        ends = look_up(frame["stay_id"], spans[until])
        # the last day of a course is both; a course begun again is no longer after the first
        over = (frame["weighed_on"] > ends) if part == COURSE else (frame["weighed_on"] >= ends)
        frame = frame.assign(day=day.astype("float64"))[day.ge(-BASE_WITHIN).fillna(False) & ~over.fillna(False)]
        # before the beginning only the nearest, and only where there is none on the day itself
        early = frame["day"] < 0
        nearest = frame["day"].where(frame["day"] <= 0).groupby(frame["stay_id"]).transform("max")
        frame = frame[~early | (frame["day"] == nearest)]
        without = had - frame["stay_id"].nunique()
        words += [f"{count(without, 'animal')} without weighings of that part left out."] if without else []
    first = frame.groupby("stay_id")["day"].transform("min")
    late = frame.loc[first > BASE_WITHIN, "stay_id"].nunique()
    words += (
        [f"{count(late, 'animal')} first weighed more than {BASE_WITHIN} days after {BEGINNING[part]} left out."]
        if late
        else []
    )
    frame = frame[first <= BASE_WITHIN]
    lone = (frame.groupby("series")["day"].transform("size") == 1) & (frame["day"] > BASE_WITHIN)
    return frame[~lone].copy(), tuple(words)


def first_courses(records: Records) -> pd.DataFrame:
    """Return, by stay, first and last day of its first course (those that touch are one) and when the next began.

    A course that goes on has no last day; ``next`` is the day after the as-of date where there is none.
    """
    spans = course_days(records).dropna(subset=["stay_id", "first"])
    never = records.as_of + pd.Timedelta(days=1)
    spans = spans.assign(last=spans["last"].fillna(never)).sort_values(["stay_id", "first"], kind="stable")
    reach = spans.groupby("stay_id")["last"].cummax()
    before = reach.groupby(spans["stay_id"]).shift()
    apart = spans["first"] > before + pd.Timedelta(days=1)
    run = apart.groupby(spans["stay_id"]).cumsum()
    one = spans[run == 0].groupby("stay_id").agg(first=("first", "min"), last=("last", "max"))
    following = spans[run == 1].groupby("stay_id")["first"].min().reindex(one.index)
    running = one["last"] > records.as_of
    return one.assign(last=one["last"].where(~running), next=following.fillna(never).astype(one["first"].dtype))
