"""Ends known only between two checks: against cumulative incidence, against a direct maximum, and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from mendcurve.errors import InputError
from mendcurve.methods.curves import cumulative_incidence
from mendcurve.methods.interval_censored import interval_incidence
from mendcurve.methods.tally import Tally


@pytest.mark.parametrize("seed", range(8))
def test_days_that_are_known_give_the_cumulative_incidence(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(5, 60))
    day, cause = rng.integers(0, 15, n), rng.integers(0, 3, n)
    # cut off on a day: not ended up to and on it, as events come before censorings
    found = interval_incidence(
        np.where(cause == 0, day, day - 1), np.where(cause == 0, np.inf, day), cause, causes=("a", "b")
    )
    days = np.arange(0, day[cause > 0].max(initial=0) + 1)
    plain = cumulative_incidence(Tally.from_arrays(None, day, cause, causes=("a", "b"))).at(days)
    least, most = found.at(days)
    np.testing.assert_allclose(least, plain.share[0], atol=1e-6)
    np.testing.assert_allclose(most, plain.share[0], atol=1e-6)


def test_by_hand():
    # the first two can share (1, 2]; the one cut off at 2 is best explained by the second ending in (2, 3]
    found = interval_incidence([0, 1, 2], [2, 3, np.inf], [1, 1, 0])
    np.testing.assert_allclose((found.after, found.until), ([1, 2], [2, 3]))
    np.testing.assert_allclose(found.mass, [0.5, 0.5], atol=1e-6)
    least, most = found.at([1, 1.5, 2, 3])
    np.testing.assert_allclose(least[0], [0, 0, 0.5, 1], atol=1e-6)
    np.testing.assert_allclose(most[0], [0, 0.5, 0.5, 1], atol=1e-6)


def _log_likelihood(mass, spans, after, until, cause):
    rest = 1 - mass.sum()
    total = 0.0
    for low, high, why in zip(after, until, cause, strict=True):
        fits = [m for m, (a, b, c) in zip(mass, spans, strict=True) if low <= a and b <= high and why in (0, c)]
        total += np.log(sum(fits) + (rest if why == 0 else 0.0) + 1e-300)
    return total


@pytest.mark.parametrize("seed", range(4))
def test_no_other_shares_fit_better(seed):
    """A second implementation: a general maximiser over all unit days, not only innermost spans."""
    rng = np.random.default_rng(seed)
    n = 25
    true, gap = rng.integers(1, 12, n), rng.integers(1, 5, n)
    after = np.maximum(true - rng.integers(1, gap + 1), 0)
    cause = rng.integers(0, 3, n)
    until = np.where(cause == 0, np.inf, after + gap)
    found = interval_incidence(after, until, cause, causes=("a", "b"))
    spans = [(d, d + 1, c) for c in (1, 2) for d in range(16)]

    def lost(z):
        mass = np.exp(z - z.max())
        mass /= mass.sum()
        return -_log_likelihood(mass[:-1], spans, after, until, cause)

    best = min(
        optimize.minimize(lost, rng.normal(size=len(spans) + 1), method="L-BFGS-B", options={"maxiter": 3000}).fun
        for _ in range(3)
    )
    own = _log_likelihood(
        found.mass, list(zip(found.after, found.until, found.cause + 1, strict=True)), after, until, cause
    )
    assert own >= -best - 1e-3


def test_weights_are_repeats():
    once = interval_incidence([0, 1, 2, 2], [2, 3, 5, np.inf], [1, 1, 1, 0], weight=[2, 1, 1, 3])
    again = interval_incidence([0, 0, 1, 2, 2, 2, 2], [2, 2, 3, 5, *[np.inf] * 3], [1, 1, 1, 1, 0, 0, 0])
    np.testing.assert_allclose(once.mass, again.mass, atol=1e-7)
    assert once.subjects == 7


def test_truth_lies_between_least_and_most():
    """Weekly checks of a known law (300 animals, 40 draws): the mean of the two ends brackets the true share."""
    least, most = [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        true = rng.geometric(0.05, 300)
        start = rng.integers(1, 8, 300)
        after = np.where(true <= start, 0, start + 7 * ((true - start - 1) // 7))
        until = np.where(true <= start, start, after + 7)
        cut = rng.integers(20, 90, 300)
        seen = until <= cut
        last = np.where(seen, after, start + 7 * ((cut - start) // 7))
        found = interval_incidence(np.maximum(last, 0), np.where(seen, until, np.inf), seen.astype(int))
        low, high = found.at([21])
        least.append(low[0, 0])
        most.append(high[0, 0])
    truth = 1 - 0.95**21
    print(f"share by day 21: {np.mean(least):.3f} to {np.mean(most):.3f}, truth {truth:.3f}")
    assert np.mean(least) - 0.01 <= truth <= np.mean(most) + 0.01
    assert np.mean(most) - np.mean(least) < 0.15


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (([], [], []), "no row"),
        (([3], [3], [1]), "must end after"),
        (([3], [5], [4]), "0 .cut off. or the number"),
        (([3], [np.inf], [1]), "a day by which"),
    ],
)
def test_refusals(rows, words):
    with pytest.raises(InputError, match=words):
        interval_incidence(*rows)
