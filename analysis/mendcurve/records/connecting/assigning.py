"""Which sheet is which table: by its name, its headings and what a row of a table cannot do without."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rapidfuzz import fuzz

from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.looking import Look
from mendcurve.records.connecting.matching import Match, by_content, match, required
from mendcurve.records.connecting.profiling import Profile, profile_of
from mendcurve.records.connecting.splitting import plain_heading, split_heading
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.connecting.widening import WideGuess, find_wide, weight_words, weights_of_stays
from mendcurve.records.connecting.writing import Line
from mendcurve.records.schemas import TABLES, Column
from mendcurve.records.sheets import Sheet

# Points for the name of a sheet; those for a heading lie from 0 to about 1.6.
_NAME_IS, _NAME_HOLDS, _NAME_LIKE = 3.0, 2.0, 1.5
_FILE_COUNTS = 0.4
_LACKING = 2.2
_ENOUGH = 1.4
_CLOSE = 0.85
_IDS = 0.25
# Tables a register of stays may hold besides, in the order in which they may take its headings.
_BESIDES = ("outcomes", "conditions", "targets")
_OWN = {"outcomes": "outcome_date", "conditions": "condition", "targets": "target_g"}
_BORROWED_DAY = {"conditions": "found_on", "targets": "set_on"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A sheet that can be read, with what its columns look like."""

    look: Look
    sheet: Sheet
    labels: Mapping[str, str]
    profiles: Mapping[str, Profile]

    @property
    def where(self) -> str:
        """File and sheet, in words."""
        return self.look.where


@dataclass(slots=True, kw_only=True, eq=False)
class Feed:
    """One table read from one sheet: what a ``[tables.NAME]`` section will say.

    Attributes
    ----------
    columns : mapping of our column to Decision
        The heading, why, and what is in doubt; a value "" with doubts is a question.
    maybe : mapping of our column to Decision
        A heading that is likely and not sure, for the rescue to say.
    id_from, constant : mapping of our column to Decision
    settings : mapping of key to Decision
        Plain keys: date_order, unit, decimal, missing, stay_by, number_repeats.
    codes : mapping of our column to lines
        Filled in by ``evidence``.
    spare : bool
        Intakes of a sheet that is named for outcomes: read only where no other sheet holds the same stays.
    """

    table: str
    seen: Seen
    why: Decision
    columns: dict[str, Decision] = field(default_factory=dict)
    maybe: dict[str, Decision] = field(default_factory=dict)
    constant: dict[str, Decision] = field(default_factory=dict)
    id_from: dict[str, Decision] = field(default_factory=dict)
    settings: dict[str, Decision] = field(default_factory=dict)
    codes: dict[str, tuple[Line, ...]] = field(default_factory=dict)
    wide: WideGuess | None = None
    spare: bool = False

    @property
    def headings(self) -> dict[str, str]:
        """Our column -> heading, questions left out."""
        return {column: d.value for column, d in self.columns.items() if d.value}


def seen(look: Look, species: Mapping[str, str]) -> Seen | None:
    """Return the sheet of a Look with the profile of each column; None where it cannot be read."""
    if look.sheet is None:
        return None
    cells = look.sheet.cells
    return Seen(
        look=look,
        sheet=look.sheet,
        labels={h: look.labels.get(h, h) for h in cells.columns},
        profiles={h: profile_of(cells[h], species) for h in cells.columns},
    )


