"""Noise of readings about paths of any shape."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.trend_noise import pooled, residuals


def _readings(rng, noise, draw, curve=0.0):
    time = np.tile(np.arange(15) * 7.0, 300)
    series = np.repeat(np.arange(300), 15)
    path = series * 0.1 + 0.003 * time * (series % 3) - curve * (time / 50) ** 2
    return series, time, path + noise * draw(rng, len(time))


def _normal(rng, n):
    return rng.standard_normal(n)


def _t5(rng, n):
    return rng.standard_t(5, n) * np.sqrt(3 / 5)


@pytest.mark.parametrize("curve", [0.0, 0.1])
def test_noise_is_that_of_one_reading_on_lines_and_on_bends(curve):
    got = pooled(residuals(*_readings(np.random.default_rng(0), 0.03, _normal, curve)))
    assert got.sd == pytest.approx(0.03, rel=0.03)
    assert got.n == 300 * 13
    assert got.tail > 15


def test_heavy_tails_are_seen():
    assert pooled(residuals(*_readings(np.random.default_rng(1), 0.03, _t5))).tail < 12


def test_uneven_days_are_weighed_by_their_distance():
    rng = np.random.default_rng(2)
    time = np.cumsum(rng.integers(1, 20, 20_000)).astype(float)
    got = pooled(residuals(np.zeros(20_000), time, 0.02 * rng.standard_normal(20_000)))
    assert got.sd == pytest.approx(0.02, rel=0.02)


def test_a_straight_line_leaves_nothing_and_ends_have_no_residual():
    off = residuals(["a"] * 4 + ["b"] * 3, [0, 3, 7, 9, 0, 1, 5], [0, 6, 14, 18, 5, 5, 5])
    assert np.isnan(off[[0, 3, 4, 6]]).all()
    assert off[[1, 2, 5]] == pytest.approx(0)


def test_by_hand():
    # One reading 1 above the middle of its neighbours: 1 / sqrt(1 + 1/4 + 1/4).
    assert residuals(["a"] * 3, [0, 1, 2], [0, 1, 0])[1] == pytest.approx(1 / np.sqrt(1.5))


def test_neighbours_too_far_apart_are_passed_over():
    assert np.isnan(residuals(["a"] * 3, [0, 10, 40], [0, 1, 0], reach=35)).all()


def test_one_wild_reading_does_not_rule():
    values = np.append(0.02 * np.random.default_rng(3).standard_normal(500), 5.0)
    assert pooled(values).sd < 0.025


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: pooled([0.1, np.nan, 0.2]), "2 found"),
        (lambda: residuals(["a"] * 3, [0, 2, 1], [0, 1, 0]), "ascending"),
    ],
)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
