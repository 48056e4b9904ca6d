"""Headings that are merged, grouped or repeated; data cells that are merged; rows that add up."""

from __future__ import annotations

import pytest
from openpyxl import Workbook

from mendcurve.records import load
from mendcurve.records.headings import heading_names
from mendcurve.records.reading import read_text_file
from mendcurve.records.totals import adds_up
from mendcurve.records.workbook import Book

HEAD = ["stay_id", "species", "intake_date", "intake_type"]
SETTINGS = "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n"


def written(tmp_path, sheets, merge=()):
    """A workbook of sheets (name -> rows), with areas merged as (sheet, area)."""
    out = Workbook()
    out.remove(out.active)
    for name, rows in sheets.items():
        sheet = out.create_sheet(name)
        for row in rows:
            sheet.append(row)
    for name, area in merge:
        out[name].merge_cells(area)
    out.save(tmp_path / "r.xlsx")
    (tmp_path / "records.toml").write_text(SETTINGS, encoding="utf-8")
    return tmp_path / "r.xlsx"


def read(tmp_path, rows, *areas, **more):
    path = written(tmp_path, {"s": rows}, [("s", area) for area in areas])
    return Book(path).read("s", **more)


def test_a_heading_merged_over_two_columns_names_both(tmp_path):
    sheet = read(tmp_path, [["id", "weight", None], ["S-1", 5, 6]], "B1:C1")
    assert list(sheet.cells.columns) == ["id", "weight", "weight (3)"]


def test_a_persons_heading_merged_over_two_columns_drops_both(tmp_path):
    sheet = read(tmp_path, [["id", "adopter", None], ["S-1", "Invented", "Person"]], "B1:C1")
    assert list(sheet.cells.columns) == ["id"]
    assert sheet.people == ("adopter", "adopter (3)")


def test_names_of_groups_above_the_headings_are_seen_and_tell_people_and_repeats_apart(tmp_path):
    rows = [
        ["Animal", None, "Owner", None, "Came", "Left"],
        ["id", "species", "first", "last", "weight", "weight"],
        ["S-1", "corn snake", "Invented", "Person", 5, 6],
    ]
    sheet = read(tmp_path, rows, "A1:B1", "C1:D1")
    assert list(sheet.cells.columns) == ["id", "species", "weight", "weight (6)"]
    assert list(sheet.row) == [3]
    assert sheet.headings == 2
    rows[0][4:] = ["Came", None, "Left", None]
    rows[1][4:] = ["on", "weight", "on", "weight"]
    sheet = read(tmp_path, rows, "A1:B1", "C1:D1", "E1:F1", "G1:H1")
    assert list(sheet.cells.columns) == ["id", "species", "Came on", "Came weight", "Left on", "Left weight"]


def test_a_heading_merged_with_the_row_above_it_keeps_its_name(tmp_path):
    rows = [["id", "Sizes", None], [None, "weight", "length"], ["S-1", 5, 6]]
    sheet = read(tmp_path, rows, "A1:A2", "B1:C1", heading_row=2)
    assert list(sheet.cells.columns) == ["id", "weight", "length"]


def test_rows_below_merged_headings_are_records_where_they_hold_days(tmp_path):
    rows = [["id", "weight", None], ["S-1", "5", "2026-03-02"]]
    assert list(read(tmp_path, rows, "B1:C1").cells["id"]) == ["S-1"]


def test_merged_text_is_read_for_each_row_and_a_merged_number_once(tmp_path):
    intakes = [HEAD, *([f"S-{i}", "corn snake", "2026-03-02", "stray"] for i in (1, 2, 3))]
    intakes[2][2] = None
    weighings = [["stay_id", "weighed_on", "weight"], ["S-1", "2026-03-03", 50], [None, "2026-03-09", None]]
    records = load(
        written(
            tmp_path,
            {"intakes": intakes, "weighings": weighings},
            [("intakes", "C2:C3"), ("weighings", "A2:A3"), ("weighings", "C2:C3")],
        )
    )
    assert records["intakes"]["intake_date"].dt.day.tolist() == [2, 2, 2]
    assert records["weighings"]["stay_id"].tolist() == ["S-1"]
    said = records.findings.set_index(["sheet", "row"])["rule"]
    assert "read for this row too" in said["intakes", 3]
    assert "read in row 2 only" in said["weighings", 3]
    assert "weight must not be empty" in said["weighings", 3]
    assert records.set_aside["row"].tolist() == [3]


