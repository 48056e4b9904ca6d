"""The natural spline basis spans the same curves as scipy's natural interpolating spline."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from mendcurve.errors import InputError
from mendcurve.methods.spline import basis, knots


@pytest.mark.parametrize("df", [1, 2, 3, 4])
def test_spans_every_natural_cubic_spline_through_its_knots(df):
    x = np.sort(np.random.default_rng(df).uniform(0, 90, 150))
    at = knots(x, df)
    columns = np.column_stack([np.ones(150), basis(x, at)])
    assert columns.shape == (150, df + 1)
    for values in np.eye(df + 1):
        curve = np.interp(x, at, values) if df == 1 else CubicSpline(at, values, bc_type="natural")(x)
        beta = np.linalg.lstsq(columns, curve, rcond=None)[0]
        assert columns @ beta == pytest.approx(curve, abs=1e-10)


def test_is_straight_beyond_the_outer_knots():
    at = np.array([0.0, 7, 21, 60])
    for x in (np.array([-30.0, -20, -10]), np.array([60.0, 80, 100])):
        assert np.diff(basis(x, at), 2, axis=0) == pytest.approx(np.zeros((1, 3)), abs=1e-9)


def test_one_degree_of_freedom_is_time_itself():
    assert basis([3, 10, 17], [3, 17])[:, 0] == pytest.approx([0, 7, 14])


def test_knots_stand_at_equal_shares():
    assert knots(np.arange(101), 4) == pytest.approx([0, 25, 50, 75, 100])


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: knots([1, 2, 3], 0), "at least 1"),
        (lambda: knots([1, 1, 1, 5], 3), "4 different knots"),
        (lambda: basis([1, 2], [3, 3]), "ascending"),
    ],
)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
