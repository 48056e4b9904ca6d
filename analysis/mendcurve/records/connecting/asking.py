"""The questions about words, as the lines to write into records.toml: what stands where, and how many rows wait."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from mendcurve.records.codes import UNANSWERED
from mendcurve.records.connecting.assigning import Feed
from mendcurve.records.connecting.vocabulary import meanings
from mendcurve.records.connecting.writing import Line, key_of, toml
from mendcurve.records.schemas import TABLES

# Lines shown; all of them stand in the file.
_MOST = 24
_HOW = (
    'Words to answer in records.toml. Each stands there as a line that begins with "# ?": take "# ? " away if it is '
    'right, or put the right word behind "=", or "" if there is nothing to read in such rows:'
)


@dataclass(slots=True)
class _Asked:
    line: Line
    rows: int = 0
    places: int = 0


def lines_to_answer(feeds: Sequence[Feed]) -> list[str]:
    """Return what to print: under the name of each section, the lines that are asked, the most frequent first."""
    sections: dict[tuple[str, str], dict[str, _Asked]] = {}
    for feed in feeds:
        for column, lines in feed.codes.items():
            for line in (one for one in lines if one.question):
                asked = sections.setdefault((feed.table, column), {}).setdefault(line.key, _Asked(line))
                asked.rows += line.rows
                asked.places += 1
    if not sections:
        return []
    out, left = [_HOW], _MOST
    for (table, column), words in sorted(sections.items(), key=lambda one: -sum(a.rows for a in one[1].values())):
        ranked = sorted(words.values(), key=lambda one: (-one.rows, one.line.key))
        out += [_head(table, column)] if left > 0 else []
        out += [f"    {_shown(one)}" for one in ranked[: max(left, 0)]]
        left -= len(ranked)
    return out if left >= 0 else [*out, f"  and {-left} more, which stand in the file."]


def _head(table: str, column: str) -> str:
    known = meanings(TABLES[table].column(column))
    return f"  [tables.{table}.codes.{column}]" + (f"  our words: {', '.join(known)}" if known else "")


def _shown(asked: _Asked) -> str:
    rows = f"{asked.rows} row{'s' if asked.rows != 1 else ''}"
    several = f", in {asked.places} sections of the file" if asked.places > 1 else ""
    open_yet = "; not known: put a word for the dots" if asked.line.value == UNANSWERED else ""
    return f"{key_of(asked.line.key)} = {toml(asked.line.value)}   ({rows}{several}{open_yet})"