def test_a_merged_id_of_the_tables_own_is_never_given_to_two_rows(tmp_path):
    rows = [HEAD, ["S-1", "corn snake", "2026-03-02", "stray"], [None, "corn snake", "2026-03-03", "stray"]]
    records = load(written(tmp_path, {"intakes": rows}, [("intakes", "A2:A3")]))
    assert records["intakes"]["stay_id"].tolist() == ["S-1"]
    assert records.set_aside["row"].tolist() == [3]


def test_an_id_made_of_a_merged_cell_is_made_for_each_row_it_covers(tmp_path):
    intakes = [HEAD, ["S-1", "corn snake", "2026-03-02", "stray"]]
    ill = [["stay_id", "condition", "found_on"], ["S-1", "mites", "2026-03-03"], [None, "burn", "2026-03-04"]]
    book = written(tmp_path, {"intakes": intakes, "conditions": ill}, [("conditions", "A2:A3")])
    settings = tmp_path / "own.toml"
    settings.write_text('[tables.conditions]\nid_from = { episode_id = ["stay_id", "condition"] }\n')
    records = load(book, settings=settings)
    assert records["conditions"]["episode_id"].tolist() == ["S-1-mites", "S-1-burn"]
    assert records["conditions"]["stay_id"].tolist() == ["S-1", "S-1"]


def test_headings_that_repeat_are_told_apart_whatever_their_case():
    assert heading_names(["Weight", "b", "weight ", "", "WEIGHT"]) == [
        "Weight",
        "b",
        "weight (3)",
        "column 4",
        "WEIGHT (5)",
    ]


@pytest.mark.parametrize(("second", "effect", "says"), [("5", "note", "the same"), ("6", "kept, doubtful", "in 1 row")])
def test_a_repeated_heading_says_which_column_is_read_and_whether_it_matters(tmp_path, second, effect, says):
    (tmp_path / "a.csv").write_text(f"id,weight,Weight\nS-1,5,{second}\n", encoding="utf-8")
    (note,) = read_text_file(tmp_path / "a.csv").notes
    assert note.effect == effect
    assert '"weight" stands in columns B and C' in note.rule
    assert 'column C is called "Weight (3)"' in note.rule
    assert says in note.rule


@pytest.mark.parametrize(
    "cells",
    [
        ["Total", "", "12"],
        ["TOTAL animals:", "12", "3.5 kg"],
        ["Grand Total", "€ 1,234.50"],
        ["", "Average", "12.5"],
        ["Sum"],
        ["Sub-total", "(12)", "50%"],
    ],
)
def test_a_row_that_adds_up(cells):
    assert adds_up(cells)


@pytest.mark.parametrize(
    "cells",
    [
        ["Count", "corn snake", "2026-03-02"],
        ["Count", "02.03.2026"],
        ["Total Eclipse", "12", "stray"],
        ["Totally", "12"],
        ["S-1", "total"],
        ["Sum", "02/03/2026"],
    ],
)
def test_an_animal_may_be_called_count(cells):
    assert not adds_up(cells)


def test_errors_in_a_text_file_are_empty_cells_and_findings(tmp_path):
    (tmp_path / "a.csv").write_text("id,note\nS-1,#N/A\n#REF!,#1 of 2\n", encoding="utf-8")
    sheet = read_text_file(tmp_path / "a.csv")
    assert sheet.cells.to_numpy().tolist() == [["S-1", ""], ["", "#1 of 2"]]
    assert [(n.row, n.column, n.value) for n in sheet.notes] == [(3, "A", "#REF!"), (2, "B", "#N/A")]
