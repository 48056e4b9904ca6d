"""What a kind of damage is, and how kinds take the cells they damage."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from records.damage.drafts import BOOK, CSV, Draft, Line, Sheet
from records.damage.judging import ASIDE, DETECTED, REFUSED, REPAIRED, Hit

Damage = Callable[[Draft], list[Hit]]
BOTH = (CSV, BOOK)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of damage.

    Attributes
    ----------
    what : str
        In words.
    right : tuple of str
        What may become of its cells.
    forms : tuple of str
        Forms of records it can be done to.
    scope : str
        "cell", "sheet" (before any cell) or "alone" (nothing else is damaged with it: it may be refused as a whole).
    floor : float
        Share of its cells of which the right thing becomes, at least.
    missed : str
        Why some are missed, where some are.
    """

    name: str
    what: str
    damage: Damage
    right: tuple[str, ...]
    forms: tuple[str, ...] = BOTH
    scope: str = "cell"
    floor: float = 1.0
    missed: str = ""

    def hits(self, draft: Draft) -> list[Hit]:
        """Damage ``draft``; return what was damaged (nothing where there was no room for it)."""
        return [replace(hit, kind=self.name) for hit in self.damage(draft)]


KINDS: dict[str, Kind] = {}


def kind(what: str, *right: str, **more: Any) -> Callable[[Damage], Damage]:
    """Enter a function as the kind of damage it does, under its name."""

    def enter(damage: Damage) -> Damage:
        name = damage.__name__
        KINDS[name] = Kind(name, what, damage, right, **more)
        return damage

    return enter


def change(
    draft: Draft,
    table: str,
    column: str,
    new: Callable[[Any], Any],
    *,
    times: int = 1,
    fits: Callable[[Line], bool] = lambda line: True,
    meant: Callable[[Any], Mapping[str, Any]] | None = None,
    near: float = 1e-9,
    blank: bool = False,
) -> list[Hit]:
    """Write ``new(value)`` into ``column`` of ``times`` free rows, each of another animal."""
    hits: list[Hit] = []
    for line in draft.free(table, "" if blank else column, fits):
        if len(hits) == times:
            break
        if line.who in draft.busy:
            continue
        assert line.truth is not None
        value = line.truth[column]
        line.cells[column] = new(value)
        draft.busy.add(line.who)
        hits.append(Hit("", table, line, column, meant(value) if meant else None, near=near))
    return hits


def add(draft: Draft, table: str, line: Line, after: Line | None = None) -> Line:
    """Put a line into a sheet, behind ``after`` or at its end."""
    lines = draft.sheets[table].lines
    lines.insert(len(lines) if after is None else lines.index(after) + 1, line)
    return line


def any_of(draft: Draft, words: Iterable[Any]) -> Any:
    """Return one of ``words``."""
    words = list(words)
    return words[int(draft.draw.integers(len(words)))]


def place_in(draft: Draft, places: Iterable[tuple[str, str]]) -> tuple[str, str]:
    """Return one of ``places`` (table, column) in which cells may still be damaged."""
    places = list(places)
    return any_of(draft, [place for place in places if place[0] not in draft.closed] or places)


def sheet_for(draft: Draft, tables: Iterable[str] | None = None, *, close: bool = False) -> Sheet | None:
    """Take a sheet to damage as a whole; None where all are taken."""
    open_ = [
        name
        for name in (tables or draft.sheets)
        if name not in draft.sheets_taken and len(draft.sheets[name].rows) > 1 and name not in draft.closed
    ]
    if not open_:
        return None
    name = any_of(draft, open_)
    draft.sheets_taken.add(name)
    if close:
        draft.closed.add(name)
    return draft.sheets[name]


def witnesses(draft: Draft, sheet: Sheet, times: int = 2) -> list[Hit]:
    """Return rows of a damaged sheet that no other damage touches: they must be read as if nothing had happened."""
    hits: list[Hit] = []
    rows = [line for line in sheet.rows if line.truth is not None and line.who not in draft.busy]
    for place in draft.draw.permutation(len(rows)):
        if len(hits) < times and rows[place].who not in draft.busy:
            draft.busy.add(rows[place].who)
            hits.append(Hit("", sheet.table, rows[place]))
    return hits


__all__ = ["ASIDE", "BOOK", "BOTH", "CSV", "DETECTED", "KINDS", "REFUSED", "REPAIRED", "Kind", "kind"]