def feeds_of(one: Seen, vocabulary: Vocabulary, species: Mapping[str, str]) -> tuple[list[Feed], Decision]:
    """Return the tables a sheet feeds, the main one first; and what it was taken for, or why for nothing."""
    scores = {name: _rated(name, one, vocabulary, species) for name in TABLES}
    ranked = sorted(scores, key=lambda name: (-scores[name].points, name))
    best = scores[ranked[0]]
    register = best.table == "outcomes" and _is_register(scores["intakes"])
    best = scores["intakes"] if register else best
    if best.points < _ENOUGH or best.lacking:
        return [], _not_taken(one, scores, ranked, vocabulary)
    main = _feed(best, one, Decision(value=best.table, reasons=best.reasons))
    main.spare = register
    feeds = [main, *(_besides(one, main, vocabulary) if best.table == "intakes" else [])]
    second = scores[ranked[1]]
    close = not second.lacking and second.points >= max(_CLOSE * best.points, _ENOUGH)
    if close and second.table not in {feed.table for feed in feeds}:
        doubt = f"it may be {second.table} instead; if it is, write [tables.{second.table}] for [tables.{best.table}]"
        main.why = Decision(value=best.table, reasons=best.reasons, doubts=(doubt,))
    return feeds, main.why


def _is_register(intakes: _Rated) -> bool:
    """Whether a sheet named for those that left holds their arrivals too, under headings that leave no doubt."""
    found = {column: intakes.matches.get(column) for column in required("intakes")}
    return all(m is not None and m.exact for m in found.values()) and plain_heading(
        getattr(found["intake_date"], "heading", "")
    ) not in ("date", "day", "start", "start date")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rated:
    table: str
    points: float
    matches: Mapping[str, Match]
    lacking: tuple[str, ...]
    constant: Mapping[str, Decision]
    reasons: tuple[str, ...]
    wide: WideGuess | None


def _rated(table: str, one: Seen, vocabulary: Vocabulary, species: Mapping[str, str]) -> _Rated:
    name, why = _name_points(table, one, vocabulary)
    free = dict(one.labels)
    wide = None
    if table == "weighings":
        names = f"{one.look.name} {one.look.file}"
        wide = find_wide(one.profiles, vocabulary, _arrival(one, vocabulary), names)
        free = {h: label for h, label in free.items() if wide is None or h not in wide.columns}
    matches = match(TABLES[table], free, one.profiles, vocabulary)
    if wide is not None and wide.spec:
        matches = {c: m for c, m in matches.items() if c not in ("weighed_on", "weight")}
    free_now = [h for h in free if h not in {m.heading for m in matches.values()}]
    found = by_content(TABLES[table], free_now, one.profiles, vocabulary)
    matches |= {c: m for c, m in found.items() if c not in matches or not matches[c].sure}
    constant = _constants(table, one, matches, vocabulary, species)
    have = {c for c, m in matches.items() if m.sure} | set(constant)
    have |= {"weighed_on", "weight"} if wide is not None and wide.spec else set()
    lacking = tuple(c for c in required(table) if c not in have)
    points = name + sum(_points(m, TABLES[table].column(m.column), vocabulary) for m in matches.values())
    points += 2.5 if wide is not None else 0.0
    points -= _LACKING * len(lacking)
    named = [f'"{m.heading}"' for m in matches.values() if m.sure and TABLES[table].column(m.column).kind != "id"]
    reasons = (
        [*why, f"{len(named)} heading{'s' if len(named) != 1 else ''} fit ({', '.join(named[:6])})"] if named else why
    )
    return _Rated(
        table=table,
        points=points,
        matches=matches,
        lacking=() if _may_ask(table, lacking, points, name) else lacking,
        constant=constant,
        reasons=tuple(reasons),
        wide=wide,
    )


def _may_ask(table: str, lacking: tuple[str, ...], points: float, name: float) -> bool:
    """Whether what is lacking is little enough for the sheet to be taken all the same, with a question."""
    return (
        bool(lacking) and len(lacking) <= 1 and (points >= _ENOUGH + 1 or (name >= _NAME_HOLDS and points >= _ENOUGH))
    )


def _points(one: Match, column: Column, vocabulary: Vocabulary) -> float:
    if column.kind == "id":
        return _IDS * one.score
    plain = split_heading(one.heading).plain
    tables = sum(any(plain in words for words in columns.values()) for columns in vocabulary.headings.values())
    return one.score * (1.6 if column.required else 1.0) / max(tables, 1) ** 0.5 * (1.0 if one.exact else 0.6)


