from __future__ import annotations

import datetime as dt
import re
import zipfile

import pytest
from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.accounting import count_workbook_rows
from mendcurve.records.workbook import Book


def book(tmp_path, rows, *, change=None, title="intakes"):
    out = Workbook()
    sheet = out.active
    sheet.title = title
    for row in rows:
        sheet.append(row)
    if change:
        change(out, sheet)
    out.save(tmp_path / "r.xlsx")
    return Book(tmp_path / "r.xlsx")


def test_cells_become_the_text_a_person_sees(tmp_path):
    def zeros(_, sheet):
        sheet["A3"].number_format = "000"

    read = book(
        tmp_path,
        [
            ["id", "day", "n", "yes"],
            ["007", dt.date(2026, 3, 2), 1.0, True],
            [8, dt.datetime(2026, 3, 2, 8, 30), 0.1 + 0.2, False],
        ],
        change=zeros,
    ).read("intakes")
    assert read.cells.to_numpy().tolist() == [
        ["007", "2026-03-02", "1", "yes"],
        ["008", "2026-03-02 08:30:00", "0.3", "no"],
    ]


def test_rows_keep_the_number_the_spreadsheet_shows(tmp_path):
    def later(_, sheet):
        sheet["A6"] = "x"
        sheet["B6"] = "y"

    read = book(tmp_path, [["a", "b"], ["1", "2"]], change=later).read("intakes")
    assert list(read.row) == [2, 6]
    assert read.counted == 3


def test_the_epoch_is_the_books_own(tmp_path):
    def mac(out, _):
        out.epoch = CALENDAR_MAC_1904

    assert book(tmp_path, [["a", "b"], [1, 2]], change=mac).read("intakes").epoch.year == 1904


@pytest.mark.parametrize(
    ("change", "says", "row"),
    [
        (lambda _, s: s.__setitem__("B2", "=1+1"), "never calculated", 2),
        (lambda _, s: setattr(s.row_dimensions[3], "hidden", True), "hidden", 3),
    ],
)
def test_oddities_are_findings(tmp_path, change, says, row):
    read = book(tmp_path, [["a", "b"], ["1", "2"], ["3", "4"]], change=change).read("intakes")
    assert [(n.row, says in n.rule) for n in read.notes] == [(row, True)]


def test_an_error_cell_is_empty_and_a_finding(tmp_path):
    def fault(_, sheet):
        sheet["B2"] = "#N/A"
        sheet["B2"].data_type = "e"

    read = book(tmp_path, [["a", "b"], ["1", "2"]], change=fault).read("intakes")
    assert read.cells["b"][0] == ""
    assert "shows an error" in read.notes[0].rule


def raw(tmp_path, cells, name="raw.xlsx"):
    """A workbook whose second row is given as XML, as other programs write it."""
    path = tmp_path / name
    out = Workbook()
    out.active.title = "intakes"
    out.active.append(["a", "b"])
    out.active.append(["KEEP", "x"])
    out.save(path)
    with zipfile.ZipFile(path) as book:
        parts = {item: book.read(item) for item in book.namelist()}
    at = "xl/worksheets/sheet1.xml"
    parts[at] = re.sub(rb'<row r="2".*</row>', cells.encode(), parts[at])
    with zipfile.ZipFile(path, "w") as book:
        for item, content in parts.items():
            book.writestr(item, content)
    return Book(path).read("intakes")


def test_a_formula_with_a_saved_result_is_that_result_even_where_it_is_empty_text(tmp_path):
    read = raw(
        tmp_path,
        '<row r="2"><c r="A2" t="str"><f>1&amp;"x"</f><v>1x</v></c><c r="B2"><f>2*3</f><v>6</v></c></row>'
        '<row r="3"><c r="A3" t="str"><f>IF(A2="","",A2)</f><v></v></c></row>'
        '<row r="4"><c r="A4"><v>7</v></c><c r="B4" t="shared"><f t="shared" si="0"/></c></row>',
    )
    assert read.cells.to_numpy().tolist() == [["1x", "6"], ["7", ""]]
    # The row of an empty result is counted as blank and is no finding.
    assert (read.counted, read.blank) == (4, 1)
    assert [(n.row, n.column, "never calculated" in n.rule) for n in read.notes] == [(4, "B", True)]


