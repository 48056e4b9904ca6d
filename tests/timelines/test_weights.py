"""Weighings: each rule of which can be used, which level they stand on, and what was going on."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.records import from_frames
from mendcurve.timelines.weights import COLUMNS, weights


def _records(weighings, *, intakes=None, as_of="2026-03-31", **tables):
    if intakes is None:
        intakes = {
            "stay_id": ["S1"],
            "species": ["corn snake"],
            "intake_date": ["2026-01-01"],
            "intake_type": ["stray"],
        }
    tables = {name: pd.DataFrame(t) for name, t in tables.items()}
    return from_frames(as_of=as_of, intakes=pd.DataFrame(intakes), weighings=pd.DataFrame(weighings), **tables)


def _weighings(days, grams, **more):
    dates = pd.Timestamp("2026-01-01") + pd.to_timedelta(days, unit="D")
    return {"stay_id": ["S1"] * len(days), "weighed_on": dates.strftime("%Y-%m-%d"), "weight": grams, **more}


def test_days_and_logs_of_plain_weighings():
    got = weights(_records(_weighings([0, 7, 14], [100, 110, 121])))
    assert list(got.columns) == list(COLUMNS)
    assert list(got["day"]) == [0, 7, 14]
    assert got["log_g"].to_numpy() == pytest.approx(np.log([100, 110, 121]))
    assert got["usable"].all()
    assert (got["segment"] == 0).all()


def test_weighings_are_put_in_order():
    got = weights(_records(_weighings([14, 0, 7], [121, 100, 110])))
    assert list(got["weight_g"]) == [100, 110, 121]


@pytest.mark.parametrize("word", ["laid eggs", "gave birth", "tail lost", "bladder emptied"])
def test_a_step_starts_a_new_level_at_its_own_weighing(word):
    got = weights(_records(_weighings([0, 7, 14, 21], [100, 110, 90, 91], circumstance=["", "shed", word, ""])))
    assert list(got["segment"]) == [0, 0, 1, 1]
    assert got["usable"].all()


def test_shed_gravid_and_brumating_are_no_steps():
    got = weights(_records(_weighings([0, 7, 14], [100, 99, 98], circumstance=["gravid", "brumating", "shed"])))
    assert (got["segment"] == 0).all()
    assert list(got["gravid"]) == [True, False, False]
    assert list(got["brumating"]) == [False, True, False]


def test_a_group_weight_and_a_stay_of_several_are_kept_and_not_used():
    intakes = {
        "stay_id": ["S1", "S2"],
        "species": ["corn snake"] * 2,
        "intake_date": ["2026-01-01"] * 2,
        "intake_type": ["stray"] * 2,
        "group_size": [1, 3],
    }
    table = _weighings([0, 7], [100, 300], is_group_weight=[False, True])
    table = {
        name: [*v, *w] for (name, v), w in zip(table.items(), (["S2"], ["2026-01-01"], [90], [False]), strict=True)
    }
    got = weights(_records(table, intakes=intakes))
    assert list(got["usable"]) == [True, False, False]
    assert list(got["why_not"]) == ["", "group weight", "group weight"]


def test_fed_within_the_gut_days_is_left_out():
    records = _records(_weighings([0, 7, 10, 14], [100, 120, 110, 104], circumstance=["", "fed", "", ""]))
    assert list(weights(records)["why_not"]) == ["", "fed", "", ""]
    slow = records.species.assign(gut_days=4.0)
    object.__setattr__(records, "species", slow)
    assert list(weights(records)["why_not"]) == ["", "fed", "fed", ""]


def test_two_on_one_day_within_three_percent_are_averaged():
    got = weights(_records(_weighings([0, 7, 7], [100, 100, 103])))
    assert list(got["usable"]) == [True, True, False]
    assert got["log_g"][1] == pytest.approx(np.log(np.sqrt(100 * 103)))
    assert got["why_not"][2] == "averaged with another of the day"


def test_two_on_one_day_further_apart_are_both_doubtful():
    got = weights(_records(_weighings([0, 7, 7], [100, 100, 103.2])))
    assert list(got["usable"]) == [True, False, False]
    assert list(got["doubtful"]) == [False, True, True]


def test_a_fed_weight_does_not_spoil_the_other_of_the_day():
    got = weights(_records(_weighings([7, 7], [100, 120], circumstance=["", "fed"])))
    assert sorted(got["why_not"]) == ["", "fed"]


def test_brumation_and_courses_are_marked_both_ends_counted():
    got = weights(
        _records(
            _weighings([9, 10, 20, 21], [100, 100, 100, 100]),
            periods={"stay_id": ["S1"], "what": ["brumating"], "from_date": ["2026-01-11"], "to_date": ["2026-01-21"]},
            conditions={"episode_id": ["E1"], "stay_id": ["S1"], "condition": ["burn"], "found_on": ["2026-01-01"]},
            courses={
                "course_id": ["C1"],
                "episode_id": ["E1"],
                "interval_hours": [24],
                "doses_planned": [12],
                "first_dose_at": ["2026-01-10 18:00"],
            },
        )
    )
    assert list(got["brumating"]) == [False, True, True, False]
    assert list(got["in_course"]) == [True, True, True, False]
    assert got["usable"].all()


def test_later_than_the_as_of_date_is_not_known():
    assert len(weights(_records(_weighings([0, 7], [100, 110]), as_of="2026-01-05"))) == 1


def test_before_intake_no_stay_and_no_weight_say_so():
    table = _weighings([-3, 0, 7], [100, 0, 110])
    table["stay_id"] = ["S1", "S1", "S9"]
    assert list(weights(_records(table))["why_not"]) == ["before intake", "no weight", "stay not known"]


def test_every_row_is_kept_or_says_why_not(demo):
    got = weights(demo)
    expected = (demo["weighings"]["weighed_on"] <= demo.as_of).sum()
    assert len(got) == expected
    assert (got["usable"] == (got["why_not"] == "")).all()
    assert got["usable"].mean() > 0.5
    assert not got.loc[got["usable"]].duplicated(["stay_id", "weighed_on"]).any()


def test_no_weighings_gives_the_columns():
    got = weights(
        from_frames(
            as_of="2026-01-01",
            intakes=pd.DataFrame(
                {"stay_id": ["S1"], "species": ["corn snake"], "intake_date": ["2026-01-01"], "intake_type": ["stray"]}
            ),
        )
    )
    assert list(got.columns) == list(COLUMNS)
    assert got.empty


def test_a_weighing_after_the_animal_left_is_not_used():
    outcomes = {"stay_id": ["S1"], "outcome_date": ["2026-01-10"], "outcome_type": ["adopted"]}
    got = weights(_records(_weighings([0, 9, 12], [100, 110, 40]), outcomes=outcomes))
    assert list(got["why_not"]) == ["", "", "after it left"]
