from __future__ import annotations

import shutil
import subprocess
from datetime import date, datetime

import pandas as pd
import pytest
from openpyxl import load_workbook

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.dictionary import COLUMNS as WORDS
from mendcurve.records.schemas import TABLES
from mendcurve.records.template import HOW_TO, WORKED, WORKED_WORDS, write_template
from mendcurve.records.template_rules import ROWS


def test_an_untouched_template_reads_as_empty(tmp_path):
    write_template(tmp_path / "records.xlsx")
    records = load(tmp_path / "records.xlsx", as_of="2026-12-31")
    assert all(len(records[name]) == 0 for name in TABLES)
    assert len(records.set_aside) == 0
    assert records.findings.query("effect != 'note'").empty
    assert set(records.accounts["table"]) == set(TABLES)


def test_an_untouched_template_without_as_of_asks_for_it(tmp_path):
    write_template(tmp_path / "records.xlsx")
    with pytest.raises(InputError, match="as-of date must be given"):
        load(tmp_path / "records.xlsx")


def typed(value: object, kind: str) -> object:
    """Return a value as a person's typing it into a spreadsheet leaves it in the cell."""
    if kind == "date":
        return date.fromisoformat(str(value))
    if kind == "datetime":
        return datetime.fromisoformat(str(value))
    return float(str(value)) if kind == "money" else value


def filled(path, *, cells_typed: bool):
    """Write the worked row of each table into a template."""
    write_template(path)
    book = load_workbook(path)
    for name, row in WORKED.items():
        for place, column in enumerate(TABLES[name].columns, start=1):
            assert book[name].cell(1, place).value == column.name
            if column.name in row:
                value = row[column.name]
                book[name].cell(2, place, typed(value, column.kind) if cells_typed else value)
    for place, name in enumerate(WORDS, start=1):
        book["dictionary"].cell(2, place, WORKED_WORDS.get(name))
    book.save(path)
    return path


def is_worked(records) -> None:
    """Every table holds its worked row and nothing else, value for value."""
    for name, row in WORKED.items():
        assert len(records[name]) == 1, name
        line = records[name].iloc[0]
        assert line["source_row"] == 2
        for column in TABLES[name].columns:
            value, given = line[column.name], row.get(column.name)
            if given is None:
                assert pd.isna(value) or value in ("", False, column.default), (name, column.name, value)
            elif column.kind in ("date", "datetime"):
                assert value == pd.Timestamp(str(given)), (name, column.name)
            elif column.kind == "yes_no":
                assert value == (given == "yes")
            elif column.kind in ("count", "number", "money"):
                assert float(value) == float(str(given)), (name, column.name)
            else:
                assert value == given, (name, column.name)
    assert records.findings.query("effect != 'note'").empty, records.findings["rule"].tolist()
    assert "beardy" in records.species.set_index("name").loc["bearded dragon", "aliases"]


@pytest.mark.parametrize("cells_typed", [True, False])
def test_what_it_holds_reads_back_exactly(tmp_path, cells_typed):
    is_worked(load(filled(tmp_path / "records.xlsx", cells_typed=cells_typed), as_of="2026-12-31"))


# The real program, started for itself: its own profile, so that an open LibreOffice is not disturbed.
OFFICE = shutil.which("soffice") or shutil.which("libreoffice")


def saved_by_office(path, kind, out):
    out.mkdir()
    profile = (out / "profile").as_uri()
    command = [OFFICE, f"-env:UserInstallation={profile}", "--headless", "--convert-to", kind, "--outdir", out, path]
    subprocess.run(command, check=True, capture_output=True, timeout=240)
    return out / f"{path.stem}.{kind}"


def lists(path):
    """Return the rules of a workbook: sheet, column letter, kind and list."""
    out = set()
    for sheet in load_workbook(path).worksheets:
        for rule in sheet.data_validations.dataValidation:
            if rule.type:
                listed = (rule.formula1 or "").replace("'", "") if rule.type == "list" else ""
                out |= {(sheet.title, str(part).split("2:")[0], rule.type, listed) for part in str(rule.sqref).split()}
    return out


@pytest.mark.slow
@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
@pytest.mark.parametrize("way", [("xlsx",), ("ods", "xlsx")])
def test_saved_by_libreoffice_it_still_reads_exactly_and_keeps_its_lists(tmp_path, way):
    path = filled(tmp_path / "records.xlsx", cells_typed=True)
    before = load(path, as_of="2026-12-31")
    rules = lists(path)
    for number, kind in enumerate(way):
        path = saved_by_office(path, kind, tmp_path / f"saved {number}")
    after = load(path, as_of="2026-12-31")
    is_worked(after)
    for name in TABLES:
        pd.testing.assert_frame_equal(after[name], before[name])
    assert (after.accounts["counted"] == 2).all()
    assert lists(path) >= rules


