"""Rows that name an animal: the stay of that animal on the row's date, or a finding."""

from __future__ import annotations

import pytest

from mendcurve.errors import InputError
from mendcurve.records import load

INTAKES = """no,species,intake_date,intake_type
A1,leopard gecko,2024-05-01,stray
A2,leopard gecko,2024-05-02,stray
A1,leopard gecko,2024-07-01,returned
A3,leopard gecko,2024-05-02,stray
A3,leopard gecko,2024-06-02,returned
"""
OUTCOMES = "stay_id,outcome_date,outcome_type\nA1,2024-06-01,adopted\nA3,2024-06-02,adopted\n"
SETTINGS = """[tables.intakes]
id_from = { stay_id = ["no", "intake_date"] }
columns = { animal_id = "no" }
[tables.outcomes]
stay_by = "animal and date"
[tables.weighings]
stay_by = "animal and date"
"""


def loaded(folder, weighings, settings=SETTINGS, intakes=INTAKES):
    (folder / "intakes.csv").write_text(intakes)
    (folder / "outcomes.csv").write_text(OUTCOMES)
    (folder / "weighings.csv").write_text("stay_id,weighed_on,weight\n" + weighings)
    (folder / "records.toml").write_text(settings)
    return load(folder)


STAYS = [
    ("A1", "2024-05-01", "A1-2024-05-01"),  # the first day counts
    ("A1", "2024-06-01", "A1-2024-05-01"),  # the last too
    ("A1", "2024-07-05", "A1-2024-07-01"),
    ("A2", "2024-04-01", "A2-2024-05-02"),  # one stay only: the checks of time judge the date
    ("A3", "2024-05-08", "A3-2024-05-02"),
    ("A3", "2024-06-09", "A3-2024-06-02"),
    ("A1-2024-05-01", "2024-05-08", "A1-2024-05-01"),  # a stay is kept
]


@pytest.mark.parametrize(("animal", "day", "stay"), STAYS)
def test_the_stay_open_on_the_day(tmp_path, animal, day, stay):
    assert loaded(tmp_path, f"{animal},{day},40\n")["weighings"]["stay_id"].tolist() == [stay]


LOST = [
    ("A1", "2024-06-15", "the animal had no stay on 15 June 2024"),
    ("A1", "2024-01-15", "the animal had no stay on 15 January 2024"),
    ("A9", "2024-06-15", "the animal must be one of intakes"),
]


@pytest.mark.parametrize(("animal", "day", "says"), LOST)
def test_a_row_that_fits_no_stay_is_set_aside(tmp_path, animal, day, says):
    records = loaded(tmp_path, f"{animal},{day},40\n")
    assert not len(records["weighings"])
    assert records.set_aside["reason"].tolist() == [says]
    assert records.set_aside["row"].tolist() == [2]


def test_the_day_it_left_and_came_back_fits_two_and_is_doubtful(tmp_path):
    records = loaded(tmp_path, "A3,2024-06-02,40\n")
    assert records["weighings"]["stay_id"].tolist() == ["A3-2024-06-02"]
    told = records.findings[records.findings["table"] == "weighings"].iloc[0]
    assert told["effect"] == "kept, doubtful"
    assert "two stays of this animal fit this date" in told["rule"]


def test_an_outcome_on_the_day_of_a_new_stay_ends_the_earlier_one(tmp_path):
    out = loaded(tmp_path, "A1,2024-05-02,40\n")["outcomes"]
    assert out["stay_id"].tolist() == ["A1-2024-05-01", "A3-2024-05-02"]


def test_animals_must_be_recorded(tmp_path):
    settings = SETTINGS.replace('columns = { animal_id = "no" }', "")
    with pytest.raises(InputError, match="no row of intakes has an animal_id"):
        loaded(tmp_path, "A1,2024-05-02,40\n", settings)


def test_a_table_without_stays_refuses_it(tmp_path):
    settings = SETTINGS + '[tables.housing]\nstay_by = "animal and date"\n'
    with pytest.raises(InputError, match="housing has no stay_id"):
        loaded(tmp_path, "A1,2024-05-02,40\n", settings)
