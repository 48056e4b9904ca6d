"""Places: which zone every animal was in, from when to when, as moved or, where moves are not recorded, by rule."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.building import TEXT
from mendcurve.records.records import Records
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.stays import stays

COLUMNS = (
    "stay_id",
    "part",
    "cluster",
    "taxon",
    "zone",
    "housing_kind",
    "room",
    "from_date",
    "to_date",
    "animals",
    "places",
    "assumed",
    "next",
    "permanent",
)
ONE_ZONE = "in care"
# What a spell can end in besides another zone.
IN_CARE, LOST, SPLIT_OFF = "in care", "lost track of", "split off"


def spells(records: Records, frame: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return one row for each spell of (a part of) a stay in a zone.

    Parameters
    ----------
    records : Records
    frame : DataFrame, optional
        ``stays(records)``, where it is at hand.

    Returns
    -------
    DataFrame, columns ``COLUMNS``
        In the zone on days ``from_date <= d < to_date`` (NaT: still). ``places`` is what it takes of the zone's places:
        one for a group of which a move row names a place, else one an animal. ``assumed``: the zone is not recorded
        but follows from the rescue's rules. ``next``: the next zone, or how the stay ended ("in care": it has not).

    Notes
    -----
    A move counts in the new zone from its day. Of several moves on one day the last counts: a spell without a day in
    the census is kept only if it is all of the stay. Before its first move, and without moves, an animal is in
    quarantine for the days the rescue set for its taxon, then in treatment until its last episode has ended, then in
    adoption until its outcome. Where neither moves nor housing are recorded and the rescue has set no rule of its
    own, nothing is assumed: everything is one zone, "in care". A stay split from a group goes on in the group's zone
    and keeps the group's clock. A move of part of a group moves those that left first; animals dead on arrival take
    no place. A stay lost track of ends at its last record.
    """
    frame = stays(records) if frame is None else frame
    frame = frame[~frame["dead_on_arrival"]].assign(
        out=lambda f: f["outcome_date"].mask(f["end"] == LOST, f["last_seen"]).astype("datetime64[s]")
    )
    if not zones_known(records):
        steps = _steps(frame, frame["intake_date"], ONE_ZONE)
    else:
        moved = _moved(records, frame)
        steps = pd.concat([moved, _before_moves(records, frame, moved)], ignore_index=True)
    return _spells(steps, frame)


def places_on(records: Records, day: pd.Timestamp) -> pd.Series:
    """Return the places of each zone on a day, by zone; missing: the zone takes no place, or has no number."""
    table = records["housing"]
    table = table[table["from_date"] <= day].sort_values("from_date", kind="stable")
    now = table.groupby(["zone", "housing_kind", "room"], dropna=False, sort=False).tail(1)
    return now.groupby("zone", sort=False)["places"].sum(min_count=1)


def zone_order(records: Records, present: pd.Series) -> tuple[str, ...]:
    """Return the zones: quarantine, treatment and adoption first, then as housing lists them, then as met."""
    first = [str(records.settings[f"zones.{name}"]) for name in ("quarantine", "treatment", "adoption")]
    listed = [*first, *records["housing"]["zone"].dropna().tolist(), *present.tolist()]
    met = set(present)
    return tuple(z for z in dict.fromkeys(listed) if z in met)


def zones_known(records: Records) -> bool:
    """Whether moves or housing are recorded, or the rescue has stated rules of its own (a ``zones`` setting)."""
    stated = any(path.startswith("zones.") and not records.settings.is_default(path) for path in records.settings)
    return stated or records.has("moves") or records.has("housing")


def _steps(frame: pd.DataFrame, since: pd.Series, zone: str | pd.Series, *, assumed: bool = False) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "stay_id": frame["stay_id"],
            "part": frame["part"],
            "since": since,
            "zone": zone,
            "room": None,
            "place": None,
            "assumed": assumed,
            "order": -1,
        }
    ).astype({"room": TEXT, "place": TEXT, "zone": TEXT})


def _moved(records: Records, frame: pd.DataFrame) -> pd.DataFrame:
    """Return a step for each move and part it concerns."""
    moves = records["moves"]
    moves = moves[(moves["moved_on"] <= records.as_of) & moves["zone"].notna()]
    moves = moves.assign(order=np.arange(len(moves)))
    part = frame[["stay_id", "part", "animals", "intake_date", "out"]].rename(columns={"animals": "of_part"})
    part = part.assign(up_to=part.groupby("stay_id")["of_part"].cumsum())
    both = moves.merge(part, on="stay_id")
    some = both["animals"].astype("float64")
    both = both[(some.isna() | (both["up_to"] <= some)) & (both["out"].isna() | (both["moved_on"] <= both["out"]))]
    since = both["moved_on"].where(both["moved_on"] >= both["intake_date"], both["intake_date"])
    return pd.DataFrame(
        {
            "stay_id": both["stay_id"],
            "part": both["part"],
            "since": since.astype("datetime64[s]"),
            "zone": both["zone"],
            "room": both["room"],
            "place": both["place"],
            "assumed": False,
            "order": both["order"],
        }
    )


