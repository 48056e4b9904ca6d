from __future__ import annotations

import csv
import io

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mendcurve.errors import InputError
from mendcurve.records.accounting import count_text_records
from mendcurve.records.reading import read_parquet, read_text_file

TEXT = 'stay_id;note\n007;a\n1E5;NA\n\n"x;""y";"two\nlines"\nlast;ö\n'


def sheet(tmp_path, raw, name="a.csv", **more):
    path = tmp_path / name
    path.write_bytes(raw if isinstance(raw, bytes) else raw.encode())
    return read_text_file(path, **more)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_text_is_read_as_it_stands(tmp_path, encoding, delimiter, newline):
    raw = TEXT.replace(";", delimiter).replace("\n", newline).encode(encoding)
    read = sheet(tmp_path, raw)
    assert list(read.cells["stay_id"]) == ["007", "1E5", f'x{delimiter}"y', "last"]
    assert list(read.cells["note"]) == ["a", "NA", "two\nlines", "ö"]
    # A spreadsheet shows the blank row 4, and the cell of two lines as one row.
    assert list(read.row) == [2, 3, 5, 6]
    assert (read.counted, read.blank, read.headings, read.totals) == (6, 1, 1, 0)
    assert bool(read.notes) == (encoding == "cp1252")


@given(st.lists(st.lists(st.text(alphabet='ab",;\n\t ', max_size=6), min_size=2, max_size=3), min_size=1, max_size=8))
@settings(deadline=None, max_examples=200)
def test_the_dumb_counter_counts_what_any_writer_wrote(rows):
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    assert count_text_records(out.getvalue(), ",") == len(rows)


def test_a_quote_inside_a_cell_opens_nothing(tmp_path):
    assert list(sheet(tmp_path, 'a,b\n5" snake,x\n6" snake,y\n').row) == [2, 3]


def test_a_quote_never_closed_is_refused(tmp_path):
    with pytest.raises(InputError, match="quotation mark is probably never closed"):
        sheet(tmp_path, 'a,b\n"1,2\n3,4\n5,6\n')


def test_titles_repeated_headings_blank_rows_and_totals_are_named_and_counted(tmp_path):
    read = sheet(tmp_path, "Weighings 2026\n\nstay_id,weight\nS-1,5\n,\nStay_ID, WEIGHT\nS-2,6\nTotal,11\n \n")
    assert list(read.cells["stay_id"]) == ["S-1", "S-2"]
    assert list(read.row) == [4, 7]
    assert (read.counted, read.blank, read.headings, read.totals) == (9, 3, 3, 1)


def test_a_row_called_total_in_the_middle_is_a_row(tmp_path):
    assert len(sheet(tmp_path, "a,b\ntotal,1\nx,2\n").cells) == 2


def test_short_rows_are_filled_and_long_ones_marked(tmp_path):
    read = sheet(tmp_path, "a,b\n1\n1,2,3\n1,2,\n")
    assert list(read.cells["b"]) == ["", "2", "2"]
    assert list(read.longer) == [False, True, False]


def test_repeats_name_the_first(tmp_path):
    assert list(sheet(tmp_path, "a,b\n1,2\n3,4\n1,2\n1,2\n").twin) == [0, 0, 2, 2]


def test_a_repeat_that_differs_only_in_a_dropped_column_is_none(tmp_path):
    read = sheet(tmp_path, "a,adopter\n1,Person A\n1,Person B\n")
    assert list(read.cells.columns) == ["a"]
    assert list(read.twin) == [0, 0]


def test_headings_that_stand_twice_are_told_apart(tmp_path):
    assert list(sheet(tmp_path, "a,b,a,\n1,2,3,\n").cells.columns) == ["a", "b", "a (3)"]


def test_the_heading_row_can_be_named(tmp_path):
    read = sheet(tmp_path, "x,y\np,q\na,b\n1,2\n", heading_row=3)
    assert list(read.cells.columns) == ["a", "b"]
    with pytest.raises(InputError, match="no row 9"):
        sheet(tmp_path, "a,b\n1,2\n", heading_row=9)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "a.csv: the file is empty"),
        (b" \n \n", "empty"),
        (b"a,b\n1,2\n1,\x00\x00\x01", "not a text file: it holds NUL characters, the first in line 3"),
        (b"PK\x03\x04 and so on", "a workbook or an archive, not a text file"),
        (b"\xd0\xcf\x11\xe0", "an old workbook"),
        (b"a,b\n1,\x81\n", "neither UTF-8"),
    ],
)
def test_what_is_no_table_is_refused_with_a_remedy(tmp_path, raw, says):
    with pytest.raises(InputError, match=says) as error:
        sheet(tmp_path, raw)
    assert error.value.remedy


def test_a_file_that_cannot_be_opened_says_so(tmp_path):
    with pytest.raises(InputError, match="cannot be opened"):
        read_text_file(tmp_path / "none.csv")


def test_single_nul_bytes_are_taken_out_and_their_row_is_said(tmp_path):
    read = sheet(tmp_path, b"stay_id,note\nS-1,a fine animal\nS-2,a \x00better animal\n")
    assert list(read.cells["note"]) == ["a fine animal", "a better animal"]
    assert [(n.row, n.effect) for n in read.notes] == [(3, "changed")]
    assert "line 3" in read.notes[0].rule


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_is_known_without_its_mark(tmp_path, encoding):
    assert list(sheet(tmp_path, TEXT.encode(encoding)).cells["note"]) == ["a", "NA", "two\nlines", "ö"]


def test_lines_of_two_encodings_are_each_read_in_theirs(tmp_path):
    read = sheet(tmp_path, "a,b\nUTF,ö\n".encode() + "Windows,ö\n".encode("cp1252"))
    assert list(read.cells["b"]) == ["ö", "ö"]
    assert "1 line is not" in read.notes[0].rule


@pytest.mark.parametrize(
    "text",
    [
        "Weighings of 2024, all rooms\nid;kg\nS-1;0,043\nS-2;1,5\n",
        'id;kg\n"a, b, c";0,043\n',
        "id|kg\nS-1|0,043\n",
        "id\tkg\nS-1\t0,043\n",
        "sep=;\nid;kg\nS-1;0,043\n",
    ],
)
def test_the_delimiter_is_what_the_lines_agree_on(tmp_path, text):
    read = sheet(tmp_path, text)
    assert list(read.cells.columns) == ["id", "kg"]
    assert read.cells["kg"].iloc[0] == "0,043"


def test_a_first_line_that_names_the_delimiter_has_no_row_number(tmp_path):
    assert list(sheet(tmp_path, "sep=;\nid;kg\nS-1;2\n").row) == [2]


def test_parquet_gives_the_text_that_reads_back(tmp_path):
    frame = pd.DataFrame(
        {
            "stay_id": ["007", None],
            "day": [pd.Timestamp("2026-03-02"), pd.Timestamp("2026-03-02 08:30")],
            "weight": [0.1 + 0.2, float("nan")],
            "n": [1, 2],
        }
    )
    frame.to_parquet(tmp_path / "a.parquet")
    read = read_parquet(tmp_path / "a.parquet")
    assert read.cells.to_numpy().tolist() == [["007", "2026-03-02", "0.3", "1"], ["", "2026-03-02 08:30:00", "", "2"]]
    (tmp_path / "b.parquet").write_text("no")
    with pytest.raises(InputError, match="not a Parquet file"):
        read_parquet(tmp_path / "b.parquet")
