"""Invented folders of spreadsheets, for the tests of connect."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.writing import write

REPO = Path(__file__).parents[3]


SPECIES = ("Leopard gecko", "Corn snake", "Bearded dragon")


GRAMS = {"Leopard gecko": 55, "Corn snake": 480, "Bearded dragon": 350}


def stays(n: int = 18) -> list[dict]:
    """Invented stays: three of them of animals that came back."""
    out = []
    for i in range(n):
        came = date(2024, 1, 3) + timedelta(days=23 * i)
        kind = SPECIES[i % 3]
        left = came + timedelta(days=40 + i) if i % 4 else None
        how = ("Rehomed", "Died", "Transfer")[i % 3] if left else ""
        out.append(
            {
                "animal": f"R{i + 1:03d}",
                "species": kind,
                "sex": "MFU"[i % 3],
                "came": came,
                "why": ("Owner surrender", "Stray", "Seized")[i % 3],
                "left": left,
                "how": how,
                "ill": "Mites" if i % 3 == 0 else "",
                "grams": GRAMS[kind] + i,
            }
        )
    for first in (out[1], out[2], out[3]):
        came = first["left"] + timedelta(days=30)
        out.append({**first, "came": came, "why": "Returned", "left": came + timedelta(days=20), "how": "Rehomed"})
    return sorted(out, key=lambda stay: stay["came"])


def dmy(day: date | None) -> str:
    return f"{day:%d/%m/%Y}" if day else ""


def write_csv(path: Path, rows: list[list]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)


def connected(folder: Path):
    """Propose, write and read; the records and the proposal."""
    proposal = propose(folder)
    write(proposal.body, folder / "records.toml")
    return load(folder), proposal


def key(frame: pd.DataFrame, *columns: str) -> list[tuple]:
    return sorted(map(tuple, frame[list(columns)].astype(str).to_numpy().tolist()))
