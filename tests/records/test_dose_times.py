"""A dose that was missed or refused has no time of its own: due_at stands for it."""

from __future__ import annotations

import pandas as pd

from mendcurve.questions import treatment
from mendcurve.records import load
from mendcurve.records.schemas import TABLES

FILES = {
    "intakes": "stay_id,species,intake_date,intake_type\nS-1,corn snake,2026-03-01,stray\n",
    "conditions": "episode_id,stay_id,condition,found_on\nE-1,S-1,burn,2026-03-01\n",
    "courses": "course_id,episode_id,interval_hours,doses_planned,first_dose_at\nC-1,E-1,24,3,2026-03-02 08:00\n",
}
DOSES = (
    "course_id,given_at,due_at,result\n"
    "C-1,2026-03-02 08:00,2026-03-02 08:00,given\n"
    "C-1,,2026-03-03 08:00,missed\n"
    "C-1,,2026-03-04 08:00,refused\n"
)


def read(tmp_path, doses):
    for name, text in {**FILES, "doses": doses}.items():
        (tmp_path / f"{name}.csv").write_text(text)
    (tmp_path / "records.toml").write_text("[dates]\nas_of = 2026-03-31\nrecords_start = 2026-01-01\n")
    return load(tmp_path)


def test_the_time_it_was_due_stands_for_a_dose_missed_or_refused(tmp_path):
    records = read(tmp_path, DOSES)
    assert not len(records.findings)
    doses = records["doses"]
    assert doses["given_at"].tolist() == [pd.Timestamp(f"2026-03-0{d} 08:00") for d in (2, 3, 4)]
    assert doses["given_at_has_time"].tolist() == [True] * 3
    assert doses["result"].tolist() == ["given", "missed", "refused"]


def test_the_report_then_calls_the_dose_missed_in_every_sentence(tmp_path):
    records = read(tmp_path, DOSES)
    said = treatment.doses(records).sentence()
    assert "1 dose was missed and 1 dose was refused" in said
    assert "not recorded" not in said


def test_a_day_without_an_hour_stays_without_one(tmp_path):
    doses = read(tmp_path, "course_id,given_at,due_at,result\nC-1,n/a,2026-03-03,missed\n")["doses"]
    assert doses["given_at"].tolist() == [pd.Timestamp("2026-03-03")]
    assert not doses["given_at_has_time"].any()


def test_without_either_time_it_asks_for_the_one_that_is_known(tmp_path):
    records = read(tmp_path, "course_id,given_at,due_at,result\nC-1,,,missed\nC-1,2026-03-02 08:00,,given\n")
    found = records.findings
    assert len(found) == 1
    assert found["what_to_do"].iloc[0] == "Fill in due_at. Do not invent a time under given_at."
    assert len(records["doses"]) == 1


def test_a_dose_that_was_given_still_needs_its_time(tmp_path):
    records = read(tmp_path, "course_id,given_at,due_at,result\nC-1,,2026-03-03 08:00,given\nC-1,,2026-03-04 08:00,\n")
    assert records.findings["rule"].tolist() == ["given_at must not be empty"] * 2
    assert len(records["doses"]) == 0


def test_the_template_says_that_given_at_may_stay_empty():
    assert "Empty for a dose missed or refused" in TABLES["doses"].column("given_at").meaning
