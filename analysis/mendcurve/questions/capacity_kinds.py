"""Kinds within a zone: animals whose time there differs, where enough of each kind have left it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines.places import IN_CARE, LOST, ONE_ZONE, SPLIT_OFF

# Spells of a kind whose end was seen, for hazards of its own; kinds with fewer are taken together. In back-tests of an
# invented rescue 60 scored better than 30 and than none.
ENOUGH = 60
REST = ""


def inside(zone: str) -> str:
    """Return 'in quarantine', but 'in care' for the one zone of a rescue that records none."""
    return zone if zone == ONE_ZONE else f"in {zone}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kinds:
    """Kinds of each zone.

    Attributes
    ----------
    names : tuple of (str, str)
        Zone and kind ("" is the rest), in order of zones.
    code : Series of int
        Place in ``names`` of each spell.
    borrows : frozenset of int
        Places whose own spells are too few: they borrow the hazards of all of their zone.
    """

    names: tuple[tuple[str, str], ...]
    code: pd.Series
    borrows: frozenset[int]

    def belongs(self, zones: tuple[str, ...]) -> np.ndarray:
        """Return the zone of each kind."""
        return np.array([zones.index(zone) for zone, _ in self.names], dtype=np.int64)


def kinds(records: Records, moved: pd.DataFrame, zones: tuple[str, ...], start: pd.Timestamp) -> Kinds:
    """Return the kind of each spell: by condition in the treatment zone, elsewhere by taxon group.

    Notes
    -----
    The condition is the one open on the first day of the spell that has lasted longest in the past (median of closed
    episodes). Only what was known on that day decides.
    """
    treated = moved["zone"] == records.settings["zones.treatment"]
    kind = moved["taxon"].astype(object).mask(treated, _condition(records, moved[treated]))
    kind = kind.fillna(REST).astype(str)
    ended = ~moved["next"].isin([IN_CARE, LOST, SPLIT_OFF]) & (moved["to_date"] >= start) & ~moved["permanent"]
    counts = pd.Series(1, index=moved.index)[ended].groupby([moved["zone"][ended], kind[ended]]).sum()
    names: list[tuple[str, str]] = []
    borrows = set()
    for zone in zones:
        own = counts.xs(zone, level=0) if zone in counts.index.get_level_values(0) else pd.Series(dtype="int64")
        large = sorted(k for k in own.index if own[k] >= ENOUGH and k != REST)
        if set(kind[moved["zone"] == zone]) - set(large):
            if large and own.drop(large).sum() < ENOUGH:
                borrows.add(len(names))
            names.append((zone, REST))
        names += [(zone, k) for k in large]
    place = {name: i for i, name in enumerate(names)}
    pairs = zip(moved["zone"], kind, strict=True)
    code = [place[zone, k] if (zone, k) in place else place[zone, REST] for zone, k in pairs]
    return Kinds(names=tuple(names), code=pd.Series(code, index=moved.index, dtype="int64"), borrows=frozenset(borrows))


def _condition(records: Records, treated: pd.DataFrame) -> pd.Series:
    table = records["conditions"][["stay_id", "condition", "found_on", "ended_on"]]
    table = table[table["found_on"] <= records.as_of]
    ended = table["ended_on"].where(table["ended_on"] <= records.as_of)
    lasted = (ended - table["found_on"]).dt.days.groupby(table["condition"]).median()
    both = treated[["stay_id", "from_date"]].reset_index().merge(table.assign(ended_on=ended), on="stay_id")
    both = both[(both["found_on"] <= both["from_date"]) & ~(both["ended_on"] <= both["from_date"])]
    both = both.assign(lasted=both["condition"].map(lasted).astype("float64").fillna(0.0))
    longest = both.sort_values(["lasted", "condition"], kind="stable").drop_duplicates("index", keep="last")
    return longest.set_index("index")["condition"].reindex(treated.index).astype(object)
