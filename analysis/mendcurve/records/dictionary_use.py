"""The rescue's dictionary at work: beside records.toml, which wins; a contradiction is said, never settled silently."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from mendcurve.records.dictionary import NUMBERS, Dictionary, Entry
from mendcurve.records.findings import Ledger
from mendcurve.records.folding import folded
from mendcurve.records.sources import Plan, Source
from mendcurve.records.species import lookup, reference

_ONE = "Correct one of the two; records.toml is used."
_NOTHING = "nothing"


def words_of(dictionary: Dictionary, table: str, column: str, ledger: Ledger) -> dict[str, str]:
    """Return word -> meaning of one column, as ``codes`` of records.toml; "" for nothing to read here.

    A word with two meanings keeps the first, and is a finding; a meaning that is itself said to mean another word is
    followed.
    """
    mine = [e for e in dictionary.entries if (table, column) in e.places and e.kind != "species"]
    first: dict[str, Entry] = {}
    words: dict[str, str] = {}
    for entry in mine:
        for word in (*((entry.word,) if entry.means else ()), *entry.also):
            earlier = first.setdefault(folded(word), entry)
            if folded(earlier.preferred) == folded(entry.preferred):
                words.setdefault(word, entry.preferred)
            else:
                _two_meanings(dictionary, word, earlier, entry, ledger)
    out = {}
    for word, meaning in words.items():
        end = _followed(meaning, {folded(w): m for w, m in words.items()})
        if end is None:
            rule = f'"{word}" and "{meaning}" are each said to mean the other; "{word}" is kept as it is'
            dictionary.tell(ledger, first[folded(word)].row, word, rule, "Correct one of the two.")
        else:
            out[word] = "" if folded(end) == _NOTHING else end
    return out


def _followed(meaning: str, words: Mapping[str, str]) -> str | None:
    seen = set()
    while folded(meaning) in words and folded(words[folded(meaning)]) != folded(meaning):
        if folded(meaning) in seen:
            return None
        seen.add(folded(meaning))
        meaning = words[folded(meaning)]
    return meaning


def _two_meanings(dictionary: Dictionary, word: str, first: Entry, second: Entry, ledger: Ledger) -> None:
    rule = (
        f'a word must have one meaning; "{word}" is "{first.preferred}" in row {first.row} and "{second.preferred}" '
        f"here, and row {first.row} is used"
    )
    dictionary.tell(ledger, second.row, word, rule, "Correct one of the two.")


def with_words(sources: list[Source], dictionary: Dictionary, ledger: Ledger) -> list[Source]:
    """Return ``sources`` with the dictionary's words among their codes; those of records.toml stay as they are."""
    columns = sorted({place for entry in dictionary.entries if entry.kind != "species" for place in entry.places})
    added = {place: _with_own(words_of(dictionary, *place, ledger), dictionary, place) for place in columns}
    told: set[tuple[str, str]] = set()
    out = []
    for source in sources:
        codes: dict[str, Mapping[str, str]] = dict(source.codes)
        for (table, column), words in added.items():
            if table != source.table or not words:
                continue
            own = {folded(word): str(code) for word, code in source.codes.get(column, {}).items()}
            for word, meaning in words.items():
                other = own.get(folded(word))
                if other is not None and folded(other) != folded(meaning) and (column, word) not in told:
                    told.add((column, word))
                    rule = (
                        f'the dictionary says that "{word}" is "{meaning or _NOTHING}", but records.toml says '
                        f'"{other or _NOTHING}" under codes.{column}'
                    )
                    dictionary.tell(ledger, None, word, rule, _ONE)
            codes[column] = {**words, **source.codes.get(column, {})}  # what comes last is used
        out.append(replace(source, codes=codes))
    return out


def _with_own(words: dict[str, str], dictionary: Dictionary, place: tuple[str, str]) -> dict[str, str]:
    """Return ``words`` with each word that stands for itself: known, so never taken for a misspelling."""
    known = {folded(word) for word in words}
    mine = [entry.preferred for entry in dictionary.entries if place in entry.places and entry.kind != "species"]
    return {**{w: w for w in mine if folded(w) not in (*known, _NOTHING)}, **words}


