"""Limits of curves where a clutch was split into single stays, or an animal came back: by animal, never by row."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.questions.incidence import told
from mendcurve.records import from_frames
from mendcurve.timelines.episodes import CAUSES

PACE = np.array([1 / 40, 0, 0, 1 / 150, 1 / 200, 0])


@pytest.fixture(scope="module")
def settings():
    stay = {"stay_id": ["S"], "species": ["corn snake"], "intake_date": ["2025-01-01"], "intake_type": ["stray"]}
    return from_frames(as_of="2025-12-31", intakes=pd.DataFrame(stay)).settings


def animals(rng, n: int, clutches: float) -> pd.DataFrame:
    """Draw n animals; a share of draws are clutches of six in rows of their own, ending together."""
    size = np.where(rng.random(n) < clutches, 6, 1)
    size = size[np.cumsum(size) - size < n]
    size[-1] -= max(size.sum() - n, 0)
    code = np.repeat(np.arange(len(size)), size)
    length, cut = rng.exponential(1 / PACE.sum(), len(size)).astype(int), rng.integers(0, 100, len(size))
    cause = np.where(length <= cut, rng.choice(6, len(size), p=PACE / PACE.sum()) + 1, 0)
    return pd.DataFrame({
        "entry": -1.0, "exit": np.minimum(length, cut)[code].astype(float), "cause": cause[code], "animals": 1,
        "cluster": [f"A{c}" for c in code],
    })  # fmt: skip


def one(rows, settings):
    return next(iter(told(rows, None, CAUSES, settings)))


def test_a_clutch_split_into_single_stays_widens_every_limit(settings):
    rows = animals(np.random.default_rng(4), 60, 0.2)
    by, alone = one(rows, settings), one(rows.assign(cluster=[f"R{i}" for i in rows.index]), settings)
    assert by.effects is not None
    for day in (15, 25):
        share, low, high = by.by(day, "cleared")
        plain = alone.by(day, "cleared")
        assert share == plain[0]
        assert high - low > 1.2 * (plain[2] - plain[1])
    wide, narrow = (x.still().at([20.0]) for x in (by, alone))
    assert (wide.high - wide.low)[0, 0] > 1.2 * (narrow.high - narrow.low)[0, 0]
    assert by.median_any()[0] == alone.median_any()[0]
    assert not by.median_any()[1] > alone.median_any()[1]


def test_rows_twice_over_are_no_second_sample(settings):
    rows = animals(np.random.default_rng(5), 40, 0.0)
    single, double = one(rows, settings), one(pd.concat([rows, rows], ignore_index=True), settings)
    share, low, high = double.by(20, "cleared")
    assert share == pytest.approx(single.by(20, "cleared")[0])
    assert high - low == pytest.approx(np.subtract(*single.by(20, "cleared")[:0:-1]), rel=0.12)


def test_without_repeats_nothing_moves(settings):
    rows = animals(np.random.default_rng(6), 40, 0.0)
    rows = rows.assign(animals=np.where(np.arange(len(rows)) % 9 == 0, 4, 1))
    assert one(rows, settings).effects is None


@pytest.mark.slow
def test_shares_cover_where_clutches_are_split(settings):
    days = np.arange(0, 31)
    truth = PACE[0] / PACE.sum() * (1 - np.exp(-PACE.sum() * (days[-1] + 1)))
    inside = []
    for seed in range(150):
        told_ = one(animals(np.random.default_rng(700 + seed), 30, 0.25), settings)
        _, low, high = told_.by(30, "cleared")
        if np.isfinite(low):
            inside.append(low <= truth <= high)
    print(f"coverage {np.mean(inside):.3f} of {len(inside)}")  # by row alone: 0.63
    assert np.mean(inside) >= 0.92  # nominal 0.95; 1,000 draws gave 0.95-0.96
