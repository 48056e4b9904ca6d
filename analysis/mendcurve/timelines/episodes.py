"""Episodes: one condition in one stay, from the day found to the day it ended, however it ended."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.building import TEXT
from mendcurve.records.records import Records
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.parts import NOT_RECORDED, SPLIT_OFF
from mendcurve.timelines.stays import LOST, far_point, stays

COLUMNS = (
    "episode_id",
    "part",
    "stay_id",
    "stay_part",
    "animal_id",
    "cluster",
    "species",
    "taxon",
    "life_stage",
    "condition",
    "severity",
    "primary",
    "animals",
    "intake_date",
    "found_on",
    "vet_seen_on",
    "end_date",
    "end",
    "cause",
    "days",
    "first_day",
    "last_day",
    "entry",
    "exit",
    "used",
    "lifelong",
    "relapse",
    "dead_on_arrival",
    "last_seen",
    "handed_on",
)
CAUSES = ("cleared", "managed", "misdiagnosed", "died", "left uncleared", "missing")
CAUSE_OF = {name: number for number, name in enumerate(CAUSES, start=1)}
OPEN = "open"
_FROM_STAY = {
    "live": "left uncleared",
    "died": "died",
    "missing": "missing",
    "in care": OPEN,
    LOST: LOST,
    NOT_RECORDED: NOT_RECORDED,
    SPLIT_OFF: SPLIT_OFF,
}
# Where an episode concerns some of a group and the records do not say which: those that did worst come first.
_WORST_FIRST = {"died": 0, "in care": 1, LOST: 1, "missing": 2, NOT_RECORDED: 3, SPLIT_OFF: 3, "live": 4}
_STAY_COLUMNS = [
    "stay_id",
    "part",
    "animal_id",
    "cluster",
    "species",
    "taxon",
    "life_stage",
    "intake_date",
    "outcome_date",
    "end",
    "animals",
    "dead_on_arrival",
    "last_seen",
]
_STAY_NAMES = {"part": "stay_part", "animals": "there", "end": "stay_end"}


def animals_by(rows: pd.DataFrame, by: list[str]) -> pd.Series:
    """Return the animals behind episode parts, by ``by`` (which holds stay_id).

    Notes
    -----
    Parts of one episode are different animals and add up. Episodes of one stay (several conditions, a relapse) concern
    the same animals: the largest counts, so that a relapse is no further animal.
    """
    return rows.groupby([*by, "episode_id"])["animals"].sum().groupby(level=by).max()


def different_animals(rows: pd.DataFrame) -> int:
    """Return the animals behind episode parts, each once: one that came again is the same where it has an id."""
    same = rows["animal_id"].astype(TEXT).fillna("stay " + rows["stay_id"].astype(TEXT))
    by = rows.assign(_same=same).groupby(["_same", "stay_id", "episode_id"])["animals"].sum()
    # Episodes of a stay concern its animals; so do second stays of one animal.
    return int(by.groupby(level="_same").max().sum())


def clearing_recorded(records: Records) -> bool:
    """Whether the rescue writes down that an episode ended at all; without it nobody is ever seen to recover."""
    return records.has("conditions", "ended_on")


def episodes(records: Records, frame: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return one row for each part of an episode.

    Parameters
    ----------
    records : Records
    frame : DataFrame, optional
        ``stays(records)``, where it is at hand.

    Returns
    -------
    DataFrame, columns ``COLUMNS``
        ``end`` is one of cleared, managed, misdiagnosed, died, left uncleared, missing, open, lost track of, not
        recorded, and split off (goes on under the stay split from the group). ``cause`` is the place of ``end`` in
        ``CAUSES``, from 1; 0 otherwise. Days are whole days since ``found_on``. ``lifelong``: listed by the rescue as
        lifelong, so known to be so on the day found. ``stay_part``: the ``part`` of ``stays`` it is on, so that
        episodes on one part concern the same animals. ``relapse``: a later episode of the condition in the stay.
        ``handed_on``: animals of a row split off that are followed in an episode of the condition under the stay split
        from this one, so that a count of animals leaves them out here. ``used`` is False for rows without a day under
        observation and for animals dead on arrival.

    Notes
    -----
    Every end competes and stays in the denominator; ``lifelong`` alone may leave an episode out of a curve. An episode
    that ended on the day its animal left ended first, but death on the day comes before any other end. At risk from the
    latest of the day found, the day of intake and the first day the records are complete. An ``ended_on`` without
    ``ended_as`` is cleared where the rescue keeps no ``ended_as`` at all, else not recorded and censored that day; an
    ``ended_as`` without a date is not recorded and censored on the day found.

    An episode of a group follows each part of the group that was there when it was found. Where it concerns only some
    of them, one that ended is counted on animals that were still there, an open one on those that did worst.

    Lost track of: see ``stays``; an episode longer than the 99.5 % point of ended ones of its condition, in a stay
    silent for ``dates.lost_after_days``, is lost too.
    """
    frame = stays(records) if frame is None else frame
    found = _found(records)
    joined = found.merge(frame[_STAY_COLUMNS].rename(columns=_STAY_NAMES), on="stay_id")
    out = joined["outcome_date"]
    before = (out < joined["found_on"]) | ((joined["stay_end"] == SPLIT_OFF) & (out <= joined["found_on"]))
    joined = _shared_out(joined[~before])
    joined = _with_clock(_with_end(joined), records)
    joined["part"] = joined.groupby("episode_id").cumcount() + 1
    joined["handed_on"] = _handed_on(joined, records["intakes"])
    return joined.sort_values(["found_on", "stay_id", "episode_id", "part"], kind="stable", ignore_index=True).reindex(
        columns=list(COLUMNS)
    )


