"""The stall scan: its likelihood ratio, its conventions, its false alarms and how soon it finds a stop."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from mendcurve.errors import InputError
from mendcurve.methods.trend_likelihood import Bends, sharpness
from mendcurve.methods.trend_scan import Look, Model, draw_in, scan, scan_many

WEEK = 7.0
GAIN = 0.02 / WEEK  # 2 % a week
ALPHA = 0.02  # two false alarms in 100 animal-weeks


def _model(noise, **more):
    known = {"usual": GAIN, "usual_sd": 0.25 * GAIN, "needed": GAIN / 2, "stopped": (0.0,), **more}
    return Model(noise=noise, **known)


def _by_hand(time, y, model, onset, after, wrong=0.0):
    """Log likelihood of one onset; an unknown level is a normal one of a variance so large that it says nothing."""
    before, since = np.minimum(time, onset), np.maximum(time - onset, 0)
    walk = model.wander**2 * np.minimum(time[:, None], time)
    v = (
        model.noise**2 * np.eye(len(time))
        + np.diag(wrong + np.zeros(len(time)))
        + walk
        + model.usual_sd**2 * np.outer(before, before)
        + 1e4
    )
    return multivariate_normal(model.usual * before + after * since, v).logpdf(y)


@pytest.mark.parametrize("wander", [0.0, 0.004])
def test_likelihoods_are_those_of_normal_series_with_a_free_level(wander):
    time, model = np.array([0, 7, 13, 22, 30.0]), _model(0.03, wander=wander)
    y = np.random.default_rng(0).normal(4, 0.05, 5)
    bends = Bends(time, model)
    for after in (0.0, GAIN / 2):
        got = bends.log_given(bends.products(y[None, :]), after)[0]
        hand = [_by_hand(time, y, model, onset, after) for onset in (*time[:3], 1e9)]
        assert np.diff(got) == pytest.approx(np.diff(hand), abs=1e-4)


def test_the_ratio_averages_over_onsets_and_over_the_ways_of_doing_well():
    time, model = np.array([0, 7, 13, 22, 30.0]), _model(0.03, stopped=(0.0, -GAIN))
    y = np.random.default_rng(1).normal(4, 0.05, 5)
    prior = 0.5 ** ((30 - time[:3]) / 70)
    prior /= prior.sum()
    stopped = sum(p * np.mean([np.exp(_by_hand(time, y, model, t, c)) for c in model.stopped])
                  for p, t in zip(prior, time[:3], strict=True))  # fmt: skip
    slowed = np.mean([np.exp(_by_hand(time, y, model, t, model.needed)) for t in time[:3]])
    slopes = np.linspace(model.needed, model.usual + 8 * model.usual_sd, 4001)
    known = [multivariate_normal(b * time, 0.03**2 * np.eye(5) + 1e4).pdf(y) for b in slopes]
    weight = norm.pdf(slopes, model.usual, model.usual_sd)
    goes_on = np.average(known, weights=weight)
    # In half of the series one reading is off by 8 times the noise.
    plain = _by_hand(time, y, model, 1e9, 0.0)
    one = np.mean([np.exp(_by_hand(time, y, model, 1e9, 0.0, (8 * 0.03) ** 2 * row) - plain) for row in np.eye(5)])
    goes_on *= 0.5 + 0.5 * one
    well = model.goes_on * goes_on + (1 - model.goes_on) * slowed
    assert Bends(time, model).ratio(y[None, :])[0] == pytest.approx(np.log(stopped / well), abs=2e-3)


def test_one_wrong_reading_in_each_series_makes_few_alarms():
    rng, time = np.random.default_rng(8), np.arange(12) * WEEK
    y = GAIN * time + 0.03 * rng.standard_normal((2000, 12))
    y[np.arange(2000), rng.integers(8, 12, 2000)] += rng.choice([-0.2, 0.2], 2000)
    # Without the allowance for one wrong reading it is 19 %.
    assert (scan_many(time, y, _model(0.03, tail=30.0))[1] <= ALPHA).mean() < 0.06


def test_a_wandering_path_lets_distant_readings_say_less():
    time = np.arange(8) * WEEK
    sure, less = (sharpness(time, 28.0, _model(0.03, wander=w)) for w in (0.0, 0.01))
    assert less < 0.7 * sure
    # Without wander: root of the sum of squares about the mean, over the noise.
    since = np.maximum(time - 28, 0)
    assert sure == pytest.approx(np.sqrt(((since - since.mean()) ** 2).sum()) / 0.03)


def test_range_of_days_and_slope_hold_the_truth_as_often_as_they_say():
    rng, time = np.random.default_rng(7), np.arange(14) * WEEK
    slope, day, width = [], [], []
    look = Look(time, _model(0.03), draws=200)
    for _ in range(500):
        own, at = max(GAIN * (1 + 0.25 * rng.standard_normal()), GAIN / 2), rng.uniform(10, 77)
        after = rng.choice([0.0, -GAIN / 2, GAIN / 4])
        path = own * np.minimum(time, at) + after * np.maximum(time - at, 0)
        got = look.since(path + 0.03 * rng.standard_normal(14))
        slope.append(got.low <= after <= got.high)
        day.append(got.first <= at <= got.last)
        width.append(got.last - got.first)
    print(f"\ncover: slope {np.mean(slope):.3f}, day {np.mean(day):.3f}, of {np.median(width):.0f} of 91 days (median)")
    assert 0.93 <= np.mean(slope) <= 0.99
    assert np.mean(day) >= 0.93
    assert np.median(width) < 80


def test_a_clear_stop_has_a_narrow_range_of_days():
    time = np.arange(14) * WEEK
    got = scan(time, GAIN * np.minimum(time, 56), _model(0.004)).since
    assert got.first <= 56 <= got.last
    assert got.last - got.first <= 28
    assert abs(got.likely - 56) <= WEEK


def test_false_alarms_keep_to_the_budget_when_paths_wander():
    rng, time = np.random.default_rng(12), np.arange(14) * WEEK
    model = _model(0.02, wander=0.005)
    slope = np.maximum(GAIN * (1 + 0.25 * rng.standard_normal((4000, 1))), GAIN / 2)
    walk = np.cumsum(0.005 * np.sqrt(WEEK) * rng.standard_normal((4000, 14)), axis=1)
    y = slope * time + walk + 0.02 * _readings(rng, (4000, 14), "t5")
    slows = replace(model, slowed=1.0)  # these do not slow
    assert (scan_many(time, y, slows)[1] <= ALPHA).mean() == pytest.approx(ALPHA, abs=0.0075)
    assert (scan_many(time, y, replace(slows, wander=0.0))[1] <= ALPHA).mean() > 2 * ALPHA


def test_the_level_and_the_first_day_do_not_matter():
    time = np.arange(8) * WEEK
    y = 0.03 * np.random.default_rng(1).standard_normal(8)
    a, b = scan(time, y, _model(0.03)), scan(time + 700, y + 5, _model(0.03))
    assert (a.statistic, a.chance, a.since.first + 700) == pytest.approx(
        (b.statistic, b.chance, b.since.first), abs=1e-6
    )


def test_days_or_weeks_give_the_same_answer():
    time = np.arange(10) * WEEK
    y = GAIN * np.minimum(time, 35)
    days = scan(time, y, _model(0.02))
    weeks = scan(time / 7, y, Model(noise=0.02, usual=0.02, usual_sd=0.005, needed=0.01, stopped=(0.0,)))
    assert days.chance == pytest.approx(weeks.chance, abs=0.004)
    # An onset is half as likely for each 70 units back: nearly even in weeks.
    assert days.statistic == pytest.approx(weeks.statistic, abs=0.4)


def test_finds_the_day_a_noiseless_path_bends():
    time = np.arange(14) * WEEK
    got = scan(time, GAIN * np.minimum(time, 56), _model(0.005))
    assert got.since.likely == pytest.approx(56, abs=7)
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
    model = Model(
        noise=0.01,
        usual=0.0,
        usual_sd=GAIN / 2,
        needed=0.0,
        stopped=(-0.01 / WEEK, -0.0025 / WEEK),
        goes_on=0.5,
        slowed=0.0,
    )
    assert scan(time, np.zeros(10), model).chance > 0.1
    assert scan(time, -0.02 / WEEK * np.maximum(time - 21, 0), model).chance < 0.005


def test_a_slow_loss_over_a_long_time_is_found_by_the_slower_alternative():
    time = np.arange(50) * WEEK
    y = -0.0025 / WEEK * time + 0.02 * np.random.default_rng(3).standard_normal(50)
    known = {"noise": 0.02, "usual": 0.0, "usual_sd": GAIN / 2, "needed": 0.0}
    both = scan(time, y, Model(**known, stopped=(-0.01 / WEEK, -0.0025 / WEEK)))
    assert both.chance < 0.01
    assert both.since.first < 280
    assert scan(time, y, Model(**known, stopped=(-0.01 / WEEK,))).chance > 2 * both.chance


def _readings(rng, shape, tail):
    if tail == "normal":
        return rng.standard_normal(shape)
    return rng.standard_t(5, shape) * np.sqrt(3 / 5)


@pytest.mark.parametrize("tail", [5.0, 8.0])
def test_false_alarms_keep_to_the_budget_on_uneven_days(tail):
    rng = np.random.default_rng(11)
    time = np.cumsum(rng.integers(3, 15, 11)).astype(float)
    readings = rng.standard_t(tail, (4000, 11)) * np.sqrt((tail - 2) / tail)
    slope = np.maximum(GAIN * (1 + 0.25 * rng.standard_normal((4000, 1))), GAIN / 2)
    chance = scan_many(time, slope * time + 0.04 * readings, _model(0.04, tail=tail, slowed=1.0))[1]
    for alpha in (0.02, 0.1):
        assert (chance <= alpha).mean() == pytest.approx(alpha, abs=3 * np.sqrt(alpha / 4000))


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: scan([0, 7], [1, 1], _model(0.05)), "at least 3 readings"),
        (lambda: scan([0, 7, 7, 14], [1, 1, 1, 1], _model(0.05)), "ascending"),
        (lambda: scan([0, 7, 14, 21], [1, 1, np.nan, 1], _model(0.05)), "1 not finite"),
        (lambda: _model(0.0), "Noise of a reading"),
        (lambda: _model(0.05, stopped=(GAIN,)), "must be below"),
        (lambda: _model(0.05, tail=1.0), "more than 2"),
        (lambda: _model(0.05, goes_on=1.0), "going on"),
        (lambda: _model(0.05, usual_sd=0.0), "spread of usual"),
        (lambda: scan([0, 7, 14], [1, 1], _model(0.05)), "one time for each"),
    ],
)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
