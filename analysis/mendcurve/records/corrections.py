"""Corrections a rescue has made of its records: kept beside them, applied as they are read, never written into them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records import reading, workbook
from mendcurve.records.columns import joined
from mendcurve.records.findings import CORRECTED, DOUBTFUL, NOTE, Ledger
from mendcurve.records.folding import folded
from mendcurve.records.locating import record_column, shown
from mendcurve.records.privacy import masked
from mendcurve.records.schemas import TABLES
from mendcurve.records.sheets import Sheet, named
from mendcurve.records.sources import Source
from mendcurve.records.wide import plain_rows

FILES = ("corrections.xlsx", "corrections.csv")
# The columns of a line. In "now", EMPTY says that the cell should hold nothing.
NEEDED = ("typed", "now", "who", "why")
PLACE = ("file", "sheet", "row", "column", "cell", "record")
COLUMNS = (*PLACE, *NEEDED, "when")
EMPTY = "(empty)"
STATES = ("corrected", "looked at", "not applied")
FRAME = ("file", "sheet", "row", "cell", "column", "record", "typed", "now", "who", "when", "why", "state", "line")
_CELL = re.compile(r"\$?([A-Z]{1,3})\$?(\d+)")
# A text that a spreadsheet would have run as a formula was written with an apostrophe before it.
_KEPT_FROM_RUNNING = re.compile(r"^'(?=[=+\-@\t\r\n])")
_Feed = tuple[Sheet, Sequence[Source]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a file of corrections, every cell as text; ``at`` is its row there, ``source`` the file's name."""

    source: str
    at: int
    file: str
    sheet: str
    row: str
    column: str
    cell: str
    record: str
    typed: str
    now: str
    who: str
    when: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a line: the cell it is about, a state of ``STATES``, and why where it was not applied.

    ``retry``: the text did not fit, and another line may yet make it fit.
    """

    line: Line
    state: str
    why_not: str = ""
    file: str = ""
    sheet: str = ""
    row: int = 0
    heading: str = ""
    cell: str = ""
    table: str = ""
    retry: bool = False


def read_corrections(folder: Path) -> tuple[tuple[Line, ...], Path | None]:
    """Return the lines that somebody has filled in, and the file they stand in.

    Notes
    -----
    The mending list that ``check`` writes, filled in and saved under one of the names ``FILES``; or a table of the
    columns ``NEEDED`` and either ``cell`` or ``row`` and ``column``. ``file`` and ``sheet`` may be left out where there
    is only one.

    Raises
    ------
    InputError
        If there are two such files, one cannot be read, or it has not the columns it needs.
    """
    there = [folder / name for name in FILES if (folder / name).is_file()]
    if not there:
        return (), None
    if len(there) > 1:
        raise InputError(
            "Corrections are read from one file, but there are two.", [f.name for f in there], "Take one of them away."
        )
    sheet = _opened(there[0])
    headings = {name: named(list(sheet.cells.columns), name) for name in COLUMNS}
    blank = [""] * len(sheet.row)
    texts = {name: blank if h is None else sheet.cells[h].tolist() for name, h in headings.items()}
    rows = zip(*(texts[name] for name in COLUMNS), strict=True)
    lines = [
        Line(source=there[0].name, at=int(at), **{n: _cleaned(v) for n, v in zip(COLUMNS, values, strict=True)})
        for at, values in zip(sheet.row, rows, strict=True)
    ]
    return tuple(line for line in lines if line.now or line.who or line.why), there[0]


def _opened(path: Path) -> Sheet:
    sheets = []
    if path.suffix == ".csv":
        sheets = [reading.read_text_file(path)]
    else:
        book = workbook.Book(path)
        sheets = [book.read(name) for name in book.names]
    for sheet in sheets:
        present = list(sheet.cells.columns)
        if all(named(present, name) for name in NEEDED) and (
            named(present, "cell") or (named(present, "row") and named(present, "column"))
        ):
            return sheet
    raise InputError(
        f"{path.name} must have the columns {', '.join(NEEDED)}, and either cell, or row and column.",
        [f"headings: {', '.join(s.cells.columns)}" for s in sheets],
        "Fill in the mending list that check writes, and save it under this name.",
    )


def _cleaned(text: str) -> str:
    return _KEPT_FROM_RUNNING.sub("", str(text).strip())


def corrected(feeds: Sequence[_Feed], lines: Sequence[Line]) -> tuple[list[_Feed], list[Outcome]]:
    """Return the sheets with the corrections applied, and what became of each line, in order.

    Notes
    -----
    A line is applied where the cell still holds what was typed when it was written. Where the row has moved, it is
    applied to the one row of the sheet with the same id and the same text. A second line about one cell must name what
    the first has made of it, in whatever order they stand.
    """
    now = list(feeds)
    done: dict[int, Outcome] = {}
    left = list(enumerate(lines))
    while left:
        for place, line in left:
            done[place] = _incomplete(line) or _applied(now, line)
        again = [(place, line) for place, line in left if done[place].retry]
        left = again if len(again) < len(left) else []
    return now, [done[place] for place in range(len(lines))]


def _incomplete(line: Line) -> Outcome | None:
    lacking = [name for name in ("who", "why", "now") if not getattr(line, name)]
    if not lacking:
        return None
    more = f' To empty the cell write {EMPTY} under "now"; if it is right as it is, write it again.'
    return Outcome(
        line=line,
        state="not applied",
        why_not=f"a correction needs now, who and why; {' and '.join(lacking)} is missing." + more * ("now" in lacking),
    )


def _applied(feeds: list[_Feed], line: Line) -> Outcome:
    """Apply one line, replacing its sheet in ``feeds``."""
    fits = [
        i for i, (sheet, _) in enumerate(feeds) if _names(line.file, sheet.file) and _names(line.sheet, sheet.sheet)
    ]
    if len({(feeds[i][0].file, feeds[i][0].sheet) for i in fits}) != 1:
        which = "no file and sheet" if not fits else "several files or sheets"
        return Outcome(line=line, state="not applied", why_not=f"it names {which} that records are read from")
    outcome = Outcome(line=line, state="not applied")
    for i in fits:
        sheet, sources = feeds[i]
        outcome = _in_sheet(sheet, sources, line)
        if outcome.state == "corrected":
            feeds[i] = (_changed(sheet, outcome), sources)
    return outcome


def _names(wanted: str, given: str) -> bool:
    return not wanted or folded(wanted) == folded(given)


def _in_sheet(sheet: Sheet, sources: Sequence[Source], line: Line) -> Outcome:
    heading, row = _cell(sheet, line)
    place = {"file": sheet.file, "sheet": sheet.sheet, "row": row, "heading": heading or line.column}
    if heading is None:
        return Outcome(line=line, state="not applied", why_not="the sheet has no such column", **place)  # type: ignore[arg-type]
    at, why_not = _row(sheet, sources, heading, row, line)
    if at is None:
        return Outcome(line=line, state="not applied", why_not=why_not, retry=True, **place)  # type: ignore[arg-type]
    place["row"] = int(sheet.row[at])
    typed = shown(sheet.cells[heading].iloc[at])
    return Outcome(
        line=line,
        state="looked at" if shown(line.now) == typed else "corrected",
        cell=f"{sheet.letters.get(heading, '')}{sheet.row[at]}" if heading in sheet.letters else "",
        table=_table(sources, heading),
        **place,  # type: ignore[arg-type]
    )


def _cell(sheet: Sheet, line: Line) -> tuple[str | None, int]:
    """Return the heading and row that ``line`` names; None for a heading the sheet does not have."""
    match = _CELL.fullmatch(line.cell.upper())
    row = int(float(line.row)) if re.fullmatch(r"\d+(\.0+)?", line.row) else int(match[2]) if match else 0
    heading = named(list(sheet.cells.columns), line.column) if line.column else None
    if heading is None and match:
        heading = next((h for h, letter in sheet.letters.items() if letter == match[1]), None)
    return (heading if heading in sheet.cells.columns else None), row


def _row(sheet: Sheet, sources: Sequence[Source], heading: str, row: int, line: Line) -> tuple[int | None, str]:
    """Return the position of the row that ``line`` is about, or why there is none."""
    text = sheet.cells[heading]
    ids = [r for r in (_records(sheet, source) for source in sources) if r is not None] if line.record else []
    at = (sheet.row == row).nonzero()[0]
    if len(at):
        here = int(at[0])
        same = not ids or any(shown(r.iloc[here]) == line.record for r in ids)
        if same and shown(text.iloc[here]) == shown(line.typed):
            return here, ""
        if same:
            return None, f'the cell no longer holds "{shown(line.typed)}", but "{shown(text.iloc[here])}"'
    # The row may have moved: only its own id can say where to.
    own = pd.concat([r == line.record for r in ids], axis=1).any(axis=1) if ids else pd.Series(False, index=text.index)
    moved = [i for i in own.to_numpy().nonzero()[0] if shown(text.iloc[i]) == shown(line.typed)]
    if len(moved) == 1:
        return int(moved[0]), ""
    return None, "its row is no longer there, or has moved and cannot be told from others"


def _records(sheet: Sheet, source: Source) -> pd.Series | None:
    """Return the text of the own id of each row, or None where the table has none."""
    column = record_column(source.table)
    if column in source.id_from:
        return joined(sheet, source.id_from[column])
    heading = named(list(sheet.cells.columns), source.columns.get(column) or column) if column else None
    return None if heading is None else sheet.cells[heading].str.strip()


def _table(sources: Sequence[Source], heading: str) -> str:
    """Return the table that reads ``heading``; the first of the sheet's where none does."""
    reads = (s.table for s in sources if any(named([heading], s.columns.get(c) or c) for c in TABLES[s.table].names))
    return next(reads, sources[0].table)


