"""Animals are counted once: a relapse is no further animal, and the parts of a group add up."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.questions import costs, recovery, stay, treatment
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

YEAR = period("2025-01-01", "2025-12-31")


@pytest.fixture
def records():
    # S1: one animal with mites twice. G: five animals with mites, one of which died and four still here.
    return from_frames(
        as_of="2025-12-31",
        records_start="2025-01-01",
        intakes=pd.DataFrame(
            {
                "stay_id": ["S1", "G"],
                "species": "corn snake",
                "intake_date": "2025-02-01",
                "intake_type": "stray",
                "group_size": [1, 5],
            }
        ),
        outcomes=pd.DataFrame(
            {"stay_id": ["G"], "outcome_date": ["2025-06-01"], "outcome_type": ["died"], "animals": [1]}
        ),
        conditions=pd.DataFrame(
            {
                "episode_id": ["E1", "E2", "E3"],
                "stay_id": ["S1", "S1", "G"],
                "condition": "mites",
                "severity": ["mild", "severe", "moderate"],
                "found_on": ["2025-02-01", "2025-05-01", "2025-02-01"],
                "vet_seen_on": ["2025-02-03", "2025-05-03", "2025-02-03"],
                "ended_on": ["2025-03-01", "2025-06-01", None],
                "ended_as": ["cleared", "cleared", None],
            }
        ),
        moves=pd.DataFrame({"stay_id": ["S1", "G"], "moved_on": "2025-02-01", "zone": "quarantine"}),
        spending=pd.DataFrame(
            {
                "spent_on": ["2025-03-01", "2025-03-01"],
                "amount": [10, 20],
                "category": "medical",
                "stay_id": ["S1", "G"],
                "grant_id": "G-1",
            }
        ),
        grants=pd.DataFrame(
            {"grant_id": ["G-1"], "funder": ["Invented"], "amount": [100], "awarded_on": ["2025-01-01"]}
        ),
    )


def test_a_relapse_is_no_further_animal_and_severity_is_of_the_first_episode(records):
    row = recovery.conditions(records, YEAR).to_frame().iloc[0]
    assert (row["episodes"], row["animals"], row["relapses"]) == (3, 6, 1)
    assert (row["mild"], row["moderate"], row["severe"]) == (1, 5, 0)
    assert "in 6 animals" in recovery.conditions(records, YEAR).sentence()


def test_the_parts_of_a_group_add_up_in_a_phase(records):
    frame = stay.phases(records).to_frame().set_index("phase")
    assert frame.loc["quarantine", "animals"] == 6


def test_the_parts_of_a_group_add_up_in_a_grant(records):
    assert "6 animals" in costs.grant(records, "G-1", YEAR).sentence()


def test_an_episode_of_a_group_is_one_episode_in_the_wait_for_the_vet(records):
    row = treatment.vet_wait(records, YEAR).to_frame().iloc[0]
    assert (row["episodes"], row["seen"]) == (3, 3)  # the group's two parts are one episode


def test_the_animals_of_a_group_are_counted_in_courses_and_in_the_cost_of_an_episode(records):
    row = costs.per_episode(records, draws=20).to_frame().iloc[0]
    assert (row["episodes"], row["animals"]) == (2, 6)
    courses = pd.DataFrame(
        {
            "course_id": ["C1", "C2", "C3"],
            "episode_id": ["E1", "E2", "E3"],
            "first_dose_at": "2025-02-03",
            "interval_hours": 24,
            "doses_planned": 2,
        }
    )
    again = from_frames(
        as_of="2025-12-31",
        records_start="2025-01-01",
        intakes=records["intakes"][["stay_id", "species", "intake_date", "intake_type", "group_size"]],
        conditions=records["conditions"][["episode_id", "stay_id", "condition", "found_on", "ended_on"]],
        courses=courses,
    )
    row = treatment.courses(again, YEAR).to_frame().iloc[0]
    assert (row["courses"], row["animals"]) == (3, 6)


def test_an_animal_that_came_twice_is_one_animal_in_the_cost_of_an_episode():
    records = from_frames(
        as_of="2025-12-31",
        records_start="2025-01-01",
        intakes=pd.DataFrame(
            {
                "stay_id": ["S1", "S2"],
                "animal_id": "A1",
                "species": "corn snake",
                "intake_date": ["2025-02-01", "2025-06-01"],
                "intake_type": "stray",
            }
        ),
        outcomes=pd.DataFrame({"stay_id": ["S1"], "outcome_date": ["2025-03-01"], "outcome_type": ["adopted"]}),
        conditions=pd.DataFrame(
            {
                "episode_id": ["E1", "E2"],
                "stay_id": ["S1", "S2"],
                "condition": "mites",
                "found_on": ["2025-02-01", "2025-06-01"],
            }
        ),
    )
    row = costs.per_episode(records, draws=20).to_frame().iloc[0]
    assert (row["episodes"], row["animals"]) == (2, 1)
