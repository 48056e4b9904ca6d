"""Several conditions in one stay: pieces by what else was open, and the day an animal was clear of all."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.questions import recovery
from mendcurve.records import from_frames
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.together import ENDS, split_by_others, until_clear

START = pd.Timestamp("2025-01-01")


def day(number):
    return None if number is None else START + pd.Timedelta(days=number)


def ends(rows):
    """Return (animals, last day, end, conditions on the first day) of each row of until_clear."""
    kinds = ("", *ENDS)
    names = [kinds[cause] for cause in rows["cause"]]
    return sorted(zip(rows["animals"], rows["exit"], names, rows["at_first"], strict=True))


def records(found, *, sizes=None, outcomes=(), animals=None):
    """Build records.

    found: (stay, condition, day found, day ended or None, ended as (cleared), animals (all)); sizes: animals by stay
    (1); outcomes: (stay, day, type, animals (all)); animals: id by stay (the stay's).
    """
    found = [(*f, *(("cleared" if f[3] is not None else None), None)[len(f) - 4 :]) for f in found]
    names = sorted({f[0] for f in found})
    sizes, ids = sizes or {}, {name: name for name in names if (sizes or {}).get(name, 1) == 1} | (animals or {})
    tables = {
        "intakes": pd.DataFrame({"stay_id": names, "animal_id": [ids.get(n) for n in names], "species": "corn snake",
                                 "intake_date": START, "intake_type": "stray",
                                 "group_size": [sizes.get(n, 1) for n in names]}),
        "conditions": pd.DataFrame({
            "episode_id": [f"E{i}" for i in range(len(found))], "stay_id": [f[0] for f in found],
            "condition": [f[1] for f in found], "found_on": [day(f[2]) for f in found],
            "ended_on": [day(f[3]) for f in found], "ended_as": [f[4] for f in found],
            "animals": [f[5] for f in found]}),
    }  # fmt: skip
    if outcomes:
        tables["outcomes"] = pd.DataFrame(
            [(o[0], day(o[1]), o[2], o[3] if len(o) > 3 else None) for o in outcomes],
            columns=["stay_id", "outcome_date", "outcome_type", "animals"],
        )
    return from_frames(as_of="2025-12-31", records_start="2024-01-01", settings={"conditions.lifelong": ["blind"]},
                       **tables)  # fmt: skip


def pieces(found, condition, **more):
    rows = split_by_others(episodes(records(found, **more)))
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


def test_the_dead_of_a_group_are_not_lost_behind_its_last_end():
    names = [f"G{i}" for i in range(6)]
    built = records([(name, "mites", 0, 20 + i) for i, name in enumerate(names)], sizes=dict.fromkeys(names, 10),
                    outcomes=[(name, 2, "died", 9) for name in names])  # fmt: skip
    rows = until_clear(built)
    assert rows.groupby("cause")["animals"].sum().to_dict() == {1: 6, 2: 54}
    frame = recovery.several(built).to_frame()
    assert frame.loc[0, ["animals", "clear_of_all", "died", "open"]].tolist() == [60, 6, 54, 0]


def test_conditions_of_a_group_are_followed_animal_by_animal():
    """Ten with mites cleared on day 20; burns on the two that died and one more, which went home with them."""
    found = [("G", "mites", 0, 20), ("G", "burns", 0, None, None, 3)]
    rows = until_clear(records(found, sizes={"G": 10}, outcomes=[("G", 2, "died", 2), ("G", 40, "adopted")]))
    assert ends(rows) == [(1, 40, "left uncleared", 2), (2, 2, "died", 2), (7, 20, "clear of all", 1)]


def test_burns_of_some_that_stayed_are_not_put_on_the_dead():
    found = [("G", "mites", 0, 20), ("G", "burns", 0, 30, "cleared", 3)]
    rows = until_clear(records(found, sizes={"G": 10}, outcomes=[("G", 2, "died", 2)]))
    assert ends(rows) == [(2, 2, "died", 1), (3, 30, "clear of all", 2), (5, 20, "clear of all", 1)]


def test_animals_that_went_alike_stand_in_one_row():
    rows = until_clear(records([("G", "mites", 0, 20)], sizes={"G": 10}, outcomes=[("G", 40, "adopted", 5)]))
    assert ends(rows) == [(10, 20, "clear of all", 1)]


@pytest.mark.parametrize(
    ("found", "outcomes", "expected"),
    [
        ([("S", "burns", 0, 40, "managed")], (), (40, "lifelong or misdiagnosed")),
        ([("S", "burns", 0, 40, "misdiagnosed")], (), (40, "lifelong or misdiagnosed")),
        ([("S", "burns", 0, 30), ("S", "mites", 0, 40, "managed")], (), (40, "lifelong or misdiagnosed")),
        ([("S", "burns", 0, 30, "managed"), ("S", "mites", 0, 40)], (), (40, "lifelong or misdiagnosed")),
        ([("S", "burns", 0, 30, "managed"), ("S", "mites", 0, None)], (("S", 50, "died"),), (50, "died")),
        ([("S", "burns", 0, 30, "managed"), ("S", "mites", 0, None)], (("S", 50, "adopted"),), (50, "left uncleared")),
    ],
)
def test_managed_and_misdiagnosed_are_not_clear_of_all(found, outcomes, expected):
    assert [row[1:3] for row in ends(until_clear(records(found, outcomes=outcomes)))] == [expected]


# "T" keeps a kind of end, so that an end without one is not recorded
@pytest.mark.parametrize(
    ("found", "outcomes", "expected"),
    [
        ([("burns", 0, 5, None)], (), (5, "")),
        ([("burns", 0, 5, None), ("mites", 0, None)], (("S", 30, "died"),), (30, "died")),
        ([("burns", 0, None), ("mites", 0, 5, None)], (("S", 30, "adopted"),), (30, "left uncleared")),
        ([("burns", 0, None, "cleared"), ("mites", 0, None)], (("S", 30, "died"),), (30, "died")),
        # ill up to day 30 for sure, but not known to be clear then
        ([("burns", 0, 5, None), ("mites", 0, 30)], (), (30, "")),
        ([("burns", 0, 30), ("mites", 0, 5, None)], (), (30, "")),
        ([("burns", 0, 5, None), ("mites", 0, 30, "managed")], (), (30, "lifelong or misdiagnosed")),
        ([("burns", 0, 8, None), ("mites", 0, 5, None)], (), (5, "")),
        ([("burns", 0, 3), ("mites", 0, 5, None)], (), (5, "")),
        # whether it was clear on day 5 is not known, so what was found later is no part of it
        ([("burns", 0, 5, None), ("mites", 10, 30)], (), (5, "")),
    ],
)
def test_an_end_not_recorded_cuts_off_only_where_no_later_end_is_known(found, outcomes, expected):
    rows = until_clear(records([*(("S", *f) for f in found), ("T", "mites", 0, 9)], outcomes=outcomes))
    assert [row[1:3] for row in ends(rows[rows["stay_id"] == "S"])] == [expected]


def test_another_condition_counts_to_the_last_end_among_the_animals_of_the_row():
    found = [("G", "mites", 0, 20), ("G", "burns", 0, None)]
    group = {"sizes": {"G": 10}, "outcomes": [("G", 2, "died", 9)]}
    # burns ended on day 2 with the nine, but not on the one that was cleared of mites
    assert sorted(pieces(found, "mites", **group)) == [(-1, 2, 4, True), (-1, 20, 1, True)]


def test_another_condition_of_other_animals_of_the_group_is_not_open():
    found = [("G", "mites", 0, 20), ("G", "burns", 0, None, None, 9)]
    group = {"sizes": {"G": 10}, "outcomes": [("G", 2, "died", 9)]}
    assert sorted(pieces(found, "mites", **group)) == [(-1, 2, 4, True), (-1, 20, 1, False)]


def test_animals_are_told_apart_by_what_was_known_on_the_first_day():
    found = [(f"A{i}", "burns", 0, 40) for i in range(12)] + [(f"A{i}", "mites", 3, 10) for i in range(12)]
    found += [(f"B{i}", c, 0, 50) for i in range(11) for c in ("burns", "mites")]
    answer = recovery.several(records(found))
    frame = answer.to_frame().set_index("conditions")
    assert frame["animals"].to_dict() == {"one condition": 12, "two conditions": 11}
    assert frame["found_more"].to_dict() == {"one condition": 12, "two conditions": 0}
    assert frame["median"].to_dict() == {"one condition": 40, "two conditions": 50}
    assert (
        "by the number of conditions open on the day the first was found, half were clear of all they had by day 40 "
        "with one condition (12 animals), day 50 with two conditions (11 animals)."
    ) in answer.sentence()
    assert "free of time, not of severity" in " ".join(answer.notes())


def test_animals_cleared_beside_another_are_each_counted_once():
    # three conditions, two of them cleared while another was open; and the same animal again
    found = [("S", "burns", 0, 30), ("S", "mites", 0, 20), ("S", "thin", 0, 10), ("T", "burns", 0, 9),
             ("T", "mites", 0, 12), ("G", "mites", 0, 9, "cleared", 4),
             ("G", "burns", 0, 12, "cleared", 4)]  # fmt: skip
    built = records(found, sizes={"G": 5}, animals={"S": "A", "T": "A"})
    assert recovery.several(built).cleared_beside == 5


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
