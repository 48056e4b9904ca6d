"""Several conditions in one stay: when another was open too, and when the animal was clear of all."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines.episodes import episodes

ENDS = ("clear of all", "died", "left uncleared", "missing")
_BY_LEAVING = {"died": 2, "left uncleared": 3, "missing": 4}
_OWN_ENDS = ("cleared", "managed", "misdiagnosed")
OPEN, AT_ONCE = np.inf, 0


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
    day it ended: what is found on the day a condition is cleared cannot have held it up.
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
    other = frame.loc[~frame["dead_on_arrival"], ["stay_id", "episode_id", "found_on", "end_date"]]
    other = other.drop_duplicates(["stay_id", "episode_id"])
    both = own[["row", "stay_id", "episode_id", "found_on"]].merge(other, on="stay_id", suffixes=("", "_other"))
    both = both[both["episode_id"] != both["episode_id_other"]]
    begin = (both["found_on_other"] - both["found_on"]).dt.days.astype("float64")
    end = (both["end_date"] - both["found_on"]).dt.days.astype("float64").fillna(OPEN)
    spans = pd.DataFrame({"row": both["row"], "begin": begin.where(begin > AT_ONCE, -1.0), "end": end})
    return spans[spans["end"] > spans["begin"]]


def until_clear(records: Records) -> pd.DataFrame:
    """Return one row for each stay with a condition that can be cleared: days until no condition is open.

    Returns
    -------
    DataFrame
        stay_id, cluster, taxon, animals, conditions (different ones found up to the day it was clear), found_on (the
        first), entry, exit, cause (place in ``ENDS`` from 1; 0 in care or lost track of), used.

    Notes
    -----
    Lifelong conditions are not waited for. A condition found while another is open is waited for, too; one found after
    the animal was clear is a new illness, not counted here. Groups: the animals of the largest episode; a stay in which
    only some of the group ended is followed to the last of them.
    """
    frame = episodes(records)
    frame = frame[~frame["lifelong"] & ~frame["dead_on_arrival"] & (frame["end"] != "split off")]
    frame = frame.sort_values(["stay_id", "found_on", "episode_id"], kind="stable")
    last = pd.Timestamp("2200-01-01")
    over = frame["end_date"].where(frame["end"].isin((*_OWN_ENDS, *_BY_LEAVING)), last).astype("datetime64[s]")
    frame = frame.assign(over=over, by=frame["end"].map(_BY_LEAVING).fillna(1).astype("int64"))
    longest = frame.groupby("stay_id")["over"].cummax()
    before = longest.groupby(frame["stay_id"]).shift()
    # found after all earlier ones were over: a new spell of illness
    spell = (frame["found_on"] > before).groupby(frame["stay_id"]).cumsum()
    first = frame[spell == 0]
    final = first.sort_values(["over", "by"], kind="stable").groupby("stay_id").tail(1).set_index("stay_id")
    each = first.groupby("stay_id").agg(
        cluster=("cluster", "first"), taxon=("taxon", "first"), animals=("animals", "max"),
        conditions=("condition", "nunique"), found_on=("found_on", "first"), entry_on=("first_day", "first"),
    )  # fmt: skip
    final = final.reindex(each.index)
    ended = final["over"] < last
    days = (final["over"] - each["found_on"]).dt.days
    so_far = (final["found_on"] - each["found_on"]).dt.days + final["last_day"]
    exit_day = days.where(ended, so_far).astype("int64")
    out = each.assign(entry=each["entry_on"] - 1, exit=exit_day, cause=final["by"].where(ended, 0).astype("int64"))
    return out.assign(used=out["exit"] > out["entry"]).drop(columns="entry_on").reset_index()
