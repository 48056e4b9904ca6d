"""Several conditions in one stay: pieces by what else was open, and the day an animal was clear of all."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.questions import recovery
from mendcurve.records import from_frames
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.together import split_by_others, until_clear

START = pd.Timestamp("2025-01-01")


def records(found, *, stays=None, outcomes=()):
    """Build episodes: (stay, condition, day found, day ended or None); outcomes: (stay, day, type)."""
    on = [START + pd.Timedelta(days=f) for _, _, f, _ in found]
    off = [None if e is None else START + pd.Timedelta(days=e) for *_, e in found]
    names = sorted({f[0] for f in found})
    tables = {
        "intakes": pd.DataFrame({"stay_id": names, "animal_id": names, "species": "corn snake", "intake_date": START,
                                 "intake_type": "stray"}),
        "conditions": pd.DataFrame({
            "episode_id": [f"E{i}" for i in range(len(found))], "stay_id": [f[0] for f in found],
            "condition": [f[1] for f in found], "found_on": on, "ended_on": off,
            "ended_as": [None if e is None else "cleared" for *_, e in found]}),
    }  # fmt: skip
    if outcomes:
        tables["outcomes"] = pd.DataFrame(
            [(s, START + pd.Timedelta(days=d), t) for s, d, t in outcomes],
            columns=["stay_id", "outcome_date", "outcome_type"],
        )
    return from_frames(as_of="2025-12-31", records_start="2024-01-01", settings={"conditions.lifelong": ["blind"]},
                       **tables)  # fmt: skip


def pieces(found, condition):
    rows = split_by_others(episodes(records(found)))
    rows = rows[rows["condition"] == condition]
    return list(rows[["entry", "exit", "cause", "other_open"]].itertuples(index=False, name=None))


def test_a_condition_is_split_on_the_days_another_began_and_ended():
    found = [("S", "burns", 0, 30), ("S", "mites", 10, 20)]
    assert pieces(found, "burns") == [(-1, 10, 0, False), (10, 20, 0, True), (20, 30, 1, False)]
    assert pieces(found, "mites") == [(-1, 10, 1, True)]


def test_what_is_found_on_the_day_of_clearing_did_not_hold_it_up():
    found = [("S", "burns", 0, 30), ("S", "mites", 30, 40)]
    assert pieces(found, "burns") == [(-1, 30, 1, False)]
    # the other was still there on the day mites were found, and counts to the end of that day
    assert pieces(found, "mites") == [(-1, 0, 0, True), (0, 10, 1, False)]


def test_a_lifelong_condition_counts_as_open_and_other_stays_do_not():
    found = [("S", "burns", 0, 30), ("S", "blind", 0, None), ("T", "mites", 0, 9)]
    assert pieces(found, "burns") == [(-1, 30, 1, True)]
    assert pieces(found, "mites") == [(-1, 9, 1, False)]


def test_pieces_add_up_to_the_whole(demo):
    frame = episodes(demo)
    own = frame[frame["used"] & ~frame["lifelong"] & ~frame["relapse"]]
    split = split_by_others(frame)
    assert (split["exit"] - split["entry"]).sum() == (own["exit"] - own["entry"]).sum()
    assert (split["cause"] > 0).sum() == (own["cause"] > 0).sum()
    assert (split["exit"] > split["entry"]).all()


@pytest.mark.parametrize(
    ("found", "outcomes", "expected"),
    [
        ([("S", "burns", 5, 30), ("S", "mites", 10, 50)], (), (45, 1, 2)),
        ([("S", "burns", 0, 30), ("S", "mites", 40, 50)], (), (30, 1, 1)),
        ([("S", "burns", 0, 30), ("S", "mites", 30, 50)], (), (50, 1, 2)),
        ([("S", "burns", 0, 30), ("S", "blind", 0, None)], (), (30, 1, 1)),
        ([("S", "burns", 0, 30), ("S", "mites", 10, None)], (("S", 44, "died"),), (44, 2, 2)),
        ([("S", "burns", 0, 30), ("S", "mites", 10, None)], (("S", 44, "adopted"),), (44, 3, 2)),
        # silent for half a year: lost track of, followed to its last record
        ([("S", "burns", 0, 30), ("S", "mites", 10, None)], (), (30, 0, 2)),
    ],
)
def test_the_day_an_animal_is_clear_of_all(found, outcomes, expected):
    row = until_clear(records(found, outcomes=outcomes)).iloc[0]
    assert (row["exit"], row["cause"], row["conditions"]) == expected
    assert row["used"]


def test_an_animal_waits_longest_for_its_slowest_condition(demo):
    frame = recovery.several(demo).to_frame().set_index("conditions")
    assert frame["animals"].sum() > 300
    assert frame.loc["one condition", "median"] < frame.loc["two conditions", "median"]


def test_the_pace_is_near_the_truth_that_conditions_do_not_hold_each_other_up(demo):
    """In the demo each episode runs by itself, so the ratio is 1; days by number of conditions differ all the same."""
    answer = recovery.several(demo)
    assert answer.pace[1] < 1 < answer.pace[2]
    assert "no difference can be told" in answer.sentence()


def test_too_few_beside_another_says_so():
    answer = recovery.several(records([("S", "burns", 0, 30), ("T", "burns", 0, 20)]))
    assert "Too few" in answer.sentence()