def with_species(plan: Plan, dictionary: Dictionary, ledger: Ledger) -> Plan:
    """Return ``plan`` with the dictionary's species; one that records.toml has too is taken from there."""
    mine = [entry for entry in dictionary.entries if entry.kind == "species"]
    if not mine:
        return plan
    shipped = reference()
    known = lookup(shipped)
    by_name = shipped.set_index("name")
    own = {folded(str(s.get("name", ""))): s for s in plan.species}
    taken = lookup(reference(plan.species)) if plan.species else {}
    named = {folded(word): str(s["name"]) for s in plan.species if s.get("name") for word in _names_of(s)}
    groups: dict[str, list[Entry]] = {}
    preferred = {folded(entry.word) for entry in mine if not entry.means}
    for entry in mine:
        # What records.toml describes is meant before what is shipped under the same name.
        means = named.get(folded(entry.means)) or known.get(folded(entry.means), entry.means)
        means = entry.means if folded(entry.means) in preferred else means
        groups.setdefault(folded(means or entry.word), []).append(replace(entry, means=means))
    added = []
    for key, rows in groups.items():
        if key in own:
            _tell_species(own[key], rows[0], dictionary, ledger)
            words = [w for e in rows for w in (*((e.word,) if e.means else ()), *e.also) if folded(w) not in named]
            own[key] = {**own[key], "aliases": [*_names_of(own[key])[1:], *words]}
            continue
        told = _merged(rows, known, by_name, dictionary, ledger)
        if taken.get(key) and folded(taken[key]) in own:
            rule = f'the dictionary keeps "{told["name"]}" as a species, but records.toml calls it "{taken[key]}"'
            dictionary.tell(ledger, rows[0].row, str(told["name"]), rule, _ONE)
        else:
            added.append(told)
    described = (own[folded(str(s.get("name", "")))] for s in plan.species)
    return replace(plan, species=(*added, *described))


def _names_of(species: Mapping[str, Any]) -> list[str]:
    """Return the name of a ``[[species]]`` entry, then its other names."""
    given = species.get("aliases", [])
    others = given.split(";") if isinstance(given, str) else map(str, given)
    return [str(species.get("name", "")), *(word.strip() for word in others if word.strip())]


def _merged(
    rows: list[Entry], known: Mapping[str, str], shipped: pd.DataFrame, dictionary: Dictionary, ledger: Ledger
) -> dict[str, Any]:
    """Return one ``[[species]]`` entry of the rows about one species; what they leave empty is the shipped table's."""
    name = rows[0].preferred
    base = shipped.loc[known[folded(name)]] if folded(name) in known else None
    aliases = [w for e in rows for w in (*((e.word,) if e.means else ()), *e.also)]
    out: dict[str, Any] = {"name": name}
    if base is not None:
        out["taxon"] = base["taxon"]
        out |= {n: base[n] for n in ("scientific", *NUMBERS) if not pd.isna(base[n]) and base[n] != ""}
        aliases += [base.name, *(str(base["aliases"]).split(";") if not pd.isna(base["aliases"]) else [])]
    for entry in rows:
        given = {n: getattr(entry, n) for n in ("taxon", *NUMBERS) if getattr(entry, n) not in ("", None)}
        out |= given
    if not out.get("taxon"):
        rule = f'"{name}" is not in the reference table, and a species of the rescue\'s own needs its taxon group'
        dictionary.tell(ledger, rows[0].row, name, rule, "Write it under taxon, such as lizard.")
        out["taxon"] = "unknown"
    out["aliases"] = [w for w in dict.fromkeys(a.strip() for a in aliases) if w and folded(w) != folded(name)]
    return out


def _tell_species(own: Mapping[str, Any], entry: Entry, dictionary: Dictionary, ledger: Ledger) -> None:
    differs = [n for n in ("taxon", *NUMBERS) if n in own and getattr(entry, n) not in ("", None, own[n])]
    if differs:
        rule = (
            f'the dictionary and [[species]] in records.toml both describe "{entry.preferred}", and differ in '
            f"{', '.join(differs)}"
        )
        dictionary.tell(ledger, entry.row, entry.word, rule, _ONE)


def with_conditions(config: Mapping[str, Any], dictionary: Dictionary, ledger: Ledger) -> dict[str, Any]:
    """Return the settings with the dictionary's lifelong conditions and families; those of records.toml win."""
    mine = [e for e in dictionary.entries if e.kind == "condition" and (e.lifelong is not None or e.family)]
    section = config.get("conditions", {})
    if not mine or not isinstance(section, Mapping):
        return dict(config)
    words = words_of(dictionary, "conditions", "condition", Ledger())
    lifelong = list(section.get("lifelong", []))
    families = {name: list(words) for name, words in section.get("families", {}).items()}
    family_of = {folded(str(w)): name for name, members in families.items() for w in members}
    settled = {folded(str(word)) for word in lifelong}
    for entry in mine:
        word = _followed(entry.preferred, {folded(w): m for w, m in words.items()}) or entry.preferred
        if entry.lifelong and folded(word) not in settled:
            lifelong.append(word)
        elif entry.lifelong is False and folded(word) in settled:
            rule = f'the dictionary says that "{word}" is not lifelong, but records.toml lists it under lifelong'
            dictionary.tell(ledger, entry.row, word, rule, _ONE)
        other = family_of.get(folded(word))
        if entry.family and other is None:
            families.setdefault(entry.family, []).append(word)
        elif entry.family and folded(str(other)) != folded(entry.family):
            rule = f'the dictionary puts "{word}" into the family "{entry.family}", but records.toml into "{other}"'
            dictionary.tell(ledger, entry.row, word, rule, _ONE)
    return {**config, "conditions": {**section, "lifelong": lifelong, "families": families}}
