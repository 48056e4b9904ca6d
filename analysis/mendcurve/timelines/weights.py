"""Weighings: which can be used, on which level, and what was going on."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.building import TEXT
from mendcurve.records.records import Records
from mendcurve.timelines.lookup import look_up

COLUMNS = (
    "stay_id",
    "weighed_on",
    "day",
    "weight_g",
    "log_g",
    "segment",
    "usable",
    "why_not",
    "circumstance",
    "in_course",
    "brumating",
    "gravid",
    "doubtful",
    "source_file",
    "source_sheet",
    "source_row",
)
# After these the weight starts from a new level.
STEPS = ("laid eggs", "gave birth", "tail lost", "bladder emptied")
# Two weights of one day agree when the heavier is at most this much above the lighter.
SAME_DAY = 0.03
NO_STAY, BEFORE, AFTER, NO_WEIGHT = "stay not known", "before intake", "after it left", "no weight"
GROUP, DOUBTFUL, FED = "group weight", "doubtful", "fed"
MERGED, DISAGREE = "averaged with another of the day", "two on one day disagree"


def weights(records: Records) -> pd.DataFrame:
    """Return one row for each weighing up to the as-of date, in order of stay and day.

    Returns
    -------
    DataFrame, columns ``COLUMNS``
        ``day`` since intake; ``weight_g`` as read (grams); ``log_g`` its logarithm (of the geometric mean, where two
        of a day were averaged); ``segment`` (from 0, one more at each step); ``usable``, and ``why_not`` in words where
        it is not; ``in_course`` (a treatment course ran), ``brumating``, ``gravid``.

    Notes
    -----
    A weighing before intake or after the last outcome is not used. Group weights, and weights of a stay of several
    animals, are kept and not used. A weighing at which eggs had been laid, young born, the tail lost or the bladder
    emptied starts a new level. A weighing marked "fed", and those within the species' gut days after one, are not used;
    where the gut days are not known only the marked one. Two on one day: the geometric mean, on the first of them, if
    within 3 %, else both are doubtful. Brumation and courses are marked, not left out.
    """
    frame = records["weighings"]
    frame = frame[frame["weighed_on"] <= records.as_of].sort_values(["stay_id", "weighed_on", "source_row"])
    frame = frame.reset_index(drop=True)
    frame = frame.assign(circumstance=frame["circumstance"].fillna("").astype(TEXT))
    intakes = records["intakes"].drop_duplicates("stay_id").set_index("stay_id")
    frame["day"] = (frame["weighed_on"] - look_up(frame["stay_id"], intakes["intake_date"])).dt.days.astype("Int64")
    step = _any_of(frame["circumstance"], STEPS)
    frame["segment"] = step.groupby(frame["stay_id"]).cumsum().astype("int64")
    frame["why_not"] = _why_not(frame, records, intakes)
    frame["log_g"] = np.log(frame["weight_g"].where(frame["weight_g"] > 0))
    frame = _one_a_day(frame)
    frame["usable"] = frame["why_not"] == ""
    frame["doubtful"] = frame["doubtful"] | (frame["why_not"] == DISAGREE)
    for what in ("brumating", "gravid"):
        frame[what] = _any_of(frame["circumstance"], (what,)) | _during(frame, _periods(records, what))
    frame["in_course"] = _during(frame, course_days(records))
    return frame.reindex(columns=list(COLUMNS))


def _any_of(circumstance: pd.Series, words: tuple[str, ...]) -> pd.Series:
    return circumstance.str.contains("|".join(words), regex=True).fillna(False).astype(bool)


def _why_not(frame: pd.DataFrame, records: Records, intakes: pd.DataFrame) -> pd.Series:
    """Return the first reason that holds, or an empty text."""
    size = look_up(frame["stay_id"], intakes["group_size"]).fillna(1)
    fed = _any_of(frame["circumstance"], ("fed",))
    left = look_up(frame["stay_id"], records["outcomes"].groupby("stay_id")["outcome_date"].max())
    gut = records.species.drop_duplicates("name").set_index("name")["gut_days"]
    gut_days = look_up(look_up(frame["stay_id"], intakes["species"]), gut).astype("float64").fillna(0)
    last_fed = frame["weighed_on"].where(fed).groupby(frame["stay_id"]).ffill()
    full = last_fed.notna() & ((frame["weighed_on"] - last_fed).dt.days <= gut_days)
    reasons = (
        (frame["day"].isna(), NO_STAY),
        (frame["day"].fillna(0) < 0, BEFORE),
        (frame["weighed_on"] > left, AFTER),
        (~(frame["weight_g"] > 0), NO_WEIGHT),
        (frame["is_group_weight"] | (size > 1), GROUP),
        (frame["doubtful"], DOUBTFUL),
        (full, FED),
    )
    chosen = np.select([np.asarray(mask, dtype=bool) for mask, _ in reasons], [word for _, word in reasons], "")
    return pd.Series(chosen, index=frame.index, dtype=TEXT)


def _one_a_day(frame: pd.DataFrame) -> pd.DataFrame:
    use = frame[frame["why_not"] == ""]
    days = use.groupby(["stay_id", "weighed_on"])["log_g"]
    apart, n = days.transform("max") - days.transform("min"), days.transform("size")
    agree = apart <= np.log1p(SAME_DAY) + 1e-12
    first = ~use.duplicated(["stay_id", "weighed_on"])
    why = use["why_not"].mask((n > 1) & ~agree, DISAGREE).mask((n > 1) & agree & ~first, MERGED)
    mean = use["log_g"].mask((n > 1) & agree & first, days.transform("mean"))
    frame = frame.copy()
    frame.loc[use.index, "why_not"] = why
    frame.loc[use.index, "log_g"] = mean
    return frame


def _periods(records: Records, what: str) -> pd.DataFrame:
    periods = records["periods"]
    periods = periods[periods["what"] == what]
    return pd.DataFrame({"stay_id": periods["stay_id"], "first": periods["from_date"], "last": periods["to_date"]})


def course_days(records: Records) -> pd.DataFrame:
    """Return first and last day of each course: stopped, else by its plan, else its last dose, else still running."""
    courses = records["courses"]
    episodes = records["conditions"].drop_duplicates("episode_id").set_index("episode_id")["stay_id"]
    last_dose = records["doses"].groupby("course_id")["given_at"].max()
    first = courses["first_dose_at"]
    hours = courses["interval_hours"] * (courses["doses_planned"].astype("float64") - 1)
    planned = first + pd.to_timedelta(hours, unit="h").astype("timedelta64[s]")
    last = courses["stopped_at"].fillna(planned).fillna(look_up(courses["course_id"], last_dose))
    return pd.DataFrame(
        {
            "stay_id": look_up(courses["episode_id"], episodes),
            "first": first.dt.floor("D"),
            "last": last.dt.floor("D"),
        }
    )


def _during(frame: pd.DataFrame, spans: pd.DataFrame) -> pd.Series:
    """Whether a weighing falls inside a span of its stay; a span without an end goes on."""
    spans = spans.dropna(subset=["stay_id", "first"])
    if spans.empty or frame.empty:
        return pd.Series(False, index=frame.index)
    where = frame[["stay_id", "weighed_on"]].assign(row=frame.index)
    both = where.merge(spans, on="stay_id")
    inside = (both["weighed_on"] >= both["first"]) & (both["last"].isna() | (both["weighed_on"] <= both["last"]))
    return frame.index.to_series().isin(both.loc[inside, "row"])
