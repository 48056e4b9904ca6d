"""Several conditions in one stay: when another was open too, and when the animal was clear of all."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines.episodes import OPEN, episodes
from mendcurve.timelines.parts import NOT_RECORDED, SPLIT_OFF
from mendcurve.timelines.stays import LOST

ENDS = ("clear of all", "died", "left uncleared", "missing", "lifelong or misdiagnosed")
# What the ends of an animal's conditions make together: the one that stands last here decides. An end that is not
# recorded may have been any, so beside it an animal is not known to be clear.
_WEIGHT = {"cleared": 0, NOT_RECORDED: 1, "misdiagnosed": 2, "managed": 2, OPEN: 3, LOST: 3,
           "missing": 4, "left uncleared": 5, "died": 6}  # fmt: skip
_CAUSE = {0: 1, 1: 0, 2: 5, 3: 0, 4: 4, 5: 3, 6: 2}
_NEVER, AT_ONCE = np.inf, 0
_FAR = pd.Timestamp("2200-01-01")


def split_by_others(frame: pd.DataFrame) -> pd.DataFrame:
    """Split episodes under observation on the days another condition of the stay began or ended.

    Parameters
    ----------
    frame : DataFrame
        ``episodes(records)``, all of them.

    Returns
    -------
    DataFrame
        As ``frame`` for its first, not lifelong, used episodes, with ``entry``, ``exit``, ``cause`` of each piece
        (cause 0 on all pieces but the last) and ``other_open``: whether another condition, lifelong ones too, was open.

    Notes
    -----
    Another condition counts from the day after it was found (from the start where found by the day of origin) to the
    day it ended: what is found on the day a condition is cleared cannot have held it up. In a group it counts while any
    of the animals of the row has it.
    """
    own = frame[frame["used"] & ~frame["lifelong"] & ~frame["relapse"]].reset_index(drop=True)
    own = own.assign(row=own.index)
    spans = _spans_of_others(own, frame)
    edges = pd.concat([
        *(own[["row", edge]].rename(columns={edge: "day"}).astype("float64") for edge in ("entry", "exit")),
        *(spans[["row", edge]].rename(columns={edge: "day"}) for edge in ("begin", "end")),
    ])  # fmt: skip
    edges = edges.merge(own[["row", "entry", "exit"]], on="row")
    edges = edges[(edges["day"] >= edges["entry"]) & (edges["day"] <= edges["exit"])].drop_duplicates(["row", "day"])
    edges = edges.sort_values(["row", "day"], kind="stable")
    pieces = edges.assign(entry=edges.groupby("row")["day"].shift(), last=edges["exit"]).dropna(subset="entry")
    pieces = pieces.assign(exit=pieces["day"])[["row", "entry", "exit", "last"]].reset_index(drop=True)
    both = pieces.reset_index(names="piece").merge(spans, on="row")
    over = both.loc[(both["begin"] < both["exit"]) & (both["end"] >= both["exit"]), "piece"]
    pieces = pieces.assign(other_open=pieces.index.isin(over))
    out = own.drop(columns=["entry", "exit"]).merge(pieces, on="row")
    whole = out["exit"] == out["last"]
    return out.assign(cause=out["cause"].where(whole, 0)).drop(columns=["row", "last"])


def _spans_of_others(own: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Return, for each row of ``own``, when each other condition of its stay was open, in days since its own origin."""
    # A row of a group is on one part of the stay, so that what its animals have is on the same part.
    part = ["stay_id", "stay_part"]
    other = frame.loc[~frame["dead_on_arrival"], [*part, "episode_id", "found_on", "end_date"]]
    both = own[["row", *part, "episode_id", "found_on"]].merge(other, on=part, suffixes=("", "_other"))
    both = both[both["episode_id"] != both["episode_id_other"]]
    begin = (both["found_on_other"] - both["found_on"]).dt.days.astype("float64")
    end = (both["end_date"] - both["found_on"]).dt.days.astype("float64").fillna(_NEVER)
    spans = pd.DataFrame({"row": both["row"], "begin": begin.where(begin > AT_ONCE, -1.0), "end": end})
    return spans[spans["end"] > spans["begin"]]


