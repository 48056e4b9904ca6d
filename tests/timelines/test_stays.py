"""Stays in parts, and each convention of their clock."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records import from_frames
from mendcurve.timelines.stays import COLUMNS, stays

AS_OF = "2025-06-30"


def came(stay_id="S1", intake_date="2025-03-01", **more):
    return {
        "stay_id": stay_id,
        "species": "corn snake",
        "intake_type": "surrendered",
        "intake_date": intake_date,
        **more,
    }


def left(stay_id="S1", outcome_date="2025-03-11", outcome_type="adopted", **more):
    return {"stay_id": stay_id, "outcome_date": outcome_date, "outcome_type": outcome_type, **more}


def records(intakes=(), outcomes=(), *, start="2025-01-01", settings=None, **tables):
    given = {
        name: pd.DataFrame(list(rows))
        for name, rows in {"intakes": intakes, "outcomes": outcomes, **tables}.items()
        if rows
    }
    return from_frames(as_of=AS_OF, records_start=start, settings=settings, **given)


def only(frame):
    assert len(frame) == 1
    return frame.iloc[0]


def test_a_finished_stay_counts_whole_days_and_is_at_risk_from_day_0():
    row = only(stays(records([came()], [left()])))
    assert (row.days, row.first_day, row.last_day, row.entry, row.exit) == (10, 0, 10, -1, 10)
    assert (row.end, row.outcome, row.cause, row.used) == ("live", "adopted", 1, True)


def test_a_stay_that_ends_the_day_it_began_is_0_days_and_in_the_rates():
    row = only(stays(records([came()], [left(outcome_date="2025-03-01", outcome_type="died")])))
    assert (row.days, row.entry, row.exit, row.cause, row.used) == (0, -1, 0, 2, True)


def test_days_are_calendar_days_across_a_clock_change():
    row = only(stays(records([came(intake_date="2025-03-30")], [left(outcome_date="2025-04-02")])))
    assert row.days == 3


def test_an_open_stay_is_censored_at_the_as_of_date():
    row = only(stays(records([came()])))
    assert (row.end, row.outcome, row.cause, row.exit) == ("in care", "in care", 0, 121)
    assert pd.isna(row.outcome_date)


def test_a_stay_open_when_the_records_start_enters_late():
    row = only(stays(records([came(intake_date="2024-12-20")], [left()])))
    assert (row.first_day, row.entry, row.exit, row.used) == (12, 11, 81, True)


def test_a_stay_that_ended_on_the_first_day_of_the_records_counts_and_one_that_ended_before_does_not():
    frame = stays(
        records([came("A", "2024-12-20"), came("B", "2024-12-20")], [left("A", "2025-01-01"), left("B", "2024-12-31")])
    )
    assert frame.set_index("stay_id")["used"].to_dict() == {"A": True, "B": False}


def test_a_later_start_of_the_outcomes_table_delays_entry():
    row = only(stays(records([came()], settings={"dates.starts": {"outcomes": "2025-03-05"}})))
    assert row.first_day == 4


def test_a_group_is_one_row_for_each_way_out_and_one_for_what_is_left():
    frame = stays(
        records(
            [came(group_size=30)], [left(animals=10, outcome_type="died"), left(outcome_date="2025-03-21", animals=15)]
        )
    )
    rows = frame[["part", "animals", "end"]].to_numpy().tolist()
    assert rows == [[1, 10, "died"], [2, 15, "live"], [3, 5, "in care"]]
    assert set(frame["cluster"]) == {"S1"}


def test_an_outcome_without_a_number_takes_all_that_are_left():
    frame = stays(records([came(group_size=7)], [left(animals=2), left(outcome_date="2025-04-01")]))
    assert frame["animals"].tolist() == [2, 5]


def test_an_outcome_of_more_animals_than_are_left_takes_those_that_are():
    frame = stays(records([came(group_size=3)], [left(animals=2), left(outcome_date="2025-04-01", animals=9)]))
    assert frame["animals"].tolist() == [2, 1]


def test_animals_split_off_keep_the_groups_clock_and_are_no_new_intake():
    frame = stays(
        records(
            [came("G", group_size=5), came("X", "2025-03-11", group_size=2, split_from="G")], [left("X", "2025-03-31")]
        )
    )
    rows = frame.set_index(["stay_id", "end"])
    assert rows.loc[("G", "split off"), ["animals", "cause", "exit"]].tolist() == [2, 0, 9]
    assert rows.loc[("G", "in care"), "animals"] == 3
    child = rows.loc[("X", "live")]
    assert (child.is_intake, child.animals, child.days, child.entry, child.exit) == (False, 2, 30, 9, 30)
    assert set(frame["cluster"]) == {"G"}


def test_a_split_of_a_split_goes_back_to_the_day_the_group_came():
    frame = stays(
        records(
            [
                came("G", group_size=5),
                came("X", "2025-03-11", group_size=2, split_from="G"),
                came("Y", "2025-03-21", split_from="X"),
            ]
        )
    )
    assert (frame["clock_start"] == pd.Timestamp("2025-03-01")).all()
    assert frame.loc[frame["end"] == "in care", "animals"].sum() == 5


def test_a_split_the_group_cannot_supply_is_an_intake():
    frame = stays(
        records([came("G", group_size=1), came("X", "2025-03-20", group_size=4, split_from="G")], [left("G")])
    )
    assert frame.set_index("stay_id")["is_intake"].tolist() == [True, True]
    assert frame["animals"].sum() == 5


def test_splits_in_a_circle_end():
    frame = stays(records([came("A", split_from="B"), came("B", split_from="A")]))
    assert frame["animals"].sum() >= 2


def test_dead_on_arrival_is_counted_and_in_no_rate():
    row = only(stays(records([came(dead_on_arrival=True)])))
    assert (row.end, row.days, row.used, row.dead_on_arrival) == ("died", 0, False, True)


def test_foster_closes_nothing():
    foster = [{"stay_id": "S1", "what": "foster", "from_date": "2025-03-05", "to_date": "2025-04-05"}]
    assert only(stays(records([came()], periods=foster))).end == "in care"


def test_a_permanent_resident_is_marked_from_the_day_it_was_declared():
    kept = [{"stay_id": "S1", "what": "permanent resident", "from_date": "2025-04-01"}]
    row = only(stays(records([came()], periods=kept)))
    assert row.permanent
    assert row.permanent_from == pd.Timestamp("2025-04-01")


def test_left_but_not_recorded_how_is_censored_that_day():
    table = records([came()], [left()])
    table["outcomes"].loc[:, "outcome_type"] = "not recorded"
    row = only(stays(table))
    assert (row.end, row.cause, row.exit, row.outcome) == ("not recorded", 0, 10, "not recorded")


def test_facts_after_the_as_of_date_are_unknown():
    frame = stays(records([came("A"), came("B", "2025-07-01")], [left("A", "2025-07-02")]))
    assert only(frame).end == "in care"


def short_stays(n=40):
    return ([came(f"K{i}", "2022-02-01") for i in range(n)], [left(f"K{i}", "2022-03-01") for i in range(n)])


def test_a_silent_stay_far_longer_than_its_like_is_lost_track_of_at_its_last_record():
    intakes, outcomes = short_stays()
    weighed = [{"stay_id": "S1", "weighed_on": "2024-10-01", "weight": 300}]
    frame = stays(records([*intakes, came(intake_date="2024-05-01")], outcomes, start="2022-01-01", weighings=weighed))
    row = frame[frame["stay_id"] == "S1"].iloc[0]
    assert (row.end, row.cause, row.exit) == ("lost track of", 0, 153)
    assert pd.isna(row.outcome_date)


@pytest.mark.parametrize("news", ["2025-01-02", "2025-06-01"])
def test_a_stay_heard_of_within_180_days_is_in_care(news):
    intakes, outcomes = short_stays()
    weighed = [{"stay_id": "S1", "weighed_on": news, "weight": 300}]
    frame = stays(records([*intakes, came(intake_date="2024-05-01")], outcomes, start="2022-01-01", weighings=weighed))
    assert frame.loc[frame["stay_id"] == "S1", "end"].item() == "in care"


def test_180_days_of_silence_are_enough():
    intakes, outcomes = short_stays()
    frame = stays(records([*intakes, came(intake_date="2025-01-01")], outcomes, start="2022-01-01"))
    assert frame.loc[frame["stay_id"] == "S1", "end"].item() == "lost track of"


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("doses", {"course_id": "C1", "given_at": "2025-05-01 09:00"}),
        ("checks", {"episode_id": "E1", "checked_on": "2025-05-01", "result": "well"}),
        ("moves", {"stay_id": "S1", "moved_on": "2025-05-01", "zone": "quarantine"}),
        ("spending", {"spent_on": "2025-05-01", "amount": 5, "category": "medical", "episode_id": "E1"}),
        ("periods", {"stay_id": "S1", "what": "hold", "from_date": "2024-05-02", "to_date": "2025-05-01"}),
    ],
)
def test_a_record_of_any_sort_is_news(table, row):
    tables = {
        "conditions": [{"episode_id": "E1", "stay_id": "S1", "condition": "burns", "found_on": "2024-05-01"}],
        "courses": [{"course_id": "C1", "episode_id": "E1", "interval_hours": 24, "first_dose_at": "2024-05-02"}],
        table: [row],
    }
    frame = stays(records([came(intake_date="2024-05-01")], start="2022-01-01", **tables))
    assert only(frame).last_seen == pd.Timestamp("2025-05-01")


def test_a_stay_of_an_unusual_kind_is_measured_against_all():
    intakes, outcomes = short_stays()
    odd = came(intake_date="2024-05-01") | {"species": "axolotl"}
    frame = stays(records([*intakes, odd], outcomes, start="2022-01-01"))
    assert frame.loc[frame["stay_id"] == "S1", "end"].item() == "lost track of"


def test_a_returned_animal_is_one_cluster_with_two_stays():
    frame = stays(
        records(
            [came("A", animal_id="N1"), came("B", "2025-05-01", animal_id="N1", intake_type="returned")], [left("A")]
        )
    )
    assert frame["cluster"].tolist() == ["N1", "N1"]


def test_no_records_give_no_rows_and_all_columns():
    frame = stays(from_frames(as_of=AS_OF))
    assert tuple(frame.columns) == COLUMNS
    assert frame.empty
    assert frame["exit"].dtype == "int64"


def test_an_outcome_before_its_intake_is_refused():
    with pytest.raises(InputError, match=r"1 of 1 do not:\n  S1: came 2025-03-01, left 2025-02-01"):
        stays(records([came()], [left(outcome_date="2025-02-01")]))


def random_tables(seed, n=60):
    rng = np.random.default_rng(seed)
    day = pd.Timestamp("2024-10-01") + pd.to_timedelta(rng.integers(0, 270, n), "D")
    intakes = pd.DataFrame(
        {
            "stay_id": [f"S{i}" for i in range(n)],
            "species": rng.choice(["corn snake", "axolotl"], n),
            "intake_date": day,
            "intake_type": "stray",
            "group_size": rng.choice([1, 1, 3, 12], n),
            "dead_on_arrival": rng.random(n) < 0.05,
            "split_from": [f"S{rng.integers(0, n)}" if rng.random() < 0.2 else None for _ in range(n)],
        }
    )
    pick = intakes.sample(n, replace=True, random_state=seed)
    outcomes = pd.DataFrame(
        {
            "stay_id": pick["stay_id"],
            "outcome_date": pick["intake_date"] + pd.to_timedelta(rng.integers(0, 200, n), "D"),
            "outcome_type": rng.choice(["adopted", "died", "missing", "released"], n),
            "animals": pd.array(rng.choice([1, 2, 5], n), "Int64"),
        }
    )
    return intakes, outcomes


@pytest.mark.parametrize("seed", range(25))
def test_no_animal_appears_or_disappears(seed):
    intakes, outcomes = random_tables(seed)
    frame = stays(from_frames(as_of=AS_OF, records_start="2025-01-01", intakes=intakes, outcomes=outcomes))
    known = intakes[intakes["intake_date"] <= AS_OF]
    assert frame.groupby("stay_id")["animals"].sum().to_dict() == known.set_index("stay_id")["group_size"].to_dict()
    assert (frame["animals"] > 0).all()
    split = frame.loc[frame["end"] == "split off", "animals"].sum()
    assert split == frame.loc[~frame["is_intake"], "animals"].sum()
    assert (frame.loc[frame["used"], "exit"] > frame.loc[frame["used"], "entry"]).all()


def test_thirty_thousand_stays_take_under_two_seconds():
    intakes, outcomes = random_tables(1, 30_000)
    table = from_frames(as_of=AS_OF, records_start="2025-01-01", intakes=intakes, outcomes=outcomes)
    began = time.process_time()
    stays(table)
    assert time.process_time() - began < 2
