"""What every answer can do: show itself as a frame, a sentence and a table."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from decimal import Decimal
from html import escape

import numpy as np
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
SHARES = ("proportion", "share", "chance")


def table_html(frame: pd.DataFrame, *, caption: str = "") -> str:
    """Return an accessible HTML table; every cell is escaped, units stand in the heading or, if shared, the caption."""
    caption, headings = _titles(frame, caption or frame.attrs.get("title", ""))
    right, units = frame.attrs.get("right", ()), frame.attrs.get("units", {})
    columns = [frame.iloc[:, i] for i in range(frame.shape[1])]
    kinds = ["n" if c.name in right else kind(c) for c in columns]
    texts = [in_words(c, units.get(c.name, "")) for c in columns]
    head = "".join(f'<th scope="col"{_class(k)}>{escape(h)}</th>' for h, k in zip(headings, kinds, strict=True))
    body = "".join(f"<tr>{_row(row, kinds)}</tr>" for row in (zip(*texts, strict=True) if texts else ()))
    top = f"<caption>{escape(caption)}</caption>" if caption else ""
    label = f' role="region" aria-label="Table: {escape(caption, quote=True)}" tabindex="0"' if caption else ""
    return f'<div class="table"{label}><table>{top}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def in_words(column: pd.Series, unit: str) -> list[str]:
    """Return a column's values as text, all with the same decimals; shares as percents, a ``month`` as one."""
    if column.name == "month" and pd.api.types.is_datetime64_any_dtype(column.dtype):
        return [cell(None) if pd.isna(value) else f"{value:%B %Y}" for value in column]
    places = decimals(column)
    return [number(value, unit, places) for value in column]


def decimals(column: pd.Series) -> int | None:
    """Return the decimals a column of measured numbers is printed with: fewer, the larger they are."""
    if not pd.api.types.is_float_dtype(column.dtype):
        return None
    size = column[np.isfinite(column.astype("float64"))].abs()
    if (size % 1 == 0).all():
        return 0
    usual = size[size > 0].median()
    return 0 if usual >= 20 else 1 if usual >= 1 else 2


def number(value: object, unit: str, places: int | None) -> str:
    """Return one value as text: a share as a percent, a measured number with ``places`` decimals."""
    text = cell(value)
    if text == cell(None) or isinstance(value, bool) or not isinstance(value, (int, float, np.number)):
        return text
    if unit.startswith(SHARES):
        return percent(float(value))
    return text if places is None else f"{value:,.{places}f}"


def _titles(frame: pd.DataFrame, caption: str) -> tuple[str, list[str]]:
    """Return caption and headings; a unit that three or more columns share, and no other, goes to the caption."""
    units = frame.attrs.get("units", {})
    named = [units.get(c, "") for c in frame.columns]
    plain = {unit for unit in named if unit and not unit.startswith(SHARES)}
    if len(plain) != 1 or sum(unit in plain for unit in named) < 3:
        return caption, [_heading(str(c), units.get(c, "")) for c in frame.columns]
    (unit,) = plain
    caption = caption if unit in caption else f"{caption}, in {unit}"
    return caption, [_heading(str(c), "") for c in frame.columns]


def _heading(name: str, unit: str) -> str:
    words = name.replace("_", " ")
    if not unit or unit.startswith(SHARES) or unit.split()[0].replace("-", " ") in words:
        return words
    return unit if unit.startswith(words) else f"{words} ({unit})"


def kind(column: pd.Series) -> str:
    """Return how a column is set: "n" numbers, "d" dates and ids, which stay on one line, "t" long text, or nothing."""
    if pd.api.types.is_bool_dtype(column.dtype):
        return ""
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        return "d"
    if pd.api.types.is_numeric_dtype(column.dtype) or column.map(lambda v: isinstance(v, Decimal)).any():
        return "n"
    text = column.dropna().astype("str")
    if len(text) and not text.str.contains(" ").any() and text.str.len().max() <= 16:
        return "d"
    return "t" if text.str.len().max() > 30 else ""


def _class(kind: str) -> str:
    return f' class="{kind}"' if kind else ""


def _row(texts: Sequence[str], kinds: Sequence[str]) -> str:
    first, *others = (f"{_class(kind)}>{escape(text)}" for text, kind in zip(texts, kinds, strict=True))
    return f'<th scope="row"{first}</th>' + "".join(f"<td{other}</td>" for other in others)