@pytest.mark.parametrize(
    ("value", "number_format", "text"),
    [
        (42, '"S-"0000', "S-0042"),
        (42, "\\S\\-0000", "S-0042"),
        (43.26, '0" kg"', "43.26 kg"),
        (43, '#,##0.0\\ "g"', "43 g"),
        (12.5, '#,##0.00\\ "€"', "12.5"),
        (12.5, "[$£-809]#,##0.00", "12.5"),
        (0.5, "0%", "0.5"),
        (8, "00", "08"),
        (-8, "00", "-08"),
        (dt.date(2024, 3, 1), "mmm\\-yy", "2024-03"),
        (dt.date(2024, 3, 1), "mmmm yyyy", "2024-03"),
        (dt.date(2024, 3, 2), "mmmm yyyy", "2024-03-02"),
        (dt.date(2024, 3, 1), "yyyy\\-mm\\-dd", "2024-03-01"),
        (dt.datetime(2024, 3, 1, 0, 0), 'd "of" mmm yy', "2024-03-01"),
    ],
)
def test_what_the_format_shows_belongs_to_the_cell(tmp_path, value, number_format, text):
    def shape(_, sheet):
        sheet["A2"] = value
        sheet["A2"].number_format = number_format

    assert book(tmp_path, [["a", "b"], [1, "x"]], change=shape).read("intakes").cells["a"][0] == text


def test_cells_that_other_programs_write_are_counted_and_read(tmp_path):
    # An inline text that is empty, a cell without its address, and one that is only a space.
    read = raw(
        tmp_path,
        '<row r="2"><c r="A2" t="inlineStr"><is><t></t></is></c></row><row r="3"><c><v>7</v></c></row>'
        '<row r="4"><c r="A4" t="inlineStr"><is><t xml:space="preserve"> </t></is></c></row>',
    )
    assert (read.cells["a"].tolist(), read.counted, read.blank) == (["7"], 4, 2)


def test_a_day_no_calendar_has_is_an_error_cell_and_no_warning(tmp_path):
    def shape(_, sheet):
        sheet["A2"] = 99999999
        sheet["A2"].number_format = "yyyy-mm-dd"

    read = book(tmp_path, [["a", "b"], [1, "x"]], change=shape).read("intakes")
    assert read.cells["a"][0] == ""
    assert "shows an error" in read.notes[0].rule


def test_a_workbook_damaged_inside_is_refused(tmp_path):
    with pytest.raises(InputError, match="not a workbook that can be read"):
        raw(tmp_path, '<row r="2"><c r="A2" t="s"><v>99</v></c></row>')
    with pytest.raises(InputError, match="not a workbook that can be read"):
        raw(tmp_path, '<row r="2"><c r="A2">')


def test_what_is_struck_through_is_read_and_said(tmp_path):
    def strike(_, sheet):
        for cell in ("A2", "B2", "B3"):
            sheet[cell].font = Font(strike=True)

    read = book(tmp_path, [["a", "b"], ["1", "2"], ["3", "4"], ["5", "6"]], change=strike).read("intakes")
    assert list(read.cells["a"]) == ["1", "3", "5"]
    assert [(n.row, n.column, n.rule.split(" struck")[0], n.effect) for n in read.notes] == [
        (2, "", "the row is", "kept, doubtful"),
        (3, "B", "the cell is", "kept, doubtful"),
    ]


def test_a_cell_of_which_a_part_is_struck_through_is_read_whole_and_said(tmp_path):
    out = Workbook()
    out.active.title = "intakes"
    out.active.append(["a", "b"])
    out.active.append(["one", "two"])
    out.save(tmp_path / "p.xlsx")
    with zipfile.ZipFile(tmp_path / "p.xlsx") as book:
        parts = {item: book.read(item) for item in book.namelist()}
    space = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    # As spreadsheets write a cell whose first word is struck through; the second text only says that it is not.
    parts["xl/sharedStrings.xml"] = (
        b"<sst " + space + b"><si><r><rPr><strike/></rPr><t>12</t></r><r><t>13</t></r></si>"
        b'<si><r><rPr><strike val="0"/></rPr><t>x</t></r></si></sst>'
    )
    at = "xl/worksheets/sheet1.xml"
    cells = b'<row r="2"><c r="A2" t="s"><v>1</v></c><c r="B2" t="s"><v>0</v></c></row>'
    parts[at] = re.sub(rb'<row r="2".*</row>', cells, parts[at])
    types = b'<Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    types += b'spreadsheetml.sharedStrings+xml"/></Types>'
    if b"sharedStrings" not in parts["[Content_Types].xml"]:
        parts["[Content_Types].xml"] = parts["[Content_Types].xml"].replace(b"</Types>", types)
    with zipfile.ZipFile(tmp_path / "p.xlsx", "w") as book:
        for item, content in parts.items():
            book.writestr(item, content)
    read = Book(tmp_path / "p.xlsx").read("intakes")
    assert read.cells.to_numpy().tolist() == [["x", "1213"]]
    assert [(n.row, n.column, n.effect) for n in read.notes] == [(2, "B", "kept, doubtful")]


