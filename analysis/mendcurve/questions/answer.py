"""What every answer can do: show itself as a frame, a sentence and a table."""

from __future__ import annotations

from abc import ABC, abstractmethod
from html import escape

import pandas as pd

from mendcurve.questions.wording import cell


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


def table_html(frame: pd.DataFrame, *, caption: str = "") -> str:
    """Return an accessible HTML table; every cell is escaped, units stand in the heading."""
    units = frame.attrs.get("units", {})
    caption = caption or frame.attrs.get("title", "")
    head = "".join(f'<th scope="col"{_kind(frame[c])}>{escape(_heading(str(c), units.get(c, "")))}</th>' for c in frame)
    body = "".join(
        "<tr>" + "".join(_td(value, first=i == 0, kind=_kind(frame.iloc[:, i])) for i, value in enumerate(row)) + "</tr>"
        for row in frame.itertuples(index=False, name=None)
    )
    top = f"<caption>{escape(caption)}</caption>" if caption else ""
    return f'<div class="table"><table>{top}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def _heading(name: str, unit: str) -> str:
    words = name.replace("_", " ")
    return f"{words} ({unit})" if unit else words


def _kind(column: pd.Series) -> str:
    return ' class="n"' if pd.api.types.is_numeric_dtype(column.dtype) else ""


def _td(value: object, *, first: bool, kind: str) -> str:
    text = escape(cell(value))
    return f'<th scope="row"{kind}>{text}</th>' if first else f"<td{kind}>{text}</td>"
