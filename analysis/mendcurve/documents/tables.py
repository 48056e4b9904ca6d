"""A table as a document shows it: chosen columns, readable headings, long ones cut short with a word about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import pandas as pd

from mendcurve.documents.html import paragraphs
from mendcurve.documents.small_cells import HIDDEN, protect
from mendcurve.questions.answer import Answer, decimals, number, table_html
from mendcurve.questions.wording import cell, count

MISSING = cell(None)
NO_BREAK = "\N{NO-BREAK SPACE}"


class ByGroup(Protocol):
    """An answer of counts by group."""

    def to_frame(self) -> pd.DataFrame:
        """Return the counts."""

    def sentence(self) -> str:
        """Return the total and the count of each group."""

    def in_all(self) -> str:
        """Return the total alone."""

    def notes(self) -> tuple[str, ...]:
        """Return what was left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """A table with its words.

    Attributes
    ----------
    frame : DataFrame
        What the page shows.
    data : DataFrame
        Everything in it, unrounded; written whole as CSV.
    caption : str
    notes : tuple of str
        Who was left out and why, and every default that decided.
    rows : int
        The most rows shown on the page.
    """

    frame: pd.DataFrame
    data: pd.DataFrame
    caption: str
    notes: tuple[str, ...] = ()
    rows: int = 40

    def _repr_html_(self) -> str:
        if self.frame.empty:
            said = (f"{self.caption}: nothing to list.",) if self.caption else ()
            return paragraphs((*said, *self.notes), kind="note")
        shown = self.frame.head(self.rows)
        rest = len(self.frame) - len(shown)
        more = (f"{count(rest, 'more row')} in the CSV file beside this page.",) if rest else ()
        return table_html(shown, caption=self.caption) + paragraphs((*more, *self.notes), kind="note")


def table(
    source: Answer | pd.DataFrame,
    caption: str = "",
    *,
    columns: Sequence[str] | Mapping[str, str] | None = None,
    rows: int = 40,
    notes: bool = True,
    level: str = "95 %",
) -> Table:
    """Make a Table of an answer or of a frame.

    Parameters
    ----------
    source : Answer or DataFrame
    caption : str
        Left out: the title the frame carries.
    columns : sequence of str, or mapping of column to heading
        The columns to show, in order; left out: all. An estimate's limits ``x_low`` and ``x_high`` are shown in one
        cell with ``x``, or as ``low`` and ``high`` with the column before them.
    rows : int
        The most rows shown on the page; the CSV file holds all.
    notes : bool
        Whether the answer's notes follow.
    level : str
        How sure the limits are; said under a table that has them.
    """
    frame = (source if isinstance(source, pd.DataFrame) else source.to_frame()).infer_objects()
    said = () if isinstance(source, pd.DataFrame) or not notes else source.notes()
    caption = caption or str(frame.attrs.get("title", ""))
    names = list(columns) if columns is not None else list(frame.columns)
    chosen = _with_intervals(frame, names)
    if isinstance(columns, Mapping):
        # a heading that names its unit in brackets needs no other
        units = {columns[name]: unit for name, unit in chosen.attrs["units"].items() if "(" not in columns[name]}
        right = [columns.get(name, name) for name in chosen.attrs["right"]]
        chosen = chosen.rename(columns=dict(columns))
        chosen.attrs = {"units": units, "right": right}
    if chosen.attrs["right"] and len(chosen):
        said = (f"In brackets: the {level} interval.", *said)
    data = frame[[c for c in frame.columns if c in names or c in _limits(frame)]]
    return Table(frame=chosen, data=data, caption=caption, notes=tuple(said), rows=rows)


