from __future__ import annotations

import pytest
from openpyxl import load_workbook

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.schemas import TABLES
from mendcurve.records.template import WORKED, write_template


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


def test_the_worked_rows_are_sound(tmp_path):
    path = write_template(tmp_path / "records.xlsx")
    book = load_workbook(path)
    for name, row in WORKED.items():
        for place, column in enumerate(TABLES[name].columns, start=1):
            assert book[name].cell(1, place).value == column.name
            if column.name in row:
                book[name].cell(2, place, row[column.name])
    book.save(path)
    records = load(path, as_of="2026-12-31")
    assert all(len(records[name]) == 1 for name in TABLES)
    assert records.findings.query("effect != 'note'").empty


def test_codes_have_drop_down_lists_that_a_spreadsheet_accepts(tmp_path):
    book = load_workbook(write_template(tmp_path / "records.xlsx"))
    for table in TABLES.values():
        rules = {str(r.sqref).split("2:")[0]: r for r in book[table.name].data_validations.dataValidation}
        codes = [c for c in table.columns if c.kind in ("code", "yes_no")]
        assert len(rules) == len(codes)
        for rule in rules.values():
            # A list in a rule holds at most 255 characters, and its message 225 (the file format's own limits).
            assert len(rule.formula1) <= 257
            assert len(rule.error) <= 225
            assert len(rule.errorTitle) <= 32


def test_meanings_tell_of_every_column(tmp_path):
    sheet = load_workbook(write_template(tmp_path / "records.xlsx"))["Meanings"]
    told = {(row[0].value, row[1].value) for row in sheet.iter_rows(min_row=2)}
    assert told == {(t.name, c.name) for t in TABLES.values() for c in t.columns}


def test_nothing_is_written_over(tmp_path):
    write_template(tmp_path / "a.xlsx")
    with pytest.raises(InputError, match="is there already"):
        write_template(tmp_path / "a.xlsx")
    with pytest.raises(InputError, match=r"does not end in \.xlsx"):
        write_template(tmp_path / "a.csv")
