"""Load records: gather, translate, check, settle the accounts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records import accounting, corrections
from mendcurve.records.building import finish
from mendcurve.records.clock import propose_as_of, propose_start
from mendcurve.records.consequences import told
from mendcurve.records.corrections import settled
from mendcurve.records.crosschecks import check_doubts, check_rows
from mendcurve.records.cutting import cut_tables
from mendcurve.records.findings import (
    COLUMNS,
    CORRECTED,
    DOUBTFUL,
    NOTE,
    SET_ASIDE,
    Ledger,
    in_order,
    no_rows,
    one_a_record,
    typed,
)
from mendcurve.records.folding import folded
from mendcurve.records.gathering import Gathered, gather
from mendcurve.records.later_dates import check_later
from mendcurve.records.locating import Part, located
from mendcurve.records.months import sure_days
from mendcurve.records.records import Records
from mendcurve.records.review import Review, standing
from mendcurve.records.schemas import TABLES
from mendcurve.records.settings import Settings, settings_from
from mendcurve.records.sheets import Sheet, named
from mendcurve.records.sources import Plan, Source
from mendcurve.records.species import reference, with_unknown
from mendcurve.records.species import translate as translate_species
from mendcurve.records.spelling import one_spelling
from mendcurve.records.stay_finding import find_stays
from mendcurve.records.translating import Translated, translate
from mendcurve.records.unknown_words import listed
from mendcurve.records.wide import plain_rows, rows_shown

_PLACE = ["source_file", "source_sheet", "source_row"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Read:
    """What was read: each sheet, the table it fed, and what became of its rows."""

    parts: list[tuple[Sheet, Source, Translated]] = field(default_factory=list)

    def frames(self, settings: Settings) -> dict[str, pd.DataFrame]:
        out = {}
        for name, table in TABLES.items():
            given = [t.frame for _, s, t in self.parts if s.table == name and len(t.frame)]
            several = pd.concat(given, ignore_index=True) if len(given) > 1 else None
            raw = several if several is not None else given[0] if given else pd.DataFrame(index=pd.RangeIndex(0))
            out[name] = finish(table, raw, settings)
        return out

    def assumed(self) -> list[tuple[str, str, str, np.ndarray]]:
        return [(s.table, p.file, p.sheet, t.assumed) for p, s, t in self.parts if len(t.assumed)]

    def recorded(self) -> frozenset[tuple[str, str]]:
        return frozenset((s.table, column) for _, s, t in self.parts for column in t.recorded)


def load(
    path: str | Path, *, settings: str | Path | None = None, as_of: str | date | pd.Timestamp | None = None
) -> Records:
    """Read, validate and cross-check a rescue's records.

    Parameters
    ----------
    path : path
        A folder of CSV, TSV, Parquet and workbooks; or one workbook or file.
    settings : path, optional
        The rescue's decisions; default ``records.toml`` in the folder, or beside the file.
    as_of : date, optional
        Last day to take into account; wins over the one in the settings.

    Returns
    -------
    Records
        Rows dated after the as-of date are left out (and counted so in the accounts).

    Raises
    ------
    InputError
        If a file cannot be read, a required column is missing, the order of dates is not known, or the settings hold
        something unknown. What is wrong with single rows is never raised: it is in ``findings``.
    """
    ledger = Ledger()
    gathered = gather(Path(path), None if settings is None else Path(settings), ledger)
    chosen = settings_from(gathered.config)
    read = _translated(gathered, chosen, ledger)
    known = reference(gathered.plan.species)
    tables = read.frames(chosen)
    for name in ("intakes", "requests"):
        tables[name] = tables[name].assign(species=translate_species(tables[name]["species"], known))
    declared = {str(code) for _, s, _ in read.parts for codes in s.codes.values() for code in codes.values() if code}
    tables = one_spelling(tables, chosen, known["name"], ledger, sorted(declared))
    review = Review(tables, with_unknown(known, tables["intakes"]["species"]), ledger)
    find_stays(review, {(s.table, p.file, p.sheet) for p, s, _ in read.parts if s.stay_by})
    check_rows(review)
    day = _day(as_of if as_of is not None else chosen["dates.as_of"])
    day = propose_as_of(sure_days(review.tables, read.assumed(), ledger), ledger) if day is None else day
    whole = review.tables
    review.tables = cut_tables(whole, day)
    _note_later(whole, review.tables, day, ledger)
    check_later(review, whole, day)
    start = _day(chosen["dates.records_start"])
    start = propose_start(review.tables, day, ledger) if start is None else start
    if day < start:
        raise InputError(
            "The as-of date must be on or after the first day of the records.",
            [f"as-of {day:%Y-%m-%d}, records start {start:%Y-%m-%d}"],
            "Choose a later as-of date, or correct dates.records_start in records.toml.",
        )
    check_doubts(review, known, read.recorded(), day)
    parts = [Part(sheet=p, table=s.table, headings=t.headings) for p, s, t in read.parts]
    lines = settled(located(ledger.lines(), parts), gathered.corrections)
    lines = told(lines, parts, before=tables, after=review.tables, species=review.species)
    cells = lines.assign(column=lines["heading"])
    found = one_a_record(cells)
    return Records(
        tables={name: rows_shown(_marked(name, frame, lines), "source_row") for name, frame in review.tables.items()},
        settings=chosen,
        species=review.species,
        findings=rows_shown(found, "row"),
        cells=rows_shown(in_order(cells)[[*COLUMNS, "record"]], "row"),
        words=listed(sum((t.unknown for _, _, t in read.parts), Counter()), tables, known, sorted(declared)),
        corrections=corrections.frame(gathered.corrections, parts, tables),
        set_aside=rows_shown(_aside(read, review, found), "row"),
        accounts=_accounts(read, review, whole, gathered.looked_up),
        recorded=read.recorded(),
        as_of=day,
        records_start=start,
        digest=gathered.digest,
    )


def _day(value: str | date | pd.Timestamp | None) -> pd.Timestamp | None:
    return None if value is None else pd.Timestamp(value).normalize()


def _translated(gathered: Gathered, settings: Settings, ledger: Ledger) -> _Read:
    read = _Read()
    for sheet, sources in gathered.feeds:
        for note in sheet.notes:
            ledger.note(
                sheet.file,
                sheet.sheet,
                row=note.row,
                column=note.column,
                value=note.value,
                rule=note.rule,
                what_to_do=note.what_to_do,
                effect=note.effect,
                table=sources[0].table if note.row else "",
            )
        if sheet.people:
            ledger.note(
                sheet.file,
                sheet.sheet,
                column=", ".join(sheet.people),
                rule="people are not in the records; these columns were dropped as they were read",
                what_to_do="Nothing. Rename a heading that holds no person's details.",
            )
        kept = _kept(sheet, gathered.plan)
        for source in sources:
            others = [other for other in sources if other is not source]
            done = translate(sheet, source, settings=settings, kept=kept, others=others, ledger=ledger)
            read.parts.append((sheet, source, done))
    for sheet, sources in gathered.feeds:
        done_here = [t for s, _, t in read.parts if (s.file, s.sheet) == (sheet.file, sheet.sheet)]
        spread = frozenset(
            h for s, _, _ in read.parts if (s.file, s.sheet) == (sheet.file, sheet.sheet) for h in s.spread
        )
        _unknown_headings(sheet, gathered.plan, done_here, sources, spread, ledger)
    return read


def _kept(sheet: Sheet, plan: Plan) -> np.ndarray:
    everything = np.ones(len(sheet.row), dtype=bool)
    if not plan.keep_heading:
        return everything
    at = named(list(sheet.cells.columns), plan.keep_heading)
    if at is None:
        return everything
    words = {folded(word) for word in plan.keep}
    return sheet.cells[at].isin({w for w in sheet.cells[at].unique() if folded(w) in words}).to_numpy()


def _unknown_headings(
    sheet: Sheet,
    plan: Plan,
    done: list[Translated],
    sources: tuple[Source, ...],
    spread: frozenset[str],
    ledger: Ledger,
) -> None:
    used = spread.union(*(t.used for t in done))
    names = sorted({column for source in sources for column in TABLES[source.table].names})
    keep = named(list(sheet.cells.columns), plan.keep_heading) if plan.keep_heading else None
    # Headings that stand twice, alone or as a table beside the first.
    said = {*sheet.beside, *(note.column for note in sheet.notes if note.row is None)}
    for heading in sheet.cells.columns:
        if heading in used or heading in said or heading == keep or not (sheet.cells[heading] != "").any():
            continue
        ledger.note(
            sheet.file,
            sheet.sheet,
            table=sources[0].table,
            column=heading,
            rule="this heading is not a column of Mendcurve's, and is not read",
            what_to_do="In records.toml, name it under columns, or in ignore."
            + nearest(heading.lower().replace(" ", "_"), names),
        )


def _note_later(
    whole: Mapping[str, pd.DataFrame], cut: Mapping[str, pd.DataFrame], day: pd.Timestamp, ledger: Ledger
) -> None:
    for name, frame in whole.items():
        gone = len(frame) - len(cut[name])
        if gone:
            rows = frame.loc[~standing(frame, cut[name][_PLACE])]
            shown = ", ".join(map(str, plain_rows(rows["source_row"]).head(5)))
            ledger.note(
                rows["source_file"].iloc[0],
                rows["source_sheet"].iloc[0],
                table=name,
                rule=f"{gone} row{'s are' if gone > 1 else ' is'} dated after the as-of date, "
                f"{day:%Y-%m-%d}, and left out (row {shown}{' and more' if gone > 5 else ''})",
                what_to_do="Nothing, if the as-of date is right; a year may have slipped.",
                effect=NOTE,
            )


def _marked(name: str, frame: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    if name != "weighings" or not len(frame):
        return frame
    doubted = (lines["table"] == name) & (lines["column"] == "weight") & (lines["effect"] == DOUBTFUL)
    doubtful = lines.loc[doubted & lines["row"].notna(), ["file", "sheet", "row"]]
    return frame.assign(doubtful=standing(frame, doubtful))


def _aside(read: _Read, review: Review, found: pd.DataFrame) -> pd.DataFrame:
    dropped = pd.concat(review.aside, ignore_index=True) if review.aside else None
    lines = []
    for sheet, source, done in read.parts:
        place = done.aside
        if dropped is not None:
            mine = dropped[
                (dropped["table"] == source.table)
                & (dropped["source_file"] == sheet.file)
                & (dropped["source_sheet"] == sheet.sheet)
            ]
            place = np.union1d(place, np.flatnonzero(np.isin(sheet.row, mine["source_row"].to_numpy(dtype="int64"))))
        if len(place):
            lines.append(
                pd.DataFrame(
                    {
                        "file": sheet.file,
                        "sheet": sheet.sheet,
                        "row": sheet.row[place],
                        "table": source.table,
                        "text": sheet.verbatim(place),
                    }
                )
            )
    if not lines:
        return no_rows()
    # A row the rescue has taken out is corrected, and set aside all the same.
    reasons = found.loc[found["effect"].isin([SET_ASIDE, CORRECTED]), ["file", "sheet", "row", "table", "rule"]]
    out = pd.concat(lines, ignore_index=True)
    out = out.merge(
        reasons.rename(columns={"rule": "reason"}).astype({"row": "int64"}),
        how="left",
        on=["file", "sheet", "row", "table"],
    )
    # One finding speaks for all rows of a second table.
    for sheet in {id(sheet): sheet for sheet, _, _ in read.parts if sheet.second}.values():
        below = (out["file"] == sheet.file) & (out["sheet"] == sheet.sheet) & (plain_rows(out["row"]) > sheet.second)
        out["reason"] = out["reason"].mask(below, f"a second table seems to begin in row {sheet.second}")
    return typed(out)


def _accounts(
    read: _Read,
    review: Review,
    whole: Mapping[str, pd.DataFrame],
    looked_up: tuple[tuple[Sheet, np.ndarray], ...],
) -> pd.DataFrame:
    dropped = pd.concat(review.aside, ignore_index=True) if review.aside else None
    lines: list[dict[str, object]] = []
    for sheet, source, done in read.parts:
        kept = _of(review.tables[source.table], sheet)
        later = _of(whole[source.table], sheet) - kept
        aside = len(done.aside)
        if dropped is not None:
            aside += _of(dropped[dropped["table"] == source.table], sheet)
        lines.append(
            {
                "file": sheet.file,
                "sheet": sheet.sheet,
                "table": source.table,
                "counted": sheet.counted,
                "blank": sheet.blank,
                "heading": sheet.headings,
                "total": sheet.totals,
                "left_out": done.left_out + later,
                "nothing_here": done.nothing_here,
                "kept": kept,
                "set_aside": aside,
            }
        )
    lines += [_looked_up(sheet, used) for sheet, used in looked_up]
    return accounting.settled(lines)


def _looked_up(sheet: Sheet, used: np.ndarray) -> dict[str, object]:
    """Account for a sheet that only adds columns to another's rows."""
    counts = {"counted": sheet.counted, "blank": sheet.blank, "heading": sheet.headings, "total": sheet.totals}
    kept = int(used.sum())
    rest = {"left_out": 0, "nothing_here": len(used) - kept, "kept": kept, "set_aside": 0}
    return {"file": sheet.file, "sheet": sheet.sheet, "table": "looked up", **counts, **rest}


def _of(frame: pd.DataFrame, sheet: Sheet) -> int:
    return int(((frame["source_file"] == sheet.file) & (frame["source_sheet"] == sheet.sheet)).sum())
