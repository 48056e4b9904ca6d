"""Thousands of resampled curves at once: each draw against the plain estimator of the rows it holds."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.clusters import bootstrap
from mendcurve.methods.quantiles import quantile, restricted_mean
from mendcurve.methods.resampling import resampled_curves
from mendcurve.methods.survival import kaplan_meier
from mendcurve.methods.tally import Tally


def drawn(n, seed, *, delayed):
    rng = np.random.default_rng(seed)
    exit_ = rng.integers(1, 40, n)
    entry = np.where(rng.random(n) < 0.3, np.minimum(rng.integers(0, 10, n), exit_ - 1), -1) if delayed else None
    return entry, exit_, rng.random(n) < 0.8, np.where(rng.random(n) < 0.5, "a", "b")


@pytest.mark.parametrize("delayed", [False, True])
@pytest.mark.parametrize("clustered", [False, True])
def test_each_draw_is_the_curve_of_its_rows(delayed, clustered):
    n, horizon, draws = 60, 20, 25
    entry, exit_, event, group = drawn(n, 4, delayed=delayed)
    cluster = np.arange(n) // 3 if clustered else None
    found = resampled_curves(entry, exit_, event, horizon=horizon, seed=9, group=group, cluster=cluster, draws=draws)
    assert found.groups == ("a", "b")
    m = n if cluster is None else 20
    take = np.random.default_rng(9).integers(0, m, (draws, m))
    begin = np.full(n, -1) if entry is None else entry
    for i in range(draws):
        rows = take[i] if cluster is None else np.concatenate([np.flatnonzero(cluster == c) for c in take[i]])
        tally = Tally.from_arrays(
            begin[rows], exit_[rows], event[rows].astype(int), group=group[rows], groups=["a", "b"]
        )
        curve = kaplan_meier(tally, limits="log")
        np.testing.assert_allclose(found.median[i], quantile(curve, 0.5).estimate)
        np.testing.assert_allclose(found.mean[i], restricted_mean(curve, horizon).estimate)


def test_blocks_of_draws_change_nothing(monkeypatch):
    _, exit_, event, _ = drawn(40, 5, delayed=False)
    whole = resampled_curves(None, exit_, event, horizon=15, seed=2, draws=50)
    monkeypatch.setattr("mendcurve.methods.resampling._CELLS", 200)
    parts = resampled_curves(None, exit_, event, horizon=15, seed=2, draws=50)
    np.testing.assert_allclose(parts.mean, whole.mean)


def test_the_spread_is_that_of_the_slow_bootstrap_and_of_greenwood():
    _, exit_, event, _ = drawn(150, 6, delayed=False)
    found = resampled_curves(None, exit_, event, horizon=20, seed=1, draws=2000)

    def slow(weight):
        tally = Tally.from_arrays(None, exit_, event.astype(int), weight=weight)
        return restricted_mean(kaplan_meier(tally, limits="log"), 20).estimate[0]

    other = bootstrap(slow, np.arange(150), seed=2, draws=400)
    greenwood = restricted_mean(kaplan_meier(Tally.from_arrays(None, exit_, event.astype(int))), 20).se[0]
    assert found.mean.std() == pytest.approx(float(other.se), rel=0.12)
    assert found.mean.std() == pytest.approx(greenwood, rel=0.08)


def test_not_reached_and_not_followed_are_nan():
    found = resampled_curves(None, [5, 6, 7, 8], [False] * 4, horizon=20, seed=1, draws=10)
    assert np.isnan(found.median).all()
    assert np.isnan(found.mean).all()


def test_one_row_is_refused():
    with pytest.raises(InputError, match="at least two"):
        resampled_curves(None, [5], [True], horizon=3, seed=1)
