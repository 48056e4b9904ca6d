"""Invented records of any size for the benchmark of reading: seeded, with a known number of faults."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

FAULTS = 1000
FIRST = np.datetime64("2015-01-01")
SPECIES = {  # as typed -> grams of an adult
    "bearded dragon": 400.0,
    "Leopard Gecko": 65.0,
    "crested gecko": 45.0,
    "beardie": 380.0,
    "green iguana": 3000.0,
    "veiled chameleon": 150.0,
    "uromastyx": 900.0,
    "blue-tongued skink": 450.0,
}
INTAKE_TYPES = ("surrendered", "stray", "transferred in", "confiscated", "Owner surrender")
OUTCOMES = ("adopted", "transferred out", "died", "euthanised", "released", "Adoption")
NOTES = ("", "", "", "", "", "quiet on arrival", "came with 2 tanks", "tail short", "thin", "shed stuck on 3 toes")


def make(folder: Path, stays: int, weighings: int, *, kind: str, seed: int = 1) -> dict[str, int]:
    """Write intakes, outcomes and weighings to ``folder`` as "csv" or "parquet"; return the rows of each."""
    rng = np.random.default_rng(seed)
    tables = _tables(rng, stays, weighings, text=kind == "csv")
    for name, table in tables.items():
        if kind == "csv":
            pyarrow.csv.write_csv(table, folder / f"{name}.csv", pyarrow.csv.WriteOptions(quoting_style="needed"))
        else:
            pq.write_table(table, folder / f"{name}.parquet")
    return {name: table.num_rows for name, table in tables.items()}


def _tables(rng: np.random.Generator, stays: int, weighings: int, *, text: bool) -> dict[str, pa.Table]:
    span = 3650
    came = np.sort(rng.integers(0, span, stays))
    length = rng.integers(1, 400, stays)
    left = came + length
    has_left = left < span
    kinds = np.array(list(SPECIES))
    species = rng.integers(0, len(kinds), stays)
    ids = np.array([f"S-{n:07d}" for n in range(stays)])
    spoilt = np.sort(rng.choice(stays, min(FAULTS // 10 * 4, stays // 20), replace=False))
    intakes = {
        "stay_id": ids.copy(),
        "animal_id": np.char.replace(ids, "S", "A"),
        "species": kinds[species].astype("U24"),
        "sex": rng.choice(["female", "male", "unknown", "F", ""], stays),
        "intake_date": _days(came, text),
        "intake_type": rng.choice(INTAKE_TYPES, stays).astype("U20"),
        "group_size": rng.choice(["", "1", "2"], stays, p=[0.8, 0.18, 0.02]),
        "note": rng.choice(NOTES, stays),
    }
    intakes["species"][spoilt[0::4]] = "moss newtling"
    intakes["intake_type"][spoilt[1::4]] = "fell off a lorry"
    again = spoilt[2::4]
    intakes["stay_id"][again] = intakes["stay_id"][again - 1]
    outcomes = {
        "stay_id": ids[has_left],
        "outcome_date": _days(left[has_left], text),
        "outcome_type": rng.choice(OUTCOMES, int(has_left.sum())),
    }
    slipped = rng.choice(int(has_left.sum()), min(FAULTS // 5, int(has_left.sum()) // 20), replace=False)
    outcomes["outcome_date"][slipped] = _days(came[has_left][slipped] - 30, text)
    weighed = _weighings(rng, ids, came, np.minimum(left, span - 1), species, weighings, text=text)
    return {"intakes": _table(intakes), "outcomes": _table(outcomes), "weighings": _table(weighed)}


def _weighings(rng, ids, came, last, species, rows, *, text):
    # One weighing of a stay on a day: drawn with some to spare, repeats taken out.
    stay = rng.integers(0, len(ids), rows + rows // 5)
    day = came[stay] + (rng.random(len(stay)) * (last[stay] - came[stay] + 1)).astype("int64")
    key = rng.permutation(np.unique(stay * 10_000 + day))[:rows]
    stay, day = key // 10_000, key % 10_000
    rows = len(key)
    grams = np.array(list(SPECIES.values()))[species[stay]] * np.exp(rng.normal(0, 0.04, rows))
    order = np.argsort(day, kind="stable")
    stay, day, grams = stay[order], day[order], grams[order]
    kilos = grams > 2000
    weight = np.where(kilos, np.round(grams / 1000, 2), np.round(grams, 1))
    unit = np.where(kilos, "kg", np.where(rng.random(rows) < 0.3, "g", ""))
    bad = rng.choice(rows, min(FAULTS // 10 * 4, rows // 20), replace=False)
    weight[bad[0::4]] = weight[bad[0::4]] * 10
    out = {
        "stay_id": ids[stay],
        "weighed_on": _days(day, text),
        "weight": weight.astype("U12") if text else weight,
        "unit": unit.astype("U8"),
        "circumstance": rng.choice(["", "fed", "shed", "fed, shed"], rows, p=[0.85, 0.08, 0.05, 0.02]),
    }
    out["stay_id"][bad[1::4]] = "S-none"
    out["unit"][bad[2::4]] = "stone"
    if text:
        out["weighed_on"][bad[3::4]] = "31/02/2020"
    else:
        out["weighed_on"][bad[3::4]] = np.datetime64("NaT")
    return out


def _days(numbers: np.ndarray, text: bool) -> np.ndarray:
    days = FIRST + numbers.astype("timedelta64[D]")
    return np.datetime_as_string(days) if text else days


def _table(columns: dict[str, np.ndarray]) -> pa.Table:
    return pa.table({name: pa.array(values) for name, values in columns.items()})
