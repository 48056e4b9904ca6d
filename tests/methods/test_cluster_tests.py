"""Two groups by cluster: the level of the log-rank test, and coverage of the difference in mean days."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.methods.cluster_tests import cluster_log_rank, cluster_mean_difference
from mendcurve.methods.comparing import log_rank
from mendcurve.methods.differences import difference_in_restricted_mean
from mendcurve.methods.tally import Tally


def drawn(rng, n: int, clutches: float):
    """Draw two groups of n animals alike; a share of draws are clutches of six ending together."""
    parts = []
    for g in (0, 1):
        size = np.where(rng.random(n) < clutches, 6, 1)
        size = size[np.cumsum(size) - size < n]
        size[-1] -= max(size.sum() - n, 0)
        code = np.repeat(np.arange(len(size)), size)
        length, cut = rng.exponential(25, len(size)).astype(int), rng.integers(20, 120, len(size))
        parts.append((np.minimum(length, cut)[code], (length <= cut)[code], code + 1000 * g, np.full(n, g == 0)))
    leave, event, cluster, here = (np.concatenate(x) for x in zip(*parts, strict=True))
    return np.full(2 * n, -1.0), leave, event, here, cluster


def test_rows_of_their_own_are_tested_nearly_as_by_the_log_rank_test():
    entry, leave, event, here, cluster = drawn(np.random.default_rng(8), 150, 0)
    tally = Tally.from_arrays(entry, leave, event.astype(int), group=np.where(here, "one", "two"))
    by = cluster_log_rank(entry, leave, event, here, cluster, np.ones(300))
    assert by == log_rank(tally).p
    mean = cluster_mean_difference(entry, leave, event, here, cluster, 30, weight=np.ones(300))
    plain = difference_in_restricted_mean(tally, "one", "two", 30)
    assert mean.estimate == pytest.approx(plain.estimate)
    assert mean.se == pytest.approx(plain.se, rel=0.01)


def test_a_row_of_six_is_six_rows_of_one_animal():
    entry, leave, event, here, cluster = drawn(np.random.default_rng(9), 40, 0)
    six = [np.repeat(x, 6) for x in (entry, leave, event, here, cluster)]
    weight = np.full(80, 6.0)
    rows, split = cluster_log_rank(entry, leave, event, here, cluster, weight), cluster_log_rank(*six, np.ones(480))
    alone = cluster_log_rank(entry, leave, event, here, cluster, np.ones(80))
    assert rows == pytest.approx(split, abs=0.02)
    assert rows == pytest.approx(alone, abs=0.06)
    means = [
        cluster_mean_difference(*x, 30, weight=w)
        for x, w in (((entry, leave, event, here, cluster), np.ones(80)), (six, np.ones(480)))
    ]
    assert means[1].se == pytest.approx(means[0].se)


@pytest.mark.slow
@pytest.mark.parametrize(("n", "clutches"), [(8, 0), (15, 0), (30, 0), (8, 0.08), (15, 0.08), (30, 0.08), (30, 0.25)])
def test_level_and_coverage(n, clutches):
    rng, refused, inside = np.random.default_rng(n), [], []
    for _ in range(150):
        rows = drawn(rng, n, clutches)
        refused.append(cluster_log_rank(*rows, np.ones(2 * n)) < 0.05)
        followed = all(rows[1][rows[3] == g].max() >= 20 or rows[2][rows[3] == g].all() for g in (True, False))
        if followed:
            found = cluster_mean_difference(*rows, 20, weight=np.ones(2 * n))
            inside.append(found.low <= 0 <= found.high)
    print(f"n {n}, clutches {clutches:.0%}: refused {np.mean(refused):.3f}, mean days covered {np.mean(inside):.3f}")
    # two thirds of the animals in clutches: known to be too ready, 0.15 (by row 0.3 and more)
    assert np.mean(refused) <= (0.20 if clutches > 0.1 else 0.11)
    assert np.mean(inside) >= (0.83 if clutches else 0.91)
