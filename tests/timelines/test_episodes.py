"""Episodes: each way one can end, and the clock it is counted on."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.records import from_frames
from mendcurve.timelines.episodes import COLUMNS, episodes

AS_OF = "2025-06-30"
STAY = {"stay_id": "S1", "species": "corn snake", "intake_type": "stray", "intake_date": "2025-03-01"}
FOUND = {"episode_id": "E1", "stay_id": "S1", "condition": "burns", "found_on": "2025-03-02"}


def records(found=(FOUND,), outcomes=(), *, intakes=(STAY,), start="2025-01-01", settings=None, **tables):
    given = {
        name: pd.DataFrame(list(rows))
        for name, rows in {"intakes": intakes, "conditions": found, "outcomes": outcomes, **tables}.items()
        if rows
    }
    return from_frames(as_of=AS_OF, records_start=start, settings=settings, **given)


def left(outcome_date="2025-03-22", outcome_type="adopted", **more):
    return {"stay_id": "S1", "outcome_date": outcome_date, "outcome_type": outcome_type, **more}


def only(frame):
    assert len(frame) == 1
    return frame.iloc[0]


@pytest.mark.parametrize(("ended_as", "cause"), [("cleared", 1), ("managed", 2), ("misdiagnosed", 3)])
def test_an_episode_that_ended_by_itself(ended_as, cause):
    row = only(episodes(records([FOUND | {"ended_on": "2025-03-12", "ended_as": ended_as}])))
    assert (row.end, row.cause, row.entry, row.exit, row.days) == (ended_as, cause, -1, 10, 10)


@pytest.mark.parametrize(
    ("outcome", "end", "cause"),
    [
        ("died", "died", 4),
        ("euthanised", "died", 4),
        ("euthanised at owner's request", "died", 4),
        ("adopted", "left uncleared", 5),
        ("returned to owner", "left uncleared", 5),
        ("transferred out", "left uncleared", 5),
        ("released", "left uncleared", 5),
        ("missing", "missing", 6),
    ],
)
def test_an_episode_open_when_the_animal_leaves_ends_with_it(outcome, end, cause):
    row = only(episodes(records(outcomes=[left(outcome_type=outcome)])))
    assert (row.end, row.cause, row.exit) == (end, cause, 20)


def test_an_open_episode_is_censored_at_the_as_of_date():
    row = only(episodes(records()))
    assert (row.end, row.cause, row.exit) == ("open", 0, 120)
    assert pd.isna(row.end_date)


def test_cleared_and_adopted_on_one_day_is_cleared():
    row = only(episodes(records([FOUND | {"ended_on": "2025-03-22", "ended_as": "cleared"}], [left()])))
    assert row.end == "cleared"


def test_cleared_and_died_on_one_day_is_died():
    row = only(
        episodes(records([FOUND | {"ended_on": "2025-03-22", "ended_as": "cleared"}], [left(outcome_type="died")]))
    )
    assert row.end == "died"


def test_an_episode_found_before_intake_is_at_risk_from_intake_on():
    row = only(episodes(records([FOUND | {"found_on": "2025-02-19"}])))
    assert (row.first_day, row.entry, row.exit) == (10, 9, 131)


def test_an_episode_found_before_the_records_start_enters_late():
    row = only(episodes(records(start="2025-03-09")))
    assert (row.first_day, row.entry) == (7, 6)


def test_an_episode_over_before_the_records_start_is_kept_and_not_used():
    row = only(episodes(records([FOUND | {"ended_on": "2025-03-08", "ended_as": "cleared"}], start="2025-03-09")))
    assert not row.used


def test_lifelong_conditions_are_known_on_the_day_found_whatever_the_spelling():
    row = only(episodes(records(settings={"conditions.lifelong": ["Burns "]})))
    assert row.lifelong


def test_an_episode_that_turned_out_managed_is_not_lifelong():
    row = only(episodes(records([FOUND | {"ended_on": "2025-03-12", "ended_as": "managed"}])))
    assert not row.lifelong


def test_the_second_episode_of_a_condition_in_a_stay_is_a_relapse():
    found = [
        FOUND | {"ended_on": "2025-03-12", "ended_as": "cleared"},
        FOUND | {"episode_id": "E2", "found_on": "2025-05-01"},
        FOUND | {"episode_id": "E3", "condition": "mites", "found_on": "2025-05-01"},
    ]
    frame = episodes(records(found)).set_index("episode_id")
    assert frame["relapse"].to_dict() == {"E1": False, "E2": True, "E3": False}


def test_an_end_after_the_as_of_date_is_unknown():
    row = only(episodes(records([FOUND | {"ended_on": "2025-07-12", "ended_as": "cleared"}])))
    assert row.end == "open"


def test_an_end_without_how_is_cleared_where_the_rescue_keeps_no_how():
    assert only(episodes(records([FOUND | {"ended_on": "2025-03-12"}]))).end == "cleared"


def test_an_end_without_how_is_not_recorded_where_others_have_one():
    found = [
        FOUND | {"ended_on": "2025-03-12"},
        FOUND | {"episode_id": "E2", "condition": "mites", "ended_on": "2025-03-12", "ended_as": "cleared"},
    ]
    row = episodes(records(found)).set_index("episode_id").loc["E1"]
    assert (row.end, row.cause, row.exit) == ("not recorded", 0, 10)


def test_a_cleared_episode_without_a_date_is_not_recorded_and_censored_on_the_day_found():
    row = only(episodes(records([FOUND | {"ended_as": "cleared"}])))
    assert (row.end, row.cause, row.exit, row.used) == ("not recorded", 0, 0, True)


def test_an_episode_of_a_group_follows_each_part():
    frame = episodes(
        records(
            [FOUND | {"ended_on": "2025-04-01", "ended_as": "cleared"}],
            [left(outcome_type="died", animals=10)],
            intakes=[STAY | {"group_size": 30}],
        )
    )
    assert sorted(zip(frame["end"], frame["animals"], frame["exit"], strict=True)) == [
        ("cleared", 20, 30),
        ("died", 10, 20),
    ]
    assert set(frame["cluster"]) == {"S1"}


def test_an_ended_episode_of_some_of_a_group_is_of_those_still_there():
    frame = episodes(
        records(
            [FOUND | {"ended_on": "2025-04-01", "ended_as": "cleared", "animals": 4}],
            [left(outcome_type="died", animals=10)],
            intakes=[STAY | {"group_size": 30}],
        )
    )
    assert frame[["end", "animals"]].to_numpy().tolist() == [["cleared", 4]]


def test_an_open_episode_of_some_of_a_group_is_of_those_that_did_worst():
    frame = episodes(
        records([FOUND | {"animals": 12}], [left(outcome_type="died", animals=10)], intakes=[STAY | {"group_size": 30}])
    )
    assert sorted(zip(frame["end"], frame["animals"], strict=True)) == [("died", 10), ("open", 2)]


def test_animals_that_left_before_it_was_found_have_no_episode():
    frame = episodes(
        records([FOUND | {"found_on": "2025-05-01"}], [left(animals=10)], intakes=[STAY | {"group_size": 30}])
    )
    assert frame["animals"].tolist() == [20]


def test_an_episode_of_animals_split_off_goes_on_under_their_own_stay():
    intakes = [STAY | {"group_size": 5}, STAY | {"stay_id": "S2", "intake_date": "2025-03-12", "split_from": "S1"}]
    found = [FOUND, FOUND | {"episode_id": "E2", "stay_id": "S2", "ended_on": "2025-03-22", "ended_as": "cleared"}]
    frame = episodes(records(found, intakes=intakes)).set_index(["episode_id", "end"])
    assert frame.loc[("E1", "split off"), ["animals", "exit"]].tolist() == [1, 9]
    assert frame.loc[("E1", "open"), "animals"] == 4
    assert frame.loc[("E2", "cleared"), ["entry", "exit", "relapse"]].tolist() == [9, 20, False]


def test_a_silent_episode_far_longer_than_its_like_is_lost_track_of():
    many = [STAY | {"stay_id": f"K{i}", "intake_date": "2024-01-01"} for i in range(40)]
    gone = [left("2024-01-20") | {"stay_id": f"K{i}"} for i in range(40)]
    found = [FOUND | {"episode_id": f"Q{i}", "stay_id": f"K{i}", "found_on": "2024-01-01"} for i in range(40)]
    frame = episodes(
        records(
            [*found, FOUND | {"found_on": "2024-08-01"}],
            gone,
            start="2024-01-01",
            intakes=[*many, STAY | {"intake_date": "2024-08-01"}],
            weighings=[{"stay_id": "S1", "weighed_on": "2024-08-21", "weight": 90}],
        )
    )
    row = frame.set_index("episode_id").loc["E1"]
    assert (row.end, row.cause, row.exit) == ("lost track of", 0, 20)


def test_an_animal_dead_on_arrival_was_never_at_risk():
    row = only(episodes(records([FOUND | {"found_on": "2025-03-01"}], intakes=[STAY | {"dead_on_arrival": True}])))
    assert not row.used


def test_no_conditions_give_no_rows_and_all_columns():
    frame = episodes(from_frames(as_of=AS_OF))
    assert tuple(frame.columns) == COLUMNS
    assert frame.empty
