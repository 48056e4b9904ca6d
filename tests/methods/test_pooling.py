"""Small groups borrow as far as they agree: posterior by quadrature, what must not be pooled, coverage, error."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from mendcurve.errors import InputError
from mendcurve.methods import pooling
from mendcurve.methods.pooling import pool
from mendcurve.methods.survival import cumulative_incidence
from mendcurve.methods.tally import Tally

SIZES = np.array([4, 6, 8, 12, 20, 40])
BASE = np.array([[0.01, 0.03, 0.02, 0.01], [0.01, 0.003, 0.002, 0.002]])  # cause, span: a day's hazard
DAYS = np.array([14, 30, 60])


def simulate(rng, theta, sizes=SIZES, base=BASE):
    """Groups whose day hazards are ``theta``, or gamma multiples of that spread, of ``base`` by cause and span.

    The truth is returned beside them.
    """
    groups = len(sizes)
    if np.ndim(theta) == 0:
        theta = rng.gamma(theta**-2, theta**2, (groups, 2, 4)) if theta else np.ones((groups, 2, 4))
    span = np.searchsorted([7, 30, 90], np.arange(181))
    hazard = np.minimum(theta[:, :, span] * base[:, span], 0.45)
    total = hazard.sum(axis=1)
    free = np.cumprod(1 - total, axis=1)
    truth = np.cumsum(np.concatenate([np.ones((groups, 1)), free[:, :-1]], axis=1)[:, None] * hazard, axis=2)
    group = np.repeat(np.arange(groups), sizes)
    u = rng.random(len(group))
    day = (free[group] > u[:, None]).sum(axis=1)
    seen = rng.integers(20, 180, len(group))
    at = np.minimum(day, 180)
    cause = np.where(rng.random(len(group)) < hazard[group, 0, at] / total[group, at], 1, 2)
    cause = np.where(day > seen, 0, cause)
    tally = Tally.from_arrays(
        None, np.where(cause == 0, seen, day), cause, group=[f"g{g}" for g in group], causes=("1", "2"),
        groups=[f"g{g}" for g in range(groups)],
    )  # fmt: skip
    return tally, truth


def test_the_posterior_of_one_cell_is_that_of_plain_quadrature():
    d, e = np.array([0.0, 2.0, 9.0]), np.array([2.0, 3.0, 6.0])
    cells = pooling._Cells(
        day=np.zeros(1), events=d[:, None], expected=e[:, None], hazard=np.zeros((1, 1)), span=np.zeros(1, dtype=int),
        unseen=np.array([False]), by_day=np.ones((1, 1)),
    )  # fmt: skip
    factor, own = pooling._posterior(cells, 100_000, np.random.default_rng(1))

    def joint(log_level, spread, extra=lambda a, level: 1.0):
        a, level = spread**-2, np.exp(log_level)
        like = np.prod(stats.nbinom.pmf(d, a, a / (a + level * e)))
        return like / (1 + spread**2) * extra(a, level)

    box = (0.02, 20.0, np.log(0.05), np.log(20))
    options = {"epsabs": 1e-9, "epsrel": 1e-4}
    norm = integrate.dblquad(joint, *box, **options)[0]
    for g in range(3):
        mean = integrate.dblquad(
            lambda x, y, g=g: joint(x, y, lambda a, level: level * (a + d[g]) / (a + level * e[g])), *box, **options
        )
        assert factor[:, g, 0].mean() == pytest.approx(mean[0] / norm, rel=0.01)
        weight = integrate.dblquad(
            lambda x, y, g=g: joint(x, y, lambda a, level: level * e[g] / (a + level * e[g])), *box, **options
        )
        assert own[g] == pytest.approx(weight[0] / norm, rel=0.01)


def test_the_same_tally_gives_the_same_numbers_and_another_seed_nearly_so():
    tally, _ = simulate(np.random.default_rng(2), 0.5)
    one, again, other = pool(tally), pool(tally), pool(tally, seed=7)
    np.testing.assert_array_equal(one.high, again.high)
    assert 0 < np.abs(one.share - other.share).max() < 0.03


def test_where_in_a_span_the_events_fall_is_not_taken_as_known(monkeypatch):
    tally, _ = simulate(np.random.default_rng(2), 0.0, sizes=np.array([30, 30]))
    open_ = pool(tally).at(DAYS)
    monkeypatch.setattr(pooling, "_shape", lambda cells, draws, rng: np.ones((draws, *cells.by_day.shape)))
    taken = pool(tally).at(DAYS)
    assert (open_[2] - open_[1]).mean() > 1.02 * (taken[2] - taken[1]).mean()


def test_large_groups_keep_their_own_curve_and_small_alike_ones_come_together():
    rng = np.random.default_rng(3)
    tally, _ = simulate(rng, 0.5, sizes=np.array([3000, 3000, 3000]))
    found = pool(tally)
    np.testing.assert_allclose(found.at(DAYS)[0], found.raw.at(DAYS).share, rtol=0, atol=0.03)
    assert (found.own_weight > 0.9).all()
    tally, _ = simulate(rng, 0.0, sizes=np.array([5] * 40))
    found = pool(tally)
    together = cumulative_incidence(tally.merge_groups(dict.fromkeys(tally.groups, "all")))
    apart = np.abs(found.raw.at(DAYS).share - together.at(DAYS).share).mean()
    assert np.abs(found.at(DAYS)[0] - together.at(DAYS).share).mean() < 0.35 * apart
    # of forty alike groups, one or two are thought unlike by chance
    assert found.pooled.sum() >= 37
    assert (found.own_weight[found.pooled] < 0.5).all()


def test_limits_hold_the_estimate_and_causes_never_pass_one():
    tally, _ = simulate(np.random.default_rng(4), 1.0)
    found = pool(tally)
    assert (found.low <= found.share + 1e-12).all() and (found.share <= found.high + 1e-12).all()
    assert (found.share.sum(axis=1) <= 1 + 1e-12).all() and (np.diff(found.share, axis=2) >= -1e-12).all()


def test_a_group_whose_course_differs_stands_alone_and_says_so():
    rng = np.random.default_rng(5)
    quick = rng.integers(5, 30, 120)
    tally = Tally.from_arrays(
        None, np.concatenate([quick, np.full(20, 95)]), [1] * 120 + [0] * 20,
        group=np.concatenate([np.repeat(list("abcd"), 30), np.repeat("slow", 20)]),
    )  # fmt: skip
    found = pool(tally)
    at = found.groups.index("slow")
    assert not found.pooled[at] and "differs from the others" in found.why_not[at]
    assert found.pooled[:4].all() and found.why_not[:4] == ("",) * 4
    assert found.at(60)[0][at, 0, 0] == 0 and found.own_weight[at] == 1
    np.testing.assert_array_equal(found.at(DAYS)[1][at], found.raw.at(DAYS).low[at])


def test_nobody_to_borrow_from_or_nobody_at_all():
    tally = Tally.from_arrays(None, [3, 9], [1, 0], group=["a", "a"], groups=("a", "b"))
    found = pool(tally)
    assert not found.pooled.any()
    assert found.why_not == ("no other group to borrow from", "nobody is in it")
    np.testing.assert_array_equal(found.at([2, 3, 9])[0], found.raw.at([2, 3, 9]).share)


def test_a_span_in_which_nobody_had_the_event_is_not_certain():
    tally = Tally.from_arrays(None, [6] * 12, [0] * 12, group=list("ab") * 6)
    found = pool(tally)
    assert found.pooled.all()
    share, low, high = (x[:, 0, 0] for x in found.at(6))
    assert (low < 0.01).all() and (high > 0.05).all() and (high < 0.4).all() and (share > 0).all()


def test_one_row_of_thirty_borrows_like_one_animal():
    end, why, group = [5, 20, 40, 8, 15, 33], [1, 2, 1, 1, 1, 2], list("aaabbb")
    one = pool(Tally.from_arrays(None, end, why, group=group, causes=("1", "2")))
    many = pool(Tally.from_arrays(None, end, why, group=group, causes=("1", "2"), weight=[30] * 6))
    np.testing.assert_allclose(many.low, one.low, atol=1e-9)
    np.testing.assert_allclose(many.own_weight, one.own_weight, atol=1e-9)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"spans": (30, 7)}, "must rise"),
        ({"draws": 10}, "at least 100"),
        ({"confidence": 95}, r"Write 0\.95"),
    ],
)
def test_refuses(options, says):
    with pytest.raises(InputError, match=says):
        pool(Tally.from_arrays(None, [3], [1]), **options)


def kinds(rng, spread, *, throughout):
    """Multiples of the hazards of six groups by cause and span: gamma, each by itself, or lognormal, one a cause."""
    if not spread:
        return np.ones((6, 2, 4))
    if throughout:
        return np.repeat(np.exp(spread * rng.standard_normal((6, 2, 1)) - spread**2 / 2), 4, axis=2)
    return rng.gamma(spread**-2, spread**2, (6, 2, 4))


@pytest.mark.slow
def test_pooling_covers_and_errs_less_than_no_pooling_and_complete_pooling(capsys):
    lines, results = [], {}
    for spread, throughout in ((0.0, False), (0.5, False), (1.0, False), (0.5, True), (1.0, True)):
        rng = np.random.default_rng(11)
        inside, error, width, alone = [], [], [], 0
        for seed in range(40):
            tally, truth = simulate(rng, kinds(rng, spread, throughout=throughout))
            found = pool(tally, draws=300, seed=seed)
            (share, low, high), raw, t = found.at(DAYS), found.raw.at(DAYS), truth[:, :, DAYS]
            inside.append((low <= t) & (t <= high))
            width.append([(high - low).mean(), (raw.high - raw.low).mean()])
            complete = cumulative_incidence(tally.merge_groups(dict.fromkeys(tally.groups, "all"))).at(DAYS).share
            error.append([((x - t) ** 2).mean() for x in (share, raw.share, complete)])
            alone += int((~found.pooled).sum())
        by_group = np.mean(inside, axis=(0, 2, 3))
        mse, narrow = np.mean(error, axis=0) * 1e4, np.mean(width, axis=0)
        results[spread, throughout] = by_group.mean(), by_group.min(), mse, alone
        lines.append(
            f"{spread:>6} {'throughout' if throughout else 'by span':>10}   {by_group.mean():.3f}  "
            f"{'  '.join(f'{x:.3f}' for x in by_group)}   {mse[0]:6.1f} {mse[1]:6.1f} {mse[2]:6.1f}   "
            f"{narrow[0] / narrow[1]:.2f}  {alone:>4} of 240"
        )
    with capsys.disabled():
        print("\ncoverage of 95 % limits by group size; mean squared error x 10^4; width over that of no pooling")
        print(
            f"spread  groups        mean   {'  '.join(f'{n:>5}' for n in SIZES)}   pooled   none complete  width  alone"
        )
        print("\n".join(lines))
    for (spread, _), (average, lowest, mse, alone) in results.items():
        assert average >= 0.93 and lowest >= 0.88
        assert mse[0] < mse[1]
        assert mse[0] < mse[2] or spread == 0  # where groups are the same, one curve for all is right
        assert alone < 0.1 * 240 or spread == 1


FAST, SLOW = (
    np.array([cleared, [0.002] * 4]) for cleared in ([0.05, 0.06, 0.03, 0.02], [0.0003, 0.0004, 0.0012, 0.03])
)


@pytest.mark.slow
def test_a_condition_of_another_shape_is_refused_and_keeps_its_own_curve(capsys):
    """Stuck shed is over in days, burns take months: 4 % by day 60 against 91 %."""
    lines, results = [], {}
    for label, sizes, shapes in (
        ("four fast, 10 slow", [12, 20, 20, 40, 10], [FAST] * 4 + [SLOW]),
        ("four fast, 20 slow", [12, 20, 20, 40, 20], [FAST] * 4 + [SLOW]),
        ("four slow, 20 fast", [12, 20, 20, 40, 20], [SLOW] * 4 + [FAST]),
        ("all five fast", [12, 20, 20, 40, 20], [FAST] * 5),
    ):
        rng = np.random.default_rng(5)
        refused, inside, told = [], [], []
        for seed in range(25):
            tally, truth = simulate(rng, np.array(shapes), sizes=np.array(sizes), base=np.ones((2, 4)))
            found = pool(tally, draws=300, seed=seed)
            (share, low, high), t = found.at(DAYS), truth[:, :, DAYS]
            refused.append(~found.pooled)
            inside.append(((low <= t) & (t <= high))[:, 0])
            told.append(share[-1, 0, 2])
        results[label] = np.mean(refused, axis=0), np.mean(inside, axis=(0, 2)), np.mean(told), t[-1, 0, 2]
        gone, held = results[label][:2]
        lines.append(
            f"{label:>19}   {gone[-1]:.2f}  {gone[:-1].mean():.2f}   {held[-1]:.3f}  {held[:-1].mean():.3f}   "
            f"{results[label][2]:.3f}  {results[label][3]:.3f}"
        )
    with capsys.disabled():
        print("\nshapes differ: the last group and the others, refused, coverage of the share cleared, told by day 60")
        print("             groups   refused others covered others  told  truth")
        print("\n".join(lines))
    for label, (refused, covered, told, truth) in results.items():
        assert (refused[:-1] <= 0.1).all()
        assert covered.min() >= 0.88
        assert (refused[-1] <= 0.1) if label == "all five fast" else (refused[-1] >= 0.7)
        assert abs(told - truth) < 0.1
