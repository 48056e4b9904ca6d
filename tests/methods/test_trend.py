"""Slopes of one series against R, and the smallest change against its own promise."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.trend import detectable, least_squares, spread, theil_sen
from reference.rows import data, rows

# The exact Kendall limits, Mann-Kendall's test and median(y) - slope median(x) are other estimators, which we have not.
OURS = (
    "theil_sen_slope",
    "n_slopes",
    "theil_sen_intercept",
    "theil_sen_ci_lower",
    "theil_sen_ci_upper",
    "ols_slope",
    "ols_slope_se",
    "ols_slope_ci_lower",
    "ols_slope_ci_upper",
)
ROWS = [
    r
    for r in rows(section="14")
    if r.quantity in OURS
    and "exact" not in r.options.get("ci", "")
    and "median(x)" not in r.options.get("intercept", "")
]


# R 4.2.2, see reference/README.md; sen1968: Sen (1968), JASA 63:1379-1389.
@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.id)
def test_reference_row(row):
    frame = data(row.data_file)
    x, y = frame[row.options["x"]], frame[row.options["y"]]
    confidence = 1 - row.options["alpha"]
    line = (theil_sen if row.quantity.startswith("theil") else least_squares)(x, y, confidence=confidence)
    got = {
        "theil_sen_slope": line.estimate,
        "ols_slope": line.estimate,
        "theil_sen_intercept": line.intercept,
        "ols_slope_se": line.se,
        "theil_sen_ci_lower": line.low,
        "theil_sen_ci_upper": line.high,
        "ols_slope_ci_lower": line.low,
        "ols_slope_ci_upper": line.high,
        "n_slopes": len(x) * (len(x) - 1) / 2,
    }[row.quantity]
    row.check(got)


def test_there_are_reference_rows():
    assert len(ROWS) >= 60


# TRADE.md 2.3, derived there: 95 % half-width of a weekly slope, noise known.
@pytest.mark.parametrize(
    ("noise", "weighings", "half"),
    [
        (1, 3, 1.39),
        (2, 5, 1.24),
        (5, 9, 1.27),
        (10, 13, 1.45),
        (5, 13, 0.73),
        (2, 3, 2.77),
    ],
)
def test_half_width_of_a_weekly_slope(noise, weighings, half):
    line = least_squares(np.arange(weighings), np.zeros(weighings), noise=noise)
    assert line.high == pytest.approx(half, abs=0.006)
    assert line.low == -line.high


def test_known_noise_needs_two_readings_and_unknown_three():
    assert least_squares([0, 1], [0, 1], noise=1.0).n == 2
    with pytest.raises(InputError, match="3 different times"):
        least_squares([0, 1], [0, 1])


def test_the_detectable_change_is_found_as_often_as_it_says():
    rng = np.random.default_rng(4)
    x = np.array([0, 6, 14, 22, 29, 35.0])
    change = detectable(x, 0.05, alarm=0.02, power=0.8)
    y = -change * x + 0.05 * rng.standard_normal((20_000, 6))
    slopes = (y * (x - x.mean())).sum(1) / spread(x) ** 2
    limit = -2.0537 * 0.05 / spread(x)  # normal quantile of 0.02
    assert (slopes < limit).mean() == pytest.approx(0.8, abs=0.01)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: theil_sen([1, 2], [1, 2, 3]), "one length"),
        (lambda: theil_sen([1, 1], [1, 2]), "2 different times"),
        (lambda: least_squares([1, 2, 3], [1, np.nan, 3]), "1 of 3"),
        (lambda: theil_sen([1, 2], [1, 2], confidence=95), "Write 0.95"),
        (lambda: detectable([1, 2, 3], 1, alarm=5), "Write 0.05"),
    ],
)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
