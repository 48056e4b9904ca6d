"""Comparisons: a second implementation, conventions, size of the tests under no difference, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from mendcurve.errors import InputError
from mendcurve.methods.comparing import gray, log_rank, pairwise
from mendcurve.methods.differences import (
    difference_at,
    difference_in_quantile,
    difference_in_restricted_mean,
    hazard_ratio,
)
from mendcurve.methods.survival import cumulative_incidence, kaplan_meier, quantile
from mendcurve.methods.tally import Tally


def rows(seed, n=60, groups="abc", delayed=True):
    rng = np.random.default_rng(seed)
    entry = np.where(delayed & (rng.random(n) < 0.4), rng.integers(0, 8, n), -1)
    return entry, entry + rng.integers(1, 15, n), rng.choice([0, 1, 2], n), rng.choice(list(groups), n)


def tally_of(seed, **more):
    entry, exit, cause, group = rows(seed, **more)
    return Tally.from_arrays(entry, exit, cause, group=group, causes=("1", "2"))


@pytest.mark.parametrize("seed", range(50))
def test_log_rank_agrees_with_a_loop_over_days(seed):
    entry, exit, cause, group = rows(seed)
    found = log_rank(tally_of(seed))
    names = sorted(set(group))
    U, V = np.zeros(len(names)), np.zeros((len(names), len(names)))
    for t in sorted(set(exit[cause > 0])):
        risk = np.array([((entry < t) & (exit >= t) & (group == g)).sum() for g in names], dtype=float)
        died = np.array([((exit == t) & (cause > 0) & (group == g)).sum() for g in names], dtype=float)
        n, d = risk.sum(), died.sum()
        U += died - d * risk / n
        if n > 1:
            V += d * (n - d) / (n - 1) * (np.diag(risk / n) - np.outer(risk, risk) / n**2)
    np.testing.assert_allclose(found.score, U, atol=1e-9)
    np.testing.assert_allclose(found.variance, V, atol=1e-9)
    chisq = U @ np.linalg.pinv(V) @ U
    assert found.chisq == pytest.approx(chisq) and found.df == len(names) - 1
    assert found.p == pytest.approx(stats.chi2.sf(chisq, len(names) - 1))


def test_strata_are_compared_within():
    # within each stratum nothing differs; pooled, the strata would make a difference
    exit = [1, 2, 1, 2, 1, 2, 1, 2, 11, 12, 11, 12, 11, 12, 11, 12] * 3
    stratum = ["quick"] * 8 + ["slow"] * 8
    group = list("aaaaaabb") + list("aabbbbbb")
    cells = [f"{s}/{g}" for s, g in zip(stratum, group, strict=True)] * 3
    tally = Tally.from_arrays(None, exit, [1] * 48, group=cells)
    within = log_rank(tally, {c: tuple(c.split("/")) for c in set(cells)})
    assert within.groups == ("a", "b") and within.p > 0.8
    assert log_rank(tally.merge_groups({c: c.split("/")[1] for c in set(cells)})).p < 0.01


def test_clusters_widen_the_tests():
    _, exit, cause, group = rows(4, delayed=False)
    one = Tally.from_arrays(None, exit, cause, group=group, causes=("1", "2"))
    ten = Tally.from_arrays(None, exit, cause, group=group, causes=("1", "2"), weight=np.full(len(exit), 10))
    # ten animals a row, always together: the evidence of one
    assert log_rank(ten).chisq == pytest.approx(log_rank(one).chisq, rel=0.1)
    assert gray(ten, "1").chisq == pytest.approx(gray(one, "1").chisq, rel=0.1)
    assert hazard_ratio(ten, "a", "b").se == pytest.approx(hazard_ratio(one, "a", "b").se, rel=0.1)


def test_nothing_to_compare_is_nan_not_an_error():
    nobody_ends = log_rank(Tally.from_arrays(None, [3, 4], [0, 0], group=["a", "b"]))
    assert math.isnan(nobody_ends.p) and nobody_ends.df == 0
    tally = Tally.from_arrays(None, [3, 4, 5], [1, 1, 1], group=["a", "a", "b"], groups=("a", "b", "none"))
    assert log_rank(tally).df == 1
    pairs = pairwise(tally)
    assert np.isnan(pairs.p[1:]).all() and pairs.adjusted[0] == pairs.p[0]
    assert math.isnan(gray(Tally.from_arrays(None, [3, 4], [0, 0], group=["a", "b"]), "event").p)


def test_pairwise_is_the_test_of_each_pair_adjusted_by_holm():
    tally = tally_of(9)
    found = pairwise(tally)
    assert found.pairs == (("a", "b"), ("a", "c"), ("b", "c"))
    assert found.p[1] == log_rank(tally.one("a") + tally.one("c")).p
    assert found.adjusted.min() == pytest.approx(min(1, 3 * found.p.min()))


def test_gray_with_one_cause_no_censoring_and_no_difference_is_near_the_log_rank():
    rng = np.random.default_rng(1)
    exit = np.concatenate([rng.exponential(10, 2000), rng.exponential(10, 2000)])
    tally = Tally.from_arrays(None, exit, np.ones(4000, dtype=int), group=np.repeat(["a", "b"], 2000))
    g, lr = gray(tally, "event"), log_rank(tally)
    assert g.score == pytest.approx(lr.score, abs=1e-9)
    assert g.chisq == pytest.approx(lr.chisq, rel=0.05)


def test_difference_at_a_day_joins_the_limits_of_both():
    tally = tally_of(3)
    found = difference_at(tally, "a", "b", 6, "1")
    one, two = (cumulative_incidence(tally.one(g)).at(6) for g in "ab")
    p, q = one.share[0, 0, 0], two.share[0, 0, 0]
    assert found.estimate == pytest.approx(p - q)
    assert found.low == pytest.approx(p - q - math.hypot(p - one.low[0, 0, 0], two.high[0, 0, 0] - q))
    assert found.high == pytest.approx(p - q + math.hypot(one.high[0, 0, 0] - p, q - two.low[0, 0, 0]))
    back = difference_at(tally, "b", "a", 6, "1")
    assert (back.low, back.high) == (pytest.approx(-found.high), pytest.approx(-found.low))
    whole = difference_at(tally, "a", "b", 6)
    assert whole.estimate == pytest.approx(
        kaplan_meier(tally).at(6).share[1, 0] - kaplan_meier(tally).at(6).share[0, 0]
    )


def test_difference_in_medians():
    tally = Tally.from_arrays(None, [2, 4, 6, 8, 10, 20, 22, 30, 40, 50], [1] * 10, group=["a"] * 5 + ["b"] * 5)
    found = difference_in_quantile(tally, "b", "a")
    a, b = (quantile(kaplan_meier(tally.one(g)), 0.5) for g in "ab")
    assert found.estimate == 30 - 6
    assert found.low == pytest.approx(24 - math.hypot(30 - b.low[0], a.high[0] - 6))
    never = Tally.from_arrays(None, [2, 4, 6, 8], [1, 1, 0, 0], group=["a", "a", "b", "b"])
    assert math.isnan(difference_in_quantile(never, "a", "b").estimate)
    by_cause = difference_in_quantile(tally_of(3), "a", "b", 0.2, "1")
    alone = [quantile(cumulative_incidence(tally_of(3).one(g)), 0.2, "1").estimate[0] for g in "ab"]
    assert by_cause.estimate == alone[0] - alone[1]


@pytest.mark.parametrize("seed", range(10))
def test_hazard_ratio_maximises_efrons_likelihood(seed):
    entry, exit, cause, group = rows(seed, groups="ab")
    x = (group == "a").astype(float)

    def minus_log(beta):
        total = 0.0
        for t in set(exit[cause == 1]):
            risk, died = (entry < t) & (exit >= t), (exit == t) & (cause == 1)
            w = np.exp(beta * x)
            m = died.sum()
            total += beta * x[died].sum() - sum(np.log(w[risk].sum() - k / m * w[died].sum()) for k in range(m))
        return -total

    best = optimize.minimize_scalar(minus_log, bounds=(-6, 6), method="bounded", options={"xatol": 1e-10}).x
    found = hazard_ratio(tally_of(seed, groups="ab"), "a", "b", "1")
    assert math.log(found.estimate) == pytest.approx(best, abs=1e-5)
    h = 1e-3
    curvature = (minus_log(best + h) - 2 * minus_log(best) + minus_log(best - h)) / h**2
    assert found.se == pytest.approx(curvature**-0.5, rel=1e-4)


def test_a_ratio_that_does_not_exist_is_nan():
    tally = Tally.from_arrays(None, [2, 4, 6, 8], [1, 1, 0, 0], group=["a", "a", "b", "b"])
    assert math.isnan(hazard_ratio(tally, "a", "b").estimate)


TALLY = tally_of(1)
SHORT = Tally.from_arrays(None, [3, 9], [0, 1], group=["a", "b"])
REFUSALS = [
    (lambda: log_rank(TALLY.one("a")), "at least two groups"),
    (lambda: log_rank(TALLY, weights="logrank"), 'Did you mean "log-rank"'),
    (lambda: log_rank(TALLY, {"a": ("s", "x"), "b": ("s", "y")}), "without one: c"),
    (lambda: log_rank(TALLY).trend([1, 2]), "3 groups, 2 scores"),
    (lambda: gray(TALLY, "1"), r"cannot take delayed entry(.|\n)*entered after day -1"),
    (lambda: gray(TALLY, "3"), 'no cause "3"'),
    (lambda: gray(TALLY.one("a"), "1"), "at least two groups"),
    (lambda: difference_at(TALLY, "a", "d", 5), 'no group "d"'),
    (lambda: difference_at(SHORT, "a", "b", 6), "last seen on day 3"),
    (lambda: difference_in_restricted_mean(TALLY, "a", "b", -1), "above 0"),
    (lambda: hazard_ratio(TALLY, "a", "b", confidence=95), r"Write 0\.95"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()


@pytest.mark.slow
def test_where_nothing_differs_the_tests_say_so_as_often_as_they_should(capsys):
    rng = np.random.default_rng(8)
    rejected = np.zeros(2)
    runs = 800
    for _ in range(runs):
        end, cut = rng.geometric(0.05, 40), rng.integers(5, 60, 40)
        cause = np.where(end <= cut, rng.choice([1, 2], 40), 0)
        tally = Tally.from_arrays(None, np.minimum(end, cut), cause, group=["a", "b"] * 20, causes=("1", "2"))
        rejected += [log_rank(tally).p < 0.05, gray(tally, "1").p < 0.05]
    with capsys.disabled():
        print(
            f"\nfalse claims at 5 %, two groups of 20: log-rank {rejected[0] / runs:.1%}, Gray {rejected[1] / runs:.1%}"
        )
    assert ((rejected / runs > 0.03) & (rejected / runs < 0.075)).all()
