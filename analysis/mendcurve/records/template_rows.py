"""What the template tells: how to keep records, and one invented animal's way through the tables."""

from __future__ import annotations

# One invented animal's way through the tables; on the sheet "How to", so that an untouched template reads as empty.
WORKED: dict[str, dict[str, object]] = {
    "intakes": {
        "stay_id": "S-0001",
        "animal_id": "A-0001",
        "species": "bearded dragon",
        "sex": "female",
        "life_stage": "adult",
        "intake_date": "2026-03-02",
        "intake_type": "surrendered",
        "group_size": 1,
        "housing_kind": "arid",
        "story_ok": "yes",
    },
    "outcomes": {"stay_id": "S-0001", "outcome_date": "2026-06-20", "outcome_type": "adopted"},
    "conditions": {
        "episode_id": "E-0001",
        "stay_id": "S-0001",
        "condition": "stuck shed",
        "severity": "mild",
        "primary": "yes",
        "found_on": "2026-03-02",
        "vet_seen_on": "2026-03-05",
        "ended_on": "2026-04-11",
        "ended_as": "cleared",
    },
    "checks": {"episode_id": "E-0001", "checked_on": "2026-03-20", "result": "still ill"},
    "courses": {
        "course_id": "C-0001",
        "episode_id": "E-0001",
        "kind": "procedure",
        "interval_hours": 24,
        "doses_planned": 10,
        "first_dose_at": "2026-03-05 18:00",
    },
    "doses": {"course_id": "C-0001", "given_at": "2026-03-05 18:10", "result": "given"},
    "weighings": {"stay_id": "S-0001", "weighed_on": "2026-03-02", "weight": 285, "unit": "g", "circumstance": "shed"},
    "targets": {"stay_id": "S-0001", "target_g": 340, "set_on": "2026-03-05", "weigh_every_days": 7},
    "periods": {"stay_id": "S-0001", "what": "ready for a home", "from_date": "2026-05-30", "to_date": "2026-06-20"},
    "moves": {"stay_id": "S-0001", "moved_on": "2026-03-02", "zone": "quarantine", "room": "room 1"},
    "housing": {
        "zone": "quarantine",
        "housing_kind": "arid",
        "room": "room 1",
        "rule": "open",
        "places": 12,
        "from_date": "2026-01-01",
    },
    "requests": {
        "asked_on": "2026-02-27",
        "species": "bearded dragon",
        "animals": 1,
        "answer": "taken in",
        "answered_on": "2026-03-01",
    },
    "followups": {"stay_id": "S-0001", "seen_on": "2026-07-20", "status": "well"},
    "spending": {
        "spent_on": "2026-03-05",
        "amount": "62.50",
        "category": "medical",
        "episode_id": "E-0001",
        "grant_id": "G-1",
    },
    "grants": {
        "grant_id": "G-1",
        "funder": "An invented fund",
        "amount": "4000.00",
        "awarded_on": "2025-12-10",
        "starts_on": "2026-01-01",
        "ends_on": "2026-12-31",
        "restricted_to": "medical",
    },
    "receipts": {"grant_id": "G-1", "received_on": "2026-01-15", "amount": "2000.00"},
}
# One row of the dictionary.
WORKED_WORDS: dict[str, object] = {
    "kind": "species",
    "word": "beardie",
    "means": "bearded dragon",
    "also known as": "beardy; BD",
}
HOW_TO = (
    "Keep one line an event, on the sheet of its kind. Only 'intakes' must be filled in; leave empty any sheet of "
    "things you do not record.",
    "Headings in green are needed in every line; those in grey may stay empty. Keep the headings in row 1 as they are.",
    "A stay is one animal (or one group kept together) from one intake to its outcome. A returned animal gets a new "
    "stay_id and keeps its animal_id.",
    "Click a cell to see what belongs there and in which unit. Where there is a list, choose from it. Write dates as "
    "2026-03-31.",
    "Leave a cell empty when something is not known. Do not write n/a, ?, or a date that only stands for 'unknown'.",
    "On the sheet 'dictionary' you may say what your own words mean, and which weights a species can have.",
    "Write no names, telephone numbers or addresses of people anywhere in this workbook.",
    "Below: one invented animal, as it would stand on each sheet. It is not counted. When some lines are written, run: "
    "mendcurve check, with the name of this file.",
)
