"""Write a document's pictures and tables as files of their own."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd

from mendcurve.documents.html import slug
from mendcurve.documents.running import Run, Shown
from mendcurve.documents.tables import Table
from mendcurve.figures.style import Picture

# A spreadsheet takes a text that begins with one of these for a formula.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def safe(value: object) -> object:
    """Return ``value``; a text that a spreadsheet would run as a formula gets an apostrophe before it.

    A text that is a number, such as -5, stays as it is.
    """
    if isinstance(value, str) and value.startswith(FORMULA) and not _is_number(value):
        return f"'{value}"
    return value


def csv_text(frame: pd.DataFrame) -> str:
    """Return ``frame`` as CSV: ISO dates, unrounded numbers, no text a spreadsheet would run."""
    plain = frame.copy()
    for name in plain.columns:
        kind = plain[name].dtype
        if not pd.api.types.is_numeric_dtype(kind) and not pd.api.types.is_datetime64_any_dtype(kind):
            plain[name] = plain[name].map(safe)
    plain.columns = pd.Index([safe(str(name)) for name in plain.columns])
    return plain.to_csv(index=False, lineterminator="\n", float_format="%.10g")


def write_parts(run: Run, folder: Path) -> None:
    """Write every picture (PNG and SVG) and table (CSV) that ``run`` showed, numbered in order."""
    values = [block.value for block in run.blocks if isinstance(block, Shown)]
    for i, picture in enumerate((v for v in values if isinstance(v, Picture)), start=1):
        stem = folder / "figures" / f"{i:02d}-{slug(picture.name)}"
        stem.parent.mkdir(exist_ok=True)
        stem.with_suffix(".svg").write_text(picture.svg(), encoding="utf-8", newline="\n")
        stem.with_suffix(".png").write_bytes(picture.png())
    for i, table in enumerate((v for v in values if isinstance(v, Table)), start=1):
        path = folder / "tables" / f"{i:02d}-{slug(table.caption)[:60].strip('-')}.csv"
        path.parent.mkdir(exist_ok=True)
        path.write_text(csv_text(table.data), encoding="utf-8", newline="\n")


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False