def public_table(
    source: Answer | ByGroup | pd.DataFrame,
    caption: str = "",
    *,
    by: str,
    total: str,
    public: bool,
    smallest: int,
    notes: bool = True,
) -> Table:
    """Make a two-way table of counts; in the public rendition its small counts are hidden.

    Parameters
    ----------
    source : Answer or DataFrame
        One row a value of ``by``, every other column counts.
    by : str
        The column that names the rows.
    total : str
        What the row and the column of totals are called, if they are there; they are reckoned anew.
    public : bool
        Whether the document is for outsiders.
    smallest : int
        The smallest count printed in it (``public.smallest_cell``).
    """
    frame = source if isinstance(source, pd.DataFrame) else source.to_frame()
    said = () if isinstance(source, pd.DataFrame) or not notes else source.notes()
    caption = caption or str(frame.attrs.get("title", ""))
    names = [c for c in frame.columns if c not in (by, total)]
    body = frame.loc[frame[by] != total, [by, *names]]
    shown = protect(body, by=by, counts=names, smallest=smallest if public else 1)
    if (shown == HIDDEN).to_numpy().any():
        rule = (
            f"Inside this table counts from 1 to {smallest - 1} are hidden from outsiders, and with them others that "
            "would give them away by subtraction. Totals stay, small ones too, but for those marked as hidden."
        )
        said = (rule, *said)
    shown.attrs = {"right": [c for c in shown.columns if c != by]}
    return Table(frame=shown, data=shown, caption=caption, notes=tuple(said))


def public_sentence(answer: ByGroup, *, by: str, total: str, public: bool, smallest: int) -> str:
    """Return the sentence of an answer above its ``public_table``, without the totals that the table hides.

    Parameters
    ----------
    answer : ByGroup
        Counts by group, which can also be told without the groups.
    by, total, public, smallest
        As for ``public_table``.
    """
    frame = public_table(answer, by=by, total=total, public=public, smallest=smallest).frame
    return answer.in_all() if (frame.iloc[-1] == HIDDEN).any() else answer.sentence()


def _with_intervals(frame: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Return the named columns, limits folded into the cell of their estimate; ``attrs`` hold units and alignment."""
    units = dict(frame.attrs.get("units", {}))
    kept: dict[str, pd.Series] = {}
    right: list[str] = []
    limits = _limits(frame)
    for name in names:
        if name in limits:
            continue
        pair = _limits_of(frame, name)
        if pair is None:
            kept[name] = frame[name]
            continue
        unit, places = units.get(name, ""), decimals(frame[name].astype("float64"))
        kept[name] = pd.Series(
            [_interval(row, unit, places) for row in frame[[name, *pair]].itertuples(index=False, name=None)],
            index=frame.index,
            dtype="str",
        )
        right.append(name)
    made = pd.DataFrame(kept)
    made.attrs = {"units": {k: v for k, v in units.items() if k in kept}, "right": right}
    return made


def _limits(frame: pd.DataFrame) -> set[str]:
    return {limit for name in frame.columns if (pair := _limits_of(frame, str(name))) for limit in pair}


def _limits_of(frame: pd.DataFrame, name: str) -> tuple[str, str] | None:
    columns = [str(c) for c in frame.columns]
    if f"{name}_low" in columns and f"{name}_high" in columns:
        return f"{name}_low", f"{name}_high"
    at = columns.index(name)
    return ("low", "high") if columns[at + 1 : at + 3] == ["low", "high"] else None


def _interval(limits: tuple[object, ...], unit: str, places: int | None) -> str:
    """Return an estimate with its low and high limit as one text."""
    texts = [number(v, unit, places) for v in limits]
    if texts[0] == MISSING and texts[1] == MISSING:
        return MISSING
    if texts[1][:1].isdigit() and texts[2][:1].isdigit():  # one percent sign for both
        texts[1] = texts[1].removesuffix(" %")
    end = f"{texts[1]} to {texts[2]}" if texts[2] != MISSING else f"at least {texts[1]}"
    return texts[0] if texts[1] == MISSING else f"{texts[0]} ({end.replace(' ', NO_BREAK)})"