def name_words(name: str) -> str:
    """Return the words of a file's or sheet's name, without numbers, years and dates."""
    return " ".join(word for word in plain_heading(re.sub(r"\d+", " ", name)).split() if len(word) > 1)


def _name_points(table: str, one: Seen, vocabulary: Vocabulary) -> tuple[float, list[str]]:
    stem = Path(one.look.file).stem
    names = [(one.look.name, 1.0, "the sheet's name"), (stem, _FILE_COUNTS, "the file's name")]
    if not one.look.name:
        names = [(stem, 1.0, "the file's name")]
    best, why = 0.0, []
    for name, counts, what in names:
        points, word = _like_a_table(name_words(name), vocabulary.tables[table])
        if points * counts > best:
            best, why = points * counts, [f'{what} holds "{word}"']
    return best, why


def _like_a_table(name: str, words: tuple[str, ...]) -> tuple[float, str]:
    if name in words:
        return _NAME_IS, name
    held = [w for w in words if f" {w} " in f" {name} "]
    if held:
        longest = max(held, key=len)
        return _NAME_HOLDS + 0.2 * (len(longest.split()) - 1), longest
    if len(name) >= 4:
        like, word = max((fuzz.ratio(name, w), w) for w in words)
        if like >= 88:
            return _NAME_LIKE, word
    return 0.0, ""


def _arrival(one: Seen, vocabulary: Vocabulary) -> str:
    """Return the heading of the day of arrival in any sheet, or ""."""
    words = [w for w in vocabulary.headings["intakes"]["intake_date"] if w not in ("date", "day")]
    for heading, label in one.labels.items():
        profile = one.profiles[heading]
        if split_heading(label).plain in words and profile.date + profile.serial >= 0.5:
            return heading
    return ""


def _constants(
    table: str, one: Seen, matches: Mapping[str, Match], vocabulary: Vocabulary, species: Mapping[str, str]
) -> dict[str, Decision]:
    """Return what the name of the sheet says of every row: its species, what lasts, how they left."""
    out: dict[str, Decision] = {}
    names = [name_words(n) for n in (one.look.name, Path(one.look.file).stem) if n]
    if table == "intakes" and "species" not in matches:
        for name in names:
            known = species.get(name) or species.get(name.removesuffix("s"))
            if known:
                out["species"] = Decision(value=known, reasons=(f'no heading says it; the name is "{name}"',))
                break
    if table == "periods" and "what" not in matches:
        words = vocabulary.codes_of("periods", "what")
        found = next(
            (words[w] for name in names for w in (name, name.removesuffix("s"), *name.split()) if w in words), ""
        )
        if found:
            out["what"] = Decision(value=found, reasons=("no heading says it; the sheet's name does",))
    if table == "outcomes" and "outcome_type" not in matches and "outcome_date" in matches:
        words = vocabulary.codes_of("outcomes", "outcome_type")
        word = next(
            (words[w] for name in names for w in (name, name.removesuffix("s"), *name.split()) if w in words), ""
        )
        if word:
            out["outcome_type"] = Decision(value=word, reasons=("no heading says it; the sheet's name does",))
    return out


def _feed(rated: _Rated, one: Seen, why: Decision) -> Feed:
    feed = Feed(table=rated.table, seen=one, why=why, wide=rated.wide, constant=dict(rated.constant))
    for column, found in rated.matches.items():
        if column in rated.constant:
            continue
        (feed.columns if found.sure else feed.maybe)[column] = _decision(found)
    for column in required(rated.table):
        if column not in (*feed.columns, *feed.maybe) and column not in feed.constant and not _by_wide(feed, column):
            feed.columns[column] = Decision(value="", doubts=(_ask_for(rated.table, column),))
    return feed


