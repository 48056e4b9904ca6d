"""The rescue's own dictionary: a sheet of its words for species, conditions, outcomes and codes, as it was read."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from mendcurve.errors import InputError, nearest
from mendcurve.records.findings import DOUBTFUL, Ledger
from mendcurve.records.folding import folded
from mendcurve.records.folding import heading as plain
from mendcurve.records.privacy import details_of, masked
from mendcurve.records.schemas import TABLES, Column
from mendcurve.records.sheets import Sheet

NAME = "dictionary"
# Heading -> what it holds; the order in which they are written.
COLUMNS: Mapping[str, str] = {
    "kind": "What the word is: species, condition, outcome, intake type, or any column with a list of words.",
    "word": "The word, as it is written in the records.",
    "means": "The word it stands for. Empty: the word itself is the one to use.",
    "also known as": "Other spellings and names of the same, separated by ;",
    "old names": "Names used in the past, separated by ;",
    "taxon": "For a species: its taxon group, such as lizard.",
    "low_g": "For a species: a weight in grams below which a weighing must be a slip.",
    "high_g": "For a species: a weight in grams above which a weighing must be a slip.",
    "gut_days": "For a species: days food stays in the gut.",
    "lifelong": "For a condition: yes if it is lifelong when found; it is then not counted as recovering.",
    "family": "For a condition: the family it may be pooled with.",
    "note": "Anything for yourselves; it is not read.",
}
_OTHER_HEADINGS = {"aliases": "also known as", "synonyms": "also known as", "other names": "also known as"}
# Columns of the list of unknown words that may be pasted back as they are.
_PASSED_OVER = ("note", "rows", "perhaps")
_SHORT = {
    "species": (("intakes", "species"), ("requests", "species")),
    "condition": (("conditions", "condition"),),
    "outcome": (("outcomes", "outcome_type"),),
    "intake": (("intakes", "intake_type"),),
}
# Free words that reports group by; a rescue may name them, too.
_FREE = ("zone", "room", "housing_kind", "medicine", "route", "score_scale")
_YES_NO = {
    "yes": True,
    "y": True,
    "true": True,
    "x": True,
    "1": True,
    "no": False,
    "n": False,
    "false": False,
    "0": False,
}
NUMBERS = ("low_g", "high_g", "gut_days")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One row of the dictionary.

    Attributes
    ----------
    row : int
        As the spreadsheet shows it.
    kind : str
        As written, folded.
    places : tuple of (table, column)
        The columns the word stands in.
    word, means : str
        ``means`` is "" where the word itself is the one to use.
    also : tuple of str
        Other and old names.
    low_g, high_g : float or None
        Grams.
    gut_days : float or None
        Days.
    """

    row: int
    kind: str
    places: tuple[tuple[str, str], ...]
    word: str
    means: str = ""
    also: tuple[str, ...] = ()
    taxon: str = ""
    low_g: float | None = None
    high_g: float | None = None
    gut_days: float | None = None
    lifelong: bool | None = None
    family: str = ""

    @property
    def preferred(self) -> str:
        """The word to use."""
        return self.means or self.word


@dataclass(frozen=True, slots=True, kw_only=True)
class Dictionary:
    """The rescue's words; ``file`` is "" where it keeps none."""

    file: str = ""
    sheet: str = ""
    entries: tuple[Entry, ...] = field(default=())

    def tell(self, ledger: Ledger, row: int | None, value: str, rule: str, what_to_do: str) -> None:
        """Add a finding about a row of the dictionary."""
        ledger.note(
            self.file,
            self.sheet,
            row=row,
            value=masked(value)[0],
            rule=rule,
            what_to_do=what_to_do,
            effect=DOUBTFUL,
        )


def read_dictionary(sheet: Sheet, ledger: Ledger) -> Dictionary:
    """Read the rescue's dictionary; a row that cannot be used is a finding, and is not used.

    A row of the list of unknown words (it counts rows) that says nothing of the word yet is passed over: the word
    stays unknown.

    Raises
    ------
    InputError
        If there is no heading "kind" or "word".
    """
    headings = _headings(sheet, ledger)
    empty = Dictionary(file=sheet.file, sheet=sheet.sheet)
    entries = []
    for row, record in zip(sheet.row, sheet.cells.to_dict("records"), strict=True):
        texts: dict[str, str] = dict.fromkeys(COLUMNS, "")
        for heading, name in headings.items():
            texts[name] = "; ".join(filter(None, (texts[name], " ".join(str(record[heading]).split()))))
        if _unfilled(texts, [str(text) for heading, text in record.items() if plain(str(heading)) == "rows"]):
            continue
        entry = _entry(int(row), texts, empty, ledger)
        if entry is not None:
            entries.append(entry)
    return Dictionary(file=sheet.file, sheet=sheet.sheet, entries=tuple(entries))


def _unfilled(texts: Mapping[str, str], rows: list[str]) -> bool:
    """Whether a row is one of the list of unknown words, pasted back before anybody wrote what the word means."""
    return any(text.strip() for text in rows) and not any(
        text for name, text in texts.items() if name not in ("kind", "word")
    )


