"""What happened to an animal around the day its weight stopped rising, as far as the records tell."""

from __future__ import annotations

import pandas as pd

from mendcurve.questions.wording import day, listing
from mendcurve.records import Records
from mendcurve.timelines.lookup import stack
from mendcurve.timelines.weights import STEPS

# Days before and after the range of days in which something may have to do with it (our choice).
NEAR = 7
MOST = 5
_KINDS = {"on": "datetime64[s]", "what": "object"}


def around(records: Records, stay_id: str, first: pd.Timestamp, last: pd.Timestamp) -> str:
    """Return in words what is recorded of a stay from a week before ``first`` to a week after ``last``.

    Moves, conditions found and ended, courses begun and stopped, brumation and gravidity, eggs, births, tails lost and
    sheds; in order of the days, the first five and how many more. That it happened then says nothing of a cause.
    """
    found = stack([*_moves(records, stay_id), *_ills(records, stay_id), *_states(records, stay_id)], _KINDS)
    near = pd.Timedelta(days=NEAR)
    found = found[found["on"].between(first - near, min(last + near, records.as_of))]
    found = found.sort_values(["on", "what"], kind="stable").drop_duplicates()
    said = [f"{what} on {day(on)}" for on, what in zip(found["on"], found["what"], strict=True)]
    if len(said) > MOST:
        said = [*said[:MOST], f"{len(said) - MOST} more"]
    return listing(said)


def _rows(on: pd.Series, what: str, name: pd.Series | None = None) -> pd.DataFrame:
    """Return days and words; ``what`` holds {} where a name of the row is to stand."""
    said = [what] * len(on) if name is None else [what.format(word) for word in name]
    frame = pd.DataFrame({"on": on.dt.floor("D").astype("datetime64[s]"), "what": pd.Series(said, on.index, "object")})
    return frame.dropna(subset=["on"])


def _moves(records: Records, stay_id: str) -> list[pd.DataFrame]:
    moves = records["moves"]
    moves = moves[moves["stay_id"] == stay_id]
    return [_rows(moves["moved_on"], "moved to {}", moves["zone"].fillna("a place not named"))]


def _ills(records: Records, stay_id: str) -> list[pd.DataFrame]:
    own = records["conditions"]
    own = own[own["stay_id"] == stay_id]
    courses = records["courses"]
    courses = courses[courses["episode_id"].isin(own["episode_id"])]
    return [
        _rows(own["found_on"], "{} found", own["condition"]),
        _rows(own["ended_on"], "{} ended", own["condition"]),
        _rows(courses["first_dose_at"], "a course of treatment began"),
        _rows(courses["stopped_at"], "a course of treatment stopped"),
    ]


def _states(records: Records, stay_id: str) -> list[pd.DataFrame]:
    periods = records["periods"]
    periods = periods[periods["stay_id"] == stay_id]
    seen = records["weighings"]
    seen = seen[(seen["stay_id"] == stay_id) & seen["circumstance"].notna()]
    noted = [
        _rows(seen.loc[seen["circumstance"].str.contains(word), "weighed_on"], f"{word}, noted")
        for word in (*STEPS, "shed")
    ]
    return [
        _rows(periods["from_date"], "{} began", periods["what"]),
        _rows(periods["to_date"], "{} ended", periods["what"]),
        *noted,
    ]
