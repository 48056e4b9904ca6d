"""Mean cost with some still running: outside values, a second implementation, conventions, coverage, refusals."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.money import exact_sum, interval_means, mean_cost, partitioned, simple_weighted
from reference.rows import cases, data

DRAWS = 400


def got_for(row):
    """Compute the quantity of a reference row (section 17; Bang & Tsiatis 2000, Lin et al. 1997, from memory)."""
    frame, o = data(row.data_file), row.options
    time, event = frame[o["time"]].to_numpy(float), frame[o["event"]].to_numpy(bool)
    total, horizon, how = frame[o["total"]].to_numpy(float), o["L"], o.get("estimator", "")
    whole = total[:, None]
    if row.quantity == "mean_cost_se":
        return simple_weighted(time, event, total, horizon)[1]
    if row.quantity == "naive_mean_complete_only":
        return mean_cost(time, event, whole, [0, horizon], draws=10).closed_mean
    if row.quantity == "n_complete":
        return mean_cost(time, event, whole, [0, horizon], draws=10).complete
    if row.quantity == "naive_mean_all":
        return total.mean()
    if "1 per day" in how:
        return simple_weighted(time, event, np.minimum(time, horizon), horizon)[0]
    if how.startswith("Lin 1997"):
        return interval_means(time, event, frame[o["intervals"]].to_numpy(float), np.array(o["cuts"]))
    if "partitioned" in how:
        return partitioned(time, event, frame[o["intervals"]].to_numpy(float), o["cuts"])[0]
    assert "simple weighted" in how, row.id
    return simple_weighted(time, event, total, horizon)[0]


@pytest.mark.parametrize("row", cases(section="17"))
def test_outside_value(row):
    row.check(got_for(row))


def slow_partitioned(time, event, cost, cuts):
    """Second implementation: one subject and one interval at a time."""
    total = 0.0
    for k in range(len(cuts) - 1):
        for i in range(len(time)):
            at = min(time[i], cuts[k + 1])
            if not (event[i] or time[i] >= cuts[k + 1]):
                continue
            free = 1.0
            for u in sorted({t for t, e in zip(time, event, strict=True) if not e and t < at}):
                lost = sum(1 for t, e in zip(time, event, strict=True) if t == u and not e)
                free *= 1 - lost / (lost + sum(1 for t in time if t > u))
            total += cost[i][k] / free / len(time)
    return total


@pytest.mark.parametrize("seed", range(20))
def test_agrees_with_a_second_implementation_on_tied_stays(seed):
    rng = np.random.default_rng(seed)
    n = 25
    time, event = rng.integers(0, 40, n), rng.random(n) < 0.6
    cost = rng.exponential(50, (n, 3)).round(2)
    cuts = np.array([0, 10, 20, 30])
    assert partitioned(time, event, cost, cuts)[0] == pytest.approx(slow_partitioned(time, event, cost, cuts))
    counts = rng.integers(0, 3, (1, n))
    again = np.repeat(np.arange(n), counts[0])
    twice = partitioned(time, event, cost, cuts, weight=counts)[0]
    assert twice == pytest.approx(partitioned(time[again], event[again], cost[again], cuts)[0])


def test_without_anyone_cut_off_it_is_the_plain_mean():
    cost = np.array([[10.0, 5.0], [0.0, 0.0], [40.0, 5.0]])
    assert partitioned([3, 1, 9], [True] * 3, cost, [0, 5, 10])[0] == pytest.approx(20)


def test_an_end_comes_before_a_censoring_on_the_same_day():
    # Both on day 4: the one cut off is at risk of it alone, so K(4) = 0 after, and 1 up to it.
    assert partitioned([4, 4], [True, False], np.array([[10.0], [0.0]]), [0, 4.5])[0] == pytest.approx(5)


def test_whoever_reaches_the_horizon_is_complete_and_the_mean_of_closed_cases_leaves_out_the_rest():
    got = mean_cost([10, 3, 5], [False, True, False], np.array([[90.0], [30.0], [60.0]]), [0, 10], draws=10)
    assert (got.complete, got.n, got.closed_mean) == (2, 3, 60)


def test_animals_are_drawn_whole_and_draws_repeat():
    rng = np.random.default_rng(1)
    cost = np.repeat(rng.lognormal(4, 1, 20), 5)[:, None]
    time, event, animal = np.full(100, 5.0), np.ones(100, bool), np.repeat(np.arange(20), 5)
    together = mean_cost(time, event, cost, [0, 10], cluster=animal, draws=DRAWS)
    one_each = mean_cost(np.full(20, 5.0), np.ones(20, bool), cost[::5], [0, 10], draws=DRAWS)
    assert (together.low, together.high) == pytest.approx((one_each.low, one_each.high))
    assert together.clusters == 20
    again = mean_cost(time, event, cost, [0, 10], cluster=animal, draws=DRAWS)
    assert (again.low, again.high) == (together.low, together.high)


def test_fewer_than_five_animals_are_too_few_to_say():
    got = mean_cost([1, 2, 3, 4], [True] * 4, np.ones((4, 1)), [0, 10])
    assert got.estimate == 1
    assert np.isnan(got.low) and np.isnan(got.high)


def test_decimals_sum_exactly():
    assert exact_sum([Decimal("0.10")] * 3) == Decimal("0.30")
    assert exact_sum([]) == 0


@pytest.mark.parametrize(
    ("time", "cost", "cuts", "says"),
    [
        ([1, -1], np.ones((2, 1)), [0, 5], "0 or more, but 1 of 2"),
        ([1, np.nan], np.ones((2, 1)), [0, 5], "0 or more, but 1 of 2"),
        ([1, 2], np.array([[1.0], [np.nan]]), [0, 5], "Write 0 where nothing was spent"),
        ([1, 2], np.ones((2, 1)), [1, 5], "ascend from 0"),
        ([1, 2], np.ones((2, 2)), [0, 5], "one more than there are cost columns"),
        ([1], np.ones((2, 1)), [0, 5], "one entry a subject"),
    ],
)
def test_refuses_and_says_what_it_found(time, cost, cuts, says):
    with pytest.raises(InputError, match=says):
        partitioned(np.array(time), np.array([True] * len(time)), cost, cuts)


def test_refuses_a_confidence_in_percent():
    with pytest.raises(InputError, match=r"Write 0\.95"):
        mean_cost([1, 2], [True] * 2, np.ones((2, 1)), [0, 5], confidence=95)


@pytest.mark.slow
@pytest.mark.parametrize(("n", "lost"), [(12, 0.0), (25, 0.3), (60, 0.5)])
def test_limits_cover_the_true_mean_of_skewed_costs(n, lost):
    rng = np.random.default_rng(n)
    cuts = np.arange(0, 181, 30.0)
    truth = _simulate(rng, 200_000, 0.0)[2].sum(1).mean()
    hit = 0
    runs = 300
    for run in range(runs):
        time, event, cost = _simulate(rng, n, lost)
        got = mean_cost(time, event, cost, cuts, draws=300, seed=run)
        hit += got.low <= truth <= got.high
    print(f"\nn {n}, cut off {lost:.0%}: covered {hit / runs:.1%} of {runs}")
    assert hit / runs > 0.90


def _simulate(rng, n, lost):
    """Stays of some weeks, a skewed cost a day; a share is cut off at a uniform day."""
    end = rng.gamma(1.5, 40, n)
    cut = np.where(rng.random(n) < lost, rng.uniform(0, 180, n), np.inf)
    time, rate = np.minimum(end, cut), rng.lognormal(0, 0.8, n)
    edges = np.arange(0, 181, 30.0)
    days = np.clip(time[:, None] - edges[:-1], 0, 30)
    return time, end <= cut, days * rate[:, None]