def _headings(sheet: Sheet, ledger: Ledger) -> dict[str, str]:
    known = {plain(name): name for name in COLUMNS} | _OTHER_HEADINGS
    out = {}
    for heading in sheet.cells.columns:
        name = known.get(plain(heading), "")
        if name and name != "note":
            out[heading] = name
        elif plain(heading) not in _PASSED_OVER:
            ledger.note(
                sheet.file,
                sheet.sheet,
                column=masked(heading)[0],
                rule="this heading is not one of the dictionary's, and is not read",
                what_to_do=f"Known: {', '.join(COLUMNS)}.{nearest(plain(heading), COLUMNS)}",
            )
    missing = [name for name in ("kind", "word") if name not in out.values()]
    if missing:
        raise InputError(
            f"{sheet.where}: the dictionary needs a heading {' and a heading '.join(missing)}.",
            [f"headings: {', '.join(masked(heading)[0] for heading in sheet.cells.columns)}"],
            f"Its headings are: {', '.join(COLUMNS)}.",
        )
    return out


def _entry(row: int, texts: Mapping[str, str], where: Dictionary, ledger: Ledger) -> Entry | None:
    people = list(dict.fromkeys(kind for text in texts.values() for kind in details_of(text)))
    if people:
        rule = f"a row of the dictionary must hold no people's details; this one holds {' and '.join(people)}; not used"
        where.tell(ledger, row, "", rule, "Delete them.")
        return None
    word, kind = texts["word"], plain(texts["kind"])
    if not word or not kind:
        where.tell(
            ledger, row, word or kind, "a row of the dictionary needs a kind and a word; not used", "Fill it in."
        )
        return None
    places = places_of(kind)
    if not places:
        rule = f'"{texts["kind"]}" is no kind of word in the records; the row is not used'
        where.tell(ledger, row, word, rule, f"Known: {', '.join(kinds())}.{nearest(kind, kinds())}")
        return None
    means, places = _meaning(texts["means"], word, places)
    if not places:
        codes = sorted({code for t, c in places_of(kind) for code in allowed(TABLES[t].column(c))})
        rule = f"{kind} must be one of: {', '.join(codes)}; the row is not used"
        remedy = f"Write one of them under means.{nearest(folded(means or word), codes)}"
        where.tell(ledger, row, means or word, rule, remedy)
        return None
    numbers = {name: _number(name, texts[name], row, where, ledger) for name in NUMBERS}
    low, high = numbers["low_g"], numbers["high_g"]
    if low is not None and high is not None and low >= high:
        where.tell(ledger, row, word, "low_g must be less than high_g; neither is used", "Correct them.")
        numbers |= {"low_g": None, "high_g": None}
    lifelong = _YES_NO.get(folded(texts["lifelong"]))
    if texts["lifelong"] and lifelong is None:
        where.tell(ledger, row, texts["lifelong"], "lifelong must be yes or no; it is read as empty", "Correct it.")
    return Entry(
        row=row,
        kind=kind,
        places=places,
        word=word,
        means=means,
        also=tuple(_split(texts["also known as"], texts["old names"])),
        taxon=folded(texts["taxon"]),
        lifelong=lifelong,
        family=texts["family"],
        **numbers,
    )


def _split(*texts: str) -> list[str]:
    return [part for text in texts for part in map(str.strip, text.split(";")) if part]


def _number(name: str, text: str, row: int, where: Dictionary, ledger: Ledger) -> float | None:
    if not text:
        return None
    found = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(?:g|grams?|days?)?", text, re.I)
    value = float(found[1].replace(",", ".")) if found else math.nan
    if not value > 0:
        where.tell(ledger, row, text, f"{name} must be a number above 0; it is read as empty", "Correct it.")
        return None
    return value


def _meaning(means: str, word: str, places: tuple[tuple[str, str], ...]) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Return what the row means in the words of the columns, and the columns in which that is a word."""
    fitting, spelt = [], means
    for table, column in places:
        codes = allowed(TABLES[table].column(column))
        if not codes:
            fitting.append((table, column))
            continue
        by_fold = {folded(code): code for code in (*codes, "set aside", "nothing")}
        code = by_fold.get(folded(means or word))
        if code is not None:
            fitting.append((table, column))
            spelt = code
    return spelt, tuple(fitting)


def allowed(column: Column) -> tuple[str, ...]:
    """Return the words a column knows; none where its words are free."""
    return ("yes", "no") if column.kind == "yes_no" else column.codes


def places_of(kind: str) -> tuple[tuple[str, str], ...]:
    """Return the (table, column) a kind of word stands in; "checks result" is the column of one table only."""
    if kind in _SHORT:
        return _SHORT[kind]
    return tuple(
        (table.name, column.name)
        for table in TABLES.values()
        for column in table.columns
        if _has_words(column) and kind in (plain(column.name), f"{table.name} {plain(column.name)}")
    )


def kind_of(table: str, column: str) -> str:
    """Return what the dictionary calls the words of a column: the shortest name that is no other column's."""
    for short, places in _SHORT.items():
        if (table, column) in places:
            return "intake type" if short == "intake" else short
    name = plain(column)
    others = places_of(name)
    same = {allowed(TABLES[t].column(c)) for t, c in others}
    return name if len(same) == 1 else f"{table} {name}"


def kinds() -> list[str]:
    """Return every kind of word the dictionary knows."""
    columns: Iterable[tuple[str, str]] = (
        (t.name, c.name) for t in TABLES.values() for c in t.columns if _has_words(c) or c.name == "species"
    )
    return list(dict.fromkeys(("species", "condition", "outcome", *(kind_of(t, c) for t, c in columns))))


def _has_words(column: Column) -> bool:
    return column.kind in ("code", "list", "yes_no") or column.name in (*_FREE, "condition")
