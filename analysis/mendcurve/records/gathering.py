"""Find the files, the settings, and which sheet feeds which table."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from mendcurve.errors import InputError, nearest
from mendcurve.records import reading, workbook
from mendcurve.records.beside import (
    OWN_FILES,
    SETTINGS_FILE,
    near_table,
    skipped,
    tell_other_files,
    tell_twice,
    tell_unused,
)
from mendcurve.records.correction_lines import read_corrections
from mendcurve.records.corrections import Outcome, corrected, report
from mendcurve.records.dictionary import NAME, Dictionary, read_dictionary
from mendcurve.records.dictionary_use import with_conditions, with_species, with_words
from mendcurve.records.findings import Ledger
from mendcurve.records.folding import heading as plain
from mendcurve.records.more import joined
from mendcurve.records.people import Stand, without_people
from mendcurve.records.privacy import masked, safe_name
from mendcurve.records.schemas import TABLES
from mendcurve.records.sheets import Sheet, has_text, named
from mendcurve.records.sources import Plan, Source, plan_from
from mendcurve.records.wide import spread

# Sheets of a book looked at for headings, and columns that must fit, where no table of intakes is named.
_LOOKED_AT = 20
_FITTING = 3
SUFFIXES = (*reading.SUFFIXES, *workbook.SUFFIXES)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gathered:
    """Files of one rescue, opened.

    Attributes
    ----------
    config : mapping
        The parsed records.toml.
    plan : Plan
    feeds : tuple of (Sheet, tuple of Source)
        Each sheet with the tables it feeds.
    corrections : tuple of Outcome
        What became of the rescue's corrections.
    digest : str
        SHA-256 over the settings and every file read.
    """

    config: Mapping[str, Any]
    plan: Plan
    feeds: tuple[tuple[Sheet, tuple[Source, ...]], ...]
    corrections: tuple[Outcome, ...]
    digest: str
    looked_up: tuple[tuple[Sheet, np.ndarray], ...] = ()


def gather(path: Path, settings: Path | None, ledger: Ledger) -> Gathered:
    """Open the records at ``path`` (a folder, a workbook or one file).

    Raises
    ------
    InputError
        If there is nothing there, a file cannot be read, records.toml is wrong, or nothing holds intakes.
    """
    if not path.exists():
        raise InputError(f'There is nothing at "{path.name}".', remedy="Give the folder, workbook or file of records.")
    folder = path if path.is_dir() else path.parent
    config, text = _settings(settings, folder / SETTINGS_FILE)
    plan = plan_from(config, SETTINGS_FILE)
    files = _files(path, plan)
    books = {f.name: workbook.Book(f) for f in files.values() if f.suffix.lower() in workbook.SUFFIXES}
    places = {name: books[name].names if name in books else [""] for name in files}
    sources = _located(plan, places, single=path.is_file())
    if path.is_dir():
        tell_other_files(path, files, plan.ignored_files, ledger)
    tell_unused(places, sources, files, ledger)
    tell_twice(sources, {source.table for source in plan.sources}, files, ledger)
    if not any(source.table == "intakes" for source in sources):
        raise _no_intakes(path, places, files, books)
    dictionary, kept_in = _dictionary(folder, files, books, ledger)
    sources = with_words(sources, dictionary, ledger)
    plan = with_species(plan, dictionary, ledger)
    config = with_conditions(config, dictionary, ledger)
    feeds: dict[tuple[str, str, int | None], list[Source]] = {}
    for source in sources:
        feeds.setdefault((source.file, source.sheet, source.heading_row), []).append(source)
    lines, written_in = read_corrections(folder)
    raw = [(_read(files[file], books, name, row), group) for (file, name, row), group in feeds.items()]
    mended, corrections = corrected(raw, lines)
    report(corrections, ledger)
    stand = Stand()
    clean = [(without_people(sheet, group, stand), group) for sheet, group in mended]
    looked_up: dict[tuple[str, str, int | None], tuple[Sheet, np.ndarray]] = {}
    clean = [(_with_more(sheet, group, files, books, looked_up, ledger), group) for sheet, group in clean]
    opened = [feed for sheet, group in clean for feed in _spread(sheet, group, config)]
    kept_in += [written_in] if written_in else []
    used = sorted({source.file for source in sources} | {sheet.file for sheet, _ in looked_up.values()})
    return Gathered(
        config=config,
        plan=plan,
        feeds=tuple(opened),
        corrections=tuple(corrections),
        looked_up=tuple(looked_up.values()),
        digest=_digest(text, (*(files[name] for name in used), *kept_in)),
    )


def _with_more(
    sheet: Sheet, sources: Sequence[Source], files: Mapping[str, Path], books: Mapping[str, workbook.Book],
    looked_up: dict[tuple[str, str, int | None], tuple[Sheet, np.ndarray]], ledger: Ledger,
) -> Sheet:  # fmt: skip
    """Return the sheet with the columns its sources look up in others, and keep which rows there were used."""
    for source in sources:
        for more in source.more_from:
            if more.file not in files:
                raise InputError(
                    f'{SETTINGS_FILE}: [tables.{source.table}]: more_from: there is no file "{more.file}".',
                    remedy="Correct its name." + nearest(more.file, files),
                )
            where = (more.file, more.sheet, more.heading_row)
            if where not in looked_up:
                name = more.sheet or (books[more.file].names[0] if more.file in books else "")
                raw = _read(files[more.file], books, name, more.heading_row)
                other = without_people(raw, [replace(source, file=more.file, sheet=name)], Stand())
                looked_up[where] = (other, np.zeros(len(other.row), dtype=bool))
            other, before = looked_up[where]
            sheet, used = joined(sheet, other, more, source.table, ledger)
            looked_up[where] = (other, before | used)
    return sheet


def _spread(
    sheet: Sheet, sources: Sequence[Source], config: Mapping[str, Any]
) -> list[tuple[Sheet, tuple[Source, ...]]]:
    """Return the sheet with its sources; those with one column a weighing read it turned long, one by one."""
    plain_sources = tuple(source for source in sources if source.wide is None)
    out = [(sheet, plain_sources)] if plain_sources else []
    declared = str(config.get("rescue", {}).get("date_order", ""))
    for source in sources:
        if source.wide is not None:
            long = spread(sheet, source.wide, source.date_order or declared)
            # What was found while the sheet was opened is told once.
            out.append((replace(long, notes=(), people=()) if out else long, (source,)))
    return out


def _dictionary(
    folder: Path, files: Mapping[str, Path], books: Mapping[str, workbook.Book], ledger: Ledger
) -> tuple[Dictionary, list[Path]]:
    """Return the rescue's own words, and the file that holds them."""
    own = [f for f in sorted(folder.iterdir()) if plain(f.stem) == NAME and f.name.lower() in OWN_FILES]
    found = [(f, "") for f in own]
    found += [(files[n], sheet) for n, book in books.items() for sheet in book.names if plain(sheet) == NAME]
    if not found:
        return Dictionary(), []
    read = [(file, sheet, _words_of(file, sheet, books)) for file, sheet in found]
    # The template's own sheet of words stays empty where the rescue keeps a file of them.
    filled = [one for one in read if one[2] is not None and len(one[2].row)] or [read[0]]
    if len(filled) > 1:
        raise InputError(
            "A rescue keeps one dictionary, but several are here.",
            [safe_name(f'{f.name}, sheet "{sheet}"' if sheet else f.name) for f, sheet, _ in filled],
            "Put their rows into one, and take the others away.",
        )
    file, _, words = filled[0]
    return Dictionary() if words is None else read_dictionary(words, ledger), list(dict.fromkeys([*own, file]))


