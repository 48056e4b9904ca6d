"""The names of a sheet's columns: what merged heading cells say, and headings that stand twice."""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl.utils import get_column_letter

from mendcurve.records.folding import heading as fold_heading
from mendcurve.records.privacy import about_a_person

# First row, first column, last row, last column; counted from 1.
Area = tuple[int, int, int, int]


def heading_names(record: Sequence[str]) -> list[str]:
    """Return a name for each cell of the heading row: its text, told apart by the column's number where it repeats."""
    width = max((i + 1 for i, cell in enumerate(record) if cell.strip()), default=0)
    out: list[str] = []
    taken: set[str] = set()
    for i, cell in enumerate(record[:width]):
        name = " ".join(cell.split()) or f"column {i + 1}"
        name = f"{name} ({i + 1})" if fold_heading(name) in taken else name
        taken.add(fold_heading(name))
        out.append(name)
    return out


def repeated(names: Sequence[str], record: Sequence[str]) -> dict[int, int]:
    """Return position -> position of the first column with the same heading, for those that repeat one."""
    first: dict[str, int] = {}
    out = {}
    for place, _ in enumerate(names):
        plain = fold_heading(record[place])
        if plain and first.setdefault(plain, place) != place:
            out[place] = first[plain]
    return out


def repeated_rule(names: Sequence[str], place: int, first: int, different: int) -> str:
    """Return what to say of a heading that stands a second time."""
    one, two = get_column_letter(first + 1), get_column_letter(place + 1)
    differ = (
        f"they differ in {different} row{'s' if different > 1 else ''}"
        if different
        else "they hold the same in every row"
    )
    return (
        f'a heading must stand once; "{names[first]}" stands in columns {one} and {two}. Column {one} is read as '
        f'"{names[first]}", column {two} is called "{names[place]}"; {differ}'
    )


def below_groups(cells: Sequence[Sequence[str]], rows: Sequence[int], merged: Sequence[Area], at: int) -> int:
    """Return the position of the headings, where the row found (``at``) may hold names of groups of columns.

    Notes
    -----
    It does if one of its cells is merged over several columns, and the row just below has more cells with text, none
    of which holds a digit, as ids, numbers and dates do.
    """
    row = rows[at]
    wide = any(r1 <= row <= r2 and c2 > c1 for r1, c1, r2, c2 in merged)
    if not wide or at + 1 >= len(rows) or rows[at + 1] != row + 1:
        return at
    above, below = ([c for c in cells[i] if c.strip()] for i in (at, at + 1))
    return at + 1 if len(below) > len(above) and not any(map(str.isdigit, "".join(below))) else at


def spread(cells: Sequence[Sequence[str]], rows: Sequence[int], merged: Sequence[Area], at: int) -> list[str]:
    """Return the cells of the heading row with what merged cells say written into each column they cover.

    Notes
    -----
    A name over several columns is put before their headings where these repeat each other, or where it is about
    people: "Owner" over "First" and "Last" makes both a person's.
    """
    row, record = rows[at], list(cells[at])
    place = {number: i for i, number in enumerate(rows)}
    covering = [area for area in merged if area[0] <= row <= area[2]]
    record += [""] * (max((c2 for _, _, _, c2 in covering), default=0) - len(record))

    def top_left(area: Area) -> str:
        line = cells[place[area[0]]] if area[0] in place else ()
        return line[area[1] - 1].strip() if area[1] <= len(line) else ""

    for area in covering:
        for column in range(area[1] - 1, area[3]):
            record[column] = record[column] if record[column].strip() else top_left(area)
    plain = [fold_heading(cell) for cell in record]
    for area in merged:
        group = top_left(area) if area[2] == row - 1 and area[3] > area[1] else ""
        for column in range(area[1] - 1, min(area[3], len(record))) if group else ():
            if record[column].strip() and (about_a_person(group) or plain.count(plain[column]) > 1):
                record[column] = f"{group} {record[column].strip()}"
    return record
