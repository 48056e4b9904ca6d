"""Headings to our columns: by the words rescues write, by likeness, and by what the cells hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from rapidfuzz import fuzz
from scipy.optimize import linear_sum_assignment

from mendcurve.records.codes import counted_sexes
from mendcurve.records.connecting.profiling import Profile
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.schemas import TABLES, Column, Table

# A likeness below LIKE is none; from SURE on, and with a lead of MARGIN on every other column, it decides.
LIKE = 82.0
SURE = 91.0
MARGIN = 6.0
# What the name of a heading can give at most and at least where it is one of the words we know.
_BEST, _LAST = 1.0, 0.6
_WORD_IN = 0.55
_MANY_WORDS = 12
# Share of the words of a column that must be known as words of a code list, where its heading says nothing.
_WORDS_DECIDE = 0.75
_WORDS_LEAD = 0.5
# Headings of bare numbers, and the column that counts animals, where the ids stand elsewhere.
_BARE_NUMBER = ("no", "nos", "number", "nr", "num")
_HOW_MANY = {"intakes": "group_size", "outcomes": "animals"}
# Columns that are told by their words alone, though a row can do without them.
_BY_WORDS = ("sex", "life_stage")
_MAY_BE_NUMBERS = frozenset(("room", "place", "zone"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """One heading read as one column.

    Attributes
    ----------
    score : float
        0 to 1: how well name and cells bear it.
    exact : bool
        The heading is one of the words known for the column.
    sure : bool
        It decides; otherwise it is a question.
    reason : str
    """

    column: str
    heading: str
    score: float
    exact: bool
    sure: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """How a heading's words fit a column: ``score`` 0 to 1, ``like`` the likeness in per cent where not exact."""

    score: float
    exact: bool
    like: float = 100.0
    word: str = ""


def name_fit(label: str, words: Sequence[str]) -> Named | None:
    """Return how the heading ``label`` fits a column known by ``words`` (the likeliest first), or None."""
    parts = split_heading(label)
    for place, word in enumerate(words):
        if word in (parts.plain, parts.whole):
            return Named(score=_BEST - (_BEST - _LAST) * place / max(len(words), 1), exact=True, word=word)
    best, near = 0.0, ""
    for word in words:
        if len(word) >= 4 and len(parts.plain) >= 4:
            like = max(fuzz.ratio(parts.plain, word), fuzz.token_sort_ratio(parts.plain, word))
            if like > best:
                best, near = like, word
    if best >= LIKE:
        return Named(score=0.5 * best / 100, exact=False, like=best, word=near)
    own = set(parts.plain.split())
    inside = [w for w in words if len(w.split()) > 1 and set(w.split()) <= own]
    if inside:
        return Named(score=_WORD_IN * 0.9, exact=False, like=SURE - 1, word=max(inside, key=len))
    return None


def content_fit(column: Column, profile: Profile, known: Mapping[str, str]) -> float:
    """Return how well the cells bear a column, 0 to 1; 0.5 says nothing either way, 0 rules it out.

    Parameters
    ----------
    known : mapping
        Folded words of the column's codes, sure and guessed.
    """
    if not profile.filled:
        return 0.4
    if column.kind in ("date", "datetime"):
        return 0.0 if profile.date + profile.serial < 0.5 else 0.5 + 0.5 * profile.date
    if profile.date >= 0.5:  # numbers such as 2024-7 look like dates
        return 0.3 if column.kind == "id" else 0.0
    if column.kind in ("count", "number", "money"):
        return 0.0 if profile.number < 0.5 else 0.5 + 0.4 * profile.number
    if column.kind in ("yes_no", "code", "list"):
        return _codes_fit(column, profile, known)
    if profile.number >= 0.8 and column.kind == "text" and column.name not in _MAY_BE_NUMBERS:
        return 0.0
    return 0.35 + 0.65 * profile.species if column.name == "species" else 0.5


def _codes_fit(column: Column, profile: Profile, known: Mapping[str, str]) -> float:
    share = profile.share_in(known)
    if column.name == "sex" and share < 1:
        share = profile.share_in(frozenset(w for w in profile.words if w in known or counted_sexes(w)))
    if column.kind == "yes_no":
        share = max(profile.yes_no, share)
        return 0.0 if profile.distinct > _MANY_WORDS and share < 0.5 else 0.3 + 0.7 * share
    if profile.number >= 0.8 and share < 0.5:
        return 0.0
    return 0.3 + 0.7 * share - (0.25 if profile.distinct > 3 * _MANY_WORDS and share < 0.2 else 0)


def match(
    table: Table, headings: Mapping[str, str], profiles: Mapping[str, Profile], vocabulary: Vocabulary
) -> dict[str, Match]:
    """Return our column -> Match, each heading at most once, so that the whole fits best.

    Parameters
    ----------
    headings : mapping of heading to label
        The label holds the fuller words, where a row above says more.
    """
    columns, names = table.columns, list(headings)
    if not names:
        return {}
    fits = {
        h: {c.name: _fit(label, c, vocabulary.headings[table.name][c.name]) for c in columns}
        for h, label in headings.items()
    }
    score = np.zeros((len(names), len(columns)))
    for i, heading in enumerate(names):
        for j, column in enumerate(columns):
            named = fits[heading][column.name]
            if named is None:
                continue
            known = _known_words(table, column, vocabulary)
            content = content_fit(column, profiles[heading], known)
            if content > 0:
                score[i, j] = 0.65 * named.score + 0.35 * content
    # What is required is found first where two columns want one heading.
    need = np.array([0.08 if c.required and c.kind != "id" else 0.0 for c in columns])
    rows, cols = linear_sum_assignment(-(score + need * (score > 0)))
    out: dict[str, Match] = {}
    for i, j in zip(rows, cols, strict=True):
        if score[i, j] > 0:
            column, heading = columns[j], names[i]
            out[column.name] = _decided(
                column, heading, headings[heading], score[i, j], fits[heading], profiles[heading]
            )
    return out