def _changed(sheet: Sheet, outcome: Outcome) -> Sheet:
    """Return ``sheet`` with the cell of ``outcome`` corrected."""
    at = int((sheet.row == outcome.row).nonzero()[0][0])
    now = "" if folded(outcome.line.now) == EMPTY else outcome.line.now
    text = sheet.cells[outcome.heading].copy()
    if isinstance(text.dtype, pd.CategoricalDtype) and now not in text.cat.categories:
        text = text.cat.add_categories(pd.Index([now], dtype=object))
    text.iloc[at] = now
    # A row that is corrected repeats no other, and is repeated by none: the next of its repeats stands in for it.
    twin = sheet.twin.copy()
    twin[at] = 0
    others = (twin == sheet.row[at]).nonzero()[0]
    twin[others] = sheet.row[others[0]] if len(others) else 0
    twin[others[:1]] = 0
    return replace(sheet, cells=sheet.cells.assign(**{outcome.heading: text}), twin=twin)


def report(done: Sequence[Outcome], ledger: Ledger) -> None:
    """Say what became of each line; who made it and why is in ``frame`` only."""
    for outcome in done:
        line = outcome.line
        typed, now = shown(line.typed), shown(line.now)
        if outcome.state == "not applied":
            what = f" ({outcome.file}, row {outcome.row}, {outcome.heading})" if outcome.file and outcome.row else ""
            ledger.note(
                line.source,
                "",
                row=line.at,
                table="corrections",
                value=now,
                rule=f"this correction is not applied{what}: {outcome.why_not}",
                what_to_do="Correct the line, or take it out.",
                effect=DOUBTFUL,
            )
            continue
        rule = f'corrected by the rescue: "{typed}" is read as "{now}"'
        if outcome.state == "looked at":
            rule = f'looked at by the rescue: "{typed}" is right as it is'
        ledger.note(
            outcome.file,
            outcome.sheet,
            row=outcome.row,
            table=outcome.table,
            column=outcome.heading,
            value=typed,
            rule=rule,
            what_to_do="Nothing.",
            effect=CORRECTED if outcome.state == "corrected" else NOTE,
        )