def _words_of(file: Path, sheet: str, books: Mapping[str, workbook.Book]) -> Sheet | None:
    """Return the sheet of a dictionary; None for one without a word in it, not even headings."""
    if sheet:
        grid = books[file.name].grid(sheet)
        return grid.sheet() if any(map(has_text, grid.cells)) else None
    if file.suffix.lower() in workbook.SUFFIXES:
        book = workbook.Book(file)
        return book.read(next((n for n in book.names if plain(n) == NAME), book.names[0]))
    return reading.read_text_file(file)


def _settings(given: Path | None, beside: Path) -> tuple[dict[str, Any], bytes]:
    path = given or beside
    if given is not None and not given.is_file():
        raise InputError(f'The settings file "{given.name}" is not there.', remedy="Correct its path.")
    if not path.is_file():
        return {}, b""
    raw = path.read_bytes()
    try:
        return tomllib.loads(raw.decode("utf-8-sig")), raw
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path.name} cannot be read: {error}.",
            remedy="Texts stand in double quotes, sections in [brackets]; save the file as UTF-8.",
        ) from error


def _files(path: Path, plan: Plan) -> dict[str, Path]:
    if path.is_file():
        if path.suffix.lower() not in SUFFIXES:
            raise InputError(
                f"{path.name}: records are read from {', '.join(SUFFIXES)}.", remedy="Save it as one of these."
            )
        return {path.name: path}
    found = sorted(f for f in path.iterdir() if f.is_file() and f.suffix.lower() in SUFFIXES and not skipped(f.name))
    files = {f.name: f for f in found if f.name not in plan.ignored_files}
    if not files:
        raise InputError(
            f'The folder "{path.name}" holds no file of records.',
            remedy=f"Put the records there, as {', '.join(SUFFIXES)}.",
        )
    return files