def _before_moves(records: Records, frame: pd.DataFrame, moved: pd.DataFrame) -> pd.DataFrame:
    """Return the steps that follow from the rules: all of them without moves, else only those before the first."""
    key = ["stay_id", "part"]
    first = moved.groupby(key)["since"].min().rename("first_move").reset_index()
    frame = frame.merge(first, on=key, how="left")
    zone = {name: str(records.settings[f"zones.{name}"]) for name in ("quarantine", "treatment", "adoption")}
    parent = _zone_of_group(records, frame)
    start = _steps(frame, frame["intake_date"], parent.fillna(zone["quarantine"]), assumed=True)
    # Beyond quarantine the rules speak only where no move does.
    free = frame[frame["first_move"].isna()]
    ready = _clear_of_quarantine(records, free)
    healed = look_up(free["stay_id"], _last_episode_end(records))
    ill_after = healed > ready
    treated = _steps(free[ill_after], ready[ill_after], zone["treatment"], assumed=True)
    waiting = healed.where(ill_after, ready).where(healed != pd.Timestamp.max.as_unit("s"))
    adopted = _steps(free, waiting.astype("datetime64[s]"), zone["adoption"], assumed=True)
    late = pd.concat([treated, adopted[adopted["since"].notna()]], ignore_index=True)
    late = late.assign(order=[1] * len(treated) + [2] * (len(late) - len(treated)))
    both = pd.concat([start, late], ignore_index=True)
    both = both.merge(frame[[*key, "intake_date", "out", "first_move"]], on=key)
    both["since"] = both["since"].where(both["since"] >= both["intake_date"], both["intake_date"])
    limit = both["out"].fillna(records.as_of)
    keep = (both["since"] <= limit) & (both["first_move"].isna() | (both["since"] < both["first_move"]))
    return both.loc[keep, list(start.columns)]


def _clear_of_quarantine(records: Records, frame: pd.DataFrame) -> pd.Series:
    by_taxon = {str(k): int(v) for k, v in records.settings["zones.quarantine_days"].items()}
    other = int(records.settings["zones.default_quarantine_days"])
    days = frame["taxon"].map(lambda t: by_taxon.get(t, other)).astype("int64")
    return (frame["clock_start"] + pd.to_timedelta(days, unit="D")).astype("datetime64[s]")


def _last_episode_end(records: Records) -> pd.Series:
    """Return, by stay, the day its last episode ended; the far future while one is open."""
    table = records["conditions"]
    table = table[table["found_on"] <= records.as_of]
    ended = table["ended_on"].where(table["ended_on"] <= records.as_of).fillna(pd.Timestamp.max.as_unit("s"))
    return ended.astype("datetime64[s]").groupby(table["stay_id"]).max()


def _zone_of_group(records: Records, frame: pd.DataFrame) -> pd.Series:
    """Return the zone the group was in on the day a stay was split from it; missing for others."""
    split = frame.loc[~frame["is_intake"], ["stay_id", "intake_date"]].drop_duplicates("stay_id")
    parent = look_up(split["stay_id"], records["intakes"].drop_duplicates("stay_id").set_index("stay_id")["split_from"])
    moves = records["moves"][["stay_id", "moved_on", "zone"]].dropna()
    both = split.assign(parent=parent).merge(moves.rename(columns={"stay_id": "parent"}), on="parent")
    both = both[both["moved_on"] <= both["intake_date"]].sort_values("moved_on", kind="stable")
    last = both.drop_duplicates("stay_id", keep="last").set_index("stay_id")["zone"]
    return look_up(frame["stay_id"], last)


def _spells(steps: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Turn steps into spells: one ends where the next begins; those of no length go, as do moves to the same place."""
    key = ["stay_id", "part"]
    steps = steps.sort_values([*key, "since", "order"], kind="stable", ignore_index=True)
    steps = steps.drop_duplicates([*key, "since"], keep="last", ignore_index=True)
    same = (steps[key].eq(steps[key].shift()).all(axis=1)) & (steps["zone"] == steps["zone"].shift())
    steps["place"] = steps.groupby([*key, (~same).cumsum()])["place"].transform("first")
    steps = steps[~same].reset_index(drop=True)
    steps = steps.merge(
        frame[[*key, "cluster", "taxon", "housing_kind", "animals", "out", "end", "permanent"]], on=key, how="left"
    )
    after = steps.groupby(key, sort=False)[["since", "zone"]].shift(-1)
    last = after["since"].isna()
    # A last step on the day of leaving had no day in its zone: the stay ended from the zone before.
    steps = steps.assign(
        to_date=after["since"].where(~last, steps["out"]), next=after["zone"].where(~last, steps["end"])
    )
    empty = last & (steps["to_date"] == steps["since"]) & steps.duplicated(key)
    before = empty.shift(-1, fill_value=False)
    steps.loc[before, "next"] = steps.loc[before, "end"].to_numpy()
    steps = steps[~empty].reset_index(drop=True)
    steps["places"] = _places(steps)
    steps = steps.rename(columns={"since": "from_date"}).astype(
        {"from_date": "datetime64[s]", "to_date": "datetime64[s]"}
    )
    return steps.sort_values(["from_date", "stay_id", "part"], kind="stable", ignore_index=True)[list(COLUMNS)]


def _places(steps: pd.DataFrame) -> pd.Series:
    """One place for a group that shares a named one, carried by its last part; else one an animal."""
    shared = steps["place"].notna() & (steps["place"] != "")
    key = ["stay_id", "zone", "since"]
    carrier = ~steps.duplicated(key, keep="last")
    return steps["animals"].where(~shared, carrier.astype("int64")).astype("int64")
