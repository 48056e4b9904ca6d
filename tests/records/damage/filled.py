"""Damage to columns: filled down by a spreadsheet, or by a form's default."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from records.damage.drafts import Draft
from records.damage.judging import ASIDE, DETECTED, Hit
from records.damage.kinds import any_of, kind


@kind("weights filled down by a spreadsheet: 412, 413, 414", DETECTED, scope="sheet")
def weights_filled(draft: Draft) -> list[Hit]:
    return _filled(draft, "weighings", "weight", 10, lambda first, nth: round(first) + nth)


@kind(
    "dates filled down by a spreadsheet, a day a row",
    DETECTED,
    ASIDE,
    scope="sheet",
    floor=0.5,
    missed="a day book with an animal nearly every day rises so by itself",
)
def dates_filled(draft: Draft) -> list[Hit]:
    table, column = any_of(
        draft,
        (
            ("outcomes", "outcome_date"),
            ("requests", "asked_on"),
            ("conditions", "found_on"),
            ("weighings", "weighed_on"),
        ),
    )
    return _filled(draft, table, column, 12, lambda first, nth: first + timedelta(days=nth))


@kind(
    "numbers of animals filled down by a spreadsheet: 1, 2, 3",
    DETECTED,
    scope="sheet",
    floor=0.6,
    missed="in a short list of small numbers such a run may be chance",
)
def counts_filled(draft: Draft) -> list[Hit]:
    return _filled(draft, "requests", "animals", 14, lambda first, nth: first + nth)


def _filled(draft: Draft, table: str, column: str, rows: int, new: Callable[[Any, int], Any]) -> list[Hit]:
    sheet = draft.sheets[table]
    lines = sheet.rows
    if table in draft.closed or len(lines) < rows + 5 or table in draft.sheets_taken:
        return []
    draft.sheets_taken.add(table)
    for _ in range(20):
        start = int(draft.draw.integers(0, len(lines) - rows))
        some = lines[start : start + rows]
        if all(line.who not in draft.busy and line.truth is not None for line in some):
            break
    else:
        return []
    first = some[0].truth[column]  # type: ignore[index]
    hits = []
    for nth, line in enumerate(some[1:], start=1):
        line.cells[column] = new(first, nth)
        draft.busy.add(line.who)
        if line.cells[column] != line.truth[column]:  # type: ignore[index]
            hits.append(Hit("", table, line, column))
    return hits


@kind("a value that fills a column as a form left it", DETECTED, ASIDE, scope="sheet")
def default_filled(draft: Draft) -> list[Hit]:
    table, column, value = any_of(
        draft,
        (
            ("intakes", "life_stage", "adult"),
            ("conditions", "severity", "mild"),
            ("weighings", "circumstance", "fed"),
            ("weighings", "score_scale", "1-5"),
        ),
    )
    if column == "score_scale":
        column, value = "condition_score", 3.0
    sheet = draft.sheets[table]
    if len(sheet.rows) < 50 or table in draft.closed:
        return []
    hits = []
    for line in sheet.rows:
        if line.truth is None or line.cells.get(column) == value:
            continue
        line.cells[column] = value
        hits.append(Hit("", table, line, column, judged=len(hits) < 3))
    return hits


@kind("one date in a third of the rows, for 'not known'", DETECTED, ASIDE, scope="sheet")
def one_date_fills(draft: Draft) -> list[Hit]:
    lines = [line for line in draft.sheets["intakes"].rows if line.truth is not None]
    if len(lines) < 60 or "intakes" in draft.closed:
        return []
    hits = []
    for line in lines:
        if line.truth["hatched_on"] is None and line.truth["species"]:  # type: ignore[index]
            line.cells["hatched_on"] = date(2020, 1, 1)
            hits.append(Hit("", "intakes", line, "hatched_on", judged=len(hits) < 3))
    return hits
