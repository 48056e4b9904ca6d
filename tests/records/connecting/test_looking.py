"""Where the headings of a sheet stand, and which sheets are refused."""

from __future__ import annotations

import pytest

from mendcurve.records.connecting.looking import known_headings, look_at
from mendcurve.records.connecting.vocabulary import load_vocabulary
from mendcurve.records.sheets import Grid

KNOWN = known_headings(load_vocabulary())


def look(rows, merged=()):
    cells = [[str(cell) for cell in row] for row in rows]
    return look_at(
        Grid(
            file="book.xlsx", name="One", cells=cells, rows=range(1, len(cells) + 1), counted=len(cells), merged=merged
        ),
        KNOWN,
    )


ROWS = [["A1", "corn snake", "2024-03-01"], ["A2", "corn snake", "2024-03-05"]]


def test_headings_in_the_first_row_need_no_line():
    found = look([["Animal ID", "Species", "Date in"], *ROWS])
    assert found.heading_row is None
    assert len(found.sheet.row) == 2


def test_titles_and_summaries_above_the_headings_are_passed_over():
    found = look(
        [["Our rescue"], ["Animals", "45"], ["Still here", "12"], [""], ["Animal ID", "Species", "Date in"], *ROWS]
    )
    assert found.heading_row == 5
    assert list(found.sheet.cells.columns) == ["Animal ID", "Species", "Date in"]
    assert "3 rows above them, a title or a summary, not read" in found.reasons


def test_dates_as_headings_are_headings():
    found = look([["Weights"], ["Animal ID", "2024-03-01", "2024-03-08"], ["A1", "41", "42"], ["A2", "55", "54"]])
    assert list(found.sheet.cells.columns) == ["Animal ID", "2024-03-01", "2024-03-08"]


def test_headings_in_two_rows_are_read_together_and_doubted():
    rows = [["", "", "Arrival", "", "Departure", ""], ["Ref", "Species", "Date", "Reason", "Date", "Outcome"]]
    found = look([*rows, ["1", "corn snake", "2024-03-01", "stray", "2024-04-01", "adopted"]])
    assert found.heading_row == 2
    assert len(found.sheet.row) == 1
    labels = list(found.labels.values())
    assert "Arrival Date" in labels
    assert "Departure Date" in labels
    assert any("two rows, 1 and 2" in doubt for doubt in found.doubts)


def test_totals_and_repeated_headings_are_counted():
    head = ["Animal ID", "Species", "Date in"]
    found = look([head, ROWS[0], head, ROWS[1], ["Total", "2", ""]])
    assert len(found.sheet.row) == 2
    assert "1 row of totals at the end, not read" in found.reasons
    assert any("stand 1 time more" in reason for reason in found.reasons)


SIDE = ["Animal ID", "Date", "Weight", "", "Animal ID", "Date moved", "Room"]
REFUSED = [
    ([SIDE, ["A1", "2024-03-01", "41", "", "A1", "2024-03-01", "2"]], "columns E to G"),
    (
        [
            ["Animal ID", "Date", "Weight", "Animal ID", "Date", "Weight"],
            ["A1", "2024-03-01", "4", "B1", "2024-03-01", "5"],
        ],
        "columns D to F",
    ),
    (
        [
            ["Animal ID", "Date", "Weight"],
            ["A1", "2024-03-01", "4"],
            [""],
            ["Animal ID", "Diagnosis", "Date found"],
            ["A1", "x", "2024-03-01"],
        ],
        "rows 4 to 5 (Animal ID, Diagnosis, Date found)",
    ),
    (  # the larger table below must not hide the smaller above
        [
            ["Animal ID", "Date weighed", "Weight"],
            ["A1", "2024-03-01", "4"],
            ["Animal ID", "Species", "Sex", "Date in", "Intake type"],
            ["A1", "corn snake", "F", "2024-03-01", "stray"],
        ],
        "rows 3 to 4 (Animal ID, Species",
    ),
]


@pytest.mark.parametrize(("rows", "says"), REFUSED)
def test_several_tables_on_a_sheet_are_refused_with_what_to_move(rows, says):
    found = look(rows)
    assert found.sheet is None
    assert says in found.refused
    assert "run connect again" in found.refused


def test_a_spacer_column_inside_one_table_is_no_second_table():
    found = look(
        [["Animal ID", "Species", "", "Date in", "Intake type"], ["A1", "corn snake", "", "2024-03-01", "stray"]]
    )
    assert found.refused == ""


def test_a_note_beside_the_table_is_a_doubt_that_names_its_rows():
    found = look([["Animal ID", "Species"], ["A1", "corn snake", "", "ring the vet"], ["A2", "corn snake"]])
    assert "row 2" in found.doubts[0]


def test_a_sheet_without_records_asks_nothing():
    found = look([["Ideas"]])
    assert found.hollow
    assert "no records" in found.refused


def test_tables_below_titles_are_each_named_with_their_rows():
    rows = [["", "Arrivals"], ["Animal ID", "Species", "Date in"], *ROWS]
    weights = [["Animal ID", "Day", "Grams"], ["A1", "2024-03-01", "5"]]
    rows += [["", "", ""], ["WEIGH BOOK"], *weights, *weights]
    rows += [["", "", ""], ["", "Money"], ["Day", "Whim", "Odd"], ["2024-03-01", "x", "5"]]
    cells = [[str(cell) for cell in row] for row in rows]
    numbers = [n for n, row in enumerate(cells, start=1) if any(row)]
    grid = Grid(file="book.xlsx", name="One", cells=[cells[n - 1] for n in numbers], rows=numbers, counted=len(numbers))
    said = look_at(grid, KNOWN).refused
    assert 'rows 7 to 10 (Animal ID, Day, Grams), name the sheet "WEIGH BOOK"' in said
    assert 'rows 13 to 14 (Day, Whim, Odd), name the sheet "Money"' in said
