"""Scores of forecasts: against R, against a second implementation, each convention, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from mendcurve.errors import InputError
from mendcurve.methods import scores
from reference.rows import cases


def law_of(o: dict[str, float]) -> np.ndarray:
    if "size" in o:
        return scores.negative_binomial_law(o["mu"], o["size"])
    return stats.poisson.pmf(np.arange(400), o["mean"])


def got(row) -> float:  # noqa: C901
    o, q = row.options, row.quantity
    if q == "crps_normal":
        return scores.crps_normal(o["mean"], o["sd"], o["y"])
    if q == "log_score_normal":
        return scores.log_score_normal(o["mean"], o["sd"], o["y"])
    if q == "pit_normal":
        return stats.norm.cdf(o["y"], o["mean"], o["sd"])
    if q == "crps_poisson":
        return scores.crps_poisson(o["mean"], o["y"])
    if q == "crps_negbin":
        return scores.crps_negative_binomial(o["mu"], o["size"], o["y"])
    if q.startswith("log_score"):
        return scores.log_score_law(law_of(o), o["y"])
    if q in ("pit_lower", "pit_upper"):
        return scores.pit_ends(law_of(o), o["y"])[q == "pit_upper"]
    if q == "dawid_sebastiani":
        return scores.dawid_sebastiani(o["mean"], o["mean"], o["y"])
    if q.startswith("crps_ensemble"):
        return scores.crps_ensemble(o["ensemble"], o["y"], fair=q.endswith("fair"))
    low, high, alpha = (np.atleast_1d(o[k]) for k in ("lower", "upper", "alpha"))
    if q == "interval_score":
        i = list(alpha).index(float(row.at.split("=")[1]))
        return scores.interval_score(low[i], high[i], o["y"], alpha[i])
    if q == "wis":
        return scores.weighted_interval_score(o["median"], low, high, alpha, o["y"])
    assert q == "mean_pinball", q
    levels = np.concatenate([alpha / 2, [0.5], 1 - alpha / 2])
    return scores.pinball(np.concatenate([low, [o["median"]], high]), levels, o["y"]).mean()


# R 4.2.2, closed forms; source beside each row in tests/reference/reference.csv
@pytest.mark.parametrize("row", cases(section="16"))
def test_agrees_with_r(row):
    row.check(got(row))


@pytest.mark.parametrize(("mean", "seen"), [(0.3, 0), (4.2, 7), (30, 30), (400, 371), (3, 60)])
def test_the_law_and_the_closed_form_give_one_poisson_score(mean, seen):
    law = stats.poisson.pmf(np.arange(900), mean)
    assert scores.crps_law(law, seen) == pytest.approx(scores.crps_poisson(mean, seen), rel=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_crps_is_the_integral_of_the_squared_difference_of_distribution_functions(seed):
    rng = np.random.default_rng(seed)
    x, y = rng.normal(5, 3, 7), rng.normal(5, 4)
    grid = np.sort(np.append(x, y))
    steps = [(x <= t).mean() for t in grid[:-1]]
    slow = sum(w * (f - (t >= y)) ** 2 for w, f, t in zip(np.diff(grid), steps, grid[:-1], strict=True))
    assert scores.crps_ensemble(x, y) == pytest.approx(slow)
    below = integrate.quad(lambda t: stats.norm.cdf(t, 5, 3) ** 2, -np.inf, y)[0]
    above = integrate.quad(lambda t: stats.norm.sf(t, 5, 3) ** 2, y, np.inf)[0]
    assert scores.crps_normal(5, 3, y) == pytest.approx(below + above, rel=1e-6)


def test_many_laws_are_scored_at_once_as_one_by_one():
    laws = np.array([[0.1, 0.2, 0.7], [0.5, 0.25, 0.25]])
    assert scores.crps_law(laws, [2, 0]).tolist() == [scores.crps_law(laws[0], 2), scores.crps_law(laws[1], 0)]
    assert scores.log_score_law(laws, [2, 0]) == pytest.approx(-np.log([0.7, 0.5]))


def test_a_certain_law_scores_its_absolute_error_also_beyond_its_last_count():
    assert [float(scores.crps_law([0, 0, 1.0], y)) for y in (0, 2, 9)] == [2, 0, 7]
    assert scores.log_score_law([0, 0, 1.0], 9) == np.inf
    assert [float(e) for e in scores.pit_ends([0, 0, 1.0], 9)] == [1, 1]


def test_the_fair_ensemble_score_is_unbiased_and_the_plain_one_is_not():
    rng = np.random.default_rng(7)
    x, y = rng.normal(size=(200_000, 4)), rng.normal(size=200_000)
    truth = 1 / np.sqrt(np.pi)  # expected CRPS of N(0, 1) for itself
    assert scores.crps_ensemble(x, y, fair=True).mean() == pytest.approx(truth, abs=0.006)
    assert scores.crps_ensemble(x, y).mean() > truth + 0.1


def test_the_pit_of_a_right_law_is_uniform_and_covers_what_it_says():
    rng = np.random.default_rng(3)
    law = stats.poisson.pmf(np.arange(60), 6)
    seen = rng.poisson(6, 20_000)
    pit = scores.randomised_pit(np.broadcast_to(law, (20_000, 60)), seen, rng)
    assert stats.kstest(pit, "uniform").pvalue > 0.01
    for level in (0.5, 0.8, 0.95):
        assert scores.covered(pit, level).mean() == pytest.approx(level, abs=0.012)
    narrow = scores.randomised_pit(np.broadcast_to(law, (20_000, 60)), rng.negative_binomial(2, 0.25, 20_000), rng)
    assert scores.covered(narrow, 0.8).mean() < 0.7


def test_a_right_law_beats_a_wrong_one_on_average():
    rng = np.random.default_rng(5)
    seen = rng.poisson(8, 4000)
    right, wide = (
        np.broadcast_to(scores.negative_binomial_law(8, s), (4000, n))
        for s, n in ((1e6, scores.negative_binomial_law(8, 1e6).size), (2.0, scores.negative_binomial_law(8, 2.0).size))
    )
    for score in (scores.crps_law, scores.log_score_law):
        assert score(right, seen).mean() < score(wide, seen).mean()


def test_a_quantile_is_the_first_count_at_or_past_p():
    assert [int(scores.law_quantile([0.25, 0.25, 0.5], p)) for p in (0.2, 0.25, 0.5, 0.51)] == [0, 0, 1, 2]


REFUSALS = [
    (lambda: scores.crps_law([0.5, 0.4], 0), "must sum to 1"),
    (lambda: scores.crps_law([1.5, -0.5], 0), "at least 0"),
    (lambda: scores.crps_law([], 0), "is empty"),
    (lambda: scores.crps_law([0.5, 0.5], 0.5), "whole number"),
    (lambda: scores.crps_law([0.5, 0.5], -1), "whole number"),
    (lambda: scores.crps_normal(0, 0, 1), "must be above 0, but it is 0"),
    (lambda: scores.crps_ensemble([], 1), "at least 1 members, but it has 0"),
    (lambda: scores.crps_ensemble([2.0], 1, fair=True), "at least 2 members, but it has 1"),
    (lambda: scores.interval_score(3, 2, 1, 0.1), "Exchange the two ends"),
    (lambda: scores.interval_score(1, 2, 1, 5), "95 % interval has alpha 0.05"),
    (lambda: scores.pinball(1, 1.0, 2), "between 0 and 1"),
    (lambda: scores.covered([0.5], 95), "Write 0.95"),
    (lambda: scores.law_quantile([1.0], 90), "Write 0.9"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
