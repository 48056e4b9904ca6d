"""More columns from another sheet: species and sex on a sheet of animals, the days on a sheet of admissions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records.findings import DOUBTFUL, NOTE, Ledger
from mendcurve.records.folding import folded
from mendcurve.records.sheets import Sheet, named, place_of

MEANING = (
    'Another sheet with more columns for the same rows: {file = "Animals.csv", match = {"heading here" = "heading '
    'there"}}, and sheet or heading_row where they are needed. Its headings can then be named under columns.'
)
_KEYS = ("file", "sheet", "heading_row", "match")


@dataclass(frozen=True, slots=True, kw_only=True)
class More:
    """Where more columns are, and by which headings (here, there) its rows belong to ours."""

    file: str
    sheet: str
    heading_row: int | None
    match: tuple[tuple[str, str], ...]


def more_from(value: Any, place: str) -> tuple[More, ...]:
    """Return what ``more_from`` of a ``[tables.NAME]`` section says: one section, or a list of them.

    Raises
    ------
    InputError
        For an unknown key, or where file or match is not there.
    """
    out = []
    for entry in value if isinstance(value, list) else [value]:
        if not isinstance(entry, Mapping):
            raise InputError(f'{place}: "more_from" is of the wrong kind: {entry!r}.', remedy=MEANING)
        for key in entry:
            if key not in _KEYS:
                raise InputError(
                    f'{place}: more_from: "{key}" is not a key of it.', [f"known: {', '.join(_KEYS)}"],
                    nearest(str(key), _KEYS).strip() or MEANING,
                )  # fmt: skip
        match, row = entry.get("match"), entry.get("heading_row")
        if not entry.get("file") or not isinstance(match, Mapping) or not match:
            raise InputError(f"{place}: more_from needs file and match.", remedy=MEANING)
        pairs = tuple((str(here), str(there)) for here, there in match.items())
        out.append(More(file=str(entry["file"]), sheet=str(entry.get("sheet", "")), heading_row=row, match=pairs))
    return tuple(out)


def joined(sheet: Sheet, other: Sheet, more: More, table: str, ledger: Ledger) -> tuple[Sheet, np.ndarray]:
    """Return ``sheet`` with the columns of ``other``, and which rows of ``other`` belong to any of its rows.

    Notes
    -----
    Texts are matched without regard to case and spaces. A heading both sheets have keeps the value of ``sheet``. A row
    that finds no other, or a second row there with the same key, is a finding; the first is used.
    """
    here = _key(sheet, [h for h, _ in more.match])
    there = _key(other, [t for _, t in more.match])
    first = pd.Series(np.arange(len(there)), index=there.to_numpy(dtype=object))
    first = first[(first.index != "") & ~first.index.duplicated()]
    at = first.reindex(here.to_numpy(dtype=object)).to_numpy(dtype="float64")
    found = ~np.isnan(at)
    place = np.where(found, at, 0).astype("int64")
    used = np.zeros(len(other.row), dtype=bool)
    used[place[found]] = True
    _tell(sheet, other, more, (here, found, there, used), table, ledger)
    keys = {named(list(other.cells.columns), t) for _, t in more.match}
    added = {
        h: _taken(other.cells[h], place, found)
        for h in other.cells.columns
        if h not in keys and named(list(sheet.cells.columns), h) is None
    }
    cells = sheet.cells.assign(**added) if added else sheet.cells
    return replace(sheet, cells=cells), used


def _key(sheet: Sheet, headings: list[str]) -> pd.Series:
    parts = []
    for heading in headings:
        at = named(list(sheet.cells.columns), heading)
        if at is None:
            raise InputError(
                f'{sheet.where}: more_from in records.toml matches by "{heading}", but there is no such heading.',
                remedy="Correct it." + nearest(heading, sheet.cells.columns),
            )
        parts.append(sheet.cells[at].astype(object).map({w: folded(w) for w in sheet.cells[at].unique()}))
    out = parts[0]
    for part in parts[1:]:
        out = (out + "\x1f" + part).where((out != "") & (part != ""), "")
    return out


def _taken(column: pd.Series, place: np.ndarray, found: np.ndarray) -> pd.Categorical:
    text = column.astype("category")
    if "" not in text.cat.categories:
        text = text.cat.add_categories([""])
    blank = int(np.flatnonzero(text.cat.categories == "")[0])
    codes = np.where(found, text.cat.codes.to_numpy()[place] if len(text) else blank, blank)
    return pd.Categorical.from_codes(codes, categories=text.cat.categories)


def _tell(
    sheet: Sheet, other: Sheet, more: More, keys: tuple[pd.Series, np.ndarray, pd.Series, np.ndarray], table: str,
    ledger: Ledger,
) -> None:  # fmt: skip
    here, found, there, used = keys
    heading, its = more.match[0]
    lost = ~found & (here != "").to_numpy()
    rows = pd.DataFrame({"source_file": sheet.file, "source_sheet": sheet.sheet, "source_row": sheet.row[lost]})
    ledger.add(
        rows, table=table, column="", value=pd.Series(here.to_numpy(dtype=object)[lost], index=rows.index),
        rule=f'"{heading}" must be one of those under "{its}" in {place_of(other.file, other.sheet)}, '
        "which holds more of this row",
        what_to_do="Correct it, or add the missing row there.", effect=DOUBTFUL,
    )  # fmt: skip
    again = (there != "") & there.duplicated()
    if again.any():
        shown = ", ".join(map(str, other.row[again.to_numpy()][:5]))
        ledger.note(
            other.file, other.sheet,
            rule=f'{int(again.sum())} rows have a "{its}" that an earlier row has (row {shown}); the earlier is used',
            what_to_do="Give each its own, or delete the one that is too many.", effect=DOUBTFUL,
        )  # fmt: skip
    if not used.all():
        n = int((~used & ~again.to_numpy()).sum())
        if n:
            ledger.note(
                other.file, other.sheet, rule=f"{n} of {len(used)} rows belong to no row of "
                f"{place_of(sheet.file, sheet.sheet)}, and are not read", what_to_do="Nothing, if they should not.",
                effect=NOTE,
            )  # fmt: skip
