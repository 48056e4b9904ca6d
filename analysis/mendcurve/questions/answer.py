"""What every answer can do: show itself as a frame, a sentence and a table."""

from __future__ import annotations

from abc import ABC, abstractmethod
from decimal import Decimal
from html import escape

import pandas as pd

from mendcurve.questions.wording import cell, percent


class Answer(ABC):
    """Base of every result in ``questions``; subclasses are frozen dataclasses.

    ``to_frame()`` carries ``attrs["units"]`` (column to unit), ``attrs["title"]`` and, where it helps,
    ``attrs["definition"]``. ``notes()`` tells who was left out and why, and every default that decided.
    """

    @abstractmethod
    def to_frame(self) -> pd.DataFrame:
        """Return all of the answer, tidy, with units in ``attrs``."""

    @abstractmethod
    def sentence(self) -> str:
        """Return one plain sentence with n, interval and period."""

    def notes(self) -> tuple[str, ...]:
        """Return what was left out, and why: one sentence each."""
        return ()

    def _repr_html_(self) -> str:
        notes = "".join(f'<p class="note">{escape(note)}</p>' for note in self.notes())
        return f'<p class="answer">{escape(self.sentence())}</p>{table_html(self.to_frame())}{notes}'


# Units whose values are printed as whole percents.
SHARES = ("proportion", "share")


def table_html(frame: pd.DataFrame, *, caption: str = "") -> str:
    """Return an accessible HTML table; every cell is escaped, units stand in the heading."""
    units = frame.attrs.get("units", {})
    caption = caption or frame.attrs.get("title", "")
    right = frame.attrs.get("right", ())
    kinds = [' class="n"' if c in right else _kind(frame.iloc[:, i]) for i, c in enumerate(frame.columns)]
    head = "".join(
        f'<th scope="col"{kind}>{escape(_heading(str(name), units.get(name, "")))}</th>'
        for name, kind in zip(frame.columns, kinds, strict=True)
    )
    shares = [units.get(name, "").startswith(SHARES) for name in frame.columns]
    body = "".join(
        "<tr>" + "".join(_td(row[i], i == 0, kinds[i], shares[i]) for i in range(len(row))) + "</tr>"
        for row in frame.itertuples(index=False, name=None)
    )
    top = f"<caption>{escape(caption)}</caption>" if caption else ""
    label = f' role="region" aria-label="Table: {escape(caption, quote=True)}" tabindex="0"' if caption else ""
    return f'<div class="table"{label}><table>{top}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def _heading(name: str, unit: str) -> str:
    words = name.replace("_", " ")
    said = not unit or unit.startswith(SHARES) or unit.split()[0] in words
    return words if said else f"{words} ({unit})"


def _kind(column: pd.Series) -> str:
    if pd.api.types.is_bool_dtype(column.dtype):
        return ""
    if pd.api.types.is_numeric_dtype(column.dtype) or any(isinstance(v, Decimal) for v in column):
        return ' class="n"'
    return ' class="d"' if pd.api.types.is_datetime64_any_dtype(column.dtype) else ""


def _td(value: object, first: bool, kind: str, share: bool) -> str:
    text = cell(value)
    if share and text != cell(None) and isinstance(value, (int, float)):
        text = percent(value)
    return f'<th scope="row"{kind}>{escape(text)}</th>' if first else f"<td{kind}>{escape(text)}</td>"