def _located(plan: Plan, places: Mapping[str, list[str]], *, single: bool) -> list[Source]:
    out = []
    for source in plan.sources:
        if single and source.file and source.file not in places:
            continue
        out.append(_placed(source, places))
    named = {source.table for source in plan.sources}
    taken = {(source.file, source.sheet) for source in out}
    for file, sheets in places.items():
        for sheet in sheets:
            table = plain(sheet or Path(file).stem)
            if table in TABLES and table not in named and (file, sheet) not in taken:
                out.append(Source(table=table, file=file, sheet=sheet))
    return out


def _placed(source: Source, places: Mapping[str, list[str]]) -> Source:
    where = f"{SETTINGS_FILE}: [tables.{source.table}]"
    if source.file and source.file not in places:
        raise InputError(
            f'{where}: there is no file "{source.file}".',
            [safe_name(f"files: {', '.join(places)}")],
            "Correct its name." + nearest(source.file, places),
        )
    files = {source.file: places[source.file]} if source.file else places
    fits = []
    for file, sheets in files.items():
        for sheet in sheets:
            if source.sheet:
                fit = plain(sheet) == plain(source.sheet)
            else:
                fit = plain(sheet or Path(file).stem) == source.table or (bool(source.file) and len(sheets) == 1)
            fits += [(file, sheet)] * fit
    if not fits and not source.file and not source.sheet and sum(map(len, places.values())) == 1:
        fits = [(file, sheets[0]) for file, sheets in places.items()]
    if len(fits) != 1:
        known = [safe_name(f"{file}: {', '.join(filter(None, sheets))}") for file, sheets in files.items()]
        what = f'a sheet "{source.sheet}"' if source.sheet else f'a file or sheet named "{source.table}"'
        raise InputError(
            f"{where}: {'several files have' if fits else 'no file has'} {what}.",
            known,
            "Write file and sheet." + nearest(source.sheet, [s for ss in files.values() for s in ss]),
        )
    return replace(source, file=fits[0][0], sheet=fits[0][1])


def _no_intakes(
    path: Path, places: Mapping[str, list[str]], files: Mapping[str, Path], books: Mapping[str, workbook.Book]
) -> InputError:
    found = []
    for name, sheets in places.items():
        for sheet in sheets[:_LOOKED_AT]:
            shown = f'{name}, sheet "{sheet}"' if sheet else name
            fit = _fits_intakes(files[name], books, sheet)
            near = near_table(sheet or Path(name).stem)
            like = f'; its name is like that of the table "{near}"' if near else ""
            found.append(shown + (f"; its headings fit intakes ({', '.join(fit)})" if fit else like))
    folder = path.name if path.is_dir() else path.absolute().parent.name
    return InputError(
        "Only intakes are required, but no file or sheet is said to hold them.",
        [masked(line)[0] for line in found],
        f'Run "mendcurve connect {folder}": it looks at the files as they are and proposes a {SETTINGS_FILE}. '
        'Or name the file or sheet "intakes".',
    )


def _fits_intakes(file: Path, books: Mapping[str, workbook.Book], sheet: str) -> list[str]:
    """Return the required columns of intakes that headings name, where they are most of them."""
    try:
        headings = list(_read(file, books, sheet, None).cells.columns)
    except InputError:
        return []
    needed = [c.name for c in TABLES["intakes"].columns if c.required]
    fit = [name for name in needed if named(headings, name)]
    return fit if len(fit) >= _FITTING else []


def _read(file: Path, books: Mapping[str, workbook.Book], sheet: str, heading_row: int | None) -> Sheet:
    if file.name in books:
        return books[file.name].read(sheet, heading_row=heading_row)
    if file.suffix.lower() == ".parquet":
        return reading.read_parquet(file)
    return reading.read_text_file(file, heading_row=heading_row)


def _digest(settings: bytes, files: Iterable[Path]) -> str:
    total = hashlib.sha256(settings)
    for file in files:
        total.update(file.name.encode())
        total.update(hashlib.sha256(file.read_bytes()).digest())
    return total.hexdigest()
