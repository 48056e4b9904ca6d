"""Dates, units, decimal signs and words for nothing of each sheet, decided from its cells."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from mendcurve.records.connecting.assigning import Feed
from mendcurve.records.connecting.code_lines import codes_of_feed
from mendcurve.records.connecting.dates_evidence import date_order
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.signs_evidence import currency_of, decimal_sign_of, missing_words
from mendcurve.records.connecting.units_evidence import weight_unit
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.schemas import TABLES
from mendcurve.records.species import reference

_NUMBERS = ("number", "money")
_IN_ORDER = (
    ("intake_date", "outcome_date"),
    ("hatched_on", "intake_date"),
    ("found_on", "ended_on"),
    ("from_date", "to_date"),
    ("first_dose_at", "stopped_at"),
    ("asked_on", "answered_on"),
)


def settle(feeds: Sequence[Feed], vocabulary: Vocabulary) -> None:
    """Fill in the settings and codes of all feeds, in place."""
    sheets: dict[int, list[Feed]] = {}
    for feed in feeds:
        sheets.setdefault(id(feed.seen), []).append(feed)
    _dates(sheets.values())
    for group in sheets.values():
        _of_sheet(group, "decimal", decimal_sign_of(_columns(group, _NUMBERS)))
        _missing(group, vocabulary)
    species = _species_by_id(feeds)
    for feed in feeds:
        _unit(feed, species)
        feed.codes = codes_of_feed(feed, vocabulary)


def currency(feeds: Sequence[Feed]) -> Decision:
    """Return the currency the amounts are in, where they say it."""
    texts: dict[str, pd.Series] = {}
    for feed in feeds:
        texts |= _columns([feed], ("money",))
    return currency_of(texts) if texts else Decision(value="")


def _of_sheet(group: Sequence[Feed], key: str, decided: Decision) -> None:
    """Write a decision about a sheet into each of its feeds; reasons and doubts into the first."""
    if not decided.value and not decided.doubts:
        return
    for place, feed in enumerate(group):
        if place == 0:
            feed.settings[key] = decided
        elif decided.value:
            feed.settings[key] = Decision(value=decided.value)


def _columns(group: Sequence[Feed], kinds: tuple[str, ...]) -> dict[str, pd.Series]:
    """Return heading -> text of the columns of these kinds, weighings turned long among them."""
    out: dict[str, pd.Series] = {}
    for feed in group:
        cells = feed.seen.sheet.cells
        out |= {h: cells[h] for c, h in feed.headings.items() if TABLES[feed.table].column(c).kind in kinds}
        if "number" in kinds and feed.wide is not None and feed.wide.spec:
            out |= {h: cells[h] for h in _weights(feed)}
    return out


def _weights(feed: Feed) -> list[str]:
    """Return the headings under which the weights of a feed stand."""
    if feed.wide is not None and feed.wide.spec:
        return list(feed.wide.spec.get("pairs", {})) or list(feed.wide.columns)
    return [feed.headings["weight"]] if "weight" in feed.headings else []


def _dates(sheets: Iterable[list[Feed]]) -> None:
    """Decide the order of day and month of each sheet; what others prove helps where one proves nothing."""
    groups = list(sheets)
    decided = [_order(group, {}) for group in groups]
    proved = {group[0].seen.where: one.value for group, one in zip(groups, decided, strict=True) if one.value}
    for group, one in zip(groups, decided, strict=True):
        again = _order(group, proved) if not one.value and one.doubts and proved else one
        _of_sheet(group, "date_order", again)


def _order(group: Sequence[Feed], elsewhere: Mapping[str, str]) -> Decision:
    seen = group[0].seen
    dated: dict[str, None] = {}
    for feed in group:
        dated |= {
            h: None for c, h in feed.headings.items() if TABLES[feed.table].column(c).kind in ("date", "datetime")
        }
        spec = feed.wide.spec if feed.wide else {}
        dated |= dict.fromkeys([*spec.get("pairs", {}).values(), *([spec["start"]] if "start" in spec else [])])
    cells = seen.sheet.cells
    wide = next((f.wide for f in group if f.wide is not None and f.wide.order), None)
    own = date_order(
        {h: cells[h] for h in dated},
        {h: cells[h] for h in cells.columns if h not in dated},
        seen.sheet.row,
        pairs=_pairs(group),
        sheet=seen.look.name or seen.look.file,
        elsewhere=elsewhere,
    )
    if wide is not None and not own.value and not own.doubts:
        return Decision(value=wide.order)
    return own


def _pairs(group: Sequence[Feed]) -> list[tuple[str, str]]:
    """Return headings of which the first day never lies after the second."""

    def of(column: str) -> str:
        return next((f.headings[column] for f in group if column in f.headings), "")

    return [(of(a), of(b)) for a, b in _IN_ORDER if of(a) and of(b)]


def _missing(group: Sequence[Feed], vocabulary: Vocabulary) -> None:
    """List the words for nothing; what stands among numbers and may mean more is left for check to point out."""
    seen = group[0].seen
    meaning: dict[str, set[str]] = {}
    for feed in group:
        for column, heading in feed.headings.items():
            words = vocabulary.codes_of(feed.table, column) | vocabulary.guesses_of(feed.table, column)
            meaning.setdefault(heading, set()).update(words)
    read = dict.fromkeys(h for feed in group for h in (*feed.headings.values(), *_weights(feed)))
    found = missing_words({h: seen.sheet.cells[h] for h in read}, meaning)
    _of_sheet(group, "missing", Decision(value=list(found.value), reasons=found.reasons))


def _species_by_id(feeds: Sequence[Feed]) -> dict[str, str]:
    """Return id of a stay or animal -> species, from the sheets of intakes."""
    out: dict[str, str] = {}
    for feed in feeds:
        species = feed.headings.get("species", "")
        if feed.table != "intakes" or not species:
            continue
        cells = feed.seen.sheet.cells
        for column in ("animal_id", "stay_id"):
            if column in feed.headings:
                ids = cells[feed.headings[column]].str.strip()
                out |= dict(zip(ids, cells[species].astype(str), strict=True))
    out.pop("", None)
    return out


def _unit(feed: Feed, species: Mapping[str, str]) -> None:
    headings = _weights(feed)
    if feed.table != "weighings" or not headings or _unit_column(feed):
        return
    cells = feed.seen.sheet.cells
    ids = feed.headings.get("stay_id", "")
    own = next((h for h, p in feed.seen.profiles.items() if p.species >= 0.5), "")
    kinds: pd.Series | None = None
    if ids and species:
        kinds = cells[ids].str.strip().map(species).astype(object)
    elif own:
        kinds = cells[own].astype(object)
    weights = pd.concat([cells[h].astype(object) for h in headings], ignore_index=True)
    repeated = None if kinds is None else pd.concat([kinds.fillna("")] * len(headings), ignore_index=True)
    sign = feed.settings.get("decimal", Decision(value="")).value
    labels = {feed.seen.labels[h] for h in headings}
    decided = weight_unit(
        weights, repeated, reference(), heading=labels.pop() if len(labels) == 1 else "", decimal=sign
    )
    if decided.value or decided.doubts:
        feed.settings["unit"] = decided


def _unit_column(feed: Feed) -> bool:
    """Whether a column of units stands beside nearly every weight."""
    heading, weight = feed.headings.get("unit", ""), feed.headings.get("weight", "")
    return bool(heading and weight) and feed.seen.profiles[heading].filled >= 0.95 * feed.seen.profiles[weight].filled