def _by_wide(feed: Feed, column: str) -> bool:
    return (
        feed.wide is not None and bool(feed.wide.spec) and column in (feed.wide.spec["into"], feed.wide.spec["values"])
    )


def _decision(found: Match) -> Decision:
    return Decision(value=found.heading, reasons=(found.reason,))


def _ask_for(table: str, column: str) -> str:
    known = TABLES[table].column(column)
    codes = f" ({', '.join(known.codes)})" if known.codes else ""
    return (
        f"no heading says it, and {table} need it: {known.meaning} Add a column for it, or, if it is the same for "
        f'every row, write constant = {{ {column} = "..." }}{codes}'
    )


def _besides(one: Seen, main: Feed, vocabulary: Vocabulary) -> list[Feed]:
    """Return the other tables that a register of stays holds in the same rows."""
    taken = {h for c, h in main.headings.items() if c not in ("stay_id", "animal_id")}
    came = main.headings.get("intake_date", "")
    out: list[Feed] = []
    left = ""
    for table in _BESIDES:
        free = {h: label for h, label in one.labels.items() if h not in taken}
        matches = {c: m for c, m in match(TABLES[table], free, one.profiles, vocabulary).items() if m.sure}
        own = matches.get(_OWN[table])
        if own is None or not one.profiles[own.heading].filled:
            continue
        feed = _beside(one, table, matches, came)
        if feed is None:
            continue
        out.append(feed)
        taken |= {h for c, h in feed.headings.items() if TABLES[table].column(c).kind != "id" and h != came}
        left = feed.headings.get("outcome_date", left)
    weights = _weights_beside(one, taken, came, left, vocabulary)
    return [*out, weights] if weights else out


def _beside(one: Seen, table: str, matches: Mapping[str, Match], came: str) -> Feed | None:
    why = Decision(value=table, reasons=(f'"{matches[_OWN[table]].heading}" stands in the same rows',))
    feed = Feed(table=table, seen=one, why=why)
    feed.columns = {c: _decision(m) for c, m in matches.items() if TABLES[table].column(c).kind != "id"}
    day = _BORROWED_DAY.get(table, "")
    if day and day not in feed.columns:
        if not came:
            return None
        feed.columns[day] = Decision(value=came, reasons=("no date of its own: the day of arrival is taken",))
    if table == "outcomes" and "outcome_type" not in feed.columns:
        feed.constant["outcome_type"] = Decision(
            value="not recorded",
            reasons=("no heading says how it left",),
            doubts=("if a heading says how it left, name it under columns and take this out",),
        )
    return feed


def _weights_beside(one: Seen, taken: set[str], came: str, left: str, vocabulary: Vocabulary) -> Feed | None:
    free = {h: p for h, p in one.profiles.items() if h not in taken}
    wide = find_wide(free, vocabulary, came)
    if wide is None and came:
        words = vocabulary.headings["weighings"]["weight"]
        plain = {h: split_heading(one.labels[h]).plain for h, p in free.items() if p.filled and p.number >= 0.5}
        weights = [h for h, said in plain.items() if said in words or weight_words(said) in words]
        wide = weights_of_stays(weights, came, left)
    if wide is None:
        return None
    why = Decision(value="weighings", reasons=wide.reasons)
    return Feed(table="weighings", seen=one, why=why, wide=wide)


def _not_taken(one: Seen, scores: Mapping[str, _Rated], ranked: list[str], vocabulary: Vocabulary) -> Decision:
    """Say why a sheet feeds no table; a value "unknown" when nothing in it is known."""
    best = scores[ranked[0]]
    known = [m for m in best.matches.values() if m.exact]
    if len(known) >= 2 or (best.points > 0 and known):
        lacking = ", ".join(best.lacking) or "more headings"
        return Decision(
            value="",
            reasons=best.reasons,
            doubts=(f"it looks like {best.table}, but no heading gives {lacking}; name it in records.toml if it is",),
        )
    return Decision(value="unknown", reasons=("none of its headings belongs to a table that is read",))
