"""Each rule of the watch list on small records: it speaks at its threshold, not a day before, and asks a question."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import watchlist
from mendcurve.records import from_frames, settings_from


def rescue(as_of="2025-06-30", settings=None, **tables):
    intakes = {"stay_id": ["S-1"], "species": ["corn snake"], "intake_date": ["2025-05-01"], "intake_type": ["stray"]}
    base = {"intakes": pd.DataFrame(intakes)}
    return from_frames(
        as_of=as_of,
        records_start="2025-01-01",
        settings=settings_from({"doses": {"misses_recorded": True}, **(settings or {})}),
        **base | {k: pd.DataFrame(v) for k, v in tables.items()},
    )


EPISODE = [
    {"episode_id": "E-1", "stay_id": "S-1", "condition": "burn", "found_on": "2025-05-01", "vet_seen_on": "2025-05-02"}
]
COURSE = [
    {
        "course_id": "C-1",
        "episode_id": "E-1",
        "interval_hours": 24,
        "doses_planned": 3,
        "first_dose_at": "2025-06-01 09:00",
    }
]
GIVEN = [{"course_id": "C-1", "given_at": f"2025-06-0{d} 09:00"} for d in (1, 2, 3)]
# Weighed lately, so that no other rule speaks.
WEIGHED = [
    {"stay_id": "S-1", "weighed_on": d, "weight": w, "unit": "g"}
    for d, w in (("2025-06-01", 90), ("2025-06-08", 101), ("2025-06-15", 102), ("2025-06-22", 103), ("2025-06-29", 104))
]


def rules_of(records, stay="S-1"):
    reasons = watchlist._lines(records)[0]
    return set(reasons.loc[reasons["stay_id"] == stay, "rule"])


def line_of(records):
    return watchlist.watch(records).to_frame()["line"].iloc[0]


def test_with_only_intakes_recorded_nothing_breaks_and_no_weighing_is_said():
    answer = watchlist.watch(rescue(as_of="2025-05-03"))
    assert answer.to_frame().empty
    assert answer.sentence() == "No animal in care on 3 May 2025 is on the watch list."
    assert list(answer.to_frame().columns) == list(watchlist.LIST_COLUMNS)
    answer._repr_html_()


def test_no_animal_in_care_is_no_line():
    out = [{"stay_id": "S-1", "outcome_date": "2025-06-10", "outcome_type": "adopted"}]
    assert watchlist.watch(rescue(outcomes=out)).to_frame().empty


def test_a_missed_dose_is_listed_for_a_week():
    doses = GIVEN[:2]
    missed = rescue(as_of="2025-06-09", conditions=EPISODE, courses=COURSE, doses=doses, weighings=WEIGHED[:2])
    assert rules_of(missed) == {"dose missed"}
    assert line_of(missed) == (
        "S-1, corn snake: dose 3 of 3 for burn was due 3 June 2025 at 09:00 and is not recorded as given; was it "
        "given, and what does the vet say?"
    )
    later = rescue(as_of="2025-06-10", conditions=EPISODE, courses=COURSE, doses=doses, weighings=WEIGHED[:2])
    assert "dose missed" not in rules_of(later)


def test_where_misses_are_not_recorded_no_dose_is_missed():
    records = rescue(
        as_of="2025-06-09",
        settings={"doses": {"misses_recorded": False}},
        conditions=EPISODE,
        courses=COURSE,
        doses=GIVEN[:2],
        weighings=WEIGHED[:2],
    )
    assert rules_of(records) == set()


@pytest.mark.parametrize(("as_of", "listed"), [("2025-05-08", False), ("2025-05-09", True)])
def test_waiting_for_the_vet_longer_than_the_setting(as_of, listed):
    unseen = [EPISODE[0] | {"vet_seen_on": None}]
    records = rescue(as_of=as_of, conditions=unseen, weighings=[WEIGHED[0] | {"weighed_on": "2025-05-07"}])
    assert ("waiting for the vet" in rules_of(records)) is listed


def test_a_wait_is_not_listed_where_visits_are_not_recorded():
    ids = [f"S-{i}" for i in range(1, 8)]
    many = pd.DataFrame({"stay_id": ids, "species": "corn snake", "intake_date": "2025-05-01", "intake_type": "stray"})
    found = [
        {
            "episode_id": f"E-{i}",
            "stay_id": i,
            "condition": "burn",
            "found_on": "2025-05-01",
            "ended_on": None if i == "S-1" else "2025-05-20",
            "ended_as": None if i == "S-1" else "cleared",
        }
        for i in ids
    ]
    assert "waiting for the vet" not in rules_of(rescue(intakes=many, conditions=found, weighings=WEIGHED))


@pytest.mark.parametrize(
    ("as_of", "checks", "listed"),
    [
        ("2025-06-16", "2025-05-20", False),
        ("2025-06-17", "2025-05-20", True),
        ("2025-06-17", "2025-06-10", False),
    ],
)
def test_a_finished_course_without_a_re_check(as_of, checks, listed):
    records = rescue(
        as_of=as_of,
        conditions=EPISODE,
        courses=COURSE,
        doses=GIVEN,
        weighings=WEIGHED[:3],
        checks=[{"episode_id": "E-1", "checked_on": checks, "result": "still ill"}],
    )
    assert ("course finished, not re-checked" in rules_of(records)) is listed


def test_re_checks_are_not_asked_for_where_none_are_recorded():
    assert "course finished, not re-checked" not in rules_of(
        rescue(conditions=EPISODE, courses=COURSE, doses=GIVEN, weighings=WEIGHED)
    )


CLEARED = [EPISODE[0] | {"ended_on": "2025-06-05", "ended_as": "cleared"}]
TARGET = [{"stay_id": "S-1", "target_g": 100, "set_on": "2025-05-01"}]
MOVES = [{"stay_id": "S-1", "moved_on": "2025-05-01", "zone": "treatment"}]


@pytest.mark.parametrize(
    ("as_of", "more", "listed"),
    [
        ("2025-06-21", {}, False),
        ("2025-06-22", {}, True),
        ("2025-06-22", {"moves": [*MOVES, {"stay_id": "S-1", "moved_on": "2025-06-10", "zone": "adoption"}]}, False),
        ("2025-06-22", {"periods": [{"stay_id": "S-1", "what": "hold", "from_date": "2025-06-01"}]}, False),
        ("2025-06-22", {"conditions": EPISODE}, False),
        ("2025-06-22", {"targets": [TARGET[0] | {"target_g": 150}]}, False),
    ],
)
def test_cleared_and_at_target_but_not_moved(as_of, more, listed):
    records = rescue(
        as_of=as_of, **{"conditions": CLEARED, "targets": TARGET, "moves": MOVES, "weighings": WEIGHED} | more
    )
    assert ("ready, not moved" in rules_of(records)) is listed


def test_a_stay_longer_than_nine_in_ten_like_it():
    ids = [f"S-{i}" for i in range(1, 41)]
    came = pd.DataFrame({"stay_id": ids, "species": "corn snake", "intake_date": "2025-05-01", "intake_type": "stray"})
    out = [
        {
            "stay_id": i,
            "outcome_date": str(pd.Timestamp("2025-05-05") + pd.Timedelta(days=k))[:10],
            "outcome_type": "adopted",
        }
        for k, i in enumerate(ids[1:])
    ]
    records = rescue(intakes=came, outcomes=out, weighings=WEIGHED)
    assert rules_of(records) == {"longer than most"}
    assert "longer than" in line_of(records)


def test_since_shows_what_is_new_still_there_and_resolved():
    two = pd.DataFrame(
        {"stay_id": ["S-1", "S-2"], "species": "corn snake", "intake_date": "2025-06-01", "intake_type": "stray"}
    )
    found = [
        EPISODE[0] | {"found_on": "2025-06-01", "vet_seen_on": "2025-06-20"},
        {"episode_id": "E-2", "stay_id": "S-2", "condition": "burn", "found_on": "2025-06-10"},
    ]
    weighed = [
        {"stay_id": s, "weighed_on": d, "weight": 100, "unit": "g"}
        for s in ("S-1", "S-2")
        for d in ("2025-06-14", "2025-06-21")
    ]
    answer = watchlist.watch(rescue(as_of="2025-06-22", intakes=two, conditions=found, weighings=weighed))
    assert answer.to_frame()[["stay_id", "status"]].to_numpy().tolist() == [["S-2", "new"]]
    assert answer.resolved()[["stay_id", "rule", "now"]].to_numpy().tolist() == [
        ["S-1", "waiting for the vet", "in care"]
    ]
    later = watchlist.watch(rescue(as_of="2025-06-22", intakes=two, conditions=found, weighings=weighed), since_days=2)
    assert later.to_frame()["status"].tolist() == ["still there"]
    assert "1 animal of 2 in care on 22 June 2025 is on the watch list, 0 of them new" in later.sentence()


def test_an_earlier_day_is_needed():
    with pytest.raises(InputError, match="since_days is 0"):
        watchlist.watch(rescue(), since_days=0)


def test_the_demo_list_has_one_line_an_animal_each_a_question_that_names_no_chance_and_no_amount(demo):
    answer = watchlist.watch(demo)
    frame = answer.to_frame()
    assert len(frame) > 3
    assert frame["stay_id"].is_unique
    assert frame["rank"].tolist() == list(range(1, len(frame) + 1))
    assert frame["line"].str.endswith("?").all()
    assert frame["line"].str.startswith(frame["stay_id"].iloc[0]).iloc[0]
    assert not frame["line"].str.contains("chance|surviv|die|mg|ml|volume|diagnos", regex=True).any()
    assert {"losing weight", "dose missed", "waiting for the vet"} <= set(answer.reasons()["rule"])
    assert answer.reasons()["stay_id"].nunique() == len(frame)
    assert len(answer.weigh_again()) == 0 or answer.weigh_again()["line"].str.endswith("?").all()
