"""Zones, places, and what lasts: foster, brumation, gravidity, holds, ready for a home."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.demo import truth
from mendcurve.demo.arrivals import NEVER, Stay
from mendcurve.demo.illness import sleeps

ROOM = {"arid": "room 1", "tropical": "room 2", "aquatic": "room 3"}
FOSTERED = 0.05
# zone, rule, minutes a day, places by kind at first, and from a later day on
ZONES = (
    (
        "quarantine",
        "open",
        14,
        {"arid": 20, "tropical": 9, "aquatic": 4},
        430,
        {"arid": 28, "tropical": 11, "aquatic": 7},
    ),
    (
        "treatment",
        "open",
        22,
        {"arid": 10, "tropical": 5, "aquatic": 3},
        520,
        {"arid": 14, "tropical": 5, "aquatic": 5},
    ),
    ("adoption", "open", 9, {"arid": 20, "tropical": 8, "aquatic": 5}, 610, {"arid": 22, "tropical": 8, "aquatic": 6}),
)


def foster_some(rng: np.random.Generator, stays: list[Stay]) -> dict[int, tuple[int, int]]:
    """Let some animals ready for a home wait for it in a foster home; return key -> (from, to)."""
    fostered = {}
    for stay in stays:
        if not stay.zones or stay.zones[-1][1] != "adoption" or stay.size > 1 or rng.random() > FOSTERED * 2:
            continue
        since = stay.zones[-1][0] + 4 + int(rng.integers(10))
        if since < stay.out:
            stay.zones.append((since, "foster"))
            fostered[stay.key] = (since, stay.out)
    return fostered


def brumations(stays: list[Stay]) -> dict[int, list[tuple[int, int]]]:
    """Return the winters each grown tortoise in care and well sleeps through: key -> [(from, to)]."""
    out: dict[int, list[tuple[int, int]]] = {}
    for stay in stays:
        if not sleeps(stay):
            continue
        for fall, spring in truth.WINTERS:
            since, until = (fall - truth.RECORDS_START).days, (spring - truth.RECORDS_START).days
            since = max(since, stay.day + 14, *(e.ends + 7 for e in stay.episodes))
            if min(until, stay.out) > since + 25:
                out.setdefault(stay.key, []).append((since, min(until, stay.out)))
    return out


def gravidities(rng: np.random.Generator, stays: list[Stay]) -> dict[int, tuple[int, int]]:
    """Return the weeks in which some adult females carry eggs: key -> (from, day of laying)."""
    out = {}
    for stay in stays:
        if stay.stage != "adult" or stay.sex != "female" or stay.taxon not in ("lizard", "snake", "turtle"):
            continue
        if stay.size > 1 or not stay.zones or rng.random() > 0.30:
            continue
        since = stay.day + 7 + int(rng.integers(30))
        laid = since + 24 + int(rng.integers(14))
        if laid + 14 < stay.out:
            out[stay.key] = (since, laid)
    return out


def periods(stays: list[Stay], lasting: dict[str, dict]) -> pd.DataFrame:
    """Return the periods table in truth (dates beyond as-of included)."""
    rows = []
    for stay in stays:
        for zone_from, zone in stay.zones:
            if zone == "adoption" and stay.split_from is None:
                rows.append((stay.key, "ready for a home", zone_from, stay.out))
        if stay.special == "resident":
            rows.append((stay.key, "permanent resident", stay.day + 90, NEVER))
        if stay.special == "seizure":
            rows.append((stay.key, "hold", stay.day, min(stay.day + 21, stay.out)))
        if stay.key in lasting["foster"]:
            rows.append((stay.key, "foster", *lasting["foster"][stay.key]))
        rows += [(stay.key, "brumating", a, b) for a, b in lasting["brumating"].get(stay.key, [])]
        if stay.key in lasting["gravid"]:
            rows.append((stay.key, "gravid", *lasting["gravid"][stay.key]))
    return pd.DataFrame(rows, columns=["key", "what", "from_date", "to_date"])


def moves(stays: list[Stay]) -> pd.DataFrame:
    """Return the moves table in truth; rooms go by kind of housing."""
    rows = [
        (stay.key, since, zone, ROOM[stay.species.housing] if zone in ("quarantine", "treatment", "adoption") else None)
        for stay in stays
        for since, zone in stay.zones
    ]
    return pd.DataFrame(rows, columns=["key", "moved_on", "zone", "room"])


def housing() -> pd.DataFrame:
    """Return the housing table: each zone has more places from a later day on."""
    rows: list[tuple] = []
    for zone, rule, minutes, first, changed, then in ZONES:
        for since, places in ((truth.FIRST_DAY, first), (changed, then)):
            rows += [(zone, kind, ROOM[kind], rule, n, since, minutes) for kind, n in places.items()]
    rows.append(("residents", None, None, "open", 3, truth.FIRST_DAY, 6))
    rows.append(("foster", None, None, "open", None, truth.FIRST_DAY, None))
    names = ["zone", "housing_kind", "room", "rule", "places", "from_date", "minutes_per_animal_day"]
    return pd.DataFrame(rows, columns=names)


def fullness(stays: list[Stay]) -> dict[str, np.ndarray]:
    """Return, by kind of housing, the share of quarantine places in use on each day from records start."""
    days = truth.LAST_DAY + 1
    _, _, _, first, changed, then = ZONES[0]
    out = {}
    for kind in ROOM:
        change = np.zeros(days + 1)
        for stay in stays:
            if stay.species.housing != kind or not stay.zones:
                continue
            leaves = stay.zones[1][0] if len(stay.zones) > 1 else stay.out
            change[min(max(stay.zones[0][0], 0), days)] += 1
            change[min(max(leaves, 0), days)] -= 1
        out[kind] = np.cumsum(change[:-1]) / np.where(np.arange(days) < changed, first[kind], then[kind])
    return out
