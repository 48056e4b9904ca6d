"""Shares and rates, and what changes when rows belong together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from mendcurve.errors import InputError
from mendcurve.methods.clusters import bootstrap, cluster_incidence, cluster_share
from mendcurve.methods.intervals import benjamini_hochberg, exact, garwood, holm, newcombe, wilson
from mendcurve.methods.survival import cumulative_incidence
from mendcurve.methods.tally import Tally


@pytest.mark.parametrize("n", [1, 2, 7, 40])
def test_wilson_inverts_the_score_test(n):
    z = stats.norm.ppf(0.95)
    for k in range(n + 1):
        found = wilson(k, n, confidence=0.9)
        for end in (found.low, found.high):
            if 0 < end < 1:
                assert abs(k / n - end) / math.sqrt(end * (1 - end) / n) == pytest.approx(z)
        assert (found.low == 0) == (k == 0) and (found.high == 1) == (k == n)
        assert found.high - found.low > 0


def test_exact_is_the_inverse_of_the_two_binomial_tails():
    found = exact([2, 0, 9], 9)
    assert stats.binom.sf(1, 9, found.low[0]) == pytest.approx(0.025)
    assert stats.binom.cdf(2, 9, found.high[0]) == pytest.approx(0.025)
    assert found.low[1] == 0 and found.high[1] == pytest.approx(1 - 0.025 ** (1 / 9))
    assert found.high[2] == 1 and found.low[2] == pytest.approx(0.025 ** (1 / 9))


def test_design_effect_divides_both_counts():
    clustered, small = wilson(30, 90, design_effect=3), wilson(10, 30)
    assert (clustered.low, clustered.high) == (pytest.approx(small.low), pytest.approx(small.high))
    assert (clustered.k, clustered.n, clustered.estimate) == (30, 90, pytest.approx(1 / 3))
    assert newcombe(30, 90, 10, 30, design_effect=(3, 1)).high == pytest.approx(newcombe(10, 30, 10, 30).high)


def test_nothing_observed_is_nan_and_shapes_are_kept():
    found = wilson([0, 3], [0, 4])
    assert np.isnan([found.estimate[0], found.low[0], found.high[0]]).all() and found.estimate[1] == 0.75
    assert isinstance(float(wilson(1, 2).low), float) and np.ndim(wilson(1, 2).low) == 0
    assert len(holm([])) == 0


def test_garwood_is_the_inverse_of_the_two_poisson_tails():
    found = garwood([0, 4], [10, 8])
    assert stats.poisson.sf(3, found.low[1] * 8) == pytest.approx(0.025)
    assert stats.poisson.cdf(4, found.high[1] * 8) == pytest.approx(0.025)
    assert found.low[0] == 0 and found.high[0] == pytest.approx(-math.log(0.025) / 10)


REFUSALS = [
    (lambda: wilson(5, 4), "5 of 4"),
    (lambda: wilson(-1, 4), "-1 of 4"),
    (lambda: wilson(1, 4, confidence=95), r"Write 0\.95"),
    (lambda: exact(1, 4, design_effect=0), "design effect must be above 0"),
    (lambda: garwood(1, 0), "exposure above 0"),
    (lambda: garwood(-1, 5), "count of 0 or more"),
    (lambda: holm([0.1, 1.2]), "from 0 to 1"),
    (lambda: benjamini_hochberg([[0.1]]), "must be a list"),
    (lambda: cluster_share([3], [2]), "between 0 and the trials"),
    (lambda: bootstrap(lambda w: w.sum(), ["a", "a"], seed=1), "two clusters"),
]


@pytest.mark.parametrize(("call", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()


def test_a_share_by_cluster_is_the_ratio_estimator():
    found = cluster_share([1, 0, 3, 2], [1, 2, 4, 2], ["x", "x", "y", "z"])
    y, n = np.array([1, 3, 2]), np.array([3, 4, 2])
    p = 6 / 9
    assert found.se == pytest.approx(math.sqrt(1.5 * ((y - p * n) ** 2).sum() / 81))
    assert found.design_effect == pytest.approx(found.se**2 / (p * (1 - p) / 9))
    assert (found.clusters, found.k, found.n) == (3, 6, 9)


def test_all_given_by_three_courses_is_the_evidence_of_three():
    found, three = cluster_share([10, 10, 10], [10, 10, 10]), wilson(3, 3)
    assert found.design_effect == 10
    assert (found.low, found.high) == (pytest.approx(three.low), 1)
    assert math.isnan(cluster_share([], []).estimate)
    assert cluster_share([1, 1], [2, 2]).low == pytest.approx(wilson(2, 4).low)  # no spread at all narrows nothing


def some_rows(seed, n=80, late=0.3):
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < late, rng.integers(0, 6, n), -1)
    return entry, entry + rng.integers(1, 15, n), rng.choice([0, 1, 2], n), rng


@pytest.mark.parametrize("seed", range(10))
def test_without_clusters_the_jackknife_is_the_greenwood_type(seed):
    entry, exit, cause, _ = some_rows(seed, late=0)
    days = [2, 5, 9, 14]
    found = cluster_incidence(entry, exit, cause, np.arange(80), days, causes=("1", "2"))
    plain = cumulative_incidence(Tally.from_arrays(entry, exit, cause, causes=("1", "2"))).at(days)
    np.testing.assert_allclose(found.share, plain.share[0], atol=1e-12)
    np.testing.assert_allclose(found.se, plain.se[0], atol=1e-9)
    np.testing.assert_allclose(found.low, plain.low[0], atol=1e-6)
    np.testing.assert_allclose(found.high, plain.high[0], atol=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_influence_is_the_derivative_by_weight(seed):
    """A nudge of one cluster's weights moves the curve by the sum of its influences."""
    entry, exit, cause, rng = some_rows(seed)
    cluster = rng.integers(0, 12, 80)
    days = np.array([3.0, 8.0])

    def curve(weight):
        return (
            cumulative_incidence(Tally.from_arrays(entry, exit, cause, weight=weight, causes=("1", "2")))
            .at(days)
            .share[0]
        )

    total = 0.0
    for c in range(12):
        up, down = (curve(np.where(cluster == c, 1 + h, 1.0)) for h in (1e-5, -1e-5))
        total = total + ((up - down) / 2e-5) ** 2
    found = cluster_incidence(entry, exit, cause, cluster, days, causes=("1", "2"))
    np.testing.assert_allclose(found.se, np.sqrt(total), rtol=1e-5, atol=1e-9)


