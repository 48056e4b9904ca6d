"""Sheets that hold the rest of another's rows: species and sex on a sheet of animals, the days on one of admissions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from mendcurve.records.connecting.assigning import Feed, Seen
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.looking import Look
from mendcurve.records.connecting.matching import match
from mendcurve.records.connecting.profiling import profile_of
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.folding import folded
from mendcurve.records.schemas import TABLES
from mendcurve.records.sheets import named

# Share of rows that must find their row in the other sheet, of its keys that must differ, and of those that are asked.
_FOUND, _DIFFER, _ASKED = 0.9, 0.95, 0.3
_FEWEST = 3
# What a sheet is taken for whose columns another sheet looks up.
LOOKED_UP = "looked up"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Join:
    """A sheet with the columns of another beside its own.

    Attributes
    ----------
    seen : Seen
        The sheet with the other's columns.
    spec : mapping
        The value of ``more_from`` in records.toml.
    other : Look
        Where the columns came from.
    reason : str
    """

    seen: Seen
    spec: Mapping[str, Any]
    other: Look
    reason: str


def joins(sheets: Sequence[Seen], vocabulary: Vocabulary, species: Mapping[str, str]) -> dict[int, Join]:
    """Return, by ``id`` of a Seen, the join of each sheet that has the day of arrival and lacks the species."""
    matched = {id(one): _sure(one, vocabulary) for one in sheets}
    lacking = [one for one in sheets if "intake_date" in matched[id(one)] and "species" not in matched[id(one)]]
    holding = [one for one in sheets if "species" in matched[id(one)] and "intake_date" not in matched[id(one)]]
    out = {}
    for one in lacking:
        found = best_join(one, holding, species)
        if found is not None:
            out[id(one)] = found
    return out


def best_join(one: Seen, others: Iterable[Seen], species: Mapping[str, str]) -> Join | None:
    """Return the join with the sheet of ``others`` in which most rows of ``one`` find theirs, or None."""
    tried = [(*key, at, other) for at, other in enumerate(others) if (key := _key(one, other)) is not None]
    if not tried:
        return None
    share, here, there, _, other = max(tried, key=lambda t: (t[0], -t[3]))
    spec: dict[str, Any] = {"file": other.look.file}
    if other.look.name:
        spec["sheet"] = other.look.name
    if other.look.heading_row is not None:
        spec["heading_row"] = other.look.heading_row
    spec["match"] = {here: there}
    reason = f'{share:.0%} of its rows find their "{here}" under "{there}" in {other.where}, which holds more of them'
    return Join(seen=_beside(one, other, here, there, species), spec=spec, other=other.look, reason=reason)


def settle_join(join: Join, alone: Seen, feeds: Sequence[Feed]) -> None:
    """Write the join into the feeds that read the other sheet's columns; its key names the animal."""
    (here,) = join.spec["match"]
    own = set(alone.sheet.cells.columns)
    for feed in feeds:
        if set(feed.headings.values()) - own:
            feed.settings["more_from"] = Decision(value=join.spec, reasons=(join.reason,))
        if feed.table == "intakes" and feed.headings.get("stay_id") not in ("", here, None):
            feed.columns["animal_id"] = Decision(value=here, reasons=(f"it finds the animal in {join.other.where}",))
            feed.maybe = {column: found for column, found in feed.maybe.items() if found.value != here}


def _sure(one: Seen, vocabulary: Vocabulary) -> dict[str, str]:
    """Return the columns of intakes the sheet has, by headings that leave no doubt."""
    found = match(TABLES["intakes"], one.labels, one.profiles, vocabulary)
    return {column: m.heading for column, m in found.items() if m.sure}


def _key(one: Seen, other: Seen) -> tuple[float, str, str] | None:
    """Return share of rows found, heading here and heading there of the key both share, or None."""
    best: tuple[float, bool, str, str] | None = None
    for there, profile in other.profiles.items():
        keys = other.sheet.cells[there].map(_fold(other.sheet.cells[there])).astype(object)
        keys = keys[keys != ""]
        known = set(keys)
        if len(known) < max(_FEWEST, _DIFFER * len(keys)) or len(keys) < _FOUND * profile.rows or profile.date >= 0.5:
            continue
        for here, own in one.profiles.items():
            if own.date >= 0.5 or not own.filled:
                continue
            words = one.sheet.cells[here].map(_fold(one.sheet.cells[here])).astype(object)
            share = float(words.isin(known).mean())
            asked = len(known & set(words)) / len(known)
            rank = (share, folded(here) == folded(there), here, there)
            if share >= _FOUND and asked >= _ASKED and (best is None or rank > best):
                best = rank
    return None if best is None else (best[0], best[2], best[3])


def _fold(text: pd.Series) -> dict[object, str]:
    return {word: folded(str(word)) for word in text.unique()}


def _beside(one: Seen, other: Seen, here: str, there: str, species: Mapping[str, str]) -> Seen:
    keys = other.sheet.cells[there].map(_fold(other.sheet.cells[there])).astype(object)
    wanted = one.sheet.cells[here].map(_fold(one.sheet.cells[here])).astype(object)
    first = other.sheet.cells[~keys.duplicated()].astype(object)
    first.index = pd.Index(keys[~keys.duplicated()], dtype=object)
    own = list(one.sheet.cells.columns)
    new = [h for h in other.sheet.cells.columns if h != there and named(own, h) is None]
    added = {h: first[h].reindex(wanted.to_numpy()).fillna("").to_numpy() for h in new}
    cells = one.sheet.cells.assign(**added)
    return replace(
        one,
        sheet=replace(one.sheet, cells=cells),
        labels={**one.labels, **{h: other.labels[h] for h in new}},
        profiles={**one.profiles, **{h: profile_of(cells[h], species) for h in new}},
    )