def by_content(
    table: Table, free: Sequence[str], profiles: Mapping[str, Profile], vocabulary: Vocabulary
) -> dict[str, Match]:
    """Return columns of codes (required, sex, stage) without a heading, where one heading holds the words of its list.

    Parameters
    ----------
    free : sequence of str
        Headings that no column has.
    """
    out: dict[str, Match] = {}
    for column in table.columns:
        if column.kind != "code" or not (column.required or column.name in _BY_WORDS):
            continue
        known = vocabulary.codes_of(table.name, column.name)
        shares = {h: profiles[h].share_in(known) for h in free if profiles[h].distinct > 1}
        fit = [h for h, share in shares.items() if share >= _WORDS_DECIDE] or _leading(column, free, profiles, known)
        if len(fit) == 1:
            reason = f"{shares[fit[0]]:.0%} of its words are words for {column.name}"
            out[column.name] = Match(
                column=column.name, heading=fit[0], score=0.5, exact=False, sure=True, reason=reason
            )
    return out | _counts(table, [h for h in free if h not in {m.heading for m in out.values()}], profiles)


def _leading(
    column: Column, free: Sequence[str], profiles: Mapping[str, Profile], known: Mapping[str, str]
) -> list[str]:
    """Return the one heading of which half the words are those of a required column, where no other has a quarter."""
    ranked = sorted(((profiles[h].share_in(known), h) for h in free if profiles[h].distinct > 2), reverse=True)
    clear = bool(ranked) and ranked[0][0] >= _WORDS_LEAD and all(s < _WORDS_LEAD / 2 for s, _ in ranked[1:])
    return [ranked[0][1]] if column.required and clear else []


def _counts(table: Table, free: Sequence[str], profiles: Mapping[str, Profile]) -> dict[str, Match]:
    """Return the column of how many animals, where a heading such as "No." holds small numbers that repeat."""
    column = _HOW_MANY.get(table.name, "")
    fit = [h for h in free if split_heading(h).plain in _BARE_NUMBER and _small_counts(profiles[h])]
    if not column or len(fit) != 1:
        return {}
    reason = "small whole numbers that repeat: how many animals"
    return {column: Match(column=column, heading=fit[0], score=0.5, exact=False, sure=True, reason=reason)}


def _small_counts(profile: Profile) -> bool:
    return (
        profile.filled >= 0.5 * profile.rows
        and "1" in profile.words
        and all(word.isdigit() and len(word) <= 2 for word in profile.words)
        and profile.filled >= 2 * profile.distinct
    )


def _fit(label: str, column: Column, words: Sequence[str]) -> Named | None:
    """Return how a heading fits a column; likeness says nothing of ids, which are told by what they hold."""
    named = name_fit(label, words)
    return named if named is None or named.exact or column.kind != "id" else None


def _known_words(table: Table, column: Column, vocabulary: Vocabulary) -> dict[str, str]:
    return vocabulary.guesses_of(table.name, column.name) | vocabulary.codes_of(table.name, column.name)


def _decided(
    column: Column, heading: str, label: str, score: float, fits: Mapping[str, Named | None], profile: Profile
) -> Match:
    named = fits[column.name]
    assert named is not None  # a score above zero has a name
    shown = f'"{label}"' if label != heading else ""
    if named.exact:
        reason = f"{shown} is a usual word for it" if shown else "a usual word for it"
        return Match(
            column=column.name,
            heading=heading,
            score=score,
            exact=True,
            sure=True,
            reason=_with_cells(reason, column, profile),
        )
    others = [n.like for name, n in fits.items() if n is not None and name != column.name]
    lead = named.like - max(others, default=0.0)
    sure = named.like >= SURE and lead >= MARGIN
    reason = f'like "{named.word}" ({named.like:.0f} per cent)'
    return Match(
        column=column.name,
        heading=heading,
        score=score,
        exact=False,
        sure=sure,
        reason=_with_cells(reason, column, profile),
    )


def _with_cells(reason: str, column: Column, profile: Profile) -> str:
    if not profile.filled:
        return f"{reason}; the column is empty"
    if column.kind in ("date", "datetime"):
        return f"{reason}; {_share(profile.date + profile.serial, profile.filled)} cells are dates"
    if column.kind in ("count", "number", "money"):
        return f"{reason}; {_share(profile.number, profile.filled)} cells are numbers"
    if column.name == "species":
        return f"{reason}; {_share(profile.species, profile.filled)} cells name a known species"
    return f"{reason}; {profile.filled} cells filled"


def _share(share: float, filled: int) -> str:
    return f"{round(share * filled)} of {filled}"


def required(table: str) -> tuple[str, ...]:
    """Return the columns a row of ``table`` cannot be read without, ids left out."""
    return tuple(c.name for c in TABLES[table].columns if c.required and c.default is None and c.kind != "id")
