"""The tally: counts, additivity, conventions, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mendcurve.errors import InputError
from mendcurve.methods import tally as module
from mendcurve.methods.tally import Tally, first_day_with, last_day_with

FIELDS = ("entered", "entered2", "events", "events2", "censored", "censored2")


def same(a, b):
    assert a.groups == b.groups and a.causes == b.causes
    np.testing.assert_array_equal(a.day, b.day)
    for name in FIELDS:
        np.testing.assert_allclose(getattr(a, name), getattr(b, name), rtol=0, atol=1e-12, err_msg=name)


# entry, length, cause, group, weight
row = st.tuples(st.integers(-1, 12), st.integers(1, 15), st.integers(0, 2), st.sampled_from("ab"), st.integers(0, 5))


def build(rows, groups=("a", "b")):
    e, n, c, g, w = (np.array([r[i] for r in rows]) for i in range(5))
    return Tally.from_arrays(e, e + n, c, group=g, weight=w, causes=("x", "y"), groups=groups)


@settings(max_examples=60, deadline=None)
@given(st.lists(row, min_size=1, max_size=30), st.lists(row, min_size=1, max_size=30))
def test_the_sum_of_two_tallies_is_the_tally_of_both(first, second):
    same(build(first) + build(second), build(first + second))
    same(build(first) + build(second), build(second) + build(first))


@settings(max_examples=40, deadline=None)
@given(st.lists(row, min_size=1, max_size=40))
def test_counts_are_what_a_loop_over_rows_gives(rows):
    tally = build(rows)
    for g, name in enumerate("ab"):
        for k, day in enumerate(tally.day):
            here = [r for r in rows if r[3] == name]
            assert tally.entered[g, k] == sum(r[4] for r in here if r[0] == day)
            assert tally.entered2[g, k] == sum(r[4] ** 2 for r in here if r[0] == day)
            assert tally.at_risk()[g, k] == sum(r[4] for r in here if r[0] < day <= r[0] + r[1])
            assert tally.after()[g, k] == sum(r[4] for r in here if r[0] <= day < r[0] + r[1])
            for c in (1, 2):
                assert tally.events[g, c - 1, k] == sum(r[4] for r in here if r[0] + r[1] == day and r[2] == c)
                assert tally.events2[g, c - 1, k] == sum(r[4] ** 2 for r in here if r[0] + r[1] == day and r[2] == c)
            assert tally.censored[g, k] == sum(r[4] for r in here if r[0] + r[1] == day and r[2] == 0)
            assert tally.censored2[g, k] == sum(r[4] ** 2 for r in here if r[0] + r[1] == day and r[2] == 0)


@settings(max_examples=30, deadline=None)
@given(st.lists(row, min_size=1, max_size=30))
def test_merged_groups_and_collapsed_causes_are_counted_as_if_never_apart(rows):
    tally = build(rows)
    together = build([(*r[:3], "all", r[4]) for r in rows], groups=("all",))
    same(tally.merge_groups({"a": "all", "b": "all"}), together)
    one = tally.collapse({"x": "event", "y": "event"})
    np.testing.assert_array_equal(one.events[:, 0], tally.events.sum(axis=1))
    np.testing.assert_array_equal(one.events2[:, 0], tally.events2.sum(axis=1))
    same(one, tally.any_cause())


def test_at_risk_table_with_delayed_entry():
    # PITFALLS: entries 0,0,0,5,5,5 exits 3,4,10,11,12,13; those seen from the origin enter at -1 here
    tally = Tally.from_arrays([-1, -1, -1, 5, 5, 5], [3, 4, 10, 11, 12, 13], [1] * 6)
    assert tally.at_risk([0, 5, 6, 12]).tolist() == [[3, 1, 4, 2]]


def test_at_risk_before_the_first_and_after_the_last_day_is_nobody():
    tally = Tally.from_arrays([2], [5], [1])
    assert tally.at_risk([0, 2, 3, 5, 6, 99]).tolist() == [[0, 0, 1, 1, 0, 0]]


def test_entry_is_exclusive_and_exit_inclusive():
    tally = Tally.from_arrays([3, 0], [6, 3], [1, 1])
    assert tally.at_risk([3, 4]).tolist() == [[1, 1]]


def test_real_times_and_real_weights_are_counted():
    tally = Tally.from_arrays(None, [0.5, 1.25, 1.25], [1, 0, 1], weight=[0.5, 0.25, 2.0])
    assert tally.day.tolist() == [-1, 0.5, 1.25]
    assert tally.at_risk().tolist() == [[0, 2.75, 2.25]]
    assert tally.events2[0, 0].tolist() == [0, 0.25, 4.0]


def test_a_residue_of_rounding_is_nobody():
    tally = Tally.from_arrays(None, [1, 2, 3], [1, 1, 1], weight=[0.1, 0.2, 0.3])
    assert tally.after()[0, -1] == 0


def test_counting_in_chunks_changes_nothing(monkeypatch):
    rng = np.random.default_rng(5)
    end, why, group = rng.integers(0, 40, 500), rng.integers(0, 3, 500), rng.choice(list("pq"), 500)
    whole = Tally.from_arrays(None, end, why, group=group, causes=("x", "y"))
    monkeypatch.setattr(module, "CHUNK", 7)
    same(Tally.from_arrays(None, end, why, group=group, causes=("x", "y")), whole)


def test_design_effect_of_one_row_of_thirty_is_thirty():
    tally = Tally.from_arrays(None, [4], [1], weight=[30])
    on, after = tally.design_effect()
    assert on[0].tolist() == [1, 30]
    assert after[0].tolist() == [30, 1]


def test_a_named_group_without_rows_keeps_its_zeros():
    tally = Tally.from_arrays(None, [3], [1], group=["a"], groups=("b", "a"))
    assert tally.groups == ("b", "a")
    assert tally.entered.sum(axis=1).tolist() == [0, 1]
    assert Tally.from_arrays([], [], [], groups=("b",)).entered.shape == (1, 0)


def test_starting_at_a_day_keeps_those_who_reached_it():
    tally = Tally.from_arrays([-1, -1, 4, 8], [3, 9, 7, 12], [1, 1, 0, 1], weight=[1, 2, 1, 1])
    later = tally.starting_at(6)
    assert later.at_risk([6, 7, 8, 9, 12]).tolist() == tally.at_risk([6, 7, 8, 9, 12]).tolist() == [[3, 3, 2, 3, 1]]
    assert later.entered2[0, 0] == 2**2 + 1
    assert later.events.sum() == 2 + 1 and later.day.tolist() == [5, 7, 8, 9, 12]


def test_starting_at_a_day_keeps_those_who_end_on_it():
    later = Tally.from_arrays(None, [3, 6, 9], [1, 1, 1]).starting_at(6)
    assert later.at_risk([6, 9]).tolist() == [[2, 1]] and later.events.sum() == 2


def test_first_and_last_day_with_enough_at_risk():
    # PITFALLS: one at risk early, dead on day 2
    tally = Tally.from_arrays([0, 5, 5, 5, 6, 6], [2, 10, 12, 15, 20, 25], [1, 1, 1, 0, 1, 0])
    assert first_day_with(tally, 1).tolist() == [1]
    assert first_day_with(tally, 3).tolist() == [6]
    assert first_day_with(tally, 5).tolist() == [7]
    assert last_day_with(tally, 3).tolist() == [15]
    assert np.isnan(first_day_with(tally, 6)).all() and np.isnan(last_day_with(tally, 6)).all()


def test_one_cause_alone_takes_the_others_as_censored():
    tally = Tally.from_arrays(None, [1, 2, 3, 3], [1, 2, 0, 1], weight=[1, 3, 1, 1], causes=("x", "y"))
    alone = tally.censoring_others("x")
    assert alone.causes == ("x",) and alone.events[0, 0].tolist() == [0, 1, 0, 1]
    assert alone.censored[0].tolist() == [0, 0, 3, 1] and alone.censored2[0].tolist() == [0, 0, 9, 1]
    np.testing.assert_array_equal(alone.at_risk(), tally.at_risk())


OK = {"entry": [-1, 0], "exit": [3, 4], "cause": [1, 0]}
REFUSALS = [
    ({"exit": [3]}, "same length"),
    ({"exit": [3, np.nan]}, "must be numbers, but 1 of 2"),
    ({"exit": [-1, 4]}, r"exit must be after entry.*1 of 2(.|\n)*row 0: entry -1, exit -1"),
    ({"cause": [2, 0]}, "whole number up to 1"),
    ({"cause": [0.5, 0]}, "whole number up to 1"),
    ({"weight": [1, -1]}, "weight must be"),
    ({"weight": [1, np.nan]}, "weight must be"),
    ({"group": ["snake", None]}, "needs a group(.|\n)*without one: 1 of 2"),
    ({"group": ["snake", "frog"], "groups": ("snake", "frogs")}, 'frog Did you mean "frogs"'),
]


@pytest.mark.parametrize(("change", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(change, says):
    given_ = OK | change
    with pytest.raises(InputError, match=says):
        Tally.from_arrays(given_.pop("entry"), given_.pop("exit"), given_.pop("cause"), **given_)


def test_other_refusals():
    tally = Tally.from_arrays(None, [3, 4], [1, 0], group=["snake", "frog"])
    with pytest.raises(InputError, match=r'no group "snke".*Did you mean "snake"'):
        tally.one("snke")
    with pytest.raises(InputError, match='no cause "died"'):
        tally.censoring_others("died")
    with pytest.raises(InputError, match="not named: frog"):
        tally.merge_groups({"snake": "all"})
    with pytest.raises(InputError, match="unknown: newt"):
        tally.merge_groups({"snake": "all", "frog": "all", "newt": "all"})
    with pytest.raises(InputError, match="same causes"):
        tally + Tally.from_arrays(None, [1], [1], causes=("died",))
    with pytest.raises(TypeError):
        tally + 1
