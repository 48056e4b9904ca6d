"""A register with a summary and merged bands above its headings, where one row feeds four tables."""

from __future__ import annotations

from datetime import date

import pytest
from openpyxl import Workbook

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.writing import write

HEAD = [
    "No",
    "Came on",
    "Kind",
    "Sexes",
    "Age",
    "Reason in",
    "Weight in",
    "Illness",
    "Left on",
    "Went to",
    "Weight out",
]
ROWS = [
    ["B1", date(2024, 3, 14), "Corn snake", "1.0", "ad", "stray", "400 g", "burn", date(2024, 5, 2), "adopted", "430g"],
    ["B2", date(2024, 4, 2), "Corn snake x2", "0.2", "juv", "stray", "", "", date(2024, 6, 1), "died", ""],
    ["B3", date(2024, 4, 9), "Frillback", "0.0.1", "ad", "surrendered", "1.2 kg", "burn", "", "", ""],
    ["B4", date(2024, 5, 9), "3 x axolotl", "1.1.1", "hatchling", "surrendered", "", "", "", "", ""],
]  # fmt: skip


def register(folder):
    book = Workbook()
    sheet = book.active
    sheet.title = "Register"
    for line in (["AN INVENTED HOUSE"], [], ["Year", "In", "Out", "Died"], ["2023", 3, 2, 1], ["2024", 4, 2, 1], []):
        sheet.append(line)
    sheet.append(["Coming", *[""] * 5, "Poorly", "", "Going"])
    for area in ("A1:K1", "A7:F7", "G7:H7", "I7:K7"):
        sheet.merge_cells(area)
    for row in (HEAD, *ROWS):
        sheet.append([cell if cell != "" else None for cell in row])
    book.save(folder / "book.xlsx")


def test_summary_and_bands_are_passed_over_and_four_tables_are_fed(tmp_path):
    register(tmp_path)
    proposal = propose(tmp_path)
    assert proposal.tables == ("intakes", "outcomes", "conditions", "weighings")
    assert '# ? Frillback = "..."' in proposal.body
    write(proposal.body.replace('# ? Frillback = "..."', 'Frillback = "axolotl"'), tmp_path / "records.toml")
    records = load(tmp_path)
    assert not len(records.set_aside)
    intakes = records["intakes"].set_index("stay_id")
    assert intakes["species"].to_dict() == {"B1": "corn snake", "B2": "corn snake", "B3": "axolotl", "B4": "axolotl"}
    assert intakes["sex"].tolist() == ["male", "female", "unknown", "mixed"]
    assert intakes["life_stage"].tolist() == ["adult", "juvenile", "adult", "hatchling"]
    weighings = records["weighings"].sort_values(["stay_id", "weighed_on"])
    assert weighings["weight_g"].tolist() == [400, 430, 1200]
    assert weighings["weighed_on"].dt.strftime("%m-%d").tolist() == ["03-14", "05-02", "04-09"]
    assert records["outcomes"]["outcome_type"].tolist() == ["adopted", "died"]
    counts = records.findings[records.findings["rule"].str.contains("number of animals beside the species")]
    assert counts["row"].tolist() == [10, 12]


def test_a_question_left_open_is_refused_with_its_word(tmp_path):
    register(tmp_path)
    write(propose(tmp_path).body.replace("# ? Frill", "Frill"), tmp_path / "records.toml")
    with pytest.raises(InputError, match=r'codes.species still says "..." for "Frillback"'):
        load(tmp_path)
