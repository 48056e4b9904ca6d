"""A stay in parts: which animals of a group left when and how, and how many are still there."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.building import TEXT
from mendcurve.records.schemas import DEATHS, LIVE_OUTCOMES
from mendcurve.timelines.lookup import look_up, stack

NOT_RECORDED = "not recorded"
SPLIT_OFF = "split off"
END_OF = {
    **dict.fromkeys(LIVE_OUTCOMES, "live"),
    **dict.fromkeys(DEATHS, "died"),
    "missing": "missing",
    NOT_RECORDED: NOT_RECORDED,
    SPLIT_OFF: SPLIT_OFF,
}
# Dtypes are named, so that tables without a row keep theirs.
_EVENT: dict[str, Any] = {
    "stay_id": TEXT,
    "date": "datetime64[s]",
    "outcome": TEXT,
    "animals": "float64",
    "child": TEXT,
}
_PART: dict[str, Any] = {
    "stay_id": TEXT,
    "outcome_date": "datetime64[s]",
    "outcome": TEXT,
    "animals": "int64",
    "child": TEXT,
}


def parts(intakes: pd.DataFrame, outcomes: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each part of a stay that left, and one for what is left of it.

    Parameters
    ----------
    intakes : DataFrame
        ``stay_id`` (unique), ``intake_date``, ``group_size``, ``parent`` (stay it was split from, else NA),
        ``dead_on_arrival``.
    outcomes : DataFrame
        ``stay_id``, ``outcome_date``, ``outcome_type``, ``animals`` (missing: all that are left).

    Returns
    -------
    DataFrame
        ``stay_id``, ``part`` (from 1), ``outcome_date`` (NaT: still there), ``outcome``, ``animals`` (1 or more),
        ``child`` (for "split off": the stay that goes on with these animals). Sums to ``group_size`` by stay.

    Notes
    -----
    On one day animals are split off before others leave. A row of more animals than are left takes what is left. A
    part split off for which the group has no animals left is no part of it (``parent`` does not hold: see
    ``unsupplied``). An animal dead on arrival without an outcome row died on the day it came.
    """
    events = _take(_events(intakes, outcomes), intakes)
    closed = events[events["taken"] > 0].drop(columns="animals").rename(columns={"taken": "animals"})
    left = intakes["group_size"].to_numpy("int64") - (
        closed.groupby("stay_id")["animals"].sum().reindex(intakes["stay_id"]).fillna(0).to_numpy("int64")
    )
    still = pd.DataFrame({"stay_id": intakes["stay_id"].to_numpy(), "outcome": "in care", "animals": left})[left > 0]
    every = stack([closed.rename(columns={"date": "outcome_date"}), still], _PART)
    every["part"] = every.groupby("stay_id").cumcount() + 1
    return every[["stay_id", "part", "outcome_date", "outcome", "animals", "child"]]


def unsupplied(intakes: pd.DataFrame, outcomes: pd.DataFrame) -> pd.Index:
    """Return the stays said to be split from a group that had not enough animals left."""
    events = _take(_events(intakes, outcomes), intakes)
    short = events["child"].notna() & (events["taken"] < events["animals"])
    return pd.Index(events.loc[short, "child"])


def _events(intakes: pd.DataFrame, outcomes: pd.DataFrame) -> pd.DataFrame:
    known = outcomes[outcomes["stay_id"].isin(intakes["stay_id"])]
    left = pd.DataFrame(
        {
            "stay_id": known["stay_id"],
            "date": known["outcome_date"],
            "outcome": known["outcome_type"].fillna(NOT_RECORDED),
            "animals": known["animals"].astype("float64"),
        }
    )
    dead = intakes[intakes["dead_on_arrival"] & ~intakes["stay_id"].isin(known["stay_id"])]
    dead = pd.DataFrame({"stay_id": dead["stay_id"], "date": dead["intake_date"], "outcome": "died"})
    split = intakes[intakes["parent"].notna()]
    split = pd.DataFrame(
        {
            "stay_id": split["parent"],
            "date": split["intake_date"],
            "outcome": SPLIT_OFF,
            "animals": split["group_size"].astype("float64"),
            "child": split["stay_id"],
        }
    )
    every = stack([split, left, dead], _EVENT)
    order = every["outcome"].ne(SPLIT_OFF)
    every = every.assign(order=order).sort_values(["stay_id", "date", "order"], kind="stable", ignore_index=True)
    _refuse_backwards(every, intakes)
    return every


def _take(events: pd.DataFrame, intakes: pd.DataFrame) -> pd.DataFrame:
    """Hand out the animals of each stay to its events in order; a blank number takes all that are left."""
    size = look_up(events["stay_id"], intakes.set_index("stay_id")["group_size"]).astype("float64").fillna(0)
    blank = events["animals"].isna()
    asked = events["animals"].astype("float64").fillna(0)
    stay = events["stay_id"]
    asked_before = asked.groupby(stay).cumsum() - asked
    all_gone = (blank.astype("int64").groupby(stay).cumsum() - blank.astype("int64")) > 0
    left = (size - asked_before).clip(lower=0).where(~all_gone, 0)
    taken = np.where(blank, left, np.minimum(asked, left)).astype("int64")
    return events.assign(taken=taken)


def _refuse_backwards(events: pd.DataFrame, intakes: pd.DataFrame) -> None:
    came = look_up(events["stay_id"], intakes.set_index("stay_id")["intake_date"])
    wrong = events[events["date"] < came]
    if len(wrong):
        some = wrong.assign(came=came).head(5)
        lines = [f"{row.stay_id}: came {row.came:%Y-%m-%d}, left {row.date:%Y-%m-%d}" for row in some.itertuples()]
        raise InputError(
            f"A stay must end on or after its first day, but {len(wrong)} of {len(events)} do not:",
            lines,
            "Correct the dates; rows that break this rule are set aside when files are read.",
            rows=wrong,
        )
