"""Code lists as lines of a proposal: what the reader knows already, what is suggested, what nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from mendcurve.records.codes import UNANSWERED
from mendcurve.records.connecting.assigning import Feed
from mendcurve.records.connecting.codes_evidence import CodeGuess, code_lists, parted, species_words, spellings
from mendcurve.records.connecting.vocabulary import Vocabulary, meanings, sure_words
from mendcurve.records.connecting.writing import Line
from mendcurve.records.folding import folded
from mendcurve.records.privacy import masked
from mendcurve.records.schemas import TABLES, Column
from mendcurve.records.species import reference

# Words under a heading of conditions that name no health problem. Common practice, no source.
_HEALTHY = frozenset(
    (
        *(
            "healthy",
            "well",
            "normal",
            "ok",
            "okay",
            "good",
            "fine",
            "nothing",
            "clear",
            "all clear",
            "excellent",
            "nad",
        ),
        *("no problem", "no problems", "no issues", "none seen", "none found", "good health", "no concerns"),
    )
)
# Words of one column that are asked about; a column with more holds no codes.
_MOST = 60
_OUR_NAME = "not known; write its usual name, or delete the line: then it keeps its name and has no taxon"


def codes_of_feed(feed: Feed, vocabulary: Vocabulary) -> dict[str, tuple[Line, ...]]:
    """Return our column -> lines of its code list, for the columns of codes, species and conditions that are read."""
    out: dict[str, tuple[Line, ...]] = {}
    parted = _parted_feed(feed, vocabulary)
    for name, heading in feed.headings.items():
        column = TABLES[feed.table].column(name)
        text = feed.seen.sheet.cells[heading]
        if name in ("condition", "severity") and parted:
            lines = _parted_lines(text, parted, name)
        elif meanings(column):
            lines = _coded(code_lists(feed.table, name, text, vocabulary), column)
        else:
            given = vocabulary.codes_of(feed.table, name)
            lines = _given(text, given)
            rest = text[~text.map({word: folded(str(word)) in given for word in text.unique()}).astype(bool)]
            if name == "species":
                lines += _suggested(species_words(rest, reference(), given), _OUR_NAME)
            elif name == "condition":
                lines += [*_no_problem(rest.unique()), *_suggested(spellings(rest, given.values()), "")]
        if lines:
            out[name] = tuple(lines)
    return out


def _parted_feed(feed: Feed, vocabulary: Vocabulary) -> dict[str, tuple[str, str]]:
    """Return the texts that hold condition and severity, where one heading is read as both."""
    headings = feed.headings
    if feed.table != "conditions" or headings.get("condition", "") != headings.get("severity"):
        return {}
    return parted(feed.seen.sheet.cells[headings["condition"]], vocabulary)


def _parted_lines(text: pd.Series, parts: Mapping[str, tuple[str, str]], name: str) -> list[Line]:
    counts = text.astype(object).str.strip().value_counts()
    lines = []
    for word, times in counts.items():
        condition, severity = parts.get(str(word), (str(word), ""))
        value = condition if name == "condition" else severity
        if word and value != word and not masked(str(word))[1]:
            lines.append(Line(key=str(word), value=value, reasons=(_times(int(times)),)))
    return lines


def _given(text: pd.Series, given: Mapping[str, str]) -> list[Line]:
    """Return a line for each free word of a column that the rescue's own file of words translates."""
    if not given:
        return []
    counts = text.str.strip().value_counts()
    return [
        Line(key=str(word), value=given[folded(str(word))], reasons=(_times(int(times)), "from the file of synonyms"))
        for word, times in counts.items()
        if folded(str(word)) in given and given[folded(str(word))] != word
    ]


def _coded(guesses: Sequence[CodeGuess], column: Column) -> list[Line]:
    shipped = sure_words(column)
    out: list[Line] = []
    known: list[str] = []
    unknown = 0
    for guess in guesses:
        plain = folded(guess.theirs)
        if guess.sure and (shipped.get(plain) == guess.ours or plain == guess.ours or not guess.ours):
            known.append(f"{_shown(guess.theirs)} ({guess.count})")
        elif guess.sure:
            out.append(Line(key=guess.theirs, value=guess.ours, reasons=(_rows(guess), guess.reason)))
        elif masked(guess.theirs)[1]:
            continue
        elif guess.ours or guess.nothing:
            out.append(
                Line(
                    key=guess.theirs,
                    value=guess.ours,
                    reasons=(_rows(guess), guess.reason),
                    question=True,
                    rows=guess.count,
                )
            )
        elif unknown < _MOST:
            unknown += 1
            out.append(
                Line(
                    key=guess.theirs,
                    value=UNANSWERED,
                    reasons=(_rows(guess), "not known"),
                    question=True,
                    rows=guess.count,
                )
            )
    if not out:
        return []
    can = f'Our words: {", ".join(meanings(column))}; "" where there is nothing to read; "set aside".'
    head = [Line(key="", reasons=(can,))]
    if known:
        head.append(Line(key="", reasons=(f"Known without a line: {', '.join(known[:15])}.",)))
    return [*head, *out]


def _suggested(guesses: Sequence[CodeGuess], otherwise: str) -> list[Line]:
    out = []
    for guess in guesses[:_MOST]:
        if masked(guess.theirs)[1]:
            continue
        if guess.ours:
            out.append(
                Line(
                    key=guess.theirs,
                    value=guess.ours,
                    reasons=(_rows(guess), guess.reason),
                    question=True,
                    rows=guess.count,
                )
            )
        elif otherwise:
            out.append(
                Line(
                    key=guess.theirs,
                    value=UNANSWERED,
                    reasons=(_rows(guess), otherwise),
                    question=True,
                    rows=guess.count,
                )
            )
    return out


def _no_problem(words: Iterable[object]) -> list[Line]:
    found: dict[str, str] = {}
    for word in words:
        if folded(str(word)) in _HEALTHY:
            found.setdefault(folded(str(word)), " ".join(str(word).split()))
    return [Line(key=word, value="", reasons=("no health problem: nothing to read here",)) for word in found.values()]


def _rows(guess: CodeGuess) -> str:
    return _times(guess.count)


def _times(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"


def _shown(word: str) -> str:
    return f'"{masked(word)[0][:40]}"'
