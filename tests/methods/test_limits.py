"""The mixture's quantiles and the beta matched by moments, against scipy's root finder and known distributions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special, stats

from mendcurve.errors import InputError
from mendcurve.methods.limits import beta_of, check_limits, mixture_limits, normal_limits


@pytest.mark.parametrize("seed", range(5))
def test_quantiles_of_the_mixture_solve_its_equation(seed):
    rng = np.random.default_rng(seed)
    a1, b1, a2, b2 = rng.uniform(0.3, 40, (4, 60))
    low, high = mixture_limits((a1, b1), (a2, b2), 0.9)
    for i in range(60):
        for got, p in ((low[i], 0.05), (high[i], 0.95)):
            expected = optimize.brentq(
                lambda x, p=p, i=i: 0.5 * (special.betainc(a1[i], b1[i], x) + special.betainc(a2[i], b2[i], x)) - p,
                0, 1, xtol=1e-15,
            )  # fmt: skip
            assert got == pytest.approx(expected, abs=1e-10)


def test_mass_at_an_end_is_half_the_mixture():
    zero, one, b = (0.0, 1.0), (1.0, 0.0), (np.array([2.0]), np.array([5.0]))
    beta = stats.beta(2, 5)
    np.testing.assert_allclose(mixture_limits(zero, b, 0.95), [[0], [beta.ppf(0.95)]], rtol=1e-12)
    np.testing.assert_allclose(mixture_limits(b, zero, 0.95), [[0], [beta.ppf(0.95)]], rtol=1e-12)
    np.testing.assert_allclose(mixture_limits(b, one, 0.95), [[beta.ppf(0.05)], [1]], rtol=1e-12)
    np.testing.assert_allclose(mixture_limits(zero, one, 0.95), [0, 1])
    np.testing.assert_allclose(mixture_limits(zero, zero, 0.95), [0, 0])
    np.testing.assert_allclose(mixture_limits(one, one, 0.95), [1, 1])


def test_beta_by_moments_returns_the_beta_it_came_from():
    a, b = np.array([0.5, 3.0, 400.0]), np.array([7.0, 3.0, 2.0])
    mean = a / (a + b)
    square = mean * (a + 1) / (a + b + 1)
    np.testing.assert_allclose(beta_of(mean, square), [a, b], rtol=1e-9)
    np.testing.assert_array_equal(beta_of(np.array([0.0, 1.0]), np.array([0.0, 1.0])), [[0, 1], [1, 0]])


def test_normal_limits_stay_in_range_and_are_undefined_where_they_must_be():
    share, se = np.array([0.0, 0.02, 0.5, 0.99, 1.0]), np.array([0.0, 0.1, 0.1, 0.1, 0.0])
    for limits in ("plain", "log", "log-log"):
        low, high = normal_limits(share, se, 0.95, limits)
        inner = slice(1, 4)
        assert (low[inner] >= 0).all() and (high[inner] <= 1).all() and (low[inner] < high[inner]).all()
    assert np.isnan(low[[0, 4]]).all()


def test_refuses():
    with pytest.raises(InputError, match=r'limits must be one of(.|\n)*Did you mean "plain"'):
        check_limits("plane", 0.95)
    with pytest.raises(InputError, match=r"Write 0\.9\."):
        check_limits("plain", 90)


def test_a_mixture_with_a_density_without_end_is_halved():
    """Steps from the normal guess once ended at 1e-43 here; the value is a bisection's."""
    from mendcurve.methods.limits import _mixture_quantile

    found = _mixture_quantile(0.75, *(np.array([x]) for x in (0.0005, 16.354, 1.0005, 15.354)))
    assert found[0] == pytest.approx(0.04419256, abs=1e-7)