def test_hidden_columns_and_sheets_are_read_and_said(tmp_path):
    def hide(out, sheet):
        sheet.column_dimensions["B"].hidden = True
        out.create_sheet("other")
        sheet.sheet_state = "hidden"

    read = book(tmp_path, [["a", "b"], ["1", "2"]], change=hide).read("intakes")
    assert list(read.cells["b"]) == ["2"]
    assert [n.column for n in read.notes] == ["", "B"]
    assert "sheet is hidden" in read.notes[0].rule


def test_rows_hidden_by_a_filter_are_read_and_said_once(tmp_path):
    def screen(_, sheet):
        sheet.auto_filter.ref = "A1:B4"
        for row in (2, 4):
            sheet.row_dimensions[row].hidden = True

    read = book(tmp_path, [["a", "b"], ["1", "2"], ["3", "4"], ["5", "6"]], change=screen).read("intakes")
    assert list(read.cells["a"]) == ["1", "3", "5"]
    assert [n.rule.split(",")[0] for n in read.notes] == ["2 rows are hidden by a filter in the sheet (row 2"]


def test_a_formula_is_never_run(tmp_path):
    read = book(tmp_path, [["a", "b"], ["1", '=HYPERLINK("x","y")']]).read("intakes")
    assert read.cells["b"][0] == ""
    assert read.notes[0].value.startswith("=HYPERLINK")


def test_the_raw_counter_reads_the_right_sheet(tmp_path):
    def more(out, _):
        other = out.create_sheet("Other & more")
        for i in range(5):
            other.append([i])

    opened = book(tmp_path, [["a", "b"], ["1", "2"]], change=more)
    assert count_workbook_rows(opened.path, "intakes") == 2
    assert count_workbook_rows(opened.path, "Other & more") == 5
    assert opened.read("Other & more").counted == 5


def test_refusals_name_the_file_and_the_remedy(tmp_path):
    with pytest.raises(InputError, match=r'no sheet "intake"(.|\n)*Did you mean "intakes"'):
        book(tmp_path, [["a"]]).read("intake")
    with pytest.raises(InputError, match=r'r.xlsx, sheet "intakes": the sheet is empty'):
        book(tmp_path, []).read("intakes")
    (tmp_path / "no.xlsx").write_text("not a workbook")
    with pytest.raises(InputError, match=r"no.xlsx: this is not a workbook"):
        Book(tmp_path / "no.xlsx")
    with zipfile.ZipFile(tmp_path / "zip.xlsx", "w") as other:
        other.writestr("a.txt", "x")
    with pytest.raises(InputError, match=r"zip.xlsx: this is not a workbook"):
        Book(tmp_path / "zip.xlsx")


def test_a_workbook_loads_like_a_folder(tmp_path):
    book(
        tmp_path,
        [
            ["Stay ID", "Species", "Intake date", "Intake_type"],
            ["S-1", "beardie", dt.date(2026, 3, 2), "Surrender"],
            ["S-2", "corn snake", 46084, "stray"],
        ],
    )
    records = load(tmp_path / "r.xlsx", as_of="2026-12-31")
    assert records["intakes"]["species"].tolist() == ["bearded dragon", "corn snake"]
    assert records["intakes"]["intake_date"].dt.strftime("%Y-%m-%d").tolist() == ["2026-03-02", "2026-03-03"]
    assert (records.findings["rule"].str.contains("day number") & (records.findings["row"] == 3)).any()
    assert records.findings.loc[records.findings["row"] == 3, "column"].tolist() == ["Intake date"]
