"""Doses, courses, next doses and the wait for the vet, on small records with known answers."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.methods.intervals import wilson
from mendcurve.questions import treatment
from mendcurve.records import from_frames, settings_from
from mendcurve.timelines.period import period

MARCH = period("2025-03-01", "2025-03-31")


def rescue(as_of="2025-04-30", misses=True, stays=3, **tables):
    ids = [f"S-{i}" for i in range(1, stays + 1)]
    base = {
        "intakes": pd.DataFrame(
            {"stay_id": ids, "species": "corn snake", "intake_date": "2025-02-20", "intake_type": "stray"}
        ),
        "conditions": pd.DataFrame(
            {
                "episode_id": [f"E-{i}" for i in range(1, stays + 1)],
                "stay_id": ids,
                "condition": "burn",
                "found_on": "2025-02-25",
            }
        ),
    }
    return from_frames(as_of=as_of, settings=settings_from({"doses": {"misses_recorded": misses}}), **base | tables)


def course(i, planned=3, hours=24, first="2025-03-01 09:00"):
    return {
        "course_id": f"C-{i}",
        "episode_id": f"E-{i}",
        "interval_hours": hours,
        "doses_planned": planned,
        "first_dose_at": first,
    }


def given(i, *times):
    return [{"course_id": f"C-{i}", "given_at": t} for t in times]


TWO = {
    "courses": pd.DataFrame([course(1), course(2)]),
    "doses": pd.DataFrame(
        [
            *given(1, "2025-03-01 09:00", "2025-03-02 09:00", "2025-03-03 09:00"),
            *given(2, "2025-03-01 09:00", "2025-03-02 19:00"),
        ]
    ),
}


def test_doses_of_a_course_hang_together_and_widen_the_interval():
    every = [
        given(i, *[f"2025-03-{d:02d} {h}:00" for d in range(1, 11)])
        for i, h in ((1, "09"), (2, "09"), (3, "18"), (4, "18"))
    ]
    # Courses 3 and 4 are due at nine and each first dose is late; the next are due nine hours later, so on time.
    late = [{"course_id": d["course_id"], "given_at": d["given_at"]} for dose in every for d in dose]
    records = rescue(
        stays=4, courses=pd.DataFrame([course(i, planned=10) for i in (1, 2, 3, 4)]), doses=pd.DataFrame(late)
    )
    row = treatment.doses(records, MARCH).to_frame().iloc[0]
    plain = wilson(row["on_time"], row["doses_due"])
    assert (row["on_time"], row["late"], row["doses_due"]) == (38, 2, 40)
    assert row["share_on_time"] == plain.estimate
    assert row["high"] - row["low"] != pytest.approx(plain.high - plain.low)


def test_doses_are_counted_by_what_became_of_them():
    answer = treatment.doses(rescue(**TWO), MARCH)
    row = answer.to_frame().iloc[0]
    assert row[["doses_due", "on_time", "late", "missed", "extra", "courses"]].tolist() == [6, 4, 1, 1, 0, 2]
    assert row["share_on_time"] == pytest.approx(4 / 6)
    assert row["low"] < 4 / 6 < row["high"]
    assert answer.sentence().startswith(
        "Of 6 doses due from 1 March 2025 to 31 March 2025 on 2 courses, 4 of 6 (67 %, 95 % interval"
    )
    assert "1 dose was late and 1 dose was missed" in answer.sentence()
    assert answer.by_month()["month"].tolist() == ["2025-03"]
    assert answer.by_condition()["doses_due"].tolist() == [6]


def test_only_doses_due_in_the_period_count_and_hours_are_cut_to_it():
    row = treatment.doses(rescue(**TWO), period("2025-03-02", "2025-03-02")).to_frame().iloc[0]
    assert row["doses_due"] == 2
    assert row["hours_due"] == 48
    assert row["hours_covered"] == 24 + 9 + 5


def test_where_misses_are_not_recorded_no_share_is_given():
    answer = treatment.doses(rescue(misses=False, **TWO), MARCH)
    assert "nothing is called missed or on time" in answer.sentence()
    assert "5 doses were given as recorded" in answer.sentence()
    assert np.isnan(answer.to_frame()["share_on_time"].iloc[0])


def test_a_course_with_a_written_miss_is_judged_and_the_others_are_told_apart():
    doses = pd.DataFrame(
        [*TWO["doses"].to_dict("records"), {"course_id": "C-2", "given_at": "2025-03-03 19:00", "result": "missed"}]
    )
    answer = treatment.doses(rescue(misses=False, courses=TWO["courses"], doses=doses), MARCH)
    row = answer.to_frame().iloc[0]
    assert row[["doses_due", "on_time", "late", "missed", "given_as_recorded"]].tolist() == [3, 1, 1, 1, 3]
    # The hours are of the judged course alone: 24 h from each of its two doses, of 72.
    assert row[["hours_covered", "hours_due"]].tolist() == [48, 72]
    said = answer.sentence()
    assert said.startswith("Of 3 doses due from 1 March 2025 to 31 March 2025 on 1 course, 1 of 3 (33 %")
    assert "1 dose was late and 1 dose was missed" in said
    assert "On 1 other course doses not given are not recorded" in said
    assert "3 doses were given as recorded" in said
    assert "Only courses with a dose written down as missed or refused are judged" in " ".join(answer.notes())


def test_courses_never_speak_of_doses_not_given_where_these_are_not_recorded():
    records = rescue(misses=False, **TWO)
    said = treatment.courses(records, MARCH).sentence() + treatment.doses(records, MARCH).sentence()
    assert said.count("not given") == 1
    assert "doses not given are not recorded" in said


def test_without_courses_it_says_so():
    records = rescue()
    for answer in (treatment.doses(records, MARCH), treatment.courses(records, MARCH), treatment.next_doses(records)):
        assert answer.sentence() == "Treatment courses and doses are not recorded."
        assert len(answer.to_frame().columns) > 5
        assert "<table>" in answer._repr_html_()


def test_a_period_past_the_as_of_date_is_refused():
    with pytest.raises(InputError, match="on or before the as-of date"):
        treatment.doses(rescue(**TWO), period("2025-03-01", "2026-01-01"))


def test_courses_stand_as_they_stand():
    answer = treatment.courses(rescue(**TWO), MARCH)
    row = answer.to_frame().iloc[0]
    assert row[["courses", "animals", "completed", "past_its_end", "running"]].tolist() == [2, 2, 1, 1, 0]
    assert row["doses_planned"] == 6
    assert row["doses_given"] == 5
    end = "1 completed and 1 past the planned end with fewer doses recorded as given than planned."
    assert answer.sentence().endswith(end)


def test_next_doses_say_when_and_never_how_much():
    records = rescue(
        as_of="2025-03-02",
        courses=pd.DataFrame([course(1), course(2, planned=9)]),
        doses=pd.DataFrame(given(1, "2025-03-01 09:00") + given(2, "2025-03-01 09:00", "2025-03-02 09:00")),
    )
    answer = treatment.next_doses(records)
    frame = answer.to_frame()
    assert frame["stay_id"].tolist() == ["S-1", "S-2"]
    assert frame["due_at"].dt.strftime("%d %H:%M").tolist() == ["02 09:00", "03 09:00"]
    assert frame["dose"].tolist() == [2, 3]
    assert not {"weight_used_g", "amount", "volume", "medicine"} & set(frame.columns)
    assert "2 courses are running; 2 doses are due by the day after" in answer.sentence()


def waits(seen, ended_as=None, ended=None, **more):
    n = len(seen)
    return rescue(
        stays=n,
        conditions=pd.DataFrame(
            {
                "episode_id": [f"E-{i}" for i in range(n)],
                "stay_id": [f"S-{i + 1}" for i in range(n)],
                "condition": "burn",
                "found_on": "2025-02-25",
                "vet_seen_on": seen,
                "ended_on": ended or [None] * n,
                "ended_as": ended_as or [None] * n,
            }
        ),
        **more,
    )


def test_the_wait_counts_those_never_seen_in_the_denominator():
    seen = ["2025-02-25", "2025-02-27", "2025-03-02", "2025-03-02", "2025-03-20", None]
    records = waits(seen, ended=[None] * 5 + ["2025-02-26"], ended_as=[None] * 5 + ["cleared"])
    closed = treatment.vet_wait(records).to_frame().iloc[0]
    assert closed["answer"] == "not recorded"
    ended = ["2025-04-01"] * 5 + ["2025-02-26"]
    answer = treatment.vet_wait(waits(seen, ended=ended, ended_as=["cleared"] * 6))
    row = answer.to_frame().iloc[0]
    assert row[["seen", "cleared_unseen", "waiting", "closed_with_date", "closed"]].tolist() == [5, 1, 0, 5, 6]
    assert row["share_seen"] == pytest.approx(4 / 6)
    assert row["median_days"] == 5
    assert answer.curves()["cause"].nunique() == 4


def test_one_still_waiting_is_cut_off_and_not_counted_as_seen():
    row = treatment.vet_wait(waits(["2025-02-26"] * 5 + [None])).to_frame().iloc[0]
    assert row["waiting"] == 1
    assert row["share_seen"] == pytest.approx(5 / 6)


def test_too_few_are_counts_only():
    assert treatment.vet_wait(waits(["2025-02-26"] * 3)).to_frame().iloc[0]["answer"] == "too few to say"


def test_no_conditions_at_all_make_no_error():
    records = from_frames(
        as_of="2025-04-30",
        intakes=pd.DataFrame(
            [{"stay_id": "S-1", "species": "corn snake", "intake_date": "2025-02-20", "intake_type": "stray"}]
        ),
    )
    assert "No condition was found" in treatment.vet_wait(records).sentence()
    assert "No episode has a finished course" in treatment.after_course(records).sentence()


def test_from_the_last_dose_to_clearance():
    ended = pd.DataFrame(
        {
            "episode_id": ["E-1", "E-2"],
            "stay_id": ["S-1", "S-2"],
            "condition": "burn",
            "found_on": "2025-02-25",
            "ended_on": ["2025-03-13", "2025-03-06"],
            "ended_as": "cleared",
        }
    )
    answer = treatment.after_course(rescue(stays=2, **(TWO | {"conditions": ended})))
    row = answer.to_frame().iloc[0]
    assert row["cleared"] == 2
    assert row["median_days"] == 4


def weighed(stay, slope_during, slope_after, step=0.0):
    """Weekly weights of exact slope (log grams a day) during a course of days 0-20 and in the weeks after it."""
    out, log_g = [], np.log(300.0)
    for week in range(8):
        day = pd.Timestamp("2025-03-01") + pd.Timedelta(days=7 * week)
        out.append({"stay_id": stay, "weighed_on": day, "weight": float(np.exp(log_g)), "unit": "g"})
        log_g += 7 * (slope_during if week < 2 else slope_after)
    return out


def test_weight_after_treatment_is_set_against_the_same_animal_during_it():
    names = [f"S-{i}" for i in range(1, 7)]
    plan = pd.DataFrame([course(i, planned=7, hours=72) for i in range(1, 7)])
    times = [str(pd.Timestamp("2025-03-01 09:00") + pd.Timedelta(days=3 * k)) for k in range(7)]
    records = rescue(
        stays=6,
        as_of="2025-05-30",
        courses=plan,
        doses=pd.DataFrame([d for i in range(1, 7) for d in given(i, *times)]),
        weighings=pd.DataFrame([w for s in names for w in weighed(s, -0.002, 0.004)]),
    )
    answer = treatment.weight_after(records)
    frame = answer.to_frame()
    assert len(frame) == answer.treated == 6
    assert frame["during"].to_numpy() == pytest.approx(100 * np.expm1(7 * -0.002), abs=0.35)
    assert frame["after"].to_numpy() == pytest.approx(100 * np.expm1(7 * 0.004), abs=1e-6)
    assert answer.low <= answer.median <= answer.high
    assert "a difference does not show what the treatment did" in answer.notes()[1]


def test_too_few_animals_weighed_during_and_after_say_so():
    answer = treatment.weight_after(rescue(**TWO, weighings=pd.DataFrame(weighed("S-1", 0, 0))))
    assert "too few to say" in answer.sentence()
    assert treatment.weight_after(rescue()).sentence() == "Treatment courses or weighings are not recorded."
