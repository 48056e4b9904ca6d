"""Sheets as they are: where the headings stand, what lies above and beside them, and what is no single table."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd
from openpyxl.utils import get_column_letter

from mendcurve.errors import InputError
from mendcurve.records import reading, workbook
from mendcurve.records.connecting.several import is_known, known_in, side_by_side, stacked
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.dates import parse_dates
from mendcurve.records.folding import folded
from mendcurve.records.parsing import none
from mendcurve.records.sheets import Grid, Sheet, place_of

# Rows with text among which the headings are looked for.
_TOP = 40
_NUMBER = re.compile(r"[-+]?[\d.,\s]*\d[\d.,\s]*\s*(?:g|kg|oz|lb|%)?", re.I)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """One file or sheet as it was found.

    Attributes
    ----------
    sheet : Sheet or None
        Its records; None where ``refused`` says why there are none.
    heading_row : int or None
        Row of the headings, where reading would not find it by itself.
    labels : mapping of str to str
        Heading -> the fuller words for it, where a row above says more ("Date" below "Outcome").
    refused : str
        Why the sheet cannot be read as one table, and what to do; "" where it can.
    hollow : bool
        It is refused because it holds no records: nothing needs to be done.
    reasons, doubts : tuple of str
    """

    file: str
    name: str
    sheet: Sheet | None = None
    heading_row: int | None = None
    labels: dict[str, str] = field(default_factory=dict)
    refused: str = ""
    hollow: bool = False
    reasons: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def where(self) -> str:
        """File and sheet, in words."""
        return place_of(self.file, self.name)


def grids(path: Path) -> list[Grid | Look]:
    """Return the raw rows of each sheet of a file; a Look that says why, for one that cannot be opened or is empty."""
    if path.suffix.lower() not in workbook.SUFFIXES:
        try:
            return [reading.read_text_grid(path)]
        except InputError as error:
            return [Look(file=path.name, name="", refused=_said(error))]
    try:
        book = workbook.Book(path)
    except InputError as error:
        return [Look(file=path.name, name="", refused=_said(error))]
    out: list[Grid | Look] = []
    for name in book.names:
        try:
            out.append(book.grid(name))
        except InputError as error:
            out.append(Look(file=path.name, name=name, refused=_said(error)))
    return out


def _said(error: InputError) -> str:
    return " ".join(str(error).split())


def known_headings(vocabulary: Vocabulary) -> frozenset[str]:
    """Return every word that is a heading of some table, or a heading known and not read."""
    words = {w for columns in vocabulary.headings.values() for several in columns.values() for w in several}
    return frozenset(words | set(vocabulary.unread))


def look_at(grid: Grid, known: frozenset[str]) -> Look:
    """Find the headings of a sheet and what lies around them."""
    filled = [i for i, row in enumerate(grid.cells) if any(cell.strip() for cell in row)]
    if len(filled) < 2:
        why = "it is empty" if not filled else "it holds one row and no records"
        return Look(file=grid.file, name=grid.name, hollow=True, refused=why)
    at, labels, doubts = _heading_at(grid, filled, known)
    body = [i for i in filled if i > at]
    refused = side_by_side(grid, at, body, known, labels) or stacked(grid, at, filled, known)
    if refused:
        return Look(file=grid.file, name=grid.name, refused=f"{place_of(grid.file, grid.name)}: {refused}")
    number = grid.rows[at]
    try:
        sheet, alone = grid.sheet(number), grid.sheet()
    except InputError as error:
        return Look(file=grid.file, name=grid.name, refused=_said(error))
    same = tuple(alone.cells.columns) == tuple(sheet.cells.columns) and alone.headings == sheet.headings
    headings = {letter: heading for heading, letter in sheet.letters.items()}
    return Look(
        file=grid.file,
        name=grid.name,
        sheet=sheet,
        heading_row=None if same else number,
        labels={headings[c]: label for j, label in labels.items() if (c := get_column_letter(j + 1)) in headings},
        reasons=_reasons(grid, at, filled, sheet),
        doubts=(*(() if _in_names(labels, headings) else doubts), *_stray(grid, at, body, sheet)),
    )


def _in_names(labels: dict[int, str], headings: dict[str, str]) -> bool:
    """Whether reading already puts the two rows of headings together (merged cells say which belong together)."""
    return all(folded(headings.get(get_column_letter(j + 1), label)) == folded(label) for j, label in labels.items())


def _numbers(cells: Sequence[str]) -> int:
    return sum(bool(cell.strip()) and _NUMBER.fullmatch(cell.strip()) is not None for cell in cells)


def _score(cells: Sequence[str], known: frozenset[str]) -> float:
    """Return how much a row looks like headings: words that are known, other texts a little, numbers against."""
    texts = [cell for cell in cells if cell.strip()]
    distinct = len({folded(cell) for cell in texts})
    return 2 * known_in(cells, known) + 0.3 * distinct - 1.5 * _numbers(cells)


def _heading_at(grid: Grid, filled: list[int], known: frozenset[str]) -> tuple[int, dict[int, str], list[str]]:
    """Return the place of the heading row, fuller labels by column, and doubts."""
    top = filled[:_TOP]
    scores = {i: _score(grid.cells[i], known) for i in top[:-1] or top}
    at = max(scores, key=lambda i: (scores[i], -i))
    doubts = []
    if known_in(grid.cells[at], known) < 2:
        wide = [i for i in top if sum(bool(c.strip()) for c in grid.cells[i]) > 1]
        at = wide[0] if wide else top[0]
    for upper, lower in ((at - 1, at), (at, at + 1)):
        labels = _two_rows(grid, upper, lower, known, filled)
        if labels:
            doubts.append(
                f"The headings stand in two rows, {grid.rows[upper]} and {grid.rows[lower]}; row {grid.rows[lower]} is "
                f"read, together with the words above it. Put them in one row if a heading below is wrong."
            )
            return lower, labels, doubts
    return at, {}, doubts


def _two_rows(grid: Grid, upper: int, lower: int, known: frozenset[str], filled: list[int]) -> dict[int, str]:
    """Return column -> words of both rows, where the two rows together are better headings than either alone."""
    if upper not in filled or lower not in filled or lower != upper + 1 or lower == filled[-1]:
        return {}
    above, below = grid.cells[upper], grid.cells[lower]
    if _numbers(below) or _numbers(above) or sum(bool(c.strip()) for c in above) < 2:
        return {}
    if not none(parse_dates(pd.Series(list(below), dtype=object), "dmy").found).all():
        return {}
    spans = {
        j: grid.cells[upper][c1 - 1]
        for r1, c1, r2, c2 in grid.merged
        if r1 <= grid.rows[upper] <= r2 and c2 > c1
        for j in range(c1 - 1, c2)
        if c1 - 1 < len(above)
    }
    times = Counter(folded(c) for c in below if c.strip())
    repeated = any(n > 1 for n in times.values())
    labels: dict[int, str] = {}
    group = ""
    for j, cell in enumerate(below):
        own = above[j].strip() if j < len(above) else ""
        group = own or (group if (repeated and not spans) else "")
        over = spans.get(j, group).strip()
        if over and cell.strip():
            joined = f"{over} {cell}"
            own_words = is_known(cell, known) and times[folded(cell)] == 1
            labels[j] = cell if own_words and not is_known(joined, known) else joined
    better = sum(is_known(labels.get(j, c), known) for j, c in enumerate(below))
    alone = max(known_in(above, known), known_in(below, known))
    return labels if better > alone or (repeated and better == alone) else {}


def _reasons(grid: Grid, at: int, filled: list[int], sheet: Sheet) -> tuple[str, ...]:
    above = [i for i in filled if i < at]
    out = [f"headings in row {grid.rows[at]}"]
    if above:
        out.append(f"{len(above)} row{'s' if len(above) > 1 else ''} above them, a title or a summary, not read")
    again = sheet.headings - 1 - len(above)
    if again:
        out.append(f"the headings stand {again} time{'s' if again > 1 else ''} more among the rows, not read")
    if sheet.totals:
        out.append(f"{sheet.totals} row{'s' if sheet.totals > 1 else ''} of totals at the end, not read")
    out.append(f"{len(sheet.row)} records")
    return tuple(out)


def _stray(grid: Grid, at: int, body: list[int], sheet: Sheet) -> list[str]:
    """Return a doubt for cells beyond the headings: their rows would be set aside."""
    width = max((j + 1 for j, cell in enumerate(grid.cells[at]) if cell.strip()), default=0)
    rows = [i for i in body if any(cell.strip() for cell in grid.cells[i][width:])]
    if not rows or not sheet.longer.any():
        return []
    letter = get_column_letter(width + 1)
    shown = ", ".join(str(grid.rows[i]) for i in rows[:5]) + (" and more" if len(rows) > 5 else "")
    return [
        f"{len(rows)} row{'s have' if len(rows) > 1 else ' has'} cells to the right of the last heading, from column "
        f"{letter} on (row {shown}), and will be set aside. Give that column a heading, or move those cells to a sheet "
        "of their own."
    ]
