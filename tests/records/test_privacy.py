from __future__ import annotations

import time

import pandas as pd
import pytest

from mendcurve.records.privacy import about_a_person, masked, parse_free_text

# Invented details; the numbers are of ranges kept for fiction.
PEOPLE = [
    "write to p.example@example.org",
    "ring 0161 496 0123",
    "tel (555) 555-0142",
    "+44 161 496 0123",
    "555-0142 evenings",
    "left at 12 Invented Lane by the gate",
    "P.O. Box 123",
    "lives at ZZ99 3WZ",
    "Musterstraße 12",
    "01614960123",
]
FINE = [
    "weighed 285 g on 2026-03-02 08:30",
    "12/03/2026 and 14/03/2026",
    "ate 3 locusts",
    "cage 12, row 4",
    "temp 32.5",
    "dose 0.1 ml x 14",
    "S-0001 and S-0002",
    "see 2024-03-02",
    "lost 12 of 340 g",
    "",
    "no digits at all",
]


@pytest.mark.parametrize("text", PEOPLE)
def test_details_of_people_are_taken_out(text):
    clean, found = masked(text)
    assert found
    assert "removed" in clean
    assert not any(
        word in clean for word in ("example.org", "496", "0142", "Invented Lane", "Box 123", "3WZ", "straße")
    )


@pytest.mark.parametrize("text", FINE)
def test_notes_about_animals_are_left_alone(text):
    assert masked(text) == (text, [])


@pytest.mark.parametrize(
    "heading",
    [
        "Owner Phone",
        "adopter",
        "surrendered_by",
        "E-mail",
        "Name",
        "Address 1",
        "Post code",
        "surrenderer phone",
        "Donor",
        "Full name",
    ],
)
def test_columns_of_people_are_known_by_their_heading(heading):
    assert about_a_person(heading)


@pytest.mark.parametrize(
    "heading",
    [
        "animal_name",
        "species",
        "stay_id",
        "intake_type",
        "note",
        "housing_kind",
        "zone",
        "returned to",
        "funder",
        "weight",
    ],
)
def test_columns_of_animals_are_not(heading):
    assert not about_a_person(heading)


def test_no_column_of_ours_looks_like_a_persons():
    from mendcurve.records.schemas import TABLES

    assert not [c.name for t in TABLES.values() for c in t.columns if about_a_person(c.name)]


def test_the_finding_says_what_was_there_and_not_what_it_said():
    parsed = parse_free_text(pd.Series(["ring 0161 496 0123", "fine"], dtype=object))
    assert "telephone" in parsed.troubles[0].rule
    assert "0123" not in parsed.troubles[0].rule + parsed.found[0]
    assert parsed.troubles[1] is None


@pytest.mark.parametrize("piece", ["a", "a1b2", "x@", "Ann Example ", "12 ", "a.b-c@", "0161 ", "12 Long "])
def test_a_cell_as_long_as_a_spreadsheet_allows_is_looked_over_at_once(piece):
    """A pattern that begins again at every letter would take minutes; the time allowed is that of a slow machine."""
    text = piece * (32_767 // len(piece))
    start = time.process_time()
    masked(text)
    assert time.process_time() - start < 5


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("shy; owner Tom Baker, will call", "shy; owner [removed: a person's name], will call"),
        ("owner: Zofka Invented moved", "owner: [removed: a person's name] moved"),
        ("Adopter is Kim", "Adopter is [removed: a person's name]"),
        ("rang Sue on Monday", "rang [removed: a person's name] on Monday"),
        ("ring Sam", "ring [removed: a person's name]"),
        ("no room, told Bob Hill", "no room, told [removed: a person's name]"),
        ("belonged to the Jones family", "belonged to the [removed: a person's name] family"),
        ("collected by Sam and Sue Invented", "collected by [removed: a person's name]"),
        ("bought from Lucy last year", "bought from [removed: a person's name] last year"),
    ],
)
def test_names_that_the_words_around_them_give_away_are_taken_out(text, left):
    assert masked(text) == (left, ["a person's name"])


@pytest.mark.parametrize(
    "text",
    [
        "called Sam",
        "Sam is shy, tell Spike apart by his tail",
        "found by Lucy Python's old tank",
        "Owner Surrender",
        "Owner Requested Euthanasia",
        "owner surrendered Bella and Max",
        "Owner Could Not Keep",
        "owner Corn Snake Rescue",
        "the Python family",
        "The Foster family asked",
        "the Gekkonidae family",
        "fed by hand, ring tail, text book burn",
        "rang RSPCA, told Council",
        "split from Max",
        "collected from Station Road",
    ],
)
def test_animals_and_offices_keep_their_names(text):
    assert masked(text) == (text, [])
