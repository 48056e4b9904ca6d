"""Weekly intake: against statsmodels, against simulated truth, each convention, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from mendcurve.errors import InputError
from mendcurve.methods import arrivals
from mendcurve.methods.scores import covered


@pytest.fixture
def rng():
    return np.random.default_rng(4)


@pytest.mark.parametrize("seed", range(5))
def test_a_steady_rate_is_the_fit_of_another_implementation(seed):
    rng = np.random.default_rng(seed)
    y = rng.negative_binomial(3, 3 / 11, 90)
    fit = arrivals.weekly(y, ahead=4, draws=20, rng=rng)
    other = sm.NegativeBinomial(y, np.ones((90, 1))).fit(disp=0)
    assert fit.estimate[0] == pytest.approx(other.params[0], abs=0.01)
    # Our size is shrunk a little towards its prior.
    assert fit.estimate[1] == pytest.approx(-np.log(other.params[1]), abs=0.15)


def test_the_gradient_is_the_slope_of_the_cost(rng):
    y = rng.poisson(4, 120).astype(float)
    design = arrivals._design(np.arange(-119, 1), True)
    at, centre, spread = np.array([1.2, 0.1, -0.2, 0.3, 1.0]), np.zeros(5), np.ones(5)
    slope = arrivals._cost(at, y, design, centre, spread)[1]
    for i, e in enumerate(1e-6 * np.eye(5)):
        up, down = (arrivals._cost(at + s * e, y, design, centre, spread)[0] for s in (1, -1))
        assert (up - down) / 2e-6 == pytest.approx(slope[i], rel=1e-5, abs=1e-4)


def test_below_two_years_the_rate_is_constant_and_from_then_on_seasonal(rng):
    assert not arrivals.weekly(rng.poisson(3, 103), ahead=13, draws=5, rng=rng).seasonal
    short = arrivals.weekly(rng.poisson(3, 103), ahead=13, draws=5, rng=rng).mean
    assert (short == short[:, :1]).all()
    assert arrivals.weekly(rng.poisson(3, 104), ahead=13, draws=5, rng=rng).seasonal


def test_a_strong_season_is_found_and_a_flat_one_stays_flat(rng):
    week = np.arange(-155, 14)
    season = 5 * np.exp(0.8 * np.sin(2 * np.pi * week / arrivals.YEAR_WEEKS))
    y = rng.poisson(season[:156])
    mean = arrivals.weekly(y, ahead=13, draws=400, rng=rng).mean.mean(axis=0)
    assert mean == pytest.approx(season[156:], rel=0.2)
    flat = arrivals.weekly(rng.poisson(5, 156), ahead=13, draws=400, rng=rng).mean.mean(axis=0)
    assert np.ptp(flat) < 1.5


def test_a_trend_is_damped():
    design = arrivals._design(np.array([-52, 0, 1, 2, 500]), True)
    step = 1 / arrivals.YEAR_WEEKS
    assert design[:, 1] == pytest.approx([-52 * step, 0, 0.9 * step, (0.9 + 0.81) * step, 9 * step])


def test_a_silent_rescue_is_given_a_small_rate_and_no_error(rng):
    fit = arrivals.weekly(np.zeros(30), ahead=2, draws=4000, rng=rng)
    assert fit.mean[:, 0].mean() == pytest.approx(0.5 / 30, rel=0.15) and np.isinf(fit.size).all()


def test_rare_events_come_at_their_rate(rng):
    rate = arrivals.rare_rate(2, 100, ahead=3, draws=20_000, rng=rng)
    assert rate.mean() == pytest.approx(0.025, rel=0.03) and (rate == rate[:, :1]).all()


def test_shares_and_chances_sum_to_one_and_follow_the_counts(rng):
    assert arrivals.day_shares([0, 0, 0, 0, 0, 0, 0]) == pytest.approx(1 / 7)
    assert arrivals.day_shares([7, 0, 0, 0, 0, 0, 0])[0] == pytest.approx(8 / 14)
    chance = arrivals.batch_chances([30, 10], draws=5000, rng=rng)
    assert chance.sum(axis=1) == pytest.approx(1) and chance[:, 0].mean() == pytest.approx(0.75, abs=0.01)


@pytest.mark.slow
def test_quarterly_totals_are_covered_as_often_as_said():
    """Over-dispersed seasonal intake with known truth: coverage of the next 13 weeks' total."""
    rng = np.random.default_rng(8)
    pits = {}
    for weeks in (60, 130):
        pit = []
        for _ in range(150):
            week = np.arange(1 - weeks, 14)
            mean = 3 * np.exp((0.4 if weeks > 104 else 0.0) * np.sin(2 * np.pi * week / arrivals.YEAR_WEEKS + 1))
            y = rng.negative_binomial(4, 4 / (4 + mean))
            fit = arrivals.weekly(y[:weeks], ahead=13, draws=300, rng=rng)
            drawn = rng.negative_binomial(fit.size[:, None], fit.size[:, None] / (fit.size[:, None] + fit.mean)).sum(
                axis=1
            )
            total = y[weeks:].sum()
            pit.append((drawn < total).mean() + rng.random() * (drawn == total).mean())
        pits[weeks] = np.array(pit)
    print("\nweeks of records   50 %   80 %   95 % band held")
    for weeks, pit in pits.items():
        held = [covered(pit, level).mean() for level in (0.5, 0.8, 0.95)]
        print(f"{weeks:16d}  " + "  ".join(f"{100 * h:5.1f}" for h in held))
        # 150 replicates: three standard errors are 10 points at 80 % and 5 at 95 %.
        assert 0.70 <= held[1] <= 0.90 and held[2] >= 0.89


REFUSALS = [
    (lambda r: arrivals.weekly([], ahead=1, draws=1, rng=r), "at least one full week"),
    (lambda r: arrivals.weekly([1.5], ahead=1, draws=1, rng=r), "whole numbers"),
    (lambda r: arrivals.weekly([-1.0], ahead=1, draws=1, rng=r), "found -1"),
    (lambda r: arrivals.rare_rate(1, 0, ahead=1, draws=1, rng=r), "weeks is 0"),
    (lambda r: arrivals.batch_chances([1, 0], draws=1, rng=r), "at least once"),
    (lambda r: arrivals.day_shares([1, 2]), "7 days, but 2"),
]


@pytest.mark.parametrize(("call", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(call, says, rng):
    with pytest.raises(InputError, match=says):
        call(rng)
