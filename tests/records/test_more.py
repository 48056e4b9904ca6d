"""More columns from another sheet: species on a sheet of animals, days on a sheet of admissions."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records import load

SETTINGS = """
[tables.intakes]
file = "Admissions.csv"
id_from = ["Animal", "In"]
columns = { animal_id = "Animal", intake_date = "In", intake_type = "Why", species = "Species", sex = "Sex" }
more_from = { file = "Animals.csv", match = { "Animal" = "No." } }
"""
ANIMALS = "No.,Species,Sex\n007,corn snake,f\n008,leopard gecko,m\n009,axolotl,\n"
ADMISSIONS = "Animal,In,Why\n007,2025-01-03,stray\n008,2025-02-01,surrendered\n007,2025-06-01,returned\n"


def folder(tmp_path, *, animals=ANIMALS, admissions=ADMISSIONS, settings=SETTINGS):
    (tmp_path / "Animals.csv").write_text(animals)
    (tmp_path / "Admissions.csv").write_text(admissions)
    (tmp_path / "records.toml").write_text(settings)
    return tmp_path


def test_columns_of_another_sheet_are_read_by_a_key(tmp_path):
    records = load(folder(tmp_path))
    intakes = records["intakes"]
    assert intakes["species"].tolist() == ["corn snake", "leopard gecko", "corn snake"]
    assert intakes["sex"].isna().sum() == 0
    lines = records.accounts.set_index("file")
    assert lines.loc["Animals.csv", ["table", "counted", "kept", "nothing_here"]].tolist() == ["looked up", 4, 2, 1]
    told = records.findings[records.findings["file"] == "Animals.csv"]
    assert told["rule"].str.contains("1 of 3 rows belong to no row of Admissions.csv").any()
    assert not records.findings["rule"].str.contains("no table is read from this file").any()


def test_a_row_that_finds_no_other_is_said_with_its_row(tmp_path):
    more = ADMISSIONS + "077,2025-07-01,stray\n"
    found = load(folder(tmp_path, admissions=more)).findings
    hit = found[found["rule"].str.contains("must be one of those under")]
    assert hit["row"].tolist() == [5]


def test_two_rows_with_one_key_are_said_and_the_earlier_is_used(tmp_path):
    records = load(folder(tmp_path, animals=ANIMALS + "007,ball python,f\n"))
    assert set(records["intakes"]["species"]) == {"corn snake", "leopard gecko"}
    assert records.findings["rule"].str.contains('1 rows have a "No."').any()


def test_matching_passes_over_case_and_spaces_and_keeps_our_own_column(tmp_path):
    animals = "Tag,Why,Species,Sex\n spot ,gift,corn snake,f\n"
    admissions = "Animal,In,Why\nSpot,2025-01-03,stray\n"
    records = load(folder(tmp_path, animals=animals, admissions=admissions, settings=SETTINGS.replace("No.", "Tag")))
    assert records["intakes"]["species"].tolist() == ["corn snake"]
    assert records["intakes"]["intake_type"].tolist() == ["stray"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('file = "Animals.csv", match', 'file = "Animal.csv", match', 'there is no file "Animal.csv".*Animals.csv'),
        ('"No."', '"Nr"', 'matches by "Nr"'),
        ('match = { "Animal" = "No." }', "matches = 3", '"matches" is not a key'),
        (', match = { "Animal" = "No." }', "", "needs file and match"),
    ],
)
def test_refusals(tmp_path, old, new, words):
    with pytest.raises(InputError, match="(?s)" + words):
        load(folder(tmp_path, settings=SETTINGS.replace(old, new)))


def test_people_of_the_other_sheet_are_not_read(tmp_path):
    animals = (
        "No.,Species,Sex,Finder\n007,corn snake,f,Ann Example\n008,leopard gecko,m,Bo Sample\n009,axolotl,,Cy Nobody\n"
    )
    records = load(folder(tmp_path, animals=animals))
    everything = pd.concat([records.findings.astype(str), records.set_aside.astype(str)]).to_csv()
    assert "Ann" not in everything