def test_rows_doubled_in_clusters_add_no_evidence():
    entry, exit, cause, _ = some_rows(3, n=40, late=0)
    days = [4, 10]
    one = cluster_incidence(entry, exit, cause, np.arange(40), days, causes=("1", "2"))
    double = [np.tile(x, 2) for x in (entry, exit, cause)]
    twice = cluster_incidence(*double, np.tile(np.arange(40), 2), days, causes=("1", "2"))
    weighed = cluster_incidence(entry, exit, cause, np.arange(40), days, weight=np.full(40, 2), causes=("1", "2"))
    for name in ("se", "low", "high"):
        np.testing.assert_allclose(getattr(twice, name), getattr(weighed, name), atol=1e-9, err_msg=name)
    np.testing.assert_allclose(twice.se, one.se, atol=1e-9)
    np.testing.assert_allclose(twice.design_effect, 2)
    # forty clusters that estimate their own variance: a little wider than forty animals
    wider = (twice.high - twice.low) / (one.high - one.low)
    assert (wider > 1).all() and (wider < 1.08).all()


def test_clusters_more_even_than_chance_do_not_narrow_the_limits():
    exit, cluster = np.tile([2, 9], 20), np.repeat(np.arange(20), 2)  # one of each pair always ends early
    found = cluster_incidence(None, exit, np.ones(40, dtype=int), cluster, [5])
    plain = cumulative_incidence(Tally.from_arrays(None, exit, np.ones(40, dtype=int))).at(5)
    assert found.se[0, 0] < 1e-9 and found.design_effect[0, 0] == 1
    assert found.low[0, 0] <= plain.low[0, 0, 0] and found.high[0, 0] >= plain.high[0, 0, 0]


def test_no_event_in_three_clutches_is_the_evidence_of_three():
    found = cluster_incidence(None, [9] * 30, [0] * 30, np.repeat([1, 2, 3], 10), [5])
    three = cumulative_incidence(Tally.from_arrays(None, [9] * 3, [0] * 3)).at(5)
    assert found.design_effect[0, 0] == 10
    assert three.high[0, 0, 0] < found.high[0, 0] < 1


def test_the_bootstrap_finds_the_standard_error_of_a_mean_of_clusters_and_repeats_itself():
    rng = np.random.default_rng(4)
    cluster = np.repeat(np.arange(60), 3)
    value = np.repeat(rng.normal(0, 1, 60), 3)
    found = bootstrap(lambda w: w @ value / w.sum(), cluster, seed=1)
    assert found.se == pytest.approx(value[::3].std() / math.sqrt(60), rel=0.1)
    assert found.low < found.estimate < found.high and found.used == 999
    assert bootstrap(lambda w: w @ value / w.sum(), cluster, seed=1).low == found.low


def test_a_statistic_mostly_undefined_gets_no_limits():
    found = bootstrap(lambda w: [1.0 if w[0] > 1 else np.nan, w.sum()], np.arange(30), seed=1, draws=100)
    assert np.isnan(found.low[0]) and found.used[0] < 50 and found.low[1] == 30


@pytest.mark.slow
def test_limits_by_cluster_cover_where_limits_by_row_do_not(capsys):
    rng = np.random.default_rng(6)
    day, truth = 9.0, 0.5
    hits = np.zeros(2)
    runs = 400
    for _ in range(runs):
        sizes = rng.integers(1, 8, 30)
        cluster = np.repeat(np.arange(30), sizes)
        # a clutch's animals all end early or all late, seven times in ten
        early = np.where(
            rng.random(len(cluster)) < 0.7, rng.random(30)[cluster] < truth, rng.random(len(cluster)) < truth
        )
        exit = np.where(early, rng.integers(0, 10, len(cluster)), rng.integers(10, 30, len(cluster)))
        by = cluster_incidence(None, exit, np.ones(len(exit), dtype=int), cluster, [day])
        flat = cumulative_incidence(Tally.from_arrays(None, exit, np.ones(len(exit), dtype=int))).at(day)
        hits += [by.low[0, 0] <= truth <= by.high[0, 0], flat.low[0, 0, 0] <= truth <= flat.high[0, 0, 0]]
    with capsys.disabled():
        print(
            f"\ncoverage at a nominal 95 %, 30 clutches: by cluster {hits[0] / runs:.1%}, by row {hits[1] / runs:.1%}"
        )
    assert hits[0] / runs >= 0.92 and hits[1] / runs < 0.85