def until_clear(records: Records) -> pd.DataFrame:
    """Return the days until no condition is open, for each stay with a condition that can be cleared.

    Returns
    -------
    DataFrame
        One row for the animals of a stay that went alike: stay_id, animal_id, cluster, taxon, found_on (the first
        condition), animals, at_first (conditions open on that day), conditions (different ones found up to the day it
        was clear), entry, exit, cause (place in ``ENDS`` from 1; 0 in care, lost track of or not recorded), used.

    Notes
    -----
    Lifelong conditions are not waited for. A condition found while another is open is waited for, too; one found after
    the animal was clear is a new illness, not counted here. Clear of all: each condition waited for was cleared.
    Lifelong or misdiagnosed: none is open any more, and one of them ended so.

    Where it is not recorded how a condition ended, an animal that died or left later did so; with another that was open
    for longer it is followed to the end of that one, but not known to be clear; else it is cut off at the first such
    day.

    Groups: parts of an episode are different animals, and episodes on the same part of a stay concern the same ones,
    the smaller episode some of those of the larger. Animals split off before they were clear are left out here and
    followed under the stay they went on in.
    """
    each = _first_illness(episodes(records))
    unknown = each["end"] == NOT_RECORDED
    each = each.assign(known=each["until"].mask(unknown), unknown=each["until"].where(unknown))
    by = each.groupby("set", sort=False)
    out = by.agg(
        stay_id=("stay_id", "first"), animal_id=("animal_id", "first"), cluster=("cluster", "first"),
        taxon=("taxon", "first"), found_on=("found_on", "first"), animals=("these", "first"),
        conditions=("condition", "nunique"), entry_on=("first_day", "first"), known=("known", "max"),
        unknown=("unknown", "min"), end=("weight", "max"),
    )  # fmt: skip
    on_first_day = each["found_on"] == by["found_on"].transform("first")
    at_first = each[on_first_day].groupby("set")["condition"].nunique().reindex(out.index)
    cut = out["unknown"].notna() & ~(out["known"] >= out["unknown"])
    days = (out["known"].mask(cut, out["unknown"]) - out["found_on"]).dt.days
    out = out.assign(
        at_first=at_first, entry=out["entry_on"] - 1, exit=days.astype("int64"),
        cause=out["end"].map(_CAUSE).mask(cut, 0).astype("int64"),
    )  # fmt: skip
    alike = ["stay_id", "animal_id", "cluster", "taxon", "found_on", "at_first", "conditions", "entry", "exit", "cause"]
    out = out.groupby(alike, dropna=False)["animals"].sum().reset_index()
    return out.assign(used=out["exit"] > out["entry"])


def _first_illness(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the episodes up to the first day none was open, one row for each set of animals that had the same ones.

    Adds ``set``, ``these`` (its animals), ``until`` (last day the episode was followed) and ``weight`` (of its end).
    """
    frame = frame[~frame["lifelong"] & ~frame["dead_on_arrival"]]
    rows = _by_animals(frame).sort_values(["set", "found_on", "episode_id"], kind="stable", ignore_index=True)
    longest = rows["end_date"].fillna(_FAR).groupby(rows["set"]).cummax()
    before = longest.groupby(rows["set"]).shift()
    # found after all earlier ones were over: a new spell of illness
    spell = (rows["found_on"] > before).groupby(rows["set"]).cumsum()
    first = rows[spell == 0]
    first = first[~first["set"].isin(first.loc[first["end"] == SPLIT_OFF, "set"])]
    followed = first["found_on"] + pd.to_timedelta(first["last_day"], unit="D")
    until = first["end_date"].fillna(followed).astype("datetime64[s]")
    return first.assign(until=until, weight=first["end"].map(_WEIGHT).astype("int64"))


def _by_animals(frame: pd.DataFrame) -> pd.DataFrame:
    """Cut the parts of stays into sets of animals (``set``, ``these`` many) that had the same episodes."""
    part = ["stay_id", "stay_part"]
    sets = frame[[*part, "animals"]].drop_duplicates().sort_values([*part, "animals"], ignore_index=True)
    smaller = sets.groupby(part)["animals"].shift(fill_value=0)
    sets = sets.assign(these=sets["animals"] - smaller, set=sets.index).rename(columns={"animals": "up_to"})
    rows = frame.merge(sets, on=part)
    return rows[rows["animals"] >= rows["up_to"]]
