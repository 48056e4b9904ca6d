"""Data cells merged over several rows: text is meant for each row, a number or a row's own id may be meant once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.records.findings import CHANGED, Ledger
from mendcurve.records.schemas import TABLES

_ONCE = ("count", "number", "money")


@dataclass(frozen=True, slots=True)
class Merge:
    """A cell of column ``heading`` that is merged over the rows ``first`` to ``last``."""

    heading: str
    first: int
    last: int


def over_merged(text: pd.Series, merges: Sequence[Merge], rows: np.ndarray) -> pd.Series:
    """Return the cells of a column with the text of merged ones in each row they cover, for ids made of it."""
    for merge in merges:
        top = np.flatnonzero(rows == merge.first)
        if len(top):
            text = text.astype(object)
            text = text.where(~((rows > merge.first) & (rows <= merge.last)), text.iloc[top[0]])
    return text


def fill_merged(
    merges: tuple[Merge, ...],
    table: str,
    headings: Mapping[str, str],
    texts: dict[str, pd.Series],
    ledger: Ledger,
    where: tuple[str, str, np.ndarray],
) -> None:
    """Write the text of merged cells into each of their rows, in ``texts``, and say so of each.

    Parameters
    ----------
    headings : mapping of our column -> heading
    texts : dict of our column -> text
    where : (file, sheet, row numbers)
    """
    file, name, rows = where
    for column, heading in headings.items():
        once = TABLES[table].column(column).kind in _ONCE or column in TABLES[table].key
        for merge in (m for m in merges if m.heading == heading and column in texts):
            covered = (rows > merge.first) & (rows <= merge.last)
            top = np.flatnonzero(rows == merge.first)
            if not covered.any() or not len(top):
                continue
            if not once:
                text = texts[column].astype(object)
                texts[column] = text.where(~covered, text.iloc[top[0]])
            how = (
                f"it may be meant once, and is read in row {merge.first} only"
                if once
                else "it is read for this row too"
            )
            ledger.add(
                pd.DataFrame({"source_file": file, "source_sheet": name, "source_row": rows[covered]}),
                table=table,
                column=column,
                rule=f"each row must hold its own values; this cell is merged over rows {merge.first} to {merge.last}: "
                f"{how}",
                what_to_do="Unmerge the cells and fill in each row.",
                effect=CHANGED,
            )
