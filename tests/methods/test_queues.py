"""Textbook queues: against R, against simulation, against printed tables, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from mendcurve.errors import InputError
from mendcurve.methods import queues
from reference.rows import cases

WAITING = {"erlang_c": "waits", "mean_queue_length": "queue", "mean_wait_in_service_times": "wait",
           "p_wait_exceeds_one_service_time": "over_one_stay"}  # fmt: skip


# R 4.2.2; source beside each row in tests/reference/reference.csv
@pytest.mark.parametrize("row", cases(section="15", case=lambda c: c.startswith("erlang.")))
def test_erlang_formulas_agree_with_r(row):
    c, a = row.options["servers"], row.options["offered_load"]
    if row.quantity in WAITING:
        row.check(getattr(queues.erlang_c(c, a), WAITING[row.quantity]))
    elif row.quantity == "erlang_b":
        row.check(queues.erlang_b(c, a))
    else:
        assert row.quantity in ("carried_load", "utilisation")
        row.check(queues.carried(c, a) / (c if row.quantity == "utilisation" else 1))


@pytest.mark.parametrize("row", cases(section="15", case=lambda c: c.startswith(("erlang_table", "erlang_dim"))))
def test_erlang_inverted_agrees_with_r(row):
    o = row.options
    if row.quantity == "servers_needed":
        row.check(queues.places_for(o["offered_load"], o["blocking_at_most"]))
    else:
        row.check(queues.load_for(o["servers"], o["blocking"]))


@pytest.mark.parametrize("row", cases(section="15", case=lambda c: c.startswith("mginf")))
def test_open_house_agrees_with_r(row):
    m, at = row.options["mean_occupancy"], row.at_dict()
    row.check(queues.present_quantile(m, float(at["p"])) if "p" in at else queues.present_above(m, int(at["cap"])))


@pytest.mark.parametrize("row", cases(section="15", case=lambda c: c.startswith("nbcount")))
def test_negative_binomial_counts_agree_with_r(row):
    mu, size, at = row.options["mu"], row.options["size"], row.at_dict()
    if row.quantity == "count_quantile":
        row.check(queues.count_quantile(mu, size, float(at["p"])))
    elif row.quantity == "p_count_exceeds":
        row.check(queues.count_above(mu, size, int(at["cap"])))
    elif row.quantity == "pmf":
        row.check(queues.count_chance(mu, size, int(at["k"])))
    else:
        row.check(queues.count_variance(mu, size))


# Printed table: places for at most 1, 2, 5, 10 % refused, and use at the 5 % size (by the recursion, checked
# by simulation; the 5 % column agrees with any Erlang B table).
TABLE = {2: (7, 6, 5, 4, 38.5), 5: (11, 10, 9, 8, 53.5), 8: (15, 14, 13, 11, 59.7), 10: (18, 17, 15, 13, 64.2),
         15: (24, 23, 20, 18, 71.6), 20: (30, 28, 26, 23, 74.1), 30: (42, 39, 36, 32, 79.8), 40: (53, 50, 46, 42, 83.0),
         60: (75, 71, 66, 60, 86.7)}  # fmt: skip


@pytest.mark.parametrize("load", TABLE)
def test_table_of_places(load):
    *places, use = TABLE[load]
    assert [queues.places_for(load, b) for b in (0.01, 0.02, 0.05, 0.10)] == places
    assert 100 * queues.carried(places[2], load) / places[2] == pytest.approx(use, abs=0.05)


def test_one_share_full_means_another_risk_in_another_size():
    assert [round(queues.erlang_b(n, 0.8 * n), 4) for n in (10, 20, 40)] == [0.1217, 0.0644, 0.0268]
    use = [round(100 * queues.carried(n, queues.load_for(n, 0.05)) / n) for n in (5, 10, 20, 50, 100)]
    assert use == [42, 59, 72, 85, 90]


def test_separate_groups_need_more_places_than_one():
    assert 4 * queues.places_for(5, 0.05) == 36
    assert queues.places_for(20, 0.05) == 26


def test_littles_law_and_the_days_over():
    # 54 intakes in 91 days, mean stay 47 days; a Poisson census of mean 20.
    assert queues.offered_load(54 / 91, 47) == pytest.approx(27.9, abs=0.05)
    assert queues.present_quantile(20, [0.90, 0.95, 0.99]).tolist() == [26, 28, 31]
    assert np.round(100 * queues.present_above(20, [24, 26, 28]), 1).tolist() == [15.7, 7.8, 3.4]
    stays = queues.present_quantile([queues.offered_load(54 / 91, w) for w in (40, 47, 54)], 0.95)
    assert stays.tolist() == [32, 37, 42]


def test_quarantine_whose_clock_restarts():
    pairs = [(0.05, 30, 69.6), (0.1, 30, 191), (1 / 30, 90, 573)]
    for rate, days, clear in pairs:
        assert queues.restarting_quarantine(rate, days) == pytest.approx(clear, rel=0.003)
    assert queues.restarting_quarantine(0, 30) == 30
    assert queues.filling_wait(6, 0.659) == pytest.approx(3.8, abs=0.01)


@pytest.mark.parametrize("seed", range(30))
def test_erlang_b_is_a_truncated_poisson(seed):
    rng = np.random.default_rng(seed)
    places, load = int(rng.integers(1, 80)), float(rng.uniform(0.1, 90))
    assert queues.erlang_b(places, load) == pytest.approx(
        stats.poisson.pmf(places, load) / stats.poisson.cdf(places, load)
    )
    refused = float(rng.uniform(0.005, 0.4))
    n = queues.places_for(load, refused)
    assert queues.erlang_b(n, load) <= refused < queues.erlang_b(n - 1, load)
    assert queues.erlang_b(places, queues.load_for(places, refused)) == pytest.approx(refused)


def test_refusals_by_simulation_do_not_depend_on_the_shape_of_stay():
    rng = np.random.default_rng(11)
    n, stay = 40_000, 8.0
    gaps = rng.exponential(1, n)
    for lengths in (rng.exponential(stay, n), rng.lognormal(math.log(stay) - 0.5, 1.0, n)):
        now, leaving, refused = 0.0, [], 0
        for gap, length in zip(gaps, lengths, strict=True):
            now += gap
            leaving = [t for t in leaving if t > now]
            if len(leaving) >= 10:
                refused += 1
            else:
                leaving.append(now + length)
        assert refused / n == pytest.approx(queues.erlang_b(10, stay), abs=0.012)


def test_no_places_refuse_all_and_no_load_needs_none():
    assert queues.erlang_b(0, 3) == 1
    assert queues.places_for(0, 0.05) == 0
    assert queues.erlang_c(3, 0).waits == 0


REFUSALS = [
    (lambda: queues.erlang_b(2.5, 1), "whole number of at least 0, but it is 2.5"),
    (lambda: queues.erlang_b(3, -1), "at least 0, but one is -1"),
    (lambda: queues.erlang_c(5, 5), "grows without end"),
    (lambda: queues.places_for(5, 5), "Write 0.05"),
    (lambda: queues.places_for(1e6, 0.05), "more than 100,000 places"),
    (lambda: queues.load_for(0, 0.05), "at least one place, but there are 0"),
    (lambda: queues.present_quantile(3, 95), "95 is written 0.95"),
    (lambda: queues.count_quantile(0, 1, 0.5), "mean 0, size 1"),
    (lambda: queues.filling_wait(4, 0), "never fills"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
