"""Calibration with times cut off: right forecasts look right, wrong ones wrong, as Kaplan-Meier on the PIT scale."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.curves import kaplan_meier
from mendcurve.methods.scores_censored import censored_coverage, censored_pit
from mendcurve.methods.tally import Tally


def drawn(n, seed, *, scale=1.0, cut=1.0):
    """Times of mean 1, predicted as exponential of mean ``scale``, cut off at exponential times of mean ``cut``."""
    rng = np.random.default_rng(seed)
    time, stop = rng.exponential(1, n), rng.exponential(cut, n)
    ended = time <= stop
    place = 1 - np.exp(-np.minimum(time, stop) / scale)
    return place, ended


def test_without_cutting_off_it_is_a_histogram():
    place, _ = drawn(500, 1)
    found = censored_pit(place, place, np.ones(500, dtype=bool))
    plain = np.histogram(place, bins=20, range=(0, 1))[0] / 500
    np.testing.assert_allclose(found, plain, atol=1e-6)


def test_it_is_kaplan_meier_on_the_scale_of_the_prediction():
    place, ended = drawn(4000, 2)
    found = np.cumsum(censored_pit(place, place, ended))[:-1]
    curve = kaplan_meier(Tally.from_arrays(None, place, ended.astype(int)), limits="log")
    np.testing.assert_allclose(found, 1 - curve.at(np.arange(1, 20) / 20).share[0], atol=0.012)


@pytest.mark.parametrize(("scale", "right"), [(1.0, True), (3.0, False), (0.4, False)])
def test_right_forecasts_hold_what_they_say_and_wrong_ones_do_not(scale, right):
    place, ended = drawn(600, 3, scale=scale)
    held, low, high = censored_coverage(place, place, ended, 0.8, cluster=np.arange(600), draws=99)
    assert (low <= 0.8 <= high) == right
    assert low <= held <= high


def test_whole_days_are_spread_not_put_on_a_point():
    # one value that always happens, predicted with chance 1: its place is all of 0-1
    found = censored_pit(np.zeros(5), np.ones(5), np.ones(5, dtype=bool))
    np.testing.assert_allclose(found, 0.05)


def test_later_than_all_predicted_lies_in_the_last_part():
    found = censored_pit([1.0, 0.5], [1.0, 0.5], [False, True])
    assert found[-1] == pytest.approx(0.5)


def test_refusals():
    with pytest.raises(InputError, match="between 0 and 1"):
        censored_pit([0.5], [1.4], [True])
    with pytest.raises(InputError, match="whole parts"):
        censored_coverage([0.5], [0.5], [True], 0.77, cluster=[1])