@pytest.mark.slow
@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
def test_an_untouched_template_saved_by_libreoffice_reads_as_empty(tmp_path):
    path = saved_by_office(write_template(tmp_path / "records.xlsx"), "xlsx", tmp_path / "saved")
    records = load(path, as_of="2026-12-31")
    assert all(len(records[name]) == 0 for name in TABLES)
    assert records.findings.query("effect != 'note'").empty


def rules_of(book, name):
    return {str(r.sqref).split("2:")[0]: r for r in book[name].data_validations.dataValidation}


def test_every_column_has_a_rule_and_a_message_that_a_spreadsheet_accepts(tmp_path):
    book = load_workbook(write_template(tmp_path / "records.xlsx"))
    kinds = {
        "code": "list",
        "yes_no": "list",
        "date": "date",
        "datetime": "date",
        "count": "whole",
        "number": "decimal",
        "money": "decimal",
    }
    for table in TABLES.values():
        rules = list(rules_of(book, table.name).values())
        assert len(rules) == len(table.columns)
        for column, rule in zip(table.columns, rules, strict=True):
            # A list in a rule holds at most 255 characters, its title 32, its messages 255 and 225 (the format's own).
            assert len(rule.formula1 or "") <= 257
            assert 0 < len(rule.prompt) <= 255 and len(rule.error) <= 225 and len(rule.promptTitle) <= 32
            assert str(rule.sqref).endswith(str(ROWS))
            if column.kind in kinds:
                assert rule.type == kinds[column.kind] and rule.errorStyle == "stop"
            if column.kind == "code":
                assert rule.formula1 == f'"{",".join(column.codes)}"'
            if column.unit:
                assert f"Unit: {column.unit}." in rule.prompt or rule.prompt.endswith("...")
            if column.low is not None:
                assert float(rule.formula1) == column.low


def test_ids_are_offered_from_their_own_sheet_and_species_from_the_reference(tmp_path):
    book = load_workbook(write_template(tmp_path / "records.xlsx"))
    assert rules_of(book, "outcomes")["A"].formula1 == f"intakes!$A$2:$A${ROWS}"
    assert rules_of(book, "doses")["A"].formula1 == f"courses!$A$2:$A${ROWS}"
    assert rules_of(book, "intakes")["A"].formula1 == f"COUNTIF($A$2:$A${ROWS},A2)=1"
    assert rules_of(book, "intakes")["C"].formula1.startswith("Lists!$A$2")
    words = [cell.value for cell in book["Lists"]["A"]]
    assert words[0] == "species" and "corn snake" in words
    assert rules_of(book, "intakes")["C"].errorStyle == "warning"


def test_the_dictionary_has_its_headings_lists_and_notes(tmp_path):
    book = load_workbook(write_template(tmp_path / "records.xlsx"))
    sheet = book["dictionary"]
    assert [cell.value for cell in sheet[1]] == list(WORDS)
    assert all(cell.comment.text.startswith(WORDS[cell.value]) for cell in sheet[1])
    rules = rules_of(book, "dictionary")
    assert rules["A"].formula1.startswith("Lists!$B$2")
    assert "outcome" in [cell.value for cell in book["Lists"]["B"]]
    assert rules["J"].formula1 == '"yes,no"'
    assert [rules[letter].type for letter in "GHI"] == ["decimal"] * 3


def test_every_heading_has_a_note_with_its_unit_and_the_sheets_print_on_one_page_across(tmp_path):
    book = load_workbook(write_template(tmp_path / "records.xlsx"))
    for table in TABLES.values():
        sheet = book[table.name]
        for cell, column in zip(sheet[1], table.columns, strict=True):
            assert column.meaning in cell.comment.text
            assert column.unit in cell.comment.text
        assert sheet.page_setup.fitToWidth == 1 and sheet.page_setup.orientation == "landscape"


def test_the_guide_tells_how_and_shows_one_row_of_each_sheet(tmp_path):
    sheet = load_workbook(write_template(tmp_path / "records.xlsx"))["How to"]
    texts = [str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert all(line in texts for line in HOW_TO)
    for name, row in {**WORKED, "dictionary": WORKED_WORDS}.items():
        assert name in texts
        assert all(str(value) in texts for value in row.values())


def test_meanings_tell_of_every_column(tmp_path):
    sheet = load_workbook(write_template(tmp_path / "records.xlsx"))["Meanings"]
    told = {(row[0].value, row[1].value) for row in sheet.iter_rows(min_row=2)}
    known = {(t.name, c.name) for t in TABLES.values() for c in t.columns}
    assert told == known | {("dictionary", name) for name in WORDS}


def test_nothing_is_written_over(tmp_path):
    write_template(tmp_path / "a.xlsx")
    with pytest.raises(InputError, match="is there already"):
        write_template(tmp_path / "a.xlsx")
    with pytest.raises(InputError, match=r"does not end in \.xlsx"):
        write_template(tmp_path / "a.csv")
