"""Curves and what is read off them: known answers, a second implementation, each convention, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.limits import incidence_limits
from mendcurve.methods.survival import (
    cumulative_incidence,
    days_lost,
    first_day_with,
    kaplan_meier,
    nelson_aalen,
    quantile,
    remaining_time,
    restricted_mean,
)
from mendcurve.methods.tally import Tally


def two_causes(entry, exit, cause, **more):
    return Tally.from_arrays(entry, exit, cause, causes=("1", "2"), **more)


# ---- known answers


def test_tied_causes_by_hand():
    at = cumulative_incidence(two_causes(None, [1, 1, 1, 2, 2, 3], [1, 1, 2, 1, 2, 1])).at([1, 2, 3])
    np.testing.assert_allclose(at.share[0], [[1 / 3, 1 / 2, 2 / 3], [1 / 6, 1 / 3, 1 / 3]], rtol=0, atol=1e-12)
    np.testing.assert_allclose(at.free[0], [1 / 2, 1 / 6, 0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(at.share.sum(axis=1) + at.free, 1, rtol=0, atol=1e-12)


ENTRY, EXIT, CAUSE = [0, 0, 0, 2, 3, 5], [3, 4, 6, 7, 9, 11], [1, 2, 1, 0, 2, 1]


def test_competing_causes_with_delayed_entry():
    # R survival 3.5-3
    at = cumulative_incidence(two_causes(ENTRY, EXIT, CAUSE)).at(EXIT)
    expected = [
        [0.25, 0.25, 0.390625, 0.390625, 0.390625, 0.6015625], [0, 0.1875, 0.1875, 0.1875, 0.3984375, 0.3984375],
    ]  # fmt: skip
    np.testing.assert_allclose(at.share[0], expected, rtol=0, atol=1e-12)
    assert at.at_risk.tolist() == [[4, 4, 4, 3, 2, 1]]


def test_kaplan_meier_with_delayed_entry():
    # R survival 3.5-3, any end as the event
    curve = kaplan_meier(two_causes(ENTRY, EXIT, CAUSE)).at(EXIT)
    np.testing.assert_allclose(curve.share[0], [0.75, 0.5625, 0.421875, 0.421875, 0.2109375, 0], rtol=0, atol=1e-12)
    # R survival 3.5-3, cause 1 alone
    alone = kaplan_meier(two_causes(ENTRY, EXIT, CAUSE).censoring_others("1")).at(EXIT)
    np.testing.assert_allclose(alone.share[0], [0.75, 0.75, 0.5625, 0.5625, 0.5625, 0], rtol=0, atol=1e-12)


def test_a_published_delayed_entry_curve():
    # first step .75 printed in an issue of a library for life data (PITFALLS fixtures)
    curve = kaplan_meier(Tally.from_arrays([0, 0, 1, 1, 2, 2], [2, 3, 3, 4, 5, 6], [1] * 6)).at([2, 3, 4, 5, 6])
    np.testing.assert_allclose(curve.share[0], [0.75, 0.45, 0.30, 0.15, 0], rtol=0, atol=1e-12)


def test_limits_never_close_at_none_or_all():
    for n, why in ((1, 0), (3, 0), (3, 1)):
        curve = kaplan_meier(Tally.from_arrays(None, [5] * n, [why] * n)).at([0, 5])
        assert np.isfinite([curve.low, curve.high]).all()
        assert (curve.high - curve.low > 0.2).all()
    nobody = cumulative_incidence(two_causes([], [], [])).at([3])
    assert (nobody.low == 0).all() and (nobody.high == 1).all() and (nobody.share == 0).all()


# ---- a second implementation


def naive(entry, exit, cause, weight, day):
    """By definition, one day at a time, one row at a time: S, F1, F2, Greenwood-type SEs by the matrix recursion."""
    free, share = 1.0, [0.0, 0.0]
    cov = np.zeros((3, 3))
    for t in sorted({x for x, c in zip(exit, cause, strict=True) if c and x <= day}):
        n = sum(w for e, x, w in zip(entry, exit, weight, strict=True) if e < t <= x)
        q = [sum(w for x, c, w in zip(exit, cause, weight, strict=True) if x == t and c == k) / n for k in (1, 2)]
        a = np.eye(3)
        a[0, 0], a[1, 0], a[2, 0] = 1 - sum(q), q[0], q[1]
        p = np.array([1 - sum(q), *q])
        cov = a @ cov @ a.T + free**2 * (np.diag(p) - np.outer(p, p)) / n
        share = [s + free * x for s, x in zip(share, q, strict=True)]
        free *= 1 - sum(q)
    return free, share, np.sqrt(np.maximum(np.diag(cov), 0))


def random_rows(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 60))
    entry = np.where(rng.random(n) < 0.5, -1, rng.integers(0, 10, n))
    return entry, entry + rng.integers(1, 12, n), rng.choice([0, 1, 2], n), rng


@pytest.mark.parametrize("seed", range(50))
def test_agrees_with_another_implementation_on_tied_censored_delayed_rows(seed):
    entry, exit, cause, _ = random_rows(seed)
    tally = two_causes(entry, exit, cause)
    days = np.arange(0, 24)
    by, km = cumulative_incidence(tally).at(days), kaplan_meier(tally).at(days)
    for i, day in enumerate(days):
        free, share, se = naive(entry, exit, cause, np.ones(len(entry)), day)
        np.testing.assert_allclose([by.free[0, i], km.share[0, i]], free, rtol=0, atol=1e-12)
        np.testing.assert_allclose(by.share[0, :, i], share, rtol=0, atol=1e-12)
        np.testing.assert_allclose(by.se[0, :, i], se[1:], rtol=0, atol=1e-7)
        np.testing.assert_allclose(km.se[0, i], se[0], rtol=0, atol=1e-7)
        assert km.at_risk[0, i] == ((entry < day) & (exit >= day)).sum()


@pytest.mark.parametrize("seed", range(12))
def test_beta_product_moments_agree_with_draws_of_the_construction(seed):
    """F as drawn: each end a Beta(at risk, 1) step, its mass to its cause, one step more for the far side."""
    entry, exit, cause, rng = random_rows(seed)
    tally = two_causes(entry, exit, cause)
    n, still = tally.at_risk(), tally.at_risk() - tally.events.sum(axis=1)
    draws = 40_000
    S, F = np.ones(draws), np.zeros((2, draws))
    low, high = incidence_limits(n, tally.events, still, 0.95)
    for k in range(len(tally.day)):
        order = rng.permutation(np.repeat([0, 1], tally.events[0, :, k].astype(int)))
        for i, c in enumerate(order):
            b = rng.beta(n[0, k] - i, 1, draws)
            F[c] += S * (1 - b)
            S = S * b
        after = np.ones(draws) if still[0, k] == 0 else 1 - rng.beta(still[0, k], 1, draws)
        for c in (0, 1):
            mixed = np.concatenate([F[c], F[c] + S * after])
            drawn = np.quantile(mixed, [0.025, 0.975])
            np.testing.assert_allclose([low[0, c, k], high[0, c, k]], drawn, rtol=0, atol=0.03)


@pytest.mark.parametrize("seed", range(20))
def test_limits_of_one_cause_are_one_minus_those_of_survival(seed):
    entry, exit, cause, _ = random_rows(seed)
    tally = two_causes(entry, exit, cause).any_cause()
    km, by = kaplan_meier(tally), cumulative_incidence(tally)
    for mine, other in ((km.low, by.high), (km.high, by.low), (km.low_later, by.high_later)):
        np.testing.assert_allclose(mine, 1 - other[:, 0], rtol=0, atol=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_days_lost_and_restricted_mean_fill_the_horizon_and_are_areas(seed):
    entry, exit, cause, _ = random_rows(seed)
    tally = two_causes(entry, exit, cause)
    horizon = float(exit.max()) - 1.5
    if horizon <= 0:
        pytest.fail("the generator must reach past day 1")
    mean, lost = restricted_mean(kaplan_meier(tally), horizon), days_lost(cumulative_incidence(tally), horizon)
    assert mean.estimate[0] + lost.estimate.sum() == pytest.approx(horizon, abs=1e-9)
    fine = (np.arange(200_000) + 0.5) / 200_000 * horizon
    assert kaplan_meier(tally).at(fine).share.mean() * horizon == pytest.approx(mean.estimate[0], abs=1e-3)
    # with one cause both standard errors are the same number
    single = days_lost(cumulative_incidence(tally.any_cause()), horizon)
    assert single.se[0, 0] == pytest.approx(mean.se[0], abs=1e-9)


# ---- conventions


def test_events_come_before_censorings_of_the_same_day():
    assert kaplan_meier(Tally.from_arrays(None, [4, 4], [1, 0])).at(4).share[0, 0] == 0.5


def test_an_event_on_day_zero_counts():
    curve = kaplan_meier(Tally.from_arrays(None, [0, 3], [1, 1]))
    assert curve.at([-1, 0, 3]).share[0].tolist() == [1, 0.5, 0]
    assert restricted_mean(curve, 3).estimate[0] == 1.5


def test_at_carries_the_last_value_and_counts_of_its_own_day():
    at = kaplan_meier(Tally.from_arrays([-1, -1, 4], [2, 8, 9], [1, 1, 1])).at([1, 2, 3, 5, 8, 20])
    assert at.share[0].tolist() == [1, 0.5, 0.5, 0.5, 0.25, 0]
    assert at.at_risk[0].tolist() == [2, 2, 1, 2, 2, 0]
    assert at.events[0].tolist() == [0, 1, 0, 0, 1, 0]


def test_limits_on_a_day_know_those_censored_that_day_and_later_ones_do_not():
    curve = kaplan_meier(Tally.from_arrays(None, [5] * 10 + [9], [0] * 10 + [1]))
    on, later = curve.at([5]), curve.at([6])
    assert on.low[0, 0] == pytest.approx(0.05 ** (1 / 11))  # 0 of 11
    assert later.low[0, 0] == pytest.approx(0.05)  # 1 left
    assert later.low[0, 0] == curve.low_later[0, 1]


def test_one_row_of_thirty_has_the_width_of_one_animal():
    alone = cumulative_incidence(two_causes(None, [4, 9], [1, 2]))
    group = cumulative_incidence(two_causes(None, [4, 9], [1, 2], weight=[30, 30]))
    for name in ("share", "low", "high", "low_later", "high_later", "se"):
        np.testing.assert_allclose(getattr(group, name), getattr(alone, name), rtol=0, atol=1e-9, err_msg=name)
    km = [kaplan_meier(two_causes(None, [4, 9, 9], [1, 2, 0], weight=w)) for w in ([1] * 3, [30] * 3)]
    for name in ("share", "low", "high", "se"):
        np.testing.assert_allclose(getattr(km[0], name), getattr(km[1], name), rtol=0, atol=1e-9, err_msg=name)
    means = [restricted_mean(c, 9).se[0] for c in km]
    assert means[0] == pytest.approx(means[1]) and means[0] > 0
    tallies = [two_causes(None, [4, 9, 9], [1, 2, 0], weight=w) for w in ([1] * 3, [30] * 3)]
    np.testing.assert_allclose(*(days_lost(cumulative_incidence(t), 9).se for t in tallies))
    np.testing.assert_allclose(*(nelson_aalen(t).se for t in tallies))


def test_standard_errors_by_cause_of_rows_of_thirty_are_those_of_animals():
    exit, cause = [1, 2, 3, 4, 5, 6, 7], [1, 2, 1, 0, 2, 1, 0]
    one, thirty = (two_causes(None, exit, cause, weight=np.full(7, w)) for w in (1, 30))
    np.testing.assert_allclose(cumulative_incidence(one).se, cumulative_incidence(thirty).se, atol=1e-12)


def test_thirty_rows_of_one_are_narrower_than_one_row_of_thirty():
    many = kaplan_meier(Tally.from_arrays(None, [4] * 15 + [9] * 15, [1] * 30)).at(5)
    few = kaplan_meier(Tally.from_arrays(None, [4, 9], [1, 1], weight=[15, 15])).at(5)
    assert (many.high - many.low)[0, 0] < 0.5 * (few.high - few.low)[0, 0]


def test_nelson_aalen_by_hand():
    found = nelson_aalen(Tally.from_arrays(None, [1, 2, 2, 5], [1, 1, 1, 0]))
    np.testing.assert_allclose(found.cumulative[0], [0, 1 / 4, 1 / 4 + 2 / 3, 1 / 4 + 2 / 3])
    np.testing.assert_allclose(found.se[0, -1], math.sqrt(1 / 16 + 2 / 9))
    z = 1.959963984540054
    assert found.high[0, 1] == pytest.approx(0.25 * math.exp(z)) and found.low[0, 1] == pytest.approx(
        0.25 / math.exp(z)
    )
    assert np.isnan(found.low[0, 0])


def test_quantile_is_the_first_day_at_or_past_the_share():
    curve = kaplan_meier(Tally.from_arrays(None, [1, 2, 3, 5, 8, 13], [1] * 6))
    assert quantile(curve, 0.5).estimate[0] == 3
    assert quantile(curve, 0.5, plateau="midpoint").estimate[0] == 4
    # a tenth of ten that floating error puts just below the share must not be missed
    ten = kaplan_meier(Tally.from_arrays(None, np.arange(1, 11), [1] * 10))
    assert [quantile(ten, k / 10).estimate[0] for k in range(1, 10)] == list(range(1, 10))
    tie = kaplan_meier(Tally.from_arrays(None, [2, 4, 4, 4, 7, 9], [1, 1, 0, 1, 0, 1]))
    assert quantile(tie, 0.5).estimate[0] == 4


def test_a_quantile_never_reached_is_nan_and_says_how_far_it_came():
    by = cumulative_incidence(two_causes(None, [1, 2, 3, 4, 5], [1, 1, 2, 2, 2]))
    found = quantile(by, 0.5, "1")
    assert np.isnan(found.estimate[0]) and np.isnan(found.high[0])
    assert found.reached[0] == pytest.approx(0.4) and found.last[0] == 5


def test_quantile_limits_invert_the_pointwise_limits_and_none_lies_before_the_origin():
    rng = np.random.default_rng(3)
    by = cumulative_incidence(two_causes(None, rng.integers(0, 60, 80), rng.choice([0, 1, 1, 2], 80)))
    found = quantile(by, 0.3, "1")
    at = by.at([found.low[0] - 1, found.low[0], found.high[0] - 1, found.high[0]])
    assert at.high[0, 0, 0] < 0.3 <= at.high[0, 0, 1] and at.low[0, 0, 2] < 0.3 <= at.low[0, 0, 3]
    assert found.low[0] < found.estimate[0] < found.high[0]
    assert quantile(kaplan_meier(Tally.from_arrays(None, [4, 5], [1, 1])), 0.5).low[0] == 0


def test_restricted_mean_standard_error_is_that_of_the_estimate():
    # by hand: S = 1, 2/3, 1/3, 0 at 2, 4, 6; horizon 6: areas from 2: 2, from 4: 2/3
    found = restricted_mean(kaplan_meier(Tally.from_arrays(None, [2, 4, 6], [1, 1, 1])), 6)
    assert found.estimate[0] == pytest.approx(4)
    assert found.se[0] == pytest.approx(math.sqrt(2**2 / (3 * 2) + (2 / 3) ** 2 / (2 * 1)))


def test_limits_of_mean_days_stay_between_none_and_the_horizon():
    tally = two_causes(None, [1, 9, 9, 9], [1, 2, 0, 0])
    mean, lost = restricted_mean(kaplan_meier(tally), 9), days_lost(cumulative_incidence(tally), 9)
    assert mean.high[0] == 9 and mean.estimate[0] + 1.96 * mean.se[0] > 9
    assert lost.low[0, 0] == 0 and lost.estimate[0, 0] - 1.96 * lost.se[0, 0] < 0


def test_a_tiny_early_risk_set_does_not_hold_the_curve_at_zero():
    tally = Tally.from_arrays([0, 5, 5, 5, 6, 6], [2, 10, 12, 15, 20, 25], [1, 1, 1, 0, 1, 0])
    assert kaplan_meier(tally).at(30).share[0, 0] == 0  # R's answer for ever after day 2
    start = first_day_with(tally, 3)[0]
    curve = kaplan_meier(tally.starting_at(start))
    np.testing.assert_allclose(curve.at([10, 12, 20]).share[0], [0.8, 0.6, 0.3], rtol=0, atol=1e-12)


# ---- time still to come


def test_remaining_time_does_not_depend_on_the_days_so_far_where_nothing_ages():
    days = np.arange(0, 400)
    ends = 1e6 * 0.95**days * 0.05  # a twentieth of those left ends each day
    tally = Tally.from_arrays(None, days, np.ones(400, dtype=int), weight=ends)
    found = remaining_time(tally, [5, 20, 40])
    assert found.days.tolist() == [[3, 14, 45]] * 3
    assert not found.beyond.any()


def test_remaining_time_beyond_the_data_is_never_a_number():
    tally = two_causes(None, [3, 6, 9, 9], [1, 2, 1, 0])
    found = remaining_time(tally, [0, 4, 6, 9, 50])
    assert found.days[0].tolist()[:2] == [3, 6] and np.isnan(found.days[0, 2])
    assert found.days[1].tolist()[:2] == [2, 5]
    assert found.at_risk.tolist() == [4, 3, 2, 0, 0]
    assert found.beyond[3:].all() and np.isnan(found.days[3:]).all()
    assert remaining_time(tally, [4], at_least=4).beyond.all()


def test_remaining_time_is_conditional_on_those_who_came_so_far():
    # an early death among one at risk must not reach those who entered later
    tally = Tally.from_arrays([0, 5, 5, 5], [2, 10, 12, 14], [1, 1, 1, 1])
    assert remaining_time(tally, [6]).days[0].tolist() == [4, 6, 8]


# ---- refusals

CURVE = kaplan_meier(Tally.from_arrays(None, [3, 4], [1, 0]))
BY = cumulative_incidence(two_causes(None, [3, 4], [1, 0]))
TALLY = two_causes(None, [3, 4], [1, 0], group=["a", "b"])
REFUSALS = [
    (lambda: kaplan_meier(TALLY, confidence=95), r"Write 0\.95"),
    (lambda: kaplan_meier(TALLY, limits="loglog"), 'Did you mean "log-log"'),
    (lambda: cumulative_incidence(TALLY, confidence=0), "between 0 and 1"),
    (lambda: cumulative_incidence(TALLY, variance="greenwod"), 'Did you mean "greenwood"'),
    (lambda: quantile(CURVE, 50), r"Write 0\.5"),
    (lambda: quantile(CURVE, 0.5, "1"), "no causes"),
    (lambda: quantile(BY, 0.5), "Which cause"),
    (lambda: quantile(BY, 0.5, "3"), 'no cause "3"; there are 1, 2'),
    (lambda: quantile(CURVE, 0.5, plateau="middle"), "first or midpoint"),
    (lambda: restricted_mean(CURVE, 0), "above 0"),
    (lambda: restricted_mean(CURVE, 9), r"reach the horizon, day 9(.|\n)*all: last seen on day 4"),
    (lambda: days_lost(BY, 9), "reach the horizon"),
    (lambda: remaining_time(TALLY, 3), "one group"),
    (lambda: remaining_time(TALLY.one("a"), 3, shares=(50,)), r"Write 0\.5"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
