"""Where a finding stands: the cell a spreadsheet shows, and the text as typed, in files and workbooks alike."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from openpyxl import Workbook, load_workbook

from mendcurve.records import load

INTAKES = [["stay_id", "species", "intake_date", "intake_type"], ["S-1", "corn snake", "2026-03-02", "stray"]]
# A column about people stands before the weight, and is dropped as it is read.
WEIGHINGS = [
    ["stay_id", "Adopter phone", "weighed_on", "Weight (g)"],
    ["S-1", "555", "2026-03-02", "300 g"],
    ["S-1", "555", "09.03.2026", "3,050"],
    ["S-1", "555", "2026-03-16", "310"],
    ["S-1", "555", "2026-03-23", "none"],
    ["S-1", "555", "2026-03-30", "ring 0123 456 7890"],
]
TOML = """
[dates]
as_of = 2026-12-31
records_start = 2026-01-01
[rescue]
date_order = "dmy"
[tables.weighings]
columns = { weight = "Weight (g)" }
decimal = "."
"""


@pytest.fixture(params=["csv", "xlsx"])
def rescue(request, tmp_path):
    (tmp_path / "records.toml").write_text(TOML, encoding="utf-8")
    if request.param == "csv":
        for name, rows in (("intakes", INTAKES), ("weighings", WEIGHINGS)):
            lines = (",".join(f'"{cell}"' for cell in row) for row in rows)
            (tmp_path / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        return tmp_path
    book = Workbook()
    for name, rows in (("intakes", INTAKES), ("weighings", WEIGHINGS)):
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    del book["Sheet"]
    book.save(tmp_path / "Book.xlsx")
    return tmp_path


def of_row(records, row):
    mine = records.cells[(records.cells["table"] == "weighings") & (records.cells["row"] == row)]
    return mine[["cell", "column", "value", "record"]].to_numpy().tolist()


def test_a_finding_names_the_cell_as_the_spreadsheet_does_and_what_was_typed(rescue):
    records = load(rescue)
    # Found when the weights are held against each other, yet shown as it was typed and not as it was read.
    assert of_row(records, 3) == [["D3", "Weight (g)", "3,050", "S-1"]]
    assert of_row(records, 5) == [["D5", "Weight (g)", "none", "S-1"]]


def test_the_text_of_the_cell_is_shown_without_details_of_people(rescue):
    records = load(rescue)
    assert of_row(records, 6)[0][2] == "ring [removed: a telephone number]"
    assert "456" not in str(records.cells.to_dict()) + str(records.findings.to_dict())


def test_the_cell_holds_the_text_in_the_file_itself(rescue):
    records = load(rescue)
    path = next(rescue.glob("Book.xlsx"), None)
    one = records.cells[records.cells["cell"] == "D3"].iloc[0]
    if path is not None:
        assert load_workbook(path)[one["sheet"]][one["cell"]].value == one["value"]
    else:
        grid = pd.read_csv(rescue / one["file"], header=None, dtype=str)
        assert grid.iloc[3 - 1, "ABCD".index("D")] == one["value"]


def test_an_error_cell_and_a_merged_one_keep_the_cell_they_are_in(tmp_path):
    book = Workbook()
    sheet = book.active
    sheet.title = "intakes"
    for row in [*INTAKES, ["S-2", "corn snake", "2026-03-02", "stray"], ["S-3", "corn snake", "2026-03-02", "stray"]]:
        sheet.append(row)
    sheet["B4"] = "#N/A"
    sheet["B4"].data_type = "e"
    sheet.merge_cells("D2:D3")
    book.save(tmp_path / "Book.xlsx")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8"
    )
    cells = load(tmp_path).cells
    assert {"B4", "D3"} <= set(cells["cell"])


def test_what_no_spreadsheet_shows_has_no_cell(tmp_path):
    columns = list(zip(*INTAKES[1:], strict=True))
    table = pa.table({name: list(values) for name, values in zip(INTAKES[0], columns, strict=True)})
    table = pa.concat_tables([table, table.set_column(2, "intake_date", pa.array(["never"]))])
    pq.write_table(table, tmp_path / "intakes.parquet")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8"
    )
    found = load(tmp_path).findings.query("effect == 'set aside'")
    assert found["cell"].tolist() == [""]
    assert found["value"].tolist() == ["never"]


def test_a_record_with_several_odd_cells_is_one_finding_that_names_them_all(tmp_path):
    rows = "stay_id,species,intake_date,intake_type\nS-1,corn snake,someday,somehow\n"
    (tmp_path / "intakes.csv").write_text(rows + "S-2,corn snake,2026-03-02,stray\n", encoding="utf-8")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8"
    )
    records = load(tmp_path)
    assert records.findings["cell"].tolist() == ["C2; D2"]
    assert records.cells["cell"].tolist() == ["C2", "D2"]
    assert records.findings["animals"].tolist() == [1]
