"""Coverage of pointwise limits on simulated truth: the mid-p beta product beside log-log, n = 5-50, 0-60 % censored."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.methods.survival import cumulative_incidence, kaplan_meier
from mendcurve.methods.tally import Tally

REPLICATES = 1500
RATE = 1 / 25
DAYS = np.array([6, 17, 34])  # the truth has 24, 51 and 75 % ended
SPLIT = 0.6


def simulate(n, censored, seed):
    """Whole-day ends of two causes; replicates are the groups of one tally."""
    rng = np.random.default_rng(seed)
    size = n * REPLICATES
    end = rng.exponential(1 / RATE, size)
    cause = np.where(rng.random(size) < SPLIT, 1, 2)
    cut = rng.exponential((1 - censored) / censored / RATE, size) if censored else np.full(size, np.inf)
    day = np.floor(np.minimum(end, cut))
    why = np.where(end <= cut, cause, 0)
    # far beyond the days asked for nothing is needed
    late = day > DAYS[-1] + 1
    replicate = np.repeat(np.char.mod("%d", np.arange(REPLICATES)), n)
    return Tally.from_arrays(
        None, np.where(late, DAYS[-1] + 2.0, day), np.where(late, 0, why), group=replicate, causes=("1", "2")
    )


def covered(curve, truth):
    low, high = curve.low, curve.high
    inside = (low - 1e-12 <= truth) & (truth <= high + 1e-12)
    return np.nanmean(np.where(np.isnan(low), np.nan, inside), axis=0), np.isnan(low).mean(axis=0), np.mean(high - low)


@pytest.mark.slow
def test_limits_cover_the_truth_as_often_as_they_say(capsys):
    ended = 1 - np.exp(-RATE * (DAYS + 1))
    lines, worst = [], 1.0
    for n in (5, 10, 20, 50):
        for censored in (0.0, 0.3, 0.6):
            tally = simulate(n, censored, seed=n * 100 + int(censored * 10))
            cells = []
            for limits in ("beta product", "log-log"):
                one, blank1, wide1 = covered(kaplan_meier(tally, limits=limits).at(DAYS), 1 - ended)
                by = cumulative_incidence(tally, limits=limits).at(DAYS)
                share = np.array([SPLIT, 1 - SPLIT])[:, None] * ended
                two, blank2, wide2 = covered(by, share)
                cells.append((one.min(), two.min(), max(blank1.max(), blank2.max()), wide1, wide2))
                if limits == "beta product":
                    worst = min(worst, one.min(), two.min())
            ours, r = cells
            lines.append(
                f"{n:>3} {censored:>5.0%}   {ours[0]:.3f} {ours[1]:.3f}  {ours[3]:.2f} {ours[4]:.2f}   "
                f"{r[0]:.3f} {r[1]:.3f}  {r[2]:.0%}"
            )
    with capsys.disabled():
        print(f"\nlowest coverage over days {DAYS.tolist()}, {REPLICATES} replicates, nominal 95 %")
        print("  n  cens   beta product: one, by cause, widths   log-log: one, by cause, undefined at most")
        print("\n".join(lines))
    assert worst >= 0.93
