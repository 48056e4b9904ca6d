"""What the screen rests on: pace, scale, wander, and one budget for all its rules."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.methods.trend_noise import step_of, walk_of
from mendcurve.methods.trend_scan import Look, Model
from mendcurve.questions.weights_around import around
from mendcurve.questions.weights_budget import Seen, level_for
from mendcurve.questions.weights_data import below_target
from mendcurve.questions.weights_drops import confirmed_drop, from_noise, long_loss
from mendcurve.questions.weights_pace import Pace, pace_of
from mendcurve.records import from_frames


def _series(paths, noise, seed=0):
    rng = np.random.default_rng(seed)
    n, k = paths.shape
    return pd.DataFrame(
        {
            "stay_id": np.repeat([f"S{i}" for i in range(n)], k),
            "series": np.repeat([f"S{i}/0" for i in range(n)], k),
            "day": np.tile(np.arange(k) * 7.0, n),
            "log_g": (paths + noise * rng.standard_normal(paths.shape)).ravel(),
        }
    )


def test_pace_is_the_simulated_one_and_turns_days_into_days_at_the_first():
    rng = np.random.default_rng(1)
    day = np.arange(18) * 7.0
    first = 0.003 * (1 + 0.3 * rng.standard_normal((150, 1)))
    pace = pace_of(_series(first * (np.minimum(day, 56) + 0.5 * np.maximum(day - 56, 0)), 0.02))
    assert pace.shares == pytest.approx((1, 1, 0.5, 0.5), abs=0.12)
    assert pace.animals == 150
    half = Pace(shares=(1.0, 1.0, 0.5, 0.25))
    assert half.days([0, 30, 56, 84, 100]) == pytest.approx([0, 30, 56, 70, 74])
    assert half.at(56) == 0.5


def test_few_animals_and_no_gain_have_an_even_pace():
    day = np.arange(10) * 7.0
    assert pace_of(_series(np.tile(0.003 * day, (20, 1)), 0.02)) == Pace()
    assert pace_of(_series(np.tile(-0.003 * day, (60, 1)), 0.02)) == Pace()


def test_the_weighing_that_reached_the_target_belongs_to_those_below_it():
    frame = pd.DataFrame(
        {"stay_id": ["A"] * 4 + ["B"], "log_g": np.log([90, 99, 101, 98, 50]), "target_g": [100.0] * 4 + [np.nan]}
    )
    assert list(below_target(frame).index) == [0, 1, 2]


def test_leaving_it_out_would_make_the_gain_look_slower():
    rng, day = np.random.default_rng(4), np.arange(20) * 7.0
    frame = _series(np.tile(0.003 * day, (300, 1)), 0.04).assign(
        target_g=np.exp(0.2 + 0.1 * rng.random(300)).repeat(20)
    )
    whole = below_target(frame)
    without = whole[whole["log_g"] < np.log(whole["target_g"])]

    def slope(rows):
        x = rows["day"] - rows.groupby("stay_id")["day"].transform("mean")
        return (x * rows["log_g"]).sum() / (x**2).sum()

    assert slope(whole) == pytest.approx(0.003, rel=0.08)
    assert slope(without) < 0.95 * slope(whole)


# ---- wander and scale


@pytest.mark.parametrize("wander", [0.0, 0.006])
def test_wander_is_told_from_noise_and_from_bends(wander):
    rng = np.random.default_rng(2)
    series, time = np.repeat(np.arange(200), 15), np.tile(np.arange(15) * 7.0, 200)
    walk = np.cumsum(wander * np.sqrt(7) * rng.standard_normal((200, 15)), axis=1).ravel()
    bends = -0.01 / 7 * np.maximum(time - 42, 0) * (series % 2)
    got = walk_of(series, time, walk + bends + 0.02 * rng.standard_normal(3000))
    assert got == pytest.approx(wander, abs=0.0015)


@pytest.mark.parametrize(
    ("readings", "step"),
    [([41.2, 40.9, 41.5, 42.1], 0.1), ([41, 40, 43, 42], 1), ([410, 405, 415, 430], 5), ([400, 300, 500, 700], 100)],
)
def test_the_step_of_the_scale_is_found_from_the_digits(readings, step):
    assert step_of(readings) == step
    assert np.isnan(step_of(readings[:3]))


# ---- rules and budget


def test_rules_for_many_series_are_those_for_one():
    time = np.arange(14) * 7.0
    y = np.zeros((3, 14))
    y[0, -1], y[1, -2:] = -0.3, -0.14
    again, large = confirmed_drop(time, y, 0.03, 10.0)
    _, mean, sd = from_noise(13, 0.03, 10.0)
    beyond = mean + 2.5 * sd
    assert beyond < 0.3
    assert again.tolist() == [False, True, False]
    assert large.tolist() == [True, beyond < 0.14, False]
    sure, fall = long_loss(time, np.vstack([-0.02 / 7 * time, 0 * time]), 0.02, 10.0)
    assert sure.tolist() == [True, False]
    assert fall == pytest.approx([-0.26, 0])


def _seen(by_rule, n=9):
    look = Look(
        np.arange(n) * 7.0,
        Model(noise=0.02, usual=0.003, usual_sd=0.001, needed=0.0015, stopped=(0.0,), tail=30.0),
        draws=2000,
    )
    rule = np.random.default_rng(n).random(2000) < by_rule
    return Seen(look=look, days=look.time, now=1.0, ratio=0.0, chance=1.0, needed=0.0015, source="", by_rule=rule)


def test_rules_and_scan_share_one_budget():
    plain, shared = (level_for({str(n): _seen(r, n) for n in range(5, 15)}, 0.5) for r in (0.0, 0.02))
    assert plain.alarm == pytest.approx(0.05, abs=0.002)
    assert plain.expected == pytest.approx(0.5, abs=0.02)
    assert shared.by_rules == pytest.approx(0.2, abs=0.05)
    assert shared.expected == pytest.approx(0.5, abs=0.02)
    assert shared.alarm == pytest.approx(0.03, abs=0.006)


def test_rules_beyond_the_budget_leave_a_tenth_and_say_what_to_expect():
    got = level_for({str(n): _seen(0.2, n) for n in range(5, 15)}, 0.5)
    assert got.by_rules == pytest.approx(2.0, abs=0.2)
    assert got.expected == pytest.approx(got.by_rules + 0.05, abs=0.02)


def test_shares_found_and_power_are_those_of_simulated_stops():
    seen = _seen(0.0, 16)
    alarm = 0.02
    known = seen.power(alarm)
    found = seen.stops_found(alarm)
    assert 0.85 * known <= found <= 1
    # A fall that leaves the gain above the needed is no stop: fewer are listed than by the test that knows the gain.
    shares = [seen.found(alarm, k * seen.detectable(alarm)) for k in (1, 2, 4)]
    assert 0.1 < shares[0] < shares[1] < shares[2]
    assert shares[0] < 0.8 < shares[2]
    assert seen.found(alarm, 0.0) == pytest.approx(alarm, abs=0.002)


# ---- around the day


def test_what_happened_around_the_day_is_told_in_order():
    records = from_frames(
        as_of="2026-03-31",
        intakes=pd.DataFrame(
            {"stay_id": ["S1", "S2"], "species": "corn snake", "intake_date": "2026-01-01", "intake_type": "stray"}
        ),
        conditions=pd.DataFrame(
            {"episode_id": ["E1"], "stay_id": ["S1"], "condition": ["mites"], "found_on": ["2026-02-10"]}
        ),
        moves=pd.DataFrame({"stay_id": ["S1", "S2"], "moved_on": ["2026-02-04", "2026-02-05"], "zone": "quarantine"}),
        weighings=pd.DataFrame(
            {"stay_id": ["S1"], "weighed_on": ["2026-02-12"], "weight": [100.0], "circumstance": ["laid eggs"]}
        ),
    )
    first, last = pd.Timestamp("2026-02-08"), pd.Timestamp("2026-02-10")
    said = around(records, "S1", first, last)
    assert said.startswith("moved to quarantine on 4 February 2026")
    assert said.index("mites found on 10 February 2026") < said.index("laid eggs, noted on 12 February 2026")
    assert around(records, "S1", first + pd.Timedelta(days=30), last + pd.Timedelta(days=30)) == ""
