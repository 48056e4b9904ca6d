"""The words rescues write for our tables, headings and codes: one list that ships, and files that add to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from io import StringIO
from pathlib import Path

import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records.connecting.splitting import plain_heading
from mendcurve.records.folding import folded
from mendcurve.records.numbers import UNITS
from mendcurve.records.schemas import TABLES, Column

_Words = Mapping[str, tuple[str, ...]]
COLUMNS = ("kind", "table", "column", "ours", "theirs")
KINDS = ("table", "heading", "word", "guess", "event", "unread")
YES_NO = ("yes", "no")
_EVERY = "*"
# Kinds of columns whose words are the rescue's own, unless the column has codes.
_FREE = ("text", "code", "list")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Vocabulary:
    """Synonyms of our tables, columns and codes, the likeliest first; our own name always comes first.

    Attributes
    ----------
    tables : mapping of table -> words
        Names of files and sheets, as ``splitting.plain_heading`` folds them.
    headings : mapping of table -> column -> words
        Headings, as ``splitting.plain_heading`` folds them; no unit or note (see ``splitting.split_heading``).
    words : mapping of "table.column" -> code -> words
        Words that mean the code for sure, as ``folding.folded`` folds them; in a column of free words, such as
        species, the code is the word wanted.
    guesses : mapping of "table.column" -> code -> words
        Words that may mean the code, for the rescue to say; the code "" stands for nothing to read here.
    events : mapping of word -> table
        Words of a day book that say what a row is ("weighed" is a row of weighings), folded as words.
    unread : tuple of str
        Headings that are known and that no table has, folded as headings.
    """

    tables: _Words
    headings: Mapping[str, _Words]
    words: Mapping[str, _Words]
    guesses: Mapping[str, _Words]
    events: Mapping[str, str]
    unread: tuple[str, ...]

    def codes_of(self, table: str, column: str) -> dict[str, str]:
        """Return folded word -> code for the words that are sure."""
        return _turned(self.words.get(f"{table}.{column}", {}))

    def guesses_of(self, table: str, column: str) -> dict[str, str]:
        """Return folded word -> code ("" for nothing to read) for the words that are only suggested."""
        return _turned(self.guesses.get(f"{table}.{column}", {}))


def load_vocabulary(extra: Path | None = None) -> Vocabulary:
    """Return the words that ship with the package and, before them, those of the file ``extra``.

    Parameters
    ----------
    extra : Path, optional
        A CSV file in UTF-8 with the columns kind, table, column, ours, theirs, as in ``vocabulary.csv``.

    Raises
    ------
    InputError
        If the file cannot be read, or names a kind, table, column or code that does not exist, or gives one word
        two meanings.
    """
    if extra is None:
        return _shipped()
    rows = _read(_text_of(extra), extra.name)
    return _vocabulary([*_expanded(rows, extra.name), *_expanded(_shipped_rows(), "vocabulary.csv")])


@cache
def sure_words(column: Column) -> dict[str, str]:
    """Return folded word -> code for ``column``, wherever it stands: the shipped words that are sure."""
    out: dict[str, str] = {}
    for table in TABLES.values():
        if column in table.columns:
            out |= _shipped().codes_of(table.name, column.name)
    return out


def meanings(column: Column) -> tuple[str, ...]:
    """Return what a word of ``column`` can mean: its codes, or yes and no; empty where words are free."""
    return YES_NO if column.kind == "yes_no" else column.codes


@cache
def _shipped_rows() -> pd.DataFrame:
    text = resources.files("mendcurve.records.connecting").joinpath("vocabulary.csv").read_text(encoding="utf-8")
    return _read(text, "vocabulary.csv")


@cache
def _shipped() -> Vocabulary:
    return _vocabulary(_expanded(_shipped_rows(), "vocabulary.csv"))


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path.name}: the file cannot be opened.", [str(error.strerror)], "Check its name.") from None
    except UnicodeDecodeError:
        raise InputError(
            f"{path.name}: a file of synonyms must be UTF-8 text.", remedy="Save it as CSV UTF-8 and try again."
        ) from None


def _read(text: str, where: str) -> pd.DataFrame:
    # Only whole lines are comments: "Animal #" is a heading.
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    head = lines[0] if lines else ""
    sign = ";" if head.count(";") > head.count(",") else ","
    try:
        rows = pd.read_csv(StringIO("\n".join(lines)), dtype=str, keep_default_na=False, sep=sign)
    except (pd.errors.ParserError, pd.errors.EmptyDataError):
        rows = pd.DataFrame()
    rows.columns = [str(name).strip() for name in rows.columns]
    missing = [name for name in COLUMNS if name not in rows.columns]
    if missing:
        raise InputError(
            f"{where}: a file of synonyms has the columns {', '.join(COLUMNS)}, but {', '.join(missing)} is not there.",
            remedy='One line a meaning, such as heading,intakes,intake_date,,"Datum;Ankunft".',
        )
    return rows.fillna("")


@dataclass(frozen=True, slots=True)
class _Entry:
    kind: str
    table: str
    column: str
    ours: str
    theirs: tuple[str, ...]


def _expanded(rows: pd.DataFrame, where: str) -> list[_Entry]:
    out: list[_Entry] = []
    for number, row in enumerate(rows[list(COLUMNS)].to_numpy().tolist(), start=1):
        kind, table, column, ours, theirs = (str(cell).strip() for cell in row)
        place = f"{where}: line {number} below the headings"
        _check(kind, "kind", KINDS, place)
        fold = folded if kind in ("word", "guess", "event") else plain_heading
        words = tuple(dict.fromkeys(w for w in map(fold, theirs.split(";")) if w))
        if kind in ("table", "event", "unread"):
            if kind != "unread":
                _check(table, "table", TABLES, place)
            out.append(_Entry(kind, table, "", "", words))
        else:
            out += [_Entry(kind, t, c, ours, words) for t, c in _places(kind, table, column, ours, place)]
    _one_meaning(out, where)
    return out


def _places(kind: str, table: str, column: str, ours: str, place: str) -> list[tuple[str, str]]:
    if table != _EVERY:
        _check(table, "table", TABLES, place)
    tables = list(TABLES.values()) if table == _EVERY else [TABLES[table]]
    names = {c.name for t in tables for c in t.columns}
    if column != _EVERY:
        _check(column, "column", names, place)
    found = [(t, c) for t in tables for c in t.columns if column in (_EVERY, c.name)]
    if kind == "heading":
        return [(t.name, c.name) for t, c in found]
    free = [(t.name, c.name) for t, c in found if c.kind in _FREE and not meanings(c)]
    if free and column != _EVERY:
        if not ours:
            raise InputError(
                f"{place}: {column} holds the rescue's own words, and the word wanted is missing.",
                remedy="Write it under ours, such as corn snake.",
            )
        return free
    if kind == "word" or ours:
        coded = [code for _, c in found for code in meanings(c)]
        if not coded:
            raise InputError(f"{place}: {column} holds no words.", remedy="Take the line out.")
        _check(ours, f"code of {column}", coded, place)
    return [(t.name, c.name) for t, c in found if ours in meanings(c) or (kind == "guess" and not ours)]


def _check(value: str, what: str, known: Iterable[str], place: str) -> None:
    names = list(dict.fromkeys(known))
    if value not in names:
        raise InputError(
            f'{place}: "{value}" is no {what}.', remedy=f"Known: {', '.join(names)}.{nearest(value, names)}"
        )


def _one_meaning(entries: list[_Entry], where: str) -> None:
    seen: dict[tuple[str, str, str], str] = {}
    for entry in entries:
        for word in entry.theirs if entry.kind in ("word", "guess") else ():
            earlier = seen.setdefault((entry.table, entry.column, word), entry.ours)
            if earlier != entry.ours:
                raise InputError(
                    f'{where}: "{word}" can mean one code of {entry.column} only, but it is given as '
                    f'"{earlier}" and as "{entry.ours}".',
                    remedy="Keep one of them.",
                )


def _vocabulary(entries: list[_Entry]) -> Vocabulary:
    tables: dict[str, dict[str, None]] = {name: {plain_heading(name): None} for name in TABLES}
    headings = {t.name: {c.name: {plain_heading(c.name): None} for c in t.columns} for t in TABLES.values()}
    unread: dict[str, None] = {}
    for entry in entries:
        if entry.kind == "table":
            tables[entry.table] |= dict.fromkeys(entry.theirs)
        elif entry.kind == "heading":
            headings[entry.table][entry.column] |= dict.fromkeys(entry.theirs)
        elif entry.kind == "unread":
            unread |= dict.fromkeys(entry.theirs)
    meaning = _meaning(entries)
    return Vocabulary(
        tables={name: tuple(words) for name, words in tables.items()},
        headings={t: {c: tuple(words) for c, words in columns.items()} for t, columns in headings.items()},
        words={place: _by_code(known, "word") for place, known in meaning.items()},
        guesses={place: _by_code(known, "guess") for place, known in meaning.items()},
        events=_events(entries),
        unread=tuple(unread),
    )


def _events(entries: list[_Entry]) -> dict[str, str]:
    """Return word -> table of the events of a day book; words for how an animal left are events of outcomes."""
    out = {folded(code): "outcomes" for code in TABLES["outcomes"].column("outcome_type").codes}
    for entry in entries:
        if entry.kind == "event" or (entry.kind == "word" and entry.column == "outcome_type"):
            out |= {word: entry.table for word in entry.theirs if word not in out}
    return out


def _meaning(entries: list[_Entry]) -> dict[str, dict[str, tuple[str, str]]]:
    """Return "table.column" -> word -> (word or guess, code); our own codes first, then the earlier entry."""
    out: dict[str, dict[str, tuple[str, str]]] = {
        f"{t.name}.{c.name}": {folded(code): ("word", code) for code in meanings(c)}
        for t in TABLES.values()
        for c in t.columns
        if meanings(c)
    }
    out["weighings.unit"] |= {word: ("word", unit) for word, unit in UNITS.items()}
    for entry in entries:
        for word in entry.theirs if entry.kind in ("word", "guess") else ():
            out.setdefault(f"{entry.table}.{entry.column}", {}).setdefault(word, (entry.kind, entry.ours))
    return out


def _by_code(known: Mapping[str, tuple[str, str]], kind: str) -> dict[str, tuple[str, ...]]:
    out: dict[str, list[str]] = {}
    for word, (how, code) in known.items():
        if how == kind:
            out.setdefault(code, []).append(word)
    return {code: tuple(words) for code, words in out.items()}


def _turned(words: _Words) -> dict[str, str]:
    return {word: code for code, several in words.items() for word in several}
