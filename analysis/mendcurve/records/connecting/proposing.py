"""A folder of spreadsheets to the proposal of its records.toml: all decisions put together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from mendcurve.errors import InputError
from mendcurve.records.beside import OWN_SHEETS, UNREAD_RECORDS, skipped
from mendcurve.records.connecting.assigning import Feed, Seen, feeds_of, seen
from mendcurve.records.connecting.daybook import day_book
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.evidence import settle
from mendcurve.records.connecting.joining import LOOKED_UP, joins, settle_join
from mendcurve.records.connecting.linking import link
from mendcurve.records.connecting.looking import Look, grids, known_headings, look_at
from mendcurve.records.connecting.sections import sections
from mendcurve.records.connecting.vocabulary import Vocabulary, load_vocabulary
from mendcurve.records.connecting.writing import text_of
from mendcurve.records.folding import folded
from mendcurve.records.folding import heading as plain
from mendcurve.records.reading import SUFFIXES as TEXT_FILES
from mendcurve.records.species import lookup, reference
from mendcurve.records.workbook import SUFFIXES as WORKBOOKS

SYNONYMS = "synonyms.csv"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """One file or sheet: what it was taken for and why, with what feeds it gave."""

    look: Look
    taken: Decision
    feeds: tuple[Feed, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """What connect proposes for a folder.

    Attributes
    ----------
    body : str
        Text of records.toml, without its seal.
    told : tuple of Told
        Every file and sheet, in the order of files and sheets.
    questions : int
        Lines of the text that begin with "# ?".
    tables : tuple of str
        Tables that some sheet feeds.
    """

    body: str
    told: tuple[Told, ...]
    questions: int
    tables: tuple[str, ...]


def propose(folder: Path, *, synonyms: Path | None = None) -> Proposal:
    """Look at every CSV, TSV and XLSX file of ``folder`` and propose how it is read.

    Parameters
    ----------
    synonyms : Path, optional
        A file of further words; default ``synonyms.csv`` in the folder, if it is there.

    Raises
    ------
    InputError
        If there is no such folder, or no file in it could be read.
    """
    if not folder.is_dir():
        raise InputError(
            f'"{folder.name}" is no folder.', remedy="Give the folder that holds the spreadsheets, not one of them."
        )
    beside = folder / SYNONYMS
    extra = synonyms if synonyms is not None else (beside if beside.is_file() else None)
    vocabulary = load_vocabulary(extra)
    looks = _looks(folder, known_headings(vocabulary))
    if all(look.sheet is None for look in looks):
        found = [look.refused or look.where for look in looks] or ["no CSV, TSV or XLSX file is in it"]
        raise InputError(f'Nothing in the folder "{folder.name}" could be read as records.', found[:20], _NOTHING)
    told = _taken(looks, vocabulary)
    feeds = [feed for one in told for feed in one.feeds]
    body = text_of(sections(told, feeds, vocabulary))
    return Proposal(
        body=body,
        told=told,
        questions=sum(line.startswith("# ?") for line in body.splitlines()),
        tables=tuple(dict.fromkeys(feed.table for feed in feeds)),
    )


_NOTHING = "Save the spreadsheets as .xlsx or CSV into this folder and run connect again."


def _looks(folder: Path, known: frozenset[str]) -> list[Look]:
    kinds = (*(kind for kind in TEXT_FILES if kind != ".parquet"), *WORKBOOKS)
    files = sorted(f for f in folder.iterdir() if f.is_file() and f.suffix.lower() in kinds and not skipped(f.name))
    out: list[Look] = [
        _unread(f) for f in sorted(folder.iterdir()) if f.is_file() and f.suffix.lower() in UNREAD_RECORDS
    ]
    for file in files:
        for grid in grids(file):
            if plain(grid.name) in OWN_SHEETS:
                continue
            out.append(grid if isinstance(grid, Look) else look_at(grid, known))
    return out


def _unread(file: Path) -> Look:
    what_to_do = "Open it in a spreadsheet, save it as .xlsx, and run connect again."
    return Look(file=file.name, name="", refused=f"{file.name}: {file.suffix} files are not read. {what_to_do}")


def _taken(looks: Sequence[Look], vocabulary: Vocabulary) -> tuple[Told, ...]:
    known = lookup(reference())
    own = vocabulary.codes_of("intakes", "species")
    species = known | {word: known.get(folded(name), name) for word, name in own.items()}
    sheets: dict[int, Seen | None] = {id(look): seen(look, species) for look in looks}
    others = [one for one in sheets.values() if one is not None]
    joined = joins(others, vocabulary, species)
    at = {id(sheets[id(look)]): place for place, look in enumerate(looks)}
    looked_up = {id(join.other): at[one] for one, join in joined.items()}
    books = {id(one): day_book(one, others, vocabulary, species) for one in others}
    looked_up |= {id(book.join.other): at[one] for one, book in books.items() if book is not None and book.join}
    first: list[tuple[Look, Decision, list[Feed]]] = []
    for look in looks:
        one = sheets[id(look)]
        if one is None:
            said = (look.refused,)
            refused = Decision(value="refused", doubts=said)
            first.append((look, Decision(value="hollow", reasons=said) if look.hollow else refused, []))
            continue
        book = books[id(one)]
        if book is not None:
            first.append((look, book.taken, book.feeds))
            continue
        join = joined.get(id(one))
        feeds, taken = feeds_of(join.seen if join else one, vocabulary, species)
        if join is not None:
            settle_join(join, one, feeds)
        if id(look) in looked_up and (not feeds or feeds[0].table == "intakes"):
            by = looks[looked_up[id(look)]].where
            feeds, taken = [], Decision(value=LOOKED_UP, reasons=(f"{by} looks up its columns",))
        first.append((look, taken, feeds))
    kept = link([feed for _, _, feeds in first for feed in feeds], vocabulary)
    settle(kept, vocabulary)
    alive = {id(feed) for feed in kept}
    return tuple(
        Told(look=look, taken=_main(taken, feeds), feeds=tuple(f for f in feeds if id(f) in alive))
        for look, taken, feeds in first
    )


def _main(taken: Decision, feeds: Sequence[Feed]) -> Decision:
    """Return what the sheet was taken for; ``link`` may have found that it cannot be read."""
    return feeds[0].why if feeds else taken


def by_sheet(told: Sequence[Told]) -> Mapping[tuple[str, str], Told]:
    """Return Told by file and sheet."""
    return {(one.look.file, one.look.name): one for one in told}
