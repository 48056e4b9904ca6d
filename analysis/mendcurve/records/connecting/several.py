"""Sheets that hold several tables, side by side or one below the other: refused, with how to part them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

from openpyxl.utils import get_column_letter

from mendcurve.records.connecting.splitting import plain_heading, split_heading
from mendcurve.records.folding import folded
from mendcurve.records.sheets import Grid

# Headings that must be known to believe a second table; below a gap and a title fewer will do.
_KNOWN_TWICE, _KNOWN_TITLED = 3, 1
# Rows of a summary above the headings that are passed over, whatever its own headings say.
_MOST_COUNTS = 15


def known_in(cells: Sequence[str], known: frozenset[str]) -> int:
    """Return how many cells are headings that are known."""
    return sum(is_known(cell, known) for cell in cells)


@lru_cache(maxsize=65536)
def is_known(cell: str, known: frozenset[str]) -> bool:
    """Whether a cell is a heading that is known."""
    return bool(cell.strip()) and (split_heading(cell).plain in known or plain_heading(cell) in known)


def _blocks(grid: Grid, at: int, body: list[int]) -> list[tuple[int, int]]:
    """Return first and last column of each block of columns between columns without any text."""
    used: set[int] = set()
    for i in (at, *body):
        used |= {j for j, cell in enumerate(grid.cells[i]) if cell.strip()}
    blocks: list[tuple[int, int]] = []
    for j in sorted(used):
        if blocks and blocks[-1][1] == j - 1:
            blocks[-1] = (blocks[-1][0], j)
        else:
            blocks.append((j, j))
    return blocks


def _part(cells: Sequence[str], block: tuple[int, int]) -> list[str]:
    return [cells[j] if j < len(cells) else "" for j in range(block[0], block[1] + 1)]


def side_by_side(grid: Grid, at: int, body: list[int], known: frozenset[str], labels: dict[int, str]) -> str:
    """Return why the sheet holds several tables side by side, or ""."""
    blocks = [b for b in _blocks(grid, at, body) if known_in(_part(grid.cells[at], b), known) >= 2]
    starts = [b for b in blocks[1:] if _own_rows(grid, body, blocks[0], b) or _same_words(grid.cells[at], blocks[0], b)]
    if not starts and not labels:
        starts = _again(grid.cells[at], known)
    if not starts:
        return ""
    last = grid.rows[max(body, default=at)]
    parts = "; ".join(
        f"columns {get_column_letter(a + 1)} to {get_column_letter(b + 1)}, rows {grid.rows[at]} to {last} "
        f"({', '.join(c.strip() for c in _part(grid.cells[at], (a, b)) if c.strip())}), {_called(grid, at, (a, b))}"
        for a, b in starts
    )
    return (
        f"several tables stand side by side, and a sheet must hold one. Make a new sheet for each and cut and paste it "
        f"there, with the headings in its first row: {parts}. Then run connect again."
    )


def _called(grid: Grid, at: int, block: tuple[int, int]) -> str:
    """Return what to call a new sheet: the title above its headings, where there is one."""
    for i in reversed(range(max(at - 3, 0), at)):
        texts = [c.strip() for c in _part(grid.cells[i], block) if c.strip()]
        if len(texts) == 1:
            return f'name the sheet "{" ".join(texts[0].split())[:31]}"'
    return "name the sheet after what it holds, such as Outcomes or Weights"


def _own_rows(grid: Grid, body: list[int], left: tuple[int, int], right: tuple[int, int]) -> bool:
    """Whether the two blocks have records in different rows."""
    rows = [{i for i in body if any(c.strip() for c in _part(grid.cells[i], b))} for b in (left, right)]
    return max(rows[0], default=0) != max(rows[1], default=0)


def _same_words(headings: Sequence[str], left: tuple[int, int], right: tuple[int, int]) -> bool:
    one, two = ({folded(c) for c in _part(headings, b) if c.strip()} for b in (left, right))
    return bool(one & two)


def _again(headings: Sequence[str], known: frozenset[str]) -> list[tuple[int, int]]:
    """Return the later repeats of a run of headings that stand there twice or more, without a gap."""
    plain = [folded(c) for c in headings]
    first = next((j for j, word in enumerate(plain) if word), 0)
    starts = [j for j, word in enumerate(plain) if j > first and word and word == plain[first]]
    width = starts[0] - first if starts else 0
    if width < 2 or plain[first : first + width] != plain[starts[0] : starts[0] + width]:
        return []
    edges = [*starts, len(plain)]
    return [(a, b - 1) for a, b in pairwise(edges) if known_in(headings[a:b], known) >= 2]


def stacked(grid: Grid, at: int, filled: list[int], known: frozenset[str]) -> str:
    """Return why the sheet holds several tables one below the other, or ""."""
    heads = [i for i in filled if i != at and _begins(grid, i, at, filled, known)]
    if not heads:
        return ""
    words = {i: [folded(c) for c in grid.cells[i] if c.strip()] for i in (at, *heads)}
    heads = sorted(words)
    # Headings that stand again, as on each printed page, begin no table.
    first, *others = [i for place, i in enumerate(heads) if not place or words[i] != words[heads[place - 1]]]
    edges = [*others[1:], len(grid.cells)]
    width = max(len(cells) for cells in grid.cells)
    parts = []
    for i, after in zip(others, edges, strict=True):
        own = [j for j in filled if i <= j < after]
        while len(own) > 1 and after < len(grid.cells) and _single(grid, own[-1]):
            own.pop()
        shown = ", ".join(c.strip() for c in grid.cells[i] if c.strip())
        called = _called(grid, i, (0, width - 1))
        parts.append(f"rows {grid.rows[i]} to {grid.rows[own[-1]]} ({shown}), {called}")
    return (
        f"a second table begins in row {grid.rows[others[0]]}, below the one with its headings in row "
        f"{grid.rows[first]}, and a sheet must hold one. Make a new sheet for each further table and cut and paste it "
        f"there, with the headings in its first row: {'; '.join(parts)}. Then run connect again."
    )


def _single(grid: Grid, i: int) -> bool:
    return sum(bool(cell.strip()) for cell in grid.cells[i]) == 1


def _begins(grid: Grid, i: int, at: int, filled: list[int], known: frozenset[str]) -> bool:
    """Whether row ``i`` holds the headings of another table than the one in row ``at``."""
    own = [folded(c) for c in grid.cells[at] if c.strip()]
    cells = [c for c in grid.cells[i] if c.strip()]
    if [folded(c) for c in cells] == own or any(c[0].isdigit() for c in cells) or _counts(grid, i, at):
        return False
    place = filled.index(i)
    if _titled(grid, i) and place + 1 < len(filled) and i > at:
        return len(cells) >= _KNOWN_TWICE and known_in(cells, known) >= _KNOWN_TITLED
    if abs(place - filled.index(at)) <= 1 or len(cells) < _KNOWN_TWICE:
        return False
    return known_in(cells, known) >= max(_KNOWN_TWICE, 0.7 * len(cells))


def _titled(grid: Grid, i: int) -> bool:
    """Whether a title stands just above row ``i``, below an empty row."""
    gap = i >= 2 and grid.rows[i - 1] > grid.rows[i - 2] + 1
    return gap and _single(grid, i - 1) and grid.rows[i] == grid.rows[i - 1] + 1


def _counts(grid: Grid, top: int, at: int) -> bool:
    """Whether row ``top`` begins a few rows of counts above the headings, such as arrivals by year."""
    below: list[list[str]] = []
    for i in range(top + 1, at):
        texts = [cell.strip() for cell in grid.cells[i] if cell.strip()]
        if not texts or grid.rows[i] != grid.rows[i - 1] + 1:
            break
        below.append(texts)
    return 0 < len(below) <= _MOST_COUNTS and all(all(c.isdigit() for c in texts[1:]) for texts in below)
