"""What ``check --against`` says of an older snapshot of the same records: in words, with counts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd

from mendcurve.questions.rows import each
from mendcurve.questions.wording import count, day, listing
from mendcurve.records.comparing import (
    ASIDE,
    BACKDATED,
    CHANGED,
    GONE,
    REOPENED,
    REUSED,
    Difference,
)

EXAMPLES = 3
_MOST_COLUMNS = 6
_ROW_IS = {"intakes": "stay", "outcomes": "outcome", "conditions": "episode", "weighings": "weighing", "doses": "dose"}
_IRREGULAR = {"dose": "doses"}
_KINDS = {
    REUSED: ("{n} now {names} another animal", ""),
    GONE: ("{n} of the older records {are} gone", "Look for a deleted or overwritten row."),
    REOPENED: ("{n} that had ended {are} open again", "Write the outcome down again, if it was lost."),
}


def against_lines(difference: Difference) -> Iterator[str]:
    """Yield the lines to print; a screenful at most."""
    frame, until = difference.frame, difference.until
    yield ""
    yield f"Held against the older records, which reach to {day(until)}:"
    if frame.empty:
        yield "  Everything they say is said still."
    for kind, (pattern, todo) in _KINDS.items():
        for table, rows in frame[frame["kind"] == kind].groupby("table", sort=True):
            what = count(len(rows), "stay_id", "stay_ids") if kind == REUSED else _rows(str(table), len(rows))
            one = len(rows) == 1
            said = pattern.format(n=what, are="is" if one else "are", names="names" if one else "name")
            yield f"  {_capital(said)}: {_examples(rows)}." + f" {todo}" * bool(todo)
    aside = frame.loc[frame["kind"] == ASIDE, "table"].value_counts()
    if len(aside):
        yield f"  Set aside now, but used before (see the findings): {_by_table(aside)}."
    yield from _changed(frame[frame["kind"] == CHANGED])
    late = frame[frame["kind"] == BACKDATED]
    if len(late):
        yield f"  Written in afterwards, dated before {day(until)}: {_by_table(late['table'].value_counts())}."
        yield "    The figures of those days are no longer what an older report said."
    if difference.news:
        yield f"  News since: {_by_table(pd.Series(difference.news))}."


def _changed(changed: pd.DataFrame) -> Iterator[str]:
    sizes = changed.groupby(["table", "column"], sort=False).size().sort_values(ascending=False, kind="stable")
    for key, n in sizes.head(_MOST_COLUMNS).items():
        table, column = map(str, key)  # type: ignore[call-overload]
        rows = changed[(changed["table"] == table) & (changed["column"] == column)]
        name = _capital(column.replace("_", " "))
        yield f"  {name} says otherwise in {_rows(table, n)}: {_examples(rows)}."
    if len(sizes) > _MOST_COLUMNS:
        rest = int(sizes.iloc[_MOST_COLUMNS:].sum())
        yield f"  {_capital(count(rest, 'more cell'))} of other columns {'says' if rest == 1 else 'say'} otherwise."


def _rows(table: str, n: int) -> str:
    one = _ROW_IS.get(table, f"row of {table}")
    return count(n, one, f"rows of {table}" if table not in _ROW_IS else _IRREGULAR.get(one, f"{one}s"))


def _by_table(counts: pd.Series) -> str:
    return listing([_rows(str(table), int(n)) for table, n in counts.items()])


def _examples(rows: pd.DataFrame) -> str:
    shown = [_one(row) for row in each(rows.head(EXAMPLES))]
    return "; ".join(shown) + (f"; and {len(rows) - EXAMPLES:,} more" if len(rows) > EXAMPLES else "")


def _one(row: Any) -> str:
    name = row.record or f"row {row.row}"
    older, newer = row.older or "empty", row.newer or "empty"
    if row.kind in (GONE, ASIDE):
        return f"{name} ({older})"
    return f"{name} ({older}; now {newer})"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def differences(difference: Difference) -> pd.DataFrame:
    """Return the differences as a table to write: a CSV and a sheet of the workbook."""
    frame = difference.frame.rename(columns={"row": "row now", "older_row": "row before"})
    frame = frame.astype({"row now": "str", "row before": "str"}).replace("<NA>", "")
    frame.attrs.update(title="differences", wide=("older", "newer"))
    return frame
