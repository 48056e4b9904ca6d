"""The stall scan: its likelihood ratio, its conventions, its false alarms and how soon it finds a stop."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from mendcurve.errors import InputError
from mendcurve.methods.trend_scan import Model, contrasts, draw_in, scan, scan_many

WEEK = 7.0
GAIN = 0.02 / WEEK  # 2 % a week
ALPHA = 0.02  # two false alarms in 100 animal-weeks


def _model(noise, **more):
    known = {"usual": GAIN, "usual_sd": 0.25 * GAIN, "needed": GAIN / 2, "stopped": (0.0,), **more}
    return Model(noise=noise, **known)


def test_the_statistic_is_the_log_likelihood_ratio_with_a_free_level():
    time, model = np.array([0, 7, 13, 22, 30.0]), _model(0.03)
    y = np.random.default_rng(0).normal(4, 0.05, 5)
    weights, constant = contrasts(time, model)
    for j in range(3):
        before, after = np.minimum(time, time[j]), np.maximum(time - time[j], 0)
        # An unknown level: a normal one of a variance so large that it says nothing.
        v = 0.03**2 * np.eye(5) + model.usual_sd**2 * np.outer(before, before) + 1e4
        fit = [
            multivariate_normal(model.usual * before + s * after, v).logpdf(y) for s in (*model.stopped, model.needed)
        ]
        assert weights[j] @ y - constant[j] == pytest.approx(fit[0] - fit[1], abs=1e-4)


def test_a_wandering_path_lets_distant_readings_say_less():
    time = np.arange(8) * WEEK
    y = 0.05 * np.sin(time / 9)
    weights, constant = contrasts(time, _model(0.03, wander=0.01))
    gap = time - time[4]
    walk = np.where(gap[:, None] * gap > 0, np.minimum(abs(gap)[:, None], abs(gap)), 0.0)
    before, after = np.minimum(time, time[4]), np.maximum(gap, 0)
    v = 0.03**2 * np.eye(8) + (0.25 * GAIN) ** 2 * np.outer(before, before) + 1e-4 * walk + 1e4
    fit = [multivariate_normal(GAIN * before + s * after, v).logpdf(y) for s in (0.0, GAIN / 2)]
    assert weights[4] @ y - constant[4] == pytest.approx(fit[0] - fit[1], abs=1e-4)
    still = contrasts(time, _model(0.03))[0]
    assert abs(weights[4, 0] / weights[4, 7]) < abs(still[4, 0] / still[4, 7])


def test_false_alarms_keep_to_the_budget_when_paths_wander():
    rng, time = np.random.default_rng(12), np.arange(14) * WEEK
    model = _model(0.02, wander=0.005)
    slope = np.maximum(GAIN * (1 + 0.25 * rng.standard_normal((4000, 1))), GAIN / 2)
    walk = np.cumsum(0.005 * np.sqrt(WEEK) * rng.standard_normal((4000, 14)), axis=1)
    y = slope * time + walk + 0.02 * _readings(rng, (4000, 14), "t5")
    assert (scan_many(time, y, model)[1] <= ALPHA).mean() == pytest.approx(ALPHA, abs=0.0075)
    assert (scan_many(time, y, _model(0.02))[1] <= ALPHA).mean() > 2 * ALPHA


def test_the_level_and_the_first_day_do_not_matter():
    time = np.arange(8) * WEEK
    y = 0.03 * np.random.default_rng(1).standard_normal(8)
    a, b = scan(time, y, _model(0.03)), scan(time + 700, y + 5, _model(0.03))
    assert (a.statistic, a.chance, a.at) == pytest.approx((b.statistic, b.chance, b.at))


def test_days_or_weeks_give_the_same_answer():
    time = np.arange(10) * WEEK
    y = GAIN * np.minimum(time, 35)
    days = scan(time, y, _model(0.02))
    weeks = scan(time / 7, y, Model(noise=0.02, usual=0.02, usual_sd=0.005, needed=0.01, stopped=(0.0,)))
    assert days.chance == pytest.approx(weeks.chance, rel=0.03)
    assert days.statistic == pytest.approx(weeks.statistic)


def test_finds_the_day_a_noiseless_path_bends():
    time = np.arange(14) * WEEK
    got = scan(time, GAIN * np.minimum(time, 56), _model(0.005))
    assert got.onset == pytest.approx(56, abs=7)
    assert got.chance < 1e-3


def test_the_same_series_has_the_same_chance_each_time():
    time, y = np.arange(9) * WEEK, np.zeros(9)
    assert scan(time, y, _model(0.05)).chance == scan(time, y, _model(0.05)).chance


def test_one_bad_reading_is_drawn_in_and_a_step_is_not():
    time = np.arange(7) * WEEK
    spike, step = np.zeros((1, 7)), np.where(time >= 21, -0.2, 0.0)[None, :]
    spike[0, 3] = -0.5
    assert np.abs(draw_in(time, spike, 0.02)).max() < 0.1
    assert draw_in(time, step, 0.02)[0, -1] == pytest.approx(-0.2)
    assert draw_in(time, 0.02 * np.sin(time)[None, :], 0.02)[0] == pytest.approx(0.02 * np.sin(time))


def test_a_light_day_does_not_make_a_stall():
    time = np.arange(9) * WEEK
    y = GAIN * time
    y[6] -= 0.4  # a mistyped weight, a third too low
    assert scan(time, y, _model(0.02)).chance > ALPHA


def test_loss_is_what_is_looked_for_where_no_gain_is_needed():
    time = np.arange(10) * WEEK
    model = Model(noise=0.01, usual=0.0, usual_sd=GAIN / 2, needed=0.0, stopped=(-0.01 / WEEK, -0.0025 / WEEK))
    assert scan(time, np.zeros(10), model).chance > 0.1
    assert scan(time, -0.02 / WEEK * np.maximum(time - 21, 0), model).chance < 0.005


def test_a_slow_loss_over_a_long_time_is_found_by_the_slower_alternative():
    time = np.arange(50) * WEEK
    y = -0.0025 / WEEK * time + 0.02 * np.random.default_rng(3).standard_normal(50)
    known = {"noise": 0.02, "usual": 0.0, "usual_sd": GAIN / 2, "needed": 0.0}
    both = scan(time, y, Model(**known, stopped=(-0.01 / WEEK, -0.0025 / WEEK)))
    assert both.chance < 0.01
    assert both.at < 40
    assert scan(time, y, Model(**known, stopped=(-0.01 / WEEK,))).chance > 0.05


def _readings(rng, shape, tail):
    if tail == "normal":
        return rng.standard_normal(shape)
    return rng.standard_t(5, shape) * np.sqrt(3 / 5)


def _table_row(noise, tail, animals=10_000):
    """False alarms per 100 animal-weeks, and shares found 3, 5, 8 weighings after a stop at the 10th: scan, best."""
    rng = np.random.default_rng(int(noise * 1000))
    slope = GAIN * (1 + 0.25 * rng.standard_normal((animals, 1)))
    slope = np.maximum(slope, GAIN / 2)
    alarms = []
    for n in range(4, 21, 2):
        time = WEEK * np.arange(n)
        alarms.append(
            (
                scan_many(time, slope * time + noise * _readings(rng, (animals, n), tail), _model(noise))[1] <= ALPHA
            ).mean()
        )
    found = []
    for more in (3, 5, 8):
        time = WEEK * np.arange(10 + more)
        after = np.maximum(time - time[9], 0)
        well = slope * time + noise * _readings(rng, (animals, 10 + more), tail)
        stopped = well - slope * after
        # The best possible: knows the day, the noise and the animal's own gain; only its level is unknown.
        best = [-((y - slope * np.minimum(time, time[9])) @ (after - after.mean())) for y in (well, stopped)]
        found.append(
            (
                (scan_many(time, stopped, _model(noise))[1] <= ALPHA).mean(),
                (best[1] > np.quantile(best[0], 1 - ALPHA)).mean(),
            )
        )
    return 100 * np.mean(alarms), found


@pytest.mark.slow
def test_operating_characteristics_and_their_table():
    print(f"\nweekly weighings, gain 2 % a week (SD 0.5), budget {100 * ALPHA:g} false alarms per 100 animal-weeks")
    print("noise tail    alarms/100   found within 3, 5, 8 weighings (knowing day, noise and own gain)")
    for noise in (0.02, 0.05, 0.10):
        for tail in ("normal", "t5"):
            alarms, found = _table_row(noise, tail)
            shares = "  ".join(f"{ours:.2f} ({best:.2f})" for ours, best in found)
            print(f"{noise:4.0%}  {tail:7s} {alarms:8.2f}   {shares}")
            assert 0.8 <= alarms / (100 * ALPHA) <= 1.1
            assert all(ours >= 0.25 * best for ours, best in found)
            if noise == 0.02:
                assert found[1][0] > 0.7
                assert found[2][0] > 0.95


@pytest.mark.parametrize("tail", [5.0, 8.0])
def test_false_alarms_keep_to_the_budget_on_uneven_days(tail):
    rng = np.random.default_rng(11)
    time = np.cumsum(rng.integers(3, 15, 11)).astype(float)
    readings = rng.standard_t(tail, (4000, 11)) * np.sqrt((tail - 2) / tail)
    slope = np.maximum(GAIN * (1 + 0.25 * rng.standard_normal((4000, 1))), GAIN / 2)
    chance = scan_many(time, slope * time + 0.04 * readings, _model(0.04, tail=tail))[1]
    for alpha in (0.02, 0.1):
        assert (chance <= alpha).mean() == pytest.approx(alpha, abs=3 * np.sqrt(alpha / 4000))


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: scan([0, 7, 14], [1, 1, 1], _model(0.05)), "at least 4 readings"),
        (lambda: scan([0, 7, 7, 14], [1, 1, 1, 1], _model(0.05)), "ascending"),
        (lambda: scan([0, 7, 14, 21], [1, 1, np.nan, 1], _model(0.05)), "1 not finite"),
        (lambda: _model(0.0), "Noise of a reading"),
        (lambda: _model(0.05, stopped=(GAIN,)), "must be below"),
        (lambda: _model(0.05, tail=1.0), "more than 2"),
    ],
)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
