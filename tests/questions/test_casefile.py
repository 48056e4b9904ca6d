"""One animal's path: what is told, and what is never told outside."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import casefile
from mendcurve.records import from_frames, settings_from


def rescue(story="yes", note="Came from Nobody Atall, 12 Nowhere Street", **more):
    tables = {
        "intakes": [
            {
                "stay_id": "S-1",
                "animal_id": "A-1",
                "species": "corn snake",
                "intake_date": "2025-03-01",
                "intake_type": "stray",
                "story_ok": story,
                "note": note,
            }
        ],
        "conditions": [
            {
                "episode_id": "E-1",
                "stay_id": "S-1",
                "condition": "burn",
                "found_on": "2025-03-01",
                "vet_seen_on": "2025-03-03",
                "ended_on": "2025-04-10",
                "ended_as": "cleared",
            }
        ],
        "courses": [
            {
                "course_id": "C-1",
                "episode_id": "E-1",
                "interval_hours": 72,
                "doses_planned": 2,
                "medicine": "secretin",
                "first_dose_at": "2025-03-04 09:00",
                "stop_reason": "asked Nobody Atall",
            }
        ],
        "doses": [
            {"course_id": "C-1", "given_at": "2025-03-04 09:00"},
            {"course_id": "C-1", "given_at": "2025-03-07 09:00"},
        ],
        "weighings": [
            {"stay_id": "S-1", "weighed_on": "2025-03-02", "weight": 200, "unit": "g"},
            {"stay_id": "S-1", "weighed_on": "2025-04-20", "weight": 250, "unit": "g"},
        ],
        "targets": [{"stay_id": "S-1", "target_g": 240, "set_on": "2025-03-03"}],
        "moves": [
            {"stay_id": "S-1", "moved_on": "2025-03-01", "zone": "treatment", "room": "Nobody's room"},
            {"stay_id": "S-1", "moved_on": "2025-04-11", "zone": "adoption"},
        ],
        "outcomes": [{"stay_id": "S-1", "outcome_date": "2025-05-01", "outcome_type": "adopted"}],
    }
    return from_frames(
        as_of="2025-06-30",
        records_start="2025-01-01",
        settings=settings_from({"doses": {"misses_recorded": True}}),
        **{k: pd.DataFrame(v) for k, v in (tables | more).items()},
    )


def test_the_path_from_intake_to_home():
    answer = casefile.path(rescue(), "S-1")
    frame = answer.to_frame()
    assert answer.track("zone")[["what", "from_day", "to_day"]].to_numpy().tolist() == [
        ["treatment", 0, 41],
        ["adoption", 41, 61],
    ]
    assert answer.track("course")[["from_day", "to_day"]].to_numpy().tolist() == [[3, 9]]
    assert answer.track("dose")["from_day"].tolist() == [3, 6]
    assert answer.track("weight")["value"].tolist() == [200, 250]
    assert answer.track("milestone")["what"].tolist() == ["arrived", "seen by a vet", "burn cleared", "new home"]
    assert frame["track"].drop_duplicates().tolist() == [
        "zone",
        "condition",
        "course",
        "dose",
        "weight",
        "target",
        "milestone",
    ]
    assert answer.sentence() == (
        "This corn snake was found as a stray in March 2025. Found: burn. A vet first saw it on day 2. It was given "
        "2 doses in 1 course of treatment. It weighed 200 g on day 1 and 250 g on day 50, 25 % more. It was cleared on "
        "day 40. It went to a new home on day 61."
    )


def test_an_animal_id_gives_its_latest_stay():
    again = [
        {
            "stay_id": s,
            "animal_id": "A-1",
            "species": "corn snake",
            "intake_date": d,
            "intake_type": "stray",
            "story_ok": "yes",
        }
        for s, d in (("S-1", "2025-03-01"), ("S-2", "2025-06-01"))
    ]
    answer = casefile.path(rescue(intakes=again), "A-1")
    assert answer.stay_id == "S-2"
    assert "1 other stay" in answer.notes()[1]
    assert answer.sentence().endswith("It is still in care on day 29, the last one recorded.")


@pytest.mark.parametrize("story", [None, "no"])
def test_without_leave_nothing_is_told_outside(story):
    answer = casefile.path(rescue(story=story), "S-1")
    assert answer.to_frame().empty
    assert list(answer.to_frame().columns) == [c for c in casefile.COLUMNS if "date" not in c]
    assert "may not be told outside" in answer.sentence()
    page = answer._repr_html_()
    assert "corn snake" not in page
    assert "S-1" not in page
    assert casefile.path(rescue(story=story), "S-1", public=False).may_be_told


@pytest.mark.parametrize("public", [True, False])
def test_no_person_note_room_medicine_or_reason_is_ever_shown(public):
    answer = casefile.path(rescue(), "S-1", public=public)
    page = answer._repr_html_() + " ".join(answer.notes())
    for word in ("Nobody", "Nowhere", "secretin", "asked"):
        assert word not in page
    assert ("from_date" in answer.to_frame().columns) is not public
    assert ("1 March 2025" in page) is not public


def test_an_unknown_id_is_refused_with_the_nearest():
    with pytest.raises(InputError, match='No stay and no animal is called "S1"'):
        casefile.path(rescue(), "S1")


def test_with_intakes_alone_there_is_a_path_of_one_zone():
    records = from_frames(
        as_of="2025-03-05",
        intakes=pd.DataFrame(
            [{"stay_id": "S-1", "species": "corn snake", "intake_date": "2025-03-01", "intake_type": "born in care"}]
        ),
    )
    answer = casefile.path(records, "S-1", public=False)
    assert answer.to_frame()["track"].tolist() == ["zone", "milestone"]
    assert (
        answer.sentence()
        == "This corn snake was born in care on 1 March 2025. It is still in care on day 4, the last one recorded."
    )


def test_a_death_is_told_plainly():
    died = [{"stay_id": "S-1", "outcome_date": "2025-04-01", "outcome_type": "died"}]
    answer = casefile.path(
        rescue(
            outcomes=died,
            conditions=[{"episode_id": "E-1", "stay_id": "S-1", "condition": "burn", "found_on": "2025-03-01"}],
        ),
        "S-1",
    )
    assert answer.sentence().endswith("It died on day 31.")
    assert answer.track("condition")["state"].tolist() == ["died"]
