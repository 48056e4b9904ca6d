"""Dose matching: each convention by hand, and a second, slow implementation on random courses."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.records import from_frames, settings_from
from mendcurve.timelines import courses

FIRST = pd.Timestamp("2025-03-01 09:00")


def rescue(
    given, *, planned=7, hours=72, first=FIRST, as_of="2025-04-30", misses=True, stopped=None, left=None, results=None
):
    """Records of one animal with one course; ``given`` in hours after the first dose, or as text."""
    times = [str(first + pd.Timedelta(hours=g)) if isinstance(g, (int, float)) else g for g in given]
    left_rows = [] if left is None else [{"stay_id": "S-1", "outcome_date": left, "outcome_type": "died"}]
    return from_frames(
        as_of=as_of,
        settings=settings_from({"doses": {"misses_recorded": misses}}),
        intakes=pd.DataFrame(
            [{"stay_id": "S-1", "species": "corn snake", "intake_date": "2025-02-20", "intake_type": "stray"}]
        ),
        conditions=pd.DataFrame(
            [{"episode_id": "E-1", "stay_id": "S-1", "condition": "burn", "found_on": "2025-02-20"}]
        ),
        courses=pd.DataFrame(
            [
                {
                    "course_id": "C-1",
                    "episode_id": "E-1",
                    "interval_hours": hours,
                    "doses_planned": planned,
                    "first_dose_at": str(first) if not isinstance(first, str) else first,
                    "stopped_at": stopped,
                }
            ]
        ),
        doses=pd.DataFrame(
            {"course_id": ["C-1"] * len(times), "given_at": times, "result": results or ["given"] * len(times)}
        ),
        outcomes=pd.DataFrame(left_rows, columns=["stay_id", "outcome_date", "outcome_type"]),
    )


def states(records):
    return courses.doses(records)["state"].tolist()


# Schedule check of TRADE.md 2.1 (derived there): 7 doses every 72 h from 1 March 09:00.
def test_seven_doses_every_72_hours_fall_on_days_0_to_18_and_cover_to_day_21():
    records = rescue([72 * k for k in range(7)])
    rows, course = courses.doses(records), courses.courses(records).iloc[0]
    assert rows["calendar_due_at"].dt.day.tolist() == [1, 4, 7, 10, 13, 16, 19]
    assert ((rows["calendar_due_at"] - FIRST).dt.days).tolist() == [0, 3, 6, 9, 12, 15, 18]
    assert course["calendar_covers_to"] == pd.Timestamp("2025-03-22 09:00")
    assert states(records) == ["on time"] * 7
    assert course["status"] == "completed"
    assert course["hours_covered"] == course["hours_due"] == 7 * 72


def test_each_next_dose_is_due_h_after_the_last_one_given():
    rows = courses.doses(rescue([0, 80, 152]))
    assert rows["due_at"].iloc[:3].tolist() == [FIRST + pd.Timedelta(hours=h) for h in (0, 72, 152)]
    assert rows["calendar_due_at"].iloc[2] == FIRST + pd.Timedelta(hours=144)
    assert rows["hours_off"].iloc[:3].tolist() == [0, 8, 0]


@pytest.mark.parametrize(
    ("off", "state"),
    [
        (18, "on time"),
        (18.5, "late"),
        (-18, "on time"),
        (71.5, "late"),
        (-18.5, "extra"),
    ],
)
def test_on_time_is_within_a_quarter_of_the_interval_either_way(off, state):
    assert states(rescue([0, 72 + off]))[1] == state


def test_nothing_before_due_plus_h_is_one_missed_and_due_moves_by_h():
    rows = courses.doses(rescue([0, 144], as_of="2025-03-07"))
    assert rows["state"].tolist()[:3] == ["on time", "missed", "on time"]
    assert rows["due_at"].iloc[2] == FIRST + pd.Timedelta(hours=144)


def test_doses_after_the_as_of_day_are_not_yet_due_and_one_still_in_its_time_is_not_missed():
    assert states(rescue([0], as_of="2025-03-06")) == ["on time"] + ["not yet due"] * 6
    assert states(rescue([0], as_of="2025-03-07"))[1:3] == ["missed", "not yet due"]


def test_a_stop_leaves_the_rest_not_yet_due_and_later_records_extra():
    records = rescue([0, 72, 100], stopped=str(FIRST + pd.Timedelta(hours=80)))
    assert states(records) == ["on time", "on time", "extra", *["not yet due"] * 5]
    assert courses.courses(records).iloc[0]["status"] == "stopped"


def test_a_stop_without_a_time_keeps_that_days_dose():
    assert states(rescue([0, 72], stopped="2025-03-04"))[1] == "on time"


def test_no_dose_is_missed_after_the_animal_left():
    records = rescue([0, 72], left="2025-03-06")
    assert states(records) == ["on time", "on time", *["not yet due"] * 5]
    assert courses.courses(records).iloc[0]["status"] == "left"


def test_a_refusal_takes_its_dose_and_due_moves_by_h():
    rows = courses.doses(rescue([0, 72, 144], results=["given", "refused", "given"]))
    assert rows["state"].tolist()[:3] == ["on time", "refused", "on time"]


def test_a_dose_refused_and_then_given_counts_as_given_and_keeps_both_records():
    rows = courses.doses(rescue([0, 72, 75, 147], results=["given", "refused", "given", "given"]))
    assert sorted(rows["state"].iloc[:4]) == ["on time", "on time", "on time", "tried again"]
    assert rows.loc[rows["state"] == "tried again", "number"].isna().all()


def test_a_dose_more_than_planned_is_extra():
    assert states(rescue([0, 72, 144], planned=2)) == ["on time", "on time", "extra"]


def test_dates_without_a_time_are_matched_by_day():
    records = rescue(["2025-03-01", "2025-03-04", "2025-03-08", "2025-03-14"], first="2025-03-01", as_of="2025-03-14")
    rows = courses.doses(records)
    assert rows["state"].tolist()[:5] == ["on time", "on time", "late", "missed", "on time"]
    assert rows["by_day"].all()


def test_two_doses_a_day_without_times_answer_two_doses():
    days = ["2025-03-01", "2025-03-01", "2025-03-02", "2025-03-03", "2025-03-03"]
    rows = courses.doses(rescue(days, hours=12, planned=6, as_of="2025-03-10"))
    assert rows["state"].tolist() == ["on time", "on time", "on time", "missed", "on time", "on time"]


def test_where_misses_are_not_recorded_nothing_is_called_missed():
    records = rescue([0, 144], misses=False, as_of="2025-03-08")
    assert states(records) == ["given as recorded", "no record", "given as recorded", *["not yet due"] * 4]
    assert not courses.doses(records)["state"].isin(["missed", "late", "on time"]).any()


@pytest.mark.parametrize("word", ["missed", "refused"])
def test_a_written_miss_or_refusal_says_that_this_course_records_doses_not_given(word):
    records = rescue([0, 144, 216], misses=False, results=["given", "given", word], as_of="2025-03-13")
    assert states(records)[:4] == ["on time", "missed", "on time", word]


def test_a_written_miss_after_the_as_of_date_says_nothing_yet():
    records = rescue([0, 144, 216], misses=False, results=["given", "given", "missed"], as_of="2025-03-08")
    assert states(records)[:3] == ["given as recorded", "no record", "given as recorded"]


def test_a_course_without_an_end_has_one_next_dose():
    records = rescue([0, 72], planned=None, as_of="2025-03-08")
    assert states(records) == ["on time", "on time", "not yet due"]
    course = courses.courses(records).iloc[0]
    assert course["status"] == "running"
    assert course["next_due_at"] == FIRST + pd.Timedelta(hours=144)


def test_hours_covered_are_a_union_within_the_course():
    course = courses.courses(rescue([0, 60, 200], planned=3)).iloc[0]
    assert course["hours_due"] == 216
    assert course["hours_covered"] == 60 + 72 + 16


def test_no_courses_at_all_give_empty_frames_with_their_columns():
    records = from_frames(
        as_of="2025-03-01",
        intakes=pd.DataFrame(
            [{"stay_id": "S-1", "species": "corn snake", "intake_date": "2025-02-20", "intake_type": "stray"}]
        ),
    )
    assert tuple(courses.doses(records).columns) == courses.DOSE_COLUMNS
    assert tuple(courses.courses(records).columns) == courses.COURSE_COLUMNS


def slow_states(first, h, planned, given, end):
    """One course, one dose at a time: a second implementation for timed doses."""
    due, told, out = first, 0, []
    for t in sorted(given):
        while told < planned and t >= due + h:
            out.append("missed")
            told, due = told + 1, due + h
        if told == planned or t < due - h / 4:
            out.append("extra")
        else:
            out.append("on time" if t <= due + h / 4 else "late")
            told += 1
        due = t + h
    while told < planned:
        out.append("missed" if due + h <= end else "not yet due")
        told, due = told + 1, due + h
    return sorted(out)


@pytest.mark.parametrize("seed", range(5))
def test_agrees_with_a_second_implementation_and_every_planned_dose_is_told_of(seed):
    rng = np.random.default_rng(seed)
    courses_of, doses_of, expected = [], [], {}
    as_of = pd.Timestamp("2025-04-10")
    for i in range(60):
        h, planned = int(rng.choice([12, 24, 48, 72])), int(rng.integers(1, 12))
        first = FIRST + pd.Timedelta(hours=int(rng.integers(0, 600)))
        hours = np.cumsum(
            np.r_[rng.normal(0, h / 6), rng.choice([0.3, 1, 1, 1, 2, 3], planned) * h + rng.normal(0, h / 6, planned)]
        )
        given = [first + pd.Timedelta(minutes=round(60 * x)) for x in hours]
        given = [g for g in given if g < as_of + pd.Timedelta(days=1)]
        courses_of.append(
            {
                "course_id": f"C-{i}",
                "episode_id": "E-1",
                "interval_hours": h,
                "doses_planned": planned,
                "first_dose_at": str(first),
            }
        )
        doses_of += [{"course_id": f"C-{i}", "given_at": str(g)} for g in given]
        expected[f"C-{i}"] = slow_states(first, pd.Timedelta(hours=h), planned, given, as_of + pd.Timedelta(days=1))
    base = rescue([0])
    order = rng.permutation(len(doses_of))
    records = from_frames(
        as_of=as_of,
        settings=base.settings,
        intakes=base["intakes"],
        conditions=base["conditions"],
        courses=pd.DataFrame(courses_of),
        doses=pd.DataFrame(doses_of).iloc[order],
    )
    rows = courses.doses(records)
    got = rows.groupby("course_id")["state"].apply(sorted).to_dict()
    assert got == expected
    course = courses.courses(records)
    told = course[["on_time", "late", "missed", "refused", "not_yet_due"]].sum(axis=1)
    assert told.tolist() == course["planned"].astype(int).tolist()
    numbers = rows.dropna(subset=["number"]).groupby("course_id")["number"].apply(list)
    assert all(n == list(range(1, len(n) + 1)) for n in numbers)
    assert rows["given_at"].notna().sum() == len(doses_of)
    assert (course["hours_covered"] <= course["hours_due"] + 1e-9).all()


def test_a_record_after_the_stop_is_extra_though_it_comes_when_a_dose_would_be_due():
    records = rescue([0, 72, 144], stopped=str(FIRST + pd.Timedelta(hours=80)))
    assert states(records)[:3] == ["on time", "on time", "extra"]


def test_a_stopped_course_without_an_end_has_no_next_dose():
    records = rescue([0, 72], planned=None, stopped=str(FIRST + pd.Timedelta(hours=80)))
    assert states(records) == ["on time", "on time"]
    assert courses.courses(records).iloc[0]["status"] == "stopped"


def test_hours_of_a_running_course_end_with_the_as_of_day():
    course = courses.courses(rescue([0], as_of="2025-03-02")).iloc[0]
    assert course["hours_due"] == course["hours_covered"] == 39
