"""Corrections a rescue has made of its records: kept beside them, applied as they are read, never written into them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from mendcurve.records.columns import joined
from mendcurve.records.correction_lines import EMPTY, Line, lacks
from mendcurve.records.findings import CORRECTED, DOUBTFUL, NOTE, Ledger
from mendcurve.records.folding import folded
from mendcurve.records.locating import Part, record_column, shown
from mendcurve.records.privacy import masked
from mendcurve.records.schemas import TABLES
from mendcurve.records.sheets import Sheet, named
from mendcurve.records.sources import Source
from mendcurve.records.wide import plain_rows

TAKEN_OUT = "taken out"
STATES = ("corrected", TAKEN_OUT, "looked at", "not applied")
FRAME = ("file", "sheet", "row", "cell", "column", "record", "typed", "now", "who", "when", "why", "state", "line",
         "why_not", "understood")  # fmt: skip
_CELL = re.compile(r"\$?([A-Z]{1,3})\$?(\d+)")
_Feed = tuple[Sheet, Sequence[Source]]


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
            lacking = lacks(line)
            done[place] = Outcome(line=line, state="not applied", why_not=lacking) if lacking else _applied(now, line)
        again = [(place, line) for place, line in left if done[place].retry]
        left = again if len(again) < len(left) else []
    return now, [done[place] for place in range(len(lines))]


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
        if outcome.state == TAKEN_OUT:
            feeds[i] = (_without(sheet, outcome.row), sources)
        elif outcome.state == "corrected":
            feeds[i] = (_changed(sheet, outcome), sources)
    return outcome


def _names(wanted: str, given: str) -> bool:
    return not wanted or folded(wanted) == folded(given)


def _in_sheet(sheet: Sheet, sources: Sequence[Source], line: Line) -> Outcome:
    heading, row = _cell(sheet, line)
    place = {"file": sheet.file, "sheet": sheet.sheet, "row": row, "heading": heading or line.column}
    if heading is None and line.deletes and not line.column and not line.typed:
        return _whole_row(sheet, sources, row, line)
    if heading is None:
        return Outcome(line=line, state="not applied", why_not="the sheet has no such column", **place)  # type: ignore[arg-type]
    at, why_not = _row(sheet, sources, heading, row, line)
    if at is None:
        place["cell"] = _letters(sheet, heading, row) if row else ""
        return Outcome(line=line, state="not applied", why_not=why_not, retry=True, **place)  # type: ignore[arg-type]
    place["row"] = int(sheet.row[at])
    typed = shown(sheet.cells[heading].iloc[at])
    state = "looked at" if shown(line.now) == typed else "corrected"
    return Outcome(
        line=line,
        state=TAKEN_OUT if line.deletes else state,
        cell=_letters(sheet, heading, int(sheet.row[at])),
        table=_table(sources, heading),
        **place,  # type: ignore[arg-type]
    )


def _letters(sheet: Sheet, heading: str, row: int) -> str:
    return f"{sheet.letters[heading]}{row}" if heading in sheet.letters else ""


def _whole_row(sheet: Sheet, sources: Sequence[Source], row: int, line: Line) -> Outcome:
    """Return what becomes of a line that takes out a row and names no cell: only a row that repeats another may go."""
    place = {"file": sheet.file, "sheet": sheet.sheet, "row": row, "table": sources[0].table}
    at = ((sheet.row == row) & ((sheet.twin > 0) | np.isin(sheet.row, sheet.twin))).nonzero()[0]
    ids = [r for r in (_records(sheet, source) for source in sources) if r is not None]
    if len(at) and (not line.record or any(shown(r.iloc[at[0]]) == line.record for r in ids)):
        return Outcome(line=line, state=TAKEN_OUT, **place)  # type: ignore[arg-type]
    why_not = "the row repeats no other, or has moved; name a cell of it, and what is typed there"
    return Outcome(line=line, state="not applied", why_not=why_not, **place)  # type: ignore[arg-type]


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
    return replace(sheet, cells=sheet.cells.assign(**{outcome.heading: text}), twin=_alone(sheet, at))


def _without(sheet: Sheet, row: int) -> Sheet:
    """Return ``sheet`` with a row marked as taken out: it stays there, to be set aside in words."""
    at = int((sheet.row == row).nonzero()[0][0])
    return replace(sheet, twin=_alone(sheet, at), taken_out=sheet.taken_out | {row})


def _alone(sheet: Sheet, at: int) -> np.ndarray:
    """Return ``sheet.twin`` where the row at ``at`` repeats no other, and is repeated by none.

    The next of its repeats stands in for it.
    """
    twin = sheet.twin.copy()
    twin[at] = 0
    others = (twin == sheet.row[at]).nonzero()[0]
    twin[others] = sheet.row[others[0]] if len(others) else 0
    twin[others[:1]] = 0
    return twin


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
        if outcome.state == TAKEN_OUT:
            continue  # said for each table that the row feeds, where it is set aside
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


def frame(
    done: Sequence[Outcome], parts: Sequence[Part] = (), tables: Mapping[str, pd.DataFrame] | None = None
) -> pd.DataFrame:
    """Return one row a line of the corrections, columns ``FRAME``: for the rescue's own eyes only.

    Parameters
    ----------
    parts, tables : optional
        What was read, to say how the corrected cells are understood (``understood``: "" where nothing reads them).
    """
    understood = [_understood(one, parts, tables or {}) for one in done]
    rows = [(*row, words) for row, words in zip(_rows(done), understood, strict=True)]
    return pd.DataFrame(rows, columns=list(FRAME)).astype({"row": "int64", "line": "int64"})


def _rows(done: Sequence[Outcome]) -> Iterator[tuple[object, ...]]:
    for one in done:
        line = one.line
        words = [masked(line.who, names=False)[0], masked(line.when)[0], masked(line.why)[0]]
        # A line that names no cell we know keeps the place it names itself, so that the list gives it back.
        row = one.row or (int(line.row) if re.fullmatch(r"\d{1,9}", line.row) else 0)
        cell = one.cell or (line.cell if _CELL.fullmatch(line.cell.upper()) and not one.row else "")
        texts_of_place = [masked(t)[0] for t in (one.file or line.file, one.sheet or line.sheet)]
        place = (*texts_of_place, row, cell, masked(one.heading or line.column)[0])
        texts = (line.record, shown(line.typed), masked(line.now)[0])
        yield (*place, *texts, *words, one.state, line.at, one.why_not)


def _understood(one: Outcome, parts: Sequence[Part], tables: Mapping[str, pd.DataFrame]) -> str:
    """Return the value that a corrected cell has in the tables: a day is always year, month, day."""
    if one.state != "corrected" or folded(one.line.now) == EMPTY:
        return ""
    for part in parts:
        ours = [c for c, heading in part.headings.items() if heading == one.heading]
        if (part.sheet.file, part.sheet.sheet) != (one.file, one.sheet) or not ours or part.table not in tables:
            continue
        table = tables[part.table]
        if ours[0] not in table.columns:
            continue
        here = (table["source_row"] == one.row) & (table["source_file"] == one.file)
        values = table.loc[here & (table["source_sheet"].fillna("") == one.sheet), ours[0]]
        return "cannot be used: see the findings" if values.isna().all() else masked(_as_text(values.iloc[0]))[0]
    return ""


def _as_text(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M}".removesuffix(" 00:00")
    return f"{value:.10g}" if isinstance(value, float) else str(value)


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
