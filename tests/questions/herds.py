"""Rescues of single animals made of weight paths, for the tests of weights."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records import from_frames

AS_OF = pd.Timestamp("2026-03-31")


def rescue(paths, *, species="corn snake", target=None, intake="2025-12-01", every=7, left=None, settings=None, **more):
    """A rescue of single animals; ``paths`` is stay -> log weight by weighing, each ``every`` days from intake."""
    came = pd.Timestamp(intake)
    intakes = pd.DataFrame(
        {
            "stay_id": list(paths),
            "species": species,
            "intake_date": intake,
            "intake_type": "stray",
            "life_stage": "adult",
        }
    )
    rows = [
        (stay, came + pd.Timedelta(days=every * k), np.exp(v))
        for stay, p in paths.items()
        for k, v in enumerate(p)
        if np.isfinite(v)
    ]
    tables = {"weighings": pd.DataFrame(rows, columns=["stay_id", "weighed_on", "weight"])}
    if target:
        tables["targets"] = pd.DataFrame({"stay_id": list(target), "target_g": list(target.values()), "set_on": intake})
    if left is not None:
        tables["outcomes"] = pd.DataFrame({"stay_id": left, "outcome_date": AS_OF, "outcome_type": "adopted"})
    tables |= {name: pd.DataFrame(t) for name, t in more.items()}
    return from_frames(as_of=AS_OF, records_start="2025-01-01", settings=settings, intakes=intakes, **tables)


def herd(rng, n=24, weeks=18, gain=0.02, noise=0.02, stop_at=None):
    """Log weights of animals that gain, the first of which stops at a weighing."""
    out = {}
    for i in range(n):
        week = np.arange(weeks, dtype=float)
        slope = gain * (1 + 0.15 * rng.standard_normal())
        grown = slope * (np.minimum(week, stop_at) if stop_at is not None and i == 0 else week)
        out[f"S{i:02d}"] = 5 + 0.2 * rng.standard_normal() + grown + noise * rng.standard_normal(weeks)
    return out
