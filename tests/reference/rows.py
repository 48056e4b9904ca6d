"""Read the outside values: `cases(section=...)` for parametrize, `data(file)` for the table a case is computed from.

from reference.rows import cases, data

@pytest.mark.parametrize("row", cases(section="01"))
def test_km(row):
    frame = data(row.data_file)
    row.check(got)          # |got - expected| <= atol + rtol |expected|, else AssertionError naming the row
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, eq=False)
class Row:
    """One scalar with its source; ``options`` is the parsed JSON and ``at`` the text as given."""

    id: str
    section: str
    case: str
    method: str
    data_file: str
    options: dict[str, Any]
    quantity: str
    at: str
    expected: float
    rtol: float
    atol: float
    source: str
    tier: str

    def check(self, got: float) -> None:
        """Pass within the row's own tolerance; an expected NA must be met by nan or infinity."""
        got = float(got)
        if math.isnan(self.expected):
            assert not math.isfinite(got), f"{self.id}: R gives NA (not reached), we give {got}"
            return
        ok = abs(got - self.expected) <= self.atol + self.rtol * abs(self.expected)
        assert ok, f"{self.id}: expected {self.expected!r}, got {got!r} ({self.source})"

    def at_dict(self) -> dict[str, str]:
        """'cause=1;t=1000' as {'cause': '1', 't': '1000'}; parts without '=' are keyed by position."""
        parts = [p.strip() for p in self.at.split(";") if p.strip()]
        return {
            **{str(i): p for i, p in enumerate(parts) if "=" not in p},
            **dict(p.split("=", 1) for p in parts if "=" in p),
        }


@cache
def _rows() -> tuple[Row, ...]:
    raw = pd.read_csv(HERE / "reference.csv", dtype=str, keep_default_na=False)
    return tuple(
        Row(
            id=r["id"], section=r["section"], case=r["case"], method=r["method"], data_file=r["data_file"],
            options=json.loads(r["options"] or "{}"), quantity=r["quantity"], at=r["at"],
            expected=math.nan if r["expected"] == "NA" else float(r["expected"]),
            rtol=float(r["rtol"]), atol=float(r["atol"]), source=r["source"], tier=r["tier"],
        )
        for r in raw.to_dict("records")
    )  # fmt: skip


def rows(**where: Any) -> list[Row]:
    """Rows with the given values; ``section`` may be its number ('01'); a collection or a predicate also matches."""

    def fits(value: str, wanted: Any) -> bool:
        if callable(wanted):
            return bool(wanted(value))
        if isinstance(wanted, (set, list, tuple, frozenset)):
            return value in wanted
        return value == wanted

    out = [
        r
        for r in _rows()
        if all(
            r.section.startswith(str(want)) if name == "section" else fits(getattr(r, name), want)
            for name, want in where.items()
        )
    ]
    if not out:
        raise LookupError(f"no reference row has {where}")  # a filter that finds nothing must not pass silently
    return out


def cases(**where: Any) -> list[Any]:
    """The same rows as pytest parameters, named by their id."""
    return [pytest.param(r, id=r.id) for r in rows(**where)]


@cache
def _data(name: str, text: tuple[str, ...]) -> pd.DataFrame:
    return pd.read_csv(HERE / "data" / name, dtype=dict.fromkeys(text, str), keep_default_na=True)


def data(file: str, *, text: tuple[str, ...] = ()) -> pd.DataFrame:
    """Table of a case ('data/lung.csv' or 'lung.csv'), a fresh copy; columns named in ``text`` stay text (ids do)."""
    return _data(Path(file).name, tuple(text)).copy()
