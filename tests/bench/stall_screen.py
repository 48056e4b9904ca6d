"""Operating characteristics of the stall scan: false alarms, stops found, against tests that know more.

Run by hand: ``PYTHONPATH=tests python tests/bench/stall_screen.py`` (some minutes). ``table`` with few animals is the
slow test's. Weekly weighings unless the row says otherwise; gain 2 % a week (standard deviation 0.5), 2 false alarms
per 100 animal-weeks allowed. Animals stop at the 10th weighing.

Tests compared, at the false alarms the scan was allowed: ``known`` knows noise, needed gain (that of animals like it,
with its spread) and day, and estimates the level; ``told`` is told the animal's own gain too, which no screen can know.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.methods.trend_scan import Look, Model

WEEK, ALPHA, BEFORE, AHEAD = 7.0, 0.02, 10, (3, 5, 8)
GAIN, SPREAD = 0.02 / WEEK, 0.25
# What is different about a row of the table from weekly weighings of animals that gain evenly.
KINDS = (
    "weekly",
    "every 3 days",
    "every 14 days",
    "every 30 days",
    "irregular",
    "refeeding",
    "one wrong weight",
    "heavy tails",
)


def times(kind: str, n: int, rng: np.random.Generator) -> np.ndarray:
    """Return days of n weighings."""
    if kind == "irregular":
        return np.concatenate([[0.0], np.cumsum(rng.integers(3, 15, n - 1))]).astype(float)
    return np.arange(n) * {"every 3 days": 3.0, "every 14 days": 14.0, "every 30 days": 30.0}.get(kind, WEEK)


def herd(
    kind: str, time: np.ndarray, noise: float, animals: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Return slopes (animals, 1) and log weights (animals, n) of animals that do well."""
    slope = np.maximum(GAIN * (1 + SPREAD * rng.standard_normal((animals, 1))), GAIN / 2)
    shape = (animals, len(time))
    reading = rng.standard_t(5, shape) * np.sqrt(0.6) if kind == "heavy tails" else rng.standard_normal(shape)
    y = slope * time + noise * reading
    if kind == "refeeding":  # in the first fortnight half as fast again
        y += 0.5 * slope * np.minimum(time, 2 * WEEK)
    if kind == "one wrong weight":  # one of the last four readings 20 % too low or too high
        at = len(time) - 1 - rng.integers(0, 4, animals)
        y[np.arange(animals), at] += rng.choice([-0.2, 0.2], animals)
    return slope, y


def row(kind: str, noise: float, *, animals: int, draws: int) -> dict[str, Any]:
    """Return one row: false alarms per 100 animal-weeks, and for 3, 5, 8 weighings shares found by three tests."""
    rng = np.random.default_rng((int(1000 * noise), KINDS.index(kind)))
    tail = 5.0 if kind == "heavy tails" else 30.0
    model = Model(
        noise=noise, usual=GAIN, usual_sd=SPREAD * GAIN, needed=GAIN / 2, stopped=(0.0,), tail=tail, slowed=1.0
    )
    alarms, out = [], {"kind": kind, "noise": noise}
    for n in (5, 8, 12, 16):
        time = times(kind, n, rng)
        alarms.append(_listed(time, herd(kind, time, noise, animals, rng)[1], model, draws).mean())
    out["alarms"] = 100 * float(np.mean(alarms))
    late = []
    for more in AHEAD:
        time = times(kind, BEFORE + more, rng)
        slope, well = herd(kind, time, noise, animals, rng)
        after = np.maximum(time - time[BEFORE - 1], 0)
        stopped = well - slope * after
        out[f"scan {more}"] = float(_listed(time, stopped, model, draws).mean())
        before = time - after
        for name, own, spread in (("told", slope, 0.0), ("known", GAIN, SPREAD * GAIN)):
            v = noise**2 * np.eye(len(time)) + spread**2 * np.outer(before, before)
            weight = _weights(v, after)
            low, high = (-((y - own * before) @ weight) for y in (well, stopped))
            out[f"{name} {more}"] = float((high > np.quantile(low, 1 - ALPHA)).mean())
        late.append(out[f"scan {more}"])
    out["median"] = next((str(k) for k, p in zip(AHEAD, late, strict=True) if p >= 0.5), f"over {AHEAD[-1]}")
    return out


def table(
    noises: tuple[float, ...], kinds: tuple[str, ...] = KINDS, *, animals: int = 4000, draws: int = 10_000
) -> Iterator[dict[str, Any]]:
    """Yield the rows."""
    for kind in kinds:
        for noise in noises:
            yield row(kind, noise, animals=animals, draws=draws)


def said(one: dict[str, Any]) -> str:
    """Return a row in words of fixed width: scan / known / told."""
    shares = "  ".join(f"{one[f'scan {k}']:.2f}/{one[f'known {k}']:.2f}/{one[f'told {k}']:.2f}" for k in AHEAD)
    return f"{one['kind']:17s} {one['noise']:4.0%} {one['alarms']:7.2f}   {shares}   {one['median']}"


HEAD = "kind             noise alarms/100   found within 3, 5, 8 weighings: scan/known/told   half found within"


def _listed(time: np.ndarray, y: np.ndarray, model: Model, draws: int) -> np.ndarray:
    look = Look(time, model, draws=draws)
    return look.chance(look.ratio(y)) <= ALPHA


def _weights(v: np.ndarray, after: np.ndarray) -> np.ndarray:
    inverse = np.linalg.inv(v)
    ones = inverse.sum(axis=1)
    return (inverse - np.outer(ones, ones) / ones.sum()) @ after


if __name__ == "__main__":
    print(HEAD)
    rows = []
    for one in table((0.01, 0.02, 0.03, 0.05, 0.07, 0.10)):
        rows.append(one)
        print(said(one), flush=True)
    print(pd.DataFrame(rows)["alarms"].describe().to_string())
