"""Zones with more in them than they have places for: moves or outcomes that were not written down."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.chronology import ends
from mendcurve.records.findings import DOUBTFUL, NOTE
from mendcurve.records.review import Review, by_id, looked_up, worded

# A rescue that is too full is unusual, no more; with this many times its places the records are to be doubted.
TIMES = 3.0
_KEY = ["zone", "room"]


def check_zones(review: Review, as_of: pd.Timestamp) -> None:
    """Note each zone and room that held more than its places, once, at the line of housing with too few.

    Notes
    -----
    Only moves count: what was never moved is in no zone. A group of which a move names a place takes one place, else
    one an animal. Where housing names no room for a zone, its rooms count together; a zone with no number of places
    is never full.
    """
    housing = review.tables["housing"]
    if not len(housing) or not len(review.tables["moves"]):
        return
    spells = _spells(review, as_of)
    roomed = housing.groupby("zone")["room"].transform(lambda r: r.notna().all())
    parts = [
        _fullest(housing[roomed], spells[spells["room"].notna()], _KEY),
        _fullest(housing[~roomed], spells, ["zone"]),
    ]
    full = [part for part in parts if len(part)]
    worst = pd.concat(full) if full else parts[0]
    for many, effect in ((False, NOTE), (True, DOUBTFUL)):
        some = worst[(worst["held"] >= TIMES * worst["places"].clip(lower=1)) == many]
        bad = pd.Series(housing.index.isin(some.index), index=housing.index)
        rule = worded(
            "a zone holds no more than its places: {zone} had {n} in {places} places on {day}, "
            "its fullest, and more than its places on {days}",
            bad,
            zone=some["name"],
            n=some["held"],
            places=some["places"],
            day=some["day"],
            days=some["days"].map(lambda d: f"{d} days" if d > 1 else "that day only"),
        )
        do = "Write down the moves and outcomes that are missing, or the places added, from their day on."
        review.report(
            "housing", bad, "places", rule, do, effect, "a move or an outcome was not written down, or it was too full"
        )


def _spells(review: Review, as_of: pd.Timestamp) -> pd.DataFrame:
    """Return zone, room, from, to (exclusive) and places taken of each spell that follows from a move."""
    intakes = review.tables["intakes"]
    span = ends(intakes, review.tables["outcomes"])
    stays = by_id(intakes, "stay_id")
    moves = review.tables["moves"].sort_values(["stay_id", "moved_on", "source_row"], kind="stable")
    # Parts of groups go their own ways; where they are cannot be told from one line.
    parted = moves["stay_id"].isin(moves.loc[moves["animals"].notna(), "stay_id"])
    parted |= moves["stay_id"].isin(intakes["split_from"].dropna())
    moves = moves[~parted]
    after = moves.groupby("stay_id", sort=False)["moved_on"].shift(-1)
    left = looked_up(moves["stay_id"], span["end"])
    # A group of which some have left takes fewer places than it had; it is counted from then on as none.
    some = review.tables["outcomes"].groupby("stay_id")["outcome_date"].min()
    left = left.fillna(looked_up(moves["stay_id"], some).astype("datetime64[s]")).fillna(as_of + pd.Timedelta(days=1))
    size = looked_up(moves["stay_id"], stays["group_size"]).fillna(1).astype("int64")
    return pd.DataFrame(
        {
            "zone": moves["zone"],
            "room": moves["room"],
            "from": moves["moved_on"],
            "to": after.where(after < left, left),
            "taken": size.where(moves["place"].isna(), 1),
        }
    )


def _fullest(housing: pd.DataFrame, spells: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """Return, by index of ``housing``, the fullest day over its places: day, held, places, over, days, name."""
    lines = housing.groupby([*key, "from_date"], sort=False).agg(
        places=("places", lambda p: p.astype("float64").sum(min_count=len(p))), line=("zone", lambda z: z.index[-1])
    )
    lines = lines.reset_index().sort_values("from_date", kind="stable")
    use = spells[spells["from"] < spells["to"]].merge(lines[key].drop_duplicates(), on=key)
    # Leaving and arriving on one day: the place is free first.
    change = pd.concat(
        [
            use[key].assign(day=use["from"], n=use["taken"]),
            use[key].assign(day=use["to"], n=-use["taken"]),
            lines[key].assign(day=lines["from_date"], n=0),
        ]
    )
    held = change.groupby([*key, "day"])["n"].sum().reset_index().sort_values("day", kind="stable")
    held["held"] = held.groupby(key)["n"].cumsum()
    held["until"] = held.groupby(key)["day"].shift(-1)
    held = pd.merge_asof(held, lines.rename(columns={"from_date": "day"}), on="day", by=key)
    held["days"] = (held["until"] - held["day"]).dt.days.fillna(1).astype("int64")
    over = held[held["held"] > held["places"]]
    over = over.assign(over=over["held"] - over["places"], days=over.groupby(key)["days"].transform("sum"))
    top = over.sort_values(["over", "day"], ascending=[False, True], kind="stable").drop_duplicates(key)
    names = [", ".join(map(str, place)) for place in zip(*(top[name] for name in key), strict=True)]
    top = top.assign(name=pd.Series(names, top.index, "object"))
    return top.set_index(top["line"].astype("int64"))[["day", "held", "places", "over", "days", "name"]]
