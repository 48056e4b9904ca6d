"""State occupation against R (section 09), against cumulative incidence, by hand, and by simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.curves import cumulative_incidence
from mendcurve.methods.multistate import Occupation, Spells, occupation
from mendcurve.methods.tally import Tally
from reference.rows import cases, data, rows

STATES = {
    "ms.mgus2": ("mgus", "pcm", "death"),
    "ms.sir_cont": ("novent", "vent", "out"),
    "ms.ebmt3": ("Tx", "PR", "RelDeath"),
}


def _fitted(row, at, horizon) -> Occupation:
    frame = data(row.data_file, text=("id",))
    options = row.options
    if "group" in options:
        frame = frame[frame[options["group"]] == options["level"]]
    states = next(s for name, s in STATES.items() if row.case.startswith(name))
    code = {name: i for i, name in enumerate(states)} | {options["censor_label"]: -1}
    return occupation(
        Spells.of(frame[options["id"]], frame[options["start"]], frame[options["stop"]],
        frame[options["istate"]].map(code), frame[options["event"]].map(code)),
        states=states, at=[at], horizon=horizon,
    )  # fmt: skip


@pytest.mark.parametrize("row", cases(section="09"))
def test_equals_the_outside_value(row):
    where = row.at_dict()
    fit = _fitted(row, float(where.get("t", 1)), float(where.get("tau", 1)))
    if row.quantity == "n_transitions":
        source, to = where["0"].split("->")
        row.check(fit.moves[fit.states.index(source), fit.states.index(to)])
        return
    value = {
        "state_occupation": fit.share[:, 0],
        "state_occupation_se": fit.se[:, 0],
        "expected_time_in_state": fit.time,
        "expected_time_in_state_se": fit.time_se,
    }[row.quantity]
    row.check(value[fit.states.index(where["0"])])


def test_every_row_of_the_section_is_judged():
    assert len(rows(section="09")) == 118


@pytest.mark.parametrize("delayed", [False, True])
def test_competing_risks_are_a_case_of_it(delayed):
    rng = np.random.default_rng(11)
    n = 200
    entry = np.where(rng.random(n) < 0.3, rng.integers(0, 6, n), -1) if delayed else np.full(n, -1)
    exit_ = entry + rng.integers(1, 30, n)
    cause = rng.integers(0, 3, n)
    other = cumulative_incidence(Tally.from_arrays(entry, exit_, cause, causes=("a", "b"))).at([3, 10, 20])
    fit = occupation(
        Spells.of(np.arange(n), entry, exit_, np.zeros(n), np.where(cause == 0, -1, cause)),
        states=("in", "a", "b"), at=[3, 10, 20], horizon=20,
    )  # fmt: skip
    np.testing.assert_allclose(fit.share[1:], other.share[0], atol=1e-12)
    np.testing.assert_allclose(fit.share.sum(axis=0), 1.0)
    # the jackknife is Greenwood's variance where all are seen from the start, and near it elsewhere
    np.testing.assert_allclose(fit.se[1:], other.se[0], rtol=0.03 if delayed else 1e-9)


def test_shares_are_the_plain_shares_where_nobody_is_cut_off():
    fit = occupation(
        Spells.of(["a", "a", "b", "c", "c"], [0, 2, 0, 0, 5], [2, 9, 4, 5, 12], [0, 1, 0, 0, 1], [1, 2, 2, 1, -1]),
        states=("quarantine", "treatment", "left"), at=[0, 2, 4, 9], horizon=9,
    )  # fmt: skip
    np.testing.assert_allclose(
        fit.share, np.array([[3, 2, 1, 0], [0, 1, 1, 1], [0, 0, 1, 2]]) / 3, atol=1e-12
    )  # c is in treatment from day 5, and still there
    assert fit.time.sum() == pytest.approx(9)
    assert fit.time[0] == pytest.approx((2 + 4 + 5) / 3)


def test_errors_go_by_subject_not_by_row():
    def fitted(times: int, weight: float) -> Occupation:
        spells = Spells.of(
            [1, 2, 3] * times, [0, 0, 0] * times, [4, 6, 9] * times, [0] * 3 * times, [1, 1, -1] * times,
            weight=[weight] * 3 * times,
        )  # fmt: skip
        return occupation(spells, states=("in", "out"), at=[5], horizon=9)

    one, twice, heavy = fitted(1, 1), fitted(2, 1), fitted(1, 2)
    np.testing.assert_allclose(twice.share, one.share)
    np.testing.assert_allclose(twice.se, one.se)
    np.testing.assert_allclose(heavy.se, one.se)


def test_before_anybody_is_seen_nothing_is_said():
    fit = occupation(Spells.of([1], [3], [5], [0], [1]), states=("in", "out"), at=[1, 4], horizon=5)
    assert np.isnan(fit.share[:, 0]).all()
    assert fit.share[0, 1] == 1.0


def test_intervals_cover_the_truth():
    """Two-zone stays with known day hazards: 95 % limits of the share and of the days, 60 animals, 400 draws."""
    rng, truth, days = np.random.default_rng(12), _truth(), 0
    inside = np.zeros(2)
    draws = 400
    for _ in range(draws):
        frame = _simulated(rng, 60)
        fit = occupation(
            Spells.of(frame["id"], frame["entry"], frame["exit"], frame["state"], frame["to"]),
            states=("a", "b", "out"), at=[20], horizon=40,
        )  # fmt: skip
        inside[0] += fit.low[1, 0] <= truth[0] <= fit.high[1, 0]
        inside[1] += abs(fit.time[0] - truth[1]) <= 1.96 * fit.time_se[0]
        days += 1
    print(f"coverage of share in b on day 20, days in a to day 40: {inside / draws}")
    assert (inside / days > 0.92).all()
    assert (inside / days < 0.99).all()


def _truth() -> tuple[float, float]:
    step = np.array([[0.90, 0.06, 0.04], [0, 0.95, 0.05], [0, 0, 1]])
    now, spent = np.array([1.0, 0, 0]), 0.0
    for day in range(40):
        spent += now[0]
        now = now @ step
        if day == 19:
            share = now[1]
    return share, spent


def _simulated(rng: np.random.Generator, n: int) -> pd.DataFrame:
    leave = rng.geometric(0.10, n)
    to_b = rng.random(n) < 0.6
    more = rng.geometric(0.05, n)
    cut = rng.integers(15, 80, n)
    lines = []
    for i in range(n):
        first = min(leave[i], cut[i])
        lines.append((i, 0, first, 0, -1 if cut[i] < leave[i] else (1 if to_b[i] else 2)))
        if leave[i] < cut[i] and to_b[i]:
            end = min(leave[i] + more[i], cut[i])
            lines.append((i, leave[i], end, 1, -1 if cut[i] < leave[i] + more[i] else 2))
    return pd.DataFrame(lines, columns=["id", "entry", "exit", "state", "to"])


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (([], [], [], [], []), "no spell"),
        (([1], [3], [3], [0], [1]), "must end after it begins"),
        (([1], [0], [3], [0], [4]), "one of those named"),
    ],
)
def test_refusals(given, words):
    with pytest.raises(InputError, match=words):
        occupation(Spells.of(*given), states=("in", "out"), at=[1], horizon=5)
