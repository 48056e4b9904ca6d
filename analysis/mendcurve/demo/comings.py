"""The tables of who came, who left, and where each was housed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.demo import housing, truth
from mendcurve.demo.arrivals import Stay
from mendcurve.demo.dating import dates


def name_all(stays: list[Stay]) -> None:
    """Give stays and episodes their ids, in order of arrival."""
    number = 0
    width = max(4, len(str(len(stays))))
    for n, stay in enumerate(stays, start=1):
        stay.id = f"S-{n:0{width}d}"
        for e in sorted(stay.episodes, key=lambda e: (e.found, not e.main)):
            number += 1
            e.id = f"E-{number:0{width}d}"


def intakes(rng: np.random.Generator, stays: list[Stay]) -> pd.DataFrame:
    """Return the intakes table."""
    ids = {s.key: s.id for s in stays}
    width = len(stays[0].id) - 2
    animals = {a: f"A-{n:0{width}d}" for n, a in enumerate(dict.fromkeys(s.animal for s in stays if s.animal >= 0), 1)}
    arrivals = {a: f"V-{n:0{width}d}" for n, a in enumerate(dict.fromkeys(s.arrival for s in stays), 1)}
    young = np.array([s.stage in ("hatchling", "juvenile") for s in stays])
    age = np.where([s.how == "born in care" for s in stays], 0, rng.integers(30, 400, len(stays)))
    told = young & ((age == 0) | (rng.random(len(stays)) < 0.4))
    return pd.DataFrame(
        {
            "stay_id": [s.id for s in stays],
            "animal_id": [animals.get(s.animal) for s in stays],
            "species": [s.species.name for s in stays],
            "sex": [s.sex for s in stays],
            "life_stage": [s.stage for s in stays],
            "hatched_on": dates(np.where(told, np.array([s.day for s in stays]) - age, np.nan)),
            "hatched_on_kind": [
                ("known" if a == 0 else "estimated") if t else None for a, t in zip(age, told, strict=True)
            ],
            "intake_date": dates([s.day for s in stays]),
            "intake_type": [s.how for s in stays],
            "arrival_id": [arrivals[s.arrival] for s in stays],
            "group_size": pd.array([s.size for s in stays], dtype="Int64"),
            "split_from": [None if s.split_from is None else ids[s.split_from] for s in stays],
            "dead_on_arrival": [s.dead_on_arrival for s in stays],
            "housing_kind": [s.species.housing for s in stays],
            "story_ok": rng.random(len(stays)) < 0.06,
            "note": [s.note or None for s in stays],
        }
    )


def outcomes(stays: list[Stay]) -> pd.DataFrame:
    """Return the outcomes table up to the as-of date."""
    rows = [
        (s.id, at, what, n if s.size > 1 else None) for s in stays for at, what, n in s.ends if at <= truth.LAST_DAY
    ]
    rows.sort(key=lambda r: (r[1], r[0]))
    out = pd.DataFrame(rows, columns=["stay_id", "outcome_date", "outcome_type", "animals"])
    return out.assign(outcome_date=dates(out["outcome_date"]), animals=out["animals"].astype("Int64"))


def places(stays: list[Stay], lasting: dict[str, dict]) -> dict[str, pd.DataFrame]:
    """Return moves, periods and housing."""
    ids = {s.key: s.id for s in stays}
    moved = housing.moves(stays)
    moved = moved[moved["moved_on"] <= truth.LAST_DAY].sort_values(["moved_on", "key"], kind="stable")
    moved = pd.DataFrame(
        {
            "stay_id": moved["key"].map(ids).to_numpy(),
            "moved_on": dates(moved["moved_on"]),
            "zone": moved["zone"].to_numpy(),
            "room": moved["room"].to_numpy(),
        }
    )
    moved = moved.assign(place=None, animals=pd.array([pd.NA] * len(moved), dtype="Int64"))
    lasts = housing.periods(stays, lasting)
    lasts = lasts[lasts["from_date"] <= truth.LAST_DAY].sort_values(["from_date", "key", "what"], kind="stable")
    lasts = pd.DataFrame(
        {
            "stay_id": lasts["key"].map(ids).to_numpy(),
            "what": lasts["what"].to_numpy(),
            "from_date": dates(lasts["from_date"]),
            "to_date": dates(lasts["to_date"]),
        }
    )
    built = housing.housing()
    built["places"] = built["places"].astype("Int64")
    return {
        "moves": moved,
        "periods": lasts,
        "housing": built.assign(from_date=dates(built["from_date"])),
    }
