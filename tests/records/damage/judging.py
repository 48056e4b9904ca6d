"""What became of each damaged cell, and what must hold whatever the damage was."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.building import GRAMS
from mendcurve.records.folding import heading as plain
from mendcurve.records.records import Records
from mendcurve.records.schemas import TABLES, Column
from records.damage.drafts import Draft, Line, text_of

REPAIRED, DETECTED, ASIDE, REFUSED, MISSED = "repaired", "detected", "set aside", "refused", "missed"
OUTCOMES = (REPAIRED, DETECTED, ASIDE, REFUSED, MISSED)
Where = Mapping[int, tuple[str, str, int]]


@dataclass(frozen=True, slots=True, eq=False)
class Hit:
    """One damaged cell, or row.

    Attributes
    ----------
    column : str
        Empty: the row as a whole.
    meant : mapping of column -> value, optional
        What the cells should be read as, where that is not the clean value (a note with a new line put in).
    gone : bool
        The line is none of the records (a title, a total, a repeat): nothing should be read from it.
    told : bool
        Reading it as it stands is not enough: it must be told of.
    near : float
        Relative distance at which a number still is the one meant (ounces round).
    judged : bool
        It counts in the table; of a column damaged as a whole only some cells do.
    """

    kind: str
    table: str
    line: Line
    column: str = ""
    meant: Mapping[str, Any] | None = None
    gone: bool = False
    told: bool = False
    near: float = 1e-9
    judged: bool = True


@dataclass(frozen=True, eq=False)
class Reading:
    """The records as they were read, or how they were refused, with where each line stood."""

    draft: Draft
    where: Where
    records: Records | None
    refusal: InputError | None = None

    @cached_property
    def tables(self) -> dict[str, pd.DataFrame]:
        """Validated tables by the row they came from."""
        assert self.records is not None
        return {name: frame.set_index("source_row") for name, frame in self.records.tables.items()}

    @cached_property
    def aside(self) -> dict[tuple[str, str, int], str]:
        """Reason of each row set aside."""
        assert self.records is not None
        rows = self.records.set_aside
        keys = zip(rows["file"], rows["sheet"], rows["row"], strict=True)
        return dict(zip(keys, rows["reason"], strict=True))

    @cached_property
    def named(self) -> dict[tuple[str, str, int], set[str]]:
        """Headings of the findings of each row."""
        assert self.records is not None
        rows = self.records.cells.dropna(subset="row")
        out: dict[tuple[str, str, int], set[str]] = {}
        for file, sheet, row, column in zip(rows["file"], rows["sheet"], rows["row"], rows["column"], strict=True):
            out.setdefault((file, sheet, row), set()).add(column)
        return out


def expected(column: Column, value: Any) -> Any:
    """Return what a clean value is in a validated table."""
    if column.kind == "yes_no":
        return value is True
    if column.kind == "list":
        return "; ".join(sorted((value or "").split("; "))) if value else ""
    return column.default if value is None else value


def same(column: Column, found: Any, value: Any, near: float = 1e-9) -> bool:
    """Whether a validated cell holds what it should."""
    wanted = expected(column, value)
    if wanted is None or found is None or found is pd.NaT or pd.isna(found):
        return wanted is None and bool(pd.isna(found))
    if isinstance(wanted, date):
        return pd.Timestamp(wanted) == pd.Timestamp(found)
    if column.kind in ("number", "count", "money"):
        return abs(float(found) - float(wanted)) <= near * max(1.0, abs(float(wanted)))
    return type(wanted)(found) == wanted if not isinstance(wanted, Decimal) else Decimal(found) == wanted


def wrong_cells(reading: Reading, line: Line, row: pd.Series, hit: Hit | None = None) -> list[str]:
    """Return the columns of a kept row that do not hold the clean (or meant) value."""
    table = next(s.table for s in reading.draft.sheets.values() if line in s.lines)
    meant = {**(line.truth or {}), **((hit.meant or {}) if hit else {})}
    near = hit.near if hit else 1e-9
    out = []
    for column in TABLES[table].columns:
        value = meant.get(column.name)
        if table == "weighings" and column.name in ("weight", "unit"):
            if column.name == "weight":
                grams = float(meant["weight"]) * GRAMS[meant["unit"] or "g"]
                fits = abs(row["weight_g"] - grams) <= max(near, 1e-9) * grams
                out += [] if fits else ["weight"]
            continue
        if not same(column, row[column.name], value, near):
            out.append(column.name)
    return out


def verdict(reading: Reading, hit: Hit, others: frozenset[str] = frozenset()) -> str:
    """Return what became of a damaged cell or row; ``others`` are columns of its row that other damage touched."""
    if reading.refusal is not None:
        return REFUSED
    records = reading.records
    assert records is not None
    place = reading.where[id(hit.line)]
    table, number = reading.tables[hit.table], place[2]
    if place in reading.aside:
        return ASIDE
    if number not in table.index:
        if hit.gone:
            return REPAIRED
        return DETECTED if _left_out(records, number) else MISSED
    if not (hit.gone or hit.told or hit.line.truth is None):
        wrong = set(wrong_cells(reading, hit.line, table.loc[number], hit))
        if not (wrong - others if not hit.column else wrong & {hit.column, *(hit.meant or {})}):
            return REPAIRED
    return DETECTED if _named(reading, hit) else MISSED


def _left_out(records: Records, number: int) -> bool:
    rules = records.findings["rule"]
    return bool(rules[rules.str.contains("after the as-of date")].str.contains(rf"\b{number}\b").any())


def _named(reading: Reading, hit: Hit) -> bool:
    """Whether a finding names the row, or (without a row) the column and the value as typed, or the row by another."""
    if reading.where[id(hit.line)] in reading.named:
        return True
    records = reading.records
    assert records is not None
    file, sheet, number = reading.where[id(hit.line)]
    cells = records.cells
    whole = cells[
        (cells["file"] == file) & (cells["sheet"] == sheet) & cells["row"].isna() & (cells["table"] == hit.table)
    ]
    typed = text_of(hit.line.cells.get(hit.column)).strip().casefold()
    ours = (plain(reading.draft.sheets[hit.table].headings.get(hit.column, hit.column)), plain(hit.column))
    values = whole.loc[whole["column"].map(plain).isin(ours), "value"].str.strip().str.casefold()
    if hit.column and typed and values.str.removesuffix(".0").eq(typed.removesuffix(".0")).any():
        return True
    # A finding at another row that names this one ("intakes, row 17"; "row 17" of its own sheet).
    pattern = rf"\b{hit.table}, row {number}\b"
    own = cells[(cells["file"] == file) & (cells["sheet"] == sheet)]
    return bool(
        cells["rule"].str.contains(pattern).any()
        or own["rule"].str.contains(rf"\brows? (?:[\d, ]+, )?{number}\b").any()
    )


def verdicts(reading: Reading, hits: list[Hit]) -> list[tuple[Hit, str]]:
    """Return each hit with what became of it."""
    columns: dict[int, list[str]] = {}
    for hit in hits:
        columns.setdefault(id(hit.line), []).append(hit.column)
    return [(hit, verdict(reading, hit, frozenset(columns[id(hit.line)]))) for hit in hits if hit.judged]


def check_whole(reading: Reading, hits: Iterable[Hit]) -> list[str]:
    """Return what does not hold though it must, whatever the damage was; empty when all is well."""
    if reading.records is None:
        return []
    hits = list(hits)
    rows = [] if reading.draft.renumbered else _rows(reading, hits)
    return [*_accounts(reading), *rows, *_secrets(reading)]


def _accounts(reading: Reading) -> list[str]:
    records = reading.records
    assert records is not None
    out = []
    for line in records.accounts.itertuples():
        others = line.blank + line.heading + line.total + line.left_out + line.nothing_here + line.kept + line.set_aside
        if line.counted != others:
            out.append(f"accounts of {line.table} do not balance")
        sheet = reading.draft.sheets[line.table]
        written = sum(row.sort != "blank" or reading.draft.form == "csv" for row in sheet.lines)
        if line.counted != written and not reading.draft.renumbered:
            out.append(f"{line.table}: {written} lines written, {line.counted} counted")
    return out


def _rows(reading: Reading, hits: list[Hit]) -> list[str]:
    mine: dict[int, list[Hit]] = {}
    for hit in hits:
        mine.setdefault(id(hit.line), []).append(hit)
    return [said for name in reading.draft.sheets for said in _sheet(reading, name, mine)]


def _sheet(reading: Reading, name: str, mine: dict[int, list[Hit]]) -> list[str]:
    """Return what is wrong with where the rows of one sheet went."""
    sheet, table = reading.draft.sheets[name], reading.tables[name]
    places = [reading.where[id(line)] for line in sheet.lines]
    aside = {place[2] for place in places if place in reading.aside}
    if table.index.has_duplicates or set(table.index) & aside:
        return [f"{name}: a row is there twice"]
    out, passed = [], 0
    for line, place in zip(sheet.lines, places, strict=True):
        whole = line.sort == "row" and line.who not in reading.draft.busy and id(line) not in mine
        if place in reading.aside:
            out += [f"{name}, row {place[2]}: not damaged, set aside: {reading.aside[place]}"] if whole else []
            out += [] if reading.aside[place].strip() else [f"{name}, row {place[2]}: set aside without a reason"]
        elif place[2] in table.index:
            out += _kept(reading, name, line, table.loc[place[2]], mine.get(id(line), []))
        else:
            passed += line.sort != "blank" or reading.draft.form == "csv"
            out += [f"{name}, row {place[2]}: not damaged, and lost"] if whole else []
    if strange := set(table.index) - {place[2] for place in places}:
        out.append(f"{name}: rows that nobody wrote: {sorted(strange)[:5]}")
    assert reading.records is not None
    account = reading.records.accounts.set_index("table").loc[name]
    named = account[["blank", "heading", "total", "left_out", "nothing_here"]].sum()
    return out if passed == named else [*out, f"{name}: {passed} lines in no table, {named} named"]


def _kept(reading: Reading, name: str, line: Line, row: pd.Series, hits: list[Hit]) -> list[str]:
    if line.truth is None or any(not hit.column for hit in hits):
        return []
    damaged = {c for hit in hits for c in (hit.column, *(hit.meant or {}))}
    damaged |= {"weight", "unit"} if damaged & {"weight", "unit"} else set()
    wrong = [c for c in wrong_cells(reading, line, row) if c not in damaged]
    if not wrong:
        return []
    headings = reading.draft.sheets[name].headings
    told = reading.named.get(reading.where[id(line)], set())
    # What hangs on a damaged cell may change, if the reader says so at that very cell.
    silent = [c for c in wrong if line.who not in reading.draft.busy or headings[c] not in told]
    number = reading.where[id(line)][2]
    return [f"{name}, row {number}: {c} changed from {line.truth[c]!r} to {row[c]!r}" for c in silent]


def _secrets(reading: Reading) -> list[str]:
    records = reading.records
    assert records is not None
    frames = {
        "findings": records.findings,
        "cells": records.cells,
        "set aside": records.set_aside,
        **{name: records[name] for name in TABLES},
    }
    out = []
    for secret in reading.draft.secrets:
        pattern = re.escape(secret)
        for name, frame in frames.items():
            for column in frame.columns:
                if frame[column].astype(str).str.contains(pattern).any():
                    out.append(f"{secret!r} stands in {name}, {column}")
    return out