def frame(done: Sequence[Outcome]) -> pd.DataFrame:
    """Return one row a line of the corrections, columns ``FRAME``: for the rescue's own eyes only."""
    return pd.DataFrame(list(_rows(done)), columns=list(FRAME)).astype({"row": "int64", "line": "int64"})


def _rows(done: Sequence[Outcome]) -> Iterator[tuple[object, ...]]:
    for one in done:
        line = one.line
        words = [masked(line.who, names=False)[0], masked(line.when)[0], masked(line.why)[0]]
        place = (one.file or line.file, one.sheet or line.sheet, one.row, one.cell, one.heading or line.column)
        yield (*place, line.record, shown(line.typed), masked(line.now)[0], *words, one.state, line.at)


def settled(lines: pd.DataFrame, done: Sequence[Outcome]) -> pd.DataFrame:
    """Return ``lines`` (with ``heading``) with the doubts about cells that were looked at turned into notes.

    Notes
    -----
    What cannot be used cannot be settled: a row stays set aside until its text is corrected.
    """
    right = {(one.file, one.sheet, one.row, one.heading) for one in done if one.state == "looked at"}
    doubted = lines["row"].notna() & (lines["effect"] == DOUBTFUL)
    if not right or not doubted.any():
        return lines
    at = lines.loc[doubted, ["file", "sheet", "row", "heading"]]
    at = at.assign(row=plain_rows(at["row"].astype("int64")))
    calm = doubted.copy()
    calm.loc[doubted] = pd.MultiIndex.from_frame(at).isin(list(right))
    rule = "the rescue has looked at this and says it is right: " + lines["rule"]
    return lines.assign(
        effect=lines["effect"].mask(calm, NOTE),
        rule=lines["rule"].mask(calm, rule),
        what_to_do=lines["what_to_do"].mask(calm, "Nothing."),
    )