def _handed_on(joined: pd.DataFrame, intakes: pd.DataFrame) -> pd.Series:
    """Return how many animals of each row were split off and are counted again under a stay split from this one."""
    parent = intakes.dropna(subset="split_from").drop_duplicates("stay_id").set_index("stay_id")["split_from"]
    went = joined[(joined["end"] == SPLIT_OFF) & joined["used"]]
    if not len(parent) or not len(went):
        return pd.Series(0, index=joined.index)
    key = ["stay_id", "condition"]
    again = joined[joined["stay_id"].isin(parent.index) & joined["used"] & ~joined["relapse"]]
    followed = again.assign(stay_id=look_up(again["stay_id"], parent)).groupby(key)["animals"].sum()
    animals = went["animals"]
    before = animals.groupby([went["stay_id"], went["condition"]]).cumsum() - animals
    known = followed.reindex(pd.MultiIndex.from_frame(went[key])).fillna(0).to_numpy()
    most = np.clip(known - before.to_numpy(), 0, animals.to_numpy())
    return pd.Series(most.astype("int64"), index=went.index).reindex(joined.index, fill_value=0)


def _found(records: Records) -> pd.DataFrame:
    """Return the episodes known at the as-of date, later facts left out, relapses and lifelong ones marked."""
    table = records["conditions"]
    table = table[table["found_on"] <= records.as_of].drop_duplicates("episode_id")
    known = table["ended_on"] <= records.as_of
    later = table["ended_on"].notna() & ~known
    kind = table["ended_as"].mask(later)
    if not records.has("conditions", "ended_as"):
        kind = kind.mask(known, "cleared")
    listed = {str(word).strip().casefold() for word in records.settings["conditions.lifelong"]}
    table = table.assign(
        ended_on=table["ended_on"].where(known, table["found_on"].where(kind.notna())).astype("datetime64[s]"),
        ended_as=kind.mask(~known & kind.notna(), NOT_RECORDED).mask(known & kind.isna(), NOT_RECORDED),
        vet_seen_on=table["vet_seen_on"].where(table["vet_seen_on"] <= records.as_of).astype("datetime64[s]"),
        lifelong=table["condition"].str.strip().str.casefold().isin(listed),
    ).sort_values(["found_on", "episode_id"], kind="stable")
    relapse = table.groupby(["stay_id", "condition"]).cumcount() > 0
    return table.assign(relapse=relapse)[
        [
            "episode_id",
            "stay_id",
            "condition",
            "severity",
            "primary",
            "found_on",
            "vet_seen_on",
            "ended_on",
            "ended_as",
            "animals",
            "lifelong",
            "relapse",
        ]
    ]


def _shared_out(joined: pd.DataFrame) -> pd.DataFrame:
    """Give each episode its animals from the parts of its stay."""
    ended, out = joined["ended_on"], joined["outcome_date"]
    there_at_end = out.isna() | (out >= ended)
    rank = joined["stay_end"].map(_WORST_FIRST).where(ended.isna(), (~there_at_end).astype("int64"))
    joined = joined.assign(rank=rank).sort_values(["episode_id", "rank"], kind="stable", ignore_index=True)
    there = joined["there"]
    before = there.groupby(joined["episode_id"]).cumsum() - there
    asked = joined["animals"].astype("float64").fillna(np.inf)
    taken = np.minimum((asked - before).clip(lower=0), there).astype("int64")
    return joined.assign(animals=taken)[taken > 0]


def _with_end(joined: pd.DataFrame) -> pd.DataFrame:
    ended, out = joined["ended_on"], joined["outcome_date"]
    died_that_day = (out == ended) & (joined["stay_end"] == "died")
    by_itself = ended.notna() & (out.isna() | (ended <= out)) & ~died_that_day
    end = joined["stay_end"].map(_FROM_STAY).mask(by_itself, joined["ended_as"]).astype(TEXT)
    return joined.assign(end=end, end_date=out.mask(by_itself, ended).astype("datetime64[s]"))


def _with_clock(joined: pd.DataFrame, records: Records) -> pd.DataFrame:
    start = max(records.start_of("conditions"), records.start_of("outcomes"))
    origin = joined["found_on"]
    days = (joined["end_date"].fillna(records.as_of) - origin).dt.days
    silent = (records.as_of - joined["last_seen"]).dt.days >= int(records.settings["dates.lost_after_days"])
    far = days > far_point(days, joined["condition"], joined["end"].isin(CAUSES))
    lost = (joined["end"] == LOST) | ((joined["end"] == OPEN) & far & silent & ~joined["lifelong"])
    heard = (joined["last_seen"] - origin).dt.days.clip(lower=0)
    days = days.where(~lost, heard)
    last = days - (joined["end"] == SPLIT_OFF)
    first = (joined["intake_date"] - origin).dt.days.clip(lower=0)
    first = first.clip(lower=(start - origin).dt.days)
    end = joined["end"].mask(lost, LOST)
    return joined.assign(
        end=end,
        cause=end.map(CAUSE_OF).fillna(0).astype("int64"),
        days=days.astype("int64"),
        first_day=first.astype("int64"),
        last_day=last.astype("int64"),
        entry=(first - 1).astype("int64"),
        exit=last.astype("int64"),
        used=(last >= first) & ~joined["dead_on_arrival"],
    )
