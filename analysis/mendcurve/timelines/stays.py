"""Stays: who was in care, from when, until what."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.building import TEXT
from mendcurve.records.records import Records
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.parts import END_OF, SPLIT_OFF, parts, unsupplied
from mendcurve.timelines.seen import last_seen

COLUMNS = (
    "stay_id",
    "part",
    "animal_id",
    "cluster",
    "species",
    "taxon",
    "life_stage",
    "intake_date",
    "intake_type",
    "arrival_id",
    "dead_on_arrival",
    "is_intake",
    "animals",
    "permanent",
    "permanent_from",
    "outcome_date",
    "outcome",
    "end",
    "days",
    "first_day",
    "last_day",
    "entry",
    "exit",
    "cause",
    "used",
    "clock_start",
    "last_seen",
    "housing_kind",
    "story_ok",
)
LOST = "lost track of"
IN_CARE = "in care"
CAUSES = ("live", "died", "missing")
CAUSE_OF = {name: number for number, name in enumerate(CAUSES, start=1)}
# The point beyond which an open stay with no news is doubted, and how many closed ones give a kind its own.
FAR_POINT = 0.995
ENOUGH_CLOSED = 20


def stays(records: Records) -> pd.DataFrame:
    """Return one row for each part of a stay.

    A group of 30 of which 10 died and 20 were adopted is two rows, of 10 and of 20 ``animals``; what is left of a
    group in care is another.

    Parameters
    ----------
    records : Records

    Returns
    -------
    DataFrame, columns ``COLUMNS``
        ``end`` is one of live, died, missing, in care, lost track of, not recorded (left, how is unknown) and split
        off (goes on under the stay split from it). ``cause``: 0 censored, 1 live, 2 died, 3 missing. ``days``,
        ``first_day``, ``last_day``, ``entry`` and ``exit`` are whole days since ``clock_start``; ``days`` is the
        length so far, or in full. ``used`` is False for rows that are in no rate: dead on arrival, ended before the
        records start, or without a day under observation. ``last_seen`` is the date of the last record of any sort.

    Raises
    ------
    InputError
        If an outcome is dated before its intake.

    Notes
    -----
    Same day = 0. Observed on ``first_day .. last_day``; at risk on ``(entry, exit]`` with ``entry = first_day - 1``.
    ``first_day`` is the later of day 0 and the day the records start. A stay split off from a group keeps the
    group's clock (``clock_start``), is no new intake, and is at risk from the day of the split; its animals are
    censored in the group the day before. Foster closes nothing. Intakes and outcomes after the as-of date are unknown.

    An open stay is "lost track of", and censored at its last record, when it is longer than the 99.5 % point of the
    closed stays of its taxon group (of all stays, where fewer than 20 of the group are closed) and nothing at all was
    written about it for ``dates.lost_after_days``. Permanent residents are never lost track of. A finished stay's
    ``outcome_date`` is kept as recorded; one lost track of has none.
    """
    intakes = _intakes(records)
    outcomes = records["outcomes"]
    outcomes = outcomes[outcomes["outcome_date"] <= records.as_of]
    intakes = _with_parents(intakes, outcomes)
    frame = parts(intakes, outcomes).merge(intakes, on="stay_id", how="left", validate="many_to_one")
    frame = _with_permanence(frame, records)
    frame["last_seen"] = (
        look_up(frame["stay_id"], last_seen(records)).fillna(frame["intake_date"]).astype("datetime64[s]")
    )
    frame["end"] = frame["outcome"].map(END_OF).fillna(IN_CARE).astype(TEXT)
    frame = _with_clock(frame, records)
    return frame.sort_values(["intake_date", "stay_id", "part"], kind="stable", ignore_index=True).reindex(
        columns=list(COLUMNS)
    )


def taxon_of(species: pd.Series, records: Records) -> pd.Series:
    """Return the taxon group of each species; "not recorded" where the reference table has none."""
    table = records.species.drop_duplicates("name").set_index("name")["taxon"]
    return look_up(species, table).fillna("not recorded").astype(TEXT)


def far_point(days: pd.Series, kind: pd.Series, closed: pd.Series) -> pd.Series:
    """Return, for each row, the 99.5 % point of the closed ``days`` of its ``kind`` (of all, where few are closed).

    Rows get infinity where nothing at all is closed.
    """
    lengths, kinds = days[closed], kind[closed]
    if not len(lengths):
        return pd.Series(float("inf"), index=days.index)
    own = lengths.groupby(kinds).quantile(FAR_POINT, interpolation="higher")
    own = own[lengths.groupby(kinds).size() >= ENOUGH_CLOSED]
    return look_up(kind, own).astype("float64").fillna(float(lengths.quantile(FAR_POINT, interpolation="higher")))


def _intakes(records: Records) -> pd.DataFrame:
    frame = records["intakes"]
    frame = frame[frame["intake_date"] <= records.as_of].drop_duplicates("stay_id")
    return frame[
        [
            "stay_id",
            "animal_id",
            "species",
            "life_stage",
            "intake_date",
            "intake_type",
            "arrival_id",
            "dead_on_arrival",
            "group_size",
            "split_from",
            "housing_kind",
            "story_ok",
        ]
    ].assign(taxon=taxon_of(frame["species"], records))


def _with_parents(intakes: pd.DataFrame, outcomes: pd.DataFrame) -> pd.DataFrame:
    """Add parent, is_intake, clock_start and cluster; a parent that cannot have supplied the animals is none."""
    ids = intakes["stay_id"]
    came = intakes.set_index("stay_id")["intake_date"]
    parent = intakes["split_from"].where(intakes["split_from"].isin(ids) & (intakes["split_from"] != ids))
    parent = parent.where(look_up(parent, came) <= intakes["intake_date"])
    if parent.notna().any():
        parent = parent.mask(ids.isin(unsupplied(intakes.assign(parent=parent), outcomes)))
    root = _root(ids, parent)
    return intakes.assign(
        parent=parent,
        is_intake=parent.isna(),
        clock_start=look_up(root, came),
        cluster=intakes["animal_id"].fillna(root).astype(TEXT),
    )


def _root(ids: pd.Series, parent: pd.Series) -> pd.Series:
    """Follow the splits up to the stay that arrived; a circle stops where it closes."""
    above = pd.Series(parent.to_numpy(), index=ids.to_numpy())
    root, up = ids, parent
    for _ in range(len(ids)):
        if not up.notna().any():
            break
        root = up.where(up.notna(), root)
        up = look_up(root, above).where(up.notna())
    return root


def _with_permanence(frame: pd.DataFrame, records: Records) -> pd.DataFrame:
    periods = records["periods"]
    now = periods[
        (periods["what"] == "permanent resident")
        & (periods["from_date"] <= records.as_of)
        & (periods["to_date"].isna() | (periods["to_date"] >= records.as_of))
    ]
    since = look_up(frame["stay_id"], now.groupby("stay_id")["from_date"].min()).where(frame["outcome_date"].isna())
    return frame.assign(permanent_from=since.astype("datetime64[s]"), permanent=since.notna())


def _with_clock(frame: pd.DataFrame, records: Records) -> pd.DataFrame:
    start = max(records.start_of("intakes"), records.start_of("outcomes"))
    origin = frame["clock_start"]
    days = (frame["outcome_date"].fillna(records.as_of) - origin).dt.days
    silent = (records.as_of - frame["last_seen"]).dt.days
    far = days > far_point(days, frame["taxon"], frame["end"].isin(CAUSES))
    lost = (
        (frame["end"] == IN_CARE)
        & ~frame["permanent"]
        & far
        & (silent >= int(records.settings["dates.lost_after_days"]))
    )
    days = days.where(~lost, (frame["last_seen"] - origin).dt.days)
    last = days - (frame["end"] == SPLIT_OFF)
    first = ((frame["intake_date"] - origin).dt.days).clip(lower=(start - origin).dt.days)
    end = frame["end"].mask(lost, LOST)
    return frame.assign(
        end=end,
        outcome=frame["outcome"].mask(lost, LOST),
        days=days.astype("int64"),
        first_day=first.astype("int64"),
        last_day=last.astype("int64"),
        entry=(first - 1).astype("int64"),
        exit=last.astype("int64"),
        cause=end.map(CAUSE_OF).fillna(0).astype("int64"),
        used=(last >= first) & ~frame["dead_on_arrival"],
    )
