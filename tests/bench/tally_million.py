"""How long a million rows take: one pass of the tally beside pandas' groupby, then every curve from it.

Run by hand: python tests/bench/tally_million.py [rows]. Not a timed test; machines differ.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd

from mendcurve.methods.survival import cumulative_incidence, kaplan_meier
from mendcurve.methods.tally import Tally


def rows(n: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(1)
    entry = np.where(rng.random(n) < 0.1, rng.integers(0, 200, n), -1)
    return {
        "entry": entry,
        "exit": entry + 1 + rng.integers(0, 365, n),
        "cause": rng.integers(0, 4, n),
        "group": rng.choice(np.array(["snake", "lizard", "tortoise", "frog"]), n),
        "weight": rng.choice([1, 1, 1, 1, 30], n),
    }


def timed(what: str, work):
    start = time.perf_counter()
    found = work()
    print(f"{what:<48}{time.perf_counter() - start:8.2f} s")
    return found


def main(n: int) -> None:
    data = rows(n)
    causes = ("live", "died", "missing")
    print(f"{n:,} rows")
    tally = timed("tally, one pass", lambda: Tally.from_arrays(
        data["entry"], data["exit"], data["cause"], group=data["group"], weight=data["weight"], causes=causes
    ))  # fmt: skip
    frame = pd.DataFrame(data)
    counted = timed(
        "pandas groupby of the exits alone", lambda: frame.groupby(["group", "cause", "exit"])["weight"].sum()
    )
    timed("Kaplan-Meier with limits", lambda: kaplan_meier(tally))
    timed("cumulative incidence with limits, variance", lambda: cumulative_incidence(tally))
    assert counted.sum() == tally.events.sum() + tally.censored.sum()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
