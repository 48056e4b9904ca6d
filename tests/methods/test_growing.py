"""Growth with slopes that return: the filter against a dense normal law, the estimates, futures that hold."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods import growing
from mendcurve.methods.growing_filter import Readings, filtered, noise_over, padded
from mendcurve.methods.scores_censored import censored_coverage


def _herd(rng, kind, animals, weeks):
    """True log weights by week: several ways in which animals gain, none of them told to the model."""
    day = 7.0 * np.arange(weeks)
    if kind == "steady":
        return 0.003 * day + 0.0015 * rng.standard_normal((animals, 1)) * day
    if kind == "halving":
        slope = 0.0035 + 0.0008 * rng.standard_normal((animals, 1))
        return slope * (np.minimum(day, 42) + 0.5 * np.maximum(day - 42, 0))
    if kind == "stalls":
        slope = 0.003 + 0.001 * rng.standard_normal((animals, 1))
        on = np.where(rng.random((animals, 1)) < 0.2, rng.integers(14, 90, (animals, 1)), 10**6)
        return slope * (day - np.clip(day - on, 0, 42))
    return 0.003 * day + _returning(rng, animals, weeks)


def _returning(rng, animals, weeks, spread=0.002, half_life=60.0, wander=0.002):
    """Level by week of an Ornstein-Uhlenbeck slope and a random walk, in steps of a tenth of a day (Euler)."""
    rate, step = np.log(2) / half_life, 0.1
    level, slope = np.zeros(animals), spread * rng.standard_normal(animals)
    out = [level.copy()]
    for k in range(1, 70 * (weeks - 1) + 1):
        level = level + slope * step + wander * np.sqrt(step) * rng.standard_normal(animals)
        slope = slope - rate * slope * step + spread * np.sqrt(2 * rate * step) * rng.standard_normal(animals)
        if k % 70 == 0:
            out.append(level.copy())
    return np.array(out).T


def test_the_filter_has_the_likelihood_of_the_dense_normal_law():
    rng, day = np.random.default_rng(1), np.array([0.0, 5, 12, 13, 33])
    logs, noise = np.log([0.002, 40.0, 0.004]), 0.02
    rate, fine = np.log(2) / 40, np.arange(0.025, 33, 0.05)
    slopes = 0.002**2 * np.exp(-rate * np.abs(fine[:, None] - fine))
    inside = (fine[:, None] < day) * 0.05
    cov = inside.T @ slopes @ inside + 0.004**2 * np.minimum(day[:, None], day) + noise**2 * np.eye(5)
    y = 0.05 * rng.standard_normal(5)
    contrast = np.eye(5)[1:] - np.eye(5)[0]  # the level is free
    off, small = contrast @ y, contrast @ cov @ contrast.T
    end = filtered(Readings.one(day, y[None], np.full(5, noise**2)), logs[None])
    assert end.log_det[0] == pytest.approx(np.linalg.slogdet(small)[1], abs=1e-4)
    assert end.cross[0, 0, 0] == pytest.approx(off @ np.linalg.solve(small, off), rel=1e-4)


def test_what_comes_in_over_a_gap_adds_up_whatever_the_gap():
    logs = np.log([[0.002], [50.0], [0.003]])
    for gap in (1e-4, 0.02, 0.7, 30.0, 400.0):
        a, reach, q11, q12, q22 = (v[0] for v in noise_over(np.array([gap]), logs))
        move = np.array([[1, reach], [0, a]])
        q = np.array([[q11, q12], [q12, q22]])
        _, reach2, r11, r12, r22 = (v[0] for v in noise_over(np.array([2 * gap]), logs))
        assert move @ q @ move.T + q == pytest.approx(np.array([[r11, r12], [r12, r22]]), rel=1e-6)
        assert reach * (1 + a) == pytest.approx(reach2)


def test_series_of_one_reading_are_left_out_and_order_does_not_matter():
    series, day = np.array(["b", "a", "c", "a", "b"]), np.array([9.0, 7, 0, 0, 2])
    got = padded(series, day, np.arange(5.0)[:, None], np.ones(5))
    assert got.gap.tolist() == [[0, 7], [0, 7]]
    assert got.y[0, :, :, 0].tolist() == [[3, 1], [4, 0]]


@pytest.mark.parametrize("half_life", [15.0, 60.0])
def test_half_life_spread_and_mean_are_the_simulated_ones(half_life):
    rng = np.random.default_rng(3)
    y = 0.003 * 7 * np.arange(26) + _returning(rng, 150, 26, spread=0.003, half_life=half_life)
    y = y + 0.02 * rng.standard_normal(y.shape)
    model = growing.fit(
        np.repeat(np.arange(150), 26), np.tile(7.0 * np.arange(26), 150), y.ravel(), np.full(y.size, 0.02), [0, 175]
    )
    assert model.half_life == pytest.approx(half_life, rel=0.35)
    assert np.exp(model.logs[0]) == pytest.approx(0.003, rel=0.2)
    assert model.mean([100.0])[0] == pytest.approx(0.3, abs=4 * 100 * np.sqrt(model.beta_cov[0, 0]))


def test_where_few_readings_tell_the_half_life_stays_near_its_start():
    rng = np.random.default_rng(4)
    y = 0.05 * rng.standard_normal(12)
    model = growing.fit(np.repeat([1, 2, 3, 4], 3), np.tile([0.0, 7, 14], 4), y, np.full(12, 0.05), [0, 14])
    assert model.half_life == pytest.approx(60, rel=0.2)
    assert np.sqrt(model.logs_cov[1, 1]) == pytest.approx(0.7, rel=0.1)


def test_one_wrong_reading_moves_little():
    rng = np.random.default_rng(5)
    y = 0.02 * np.arange(12) + _returning(rng, 30, 12) + 0.01 * rng.standard_normal((30, 12))
    names, day = np.repeat(np.arange(30), 12), np.tile(7.0 * np.arange(12), 30)
    wrong = y.copy()
    wrong[3, 6] += 1.0
    clean, dirty = (growing.fit(names, day, v.ravel(), np.full(v.size, 0.01), [0, 77]) for v in (y, wrong))
    assert np.exp(dirty.logs[2] - clean.logs[2]) < 1.5
    assert dirty.mean([77.0])[0] == pytest.approx(clean.mean([77.0])[0], abs=0.01)


def test_futures_start_from_the_series_own_level_and_slope_which_returns():
    model = growing.Growing(
        at=np.array([0.0, 100]), beta=np.array([0.001]), beta_cov=np.zeros((1, 1)),
        logs=np.log([0.003, 40.0, 1e-5]), logs_cov=1e-12 * np.eye(3), subjects=50,
    )  # fmt: skip
    day = np.arange(0.0, 30, 2)
    got = growing.ahead(model, day, 5 + 0.006 * day, np.full(15, 0.002), [29.0, 68, 428], draws=4000,
                        rng=np.random.default_rng(6)).mean(axis=1)  # fmt: skip
    assert got[0] == pytest.approx(5.17, abs=0.01)
    # 0.001 a day for ever, and of the slope at the end (about 0.0055 at day 28) half of what is beyond lost in 40 days
    assert 5.168 + 0.04 + 0.09 < got[1] < 5.168 + 0.04 + 0.15
    assert got[2] - got[1] < 0.36 + 0.16


def test_too_few_series_and_a_noise_of_nothing_are_refused():
    with pytest.raises(InputError, match="three series"):
        growing.fit([1, 1, 2, 2], [0, 1, 0, 1], [0, 1, 0, 1], np.ones(4), [0, 1])
    with pytest.raises(InputError, match="noise of a reading must be above 0"):
        growing.fit([1, 1, 2, 2], [0, 1, 0, 1], [0, 1, 0, 1], np.zeros(4), [0, 1])


def _places(kind, seed, animals=30, weeks=60, noise=0.025):
    """Where the first weighing at target lay in what was said of it, for one simulated rescue."""
    rng, day = np.random.default_rng(seed), 7.0 * np.arange(weeks)
    y = _herd(rng, kind, animals, weeks) + noise * rng.standard_normal((animals, weeks))
    target = y[:, 0] + 0.10 + 0.15 * rng.random(animals)
    hit = y >= target[:, None]
    first = np.where(hit.any(axis=1), hit.argmax(axis=1), weeks)
    row, k = np.nonzero(np.arange(weeks) <= np.minimum(first, 19)[:, None])
    model = growing.fit(row, day[k], y[row, k], np.full(len(k), noise), [0, 20, 60, 133])
    out = []
    for i in range(animals):
        now = int(rng.integers(2, 9))
        if first[i] <= now:
            continue
        seen = slice(0, now + 1)
        said = growing.ahead(model, day[seen], y[i, seen], np.full(now + 1, noise), day[now + 1 :], draws=800, rng=rng)
        by = np.append(0, np.maximum.accumulate(said >= target[i], axis=0).mean(axis=1))
        j = first[i] - now
        out.append((by[j - 1], by[j], True, seed) if first[i] < weeks else (by[-1], 1.0, False, seed))
    return out


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["returning", "steady", "halving", "stalls"])
def test_days_to_a_target_hold_as_often_as_they_say(kind):
    low, high, ended, rescue = np.array([row for seed in range(8) for row in _places(kind, seed)]).T
    print()
    for level in (0.5, 0.8, 0.9):
        held, least, most = censored_coverage(low, high, ended > 0, level, cluster=rescue)
        print(f"{kind}: {level:.0%} range held {held:.0%} ({least:.0%} to {most:.0%}) of {len(low)}")
        # 200 or so: SE at most 3.5 points; wider than said is allowed some more, since scales are not known
        assert level - 0.07 < held < level + 0.13
