"""What check prints and writes: short, worst first, no person's detail, nothing a spreadsheet would run."""

from __future__ import annotations

from urllib.parse import unquote

import pytest
from openpyxl import load_workbook

from mendcurve.documents.checking import report_lines, write
from mendcurve.questions import quality
from mendcurve.records import load
from mendcurve.records.findings import SET_ASIDE, grouped

INTAKES = "stay_id,species,intake_date,intake_type,note\n"
TOML = "[dates]\nas_of = 2026-12-31\nrecords_start = 2025-01-01\n"
PHONE, MAIL, STREET = "0123 456 7890", "someone@example.org", "12 Invented Road"


@pytest.fixture
def rescue(tmp_path):
    """Return a function that loads a folder of the given tables."""
    folder = tmp_path / "my records"
    folder.mkdir()

    def go(toml=TOML, **files):
        for name, text in files.items():
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        (folder / "records.toml").write_text(toml, encoding="utf-8")
        return load(folder)

    go.folder = folder
    return go


def many_faults():
    """Return tables with more than a thousand findings of some thirty kinds, and people's details in them."""
    species = ["corn snake", "ball python", "leopard gecko", f"ask {PHONE}"]
    intakes = INTAKES + "".join(
        f"S-{i},{species[i % 4]},{'2026-13-01' if i % 7 == 0 else f'2026-03-{1 + i % 28:02d}'},stray,"
        f"{'write to ' + MAIL if i % 5 == 0 else ''}\n"
        for i in range(600)
    )
    outcomes = "stay_id,outcome_date,outcome_type\n" + "".join(
        f"S-{i},2026-02-{1 + i % 28:02d},{'adopted' if i % 3 else STREET}\n" for i in range(300)
    )
    weighings = "stay_id,weighed_on,weight\n" + "".join(
        f"S-{i},2026-04-0{1 + i % 9},{['12', 'heavy', PHONE, '-4', '900000'][i % 5]}\n" for i in range(900)
    )
    moves = "stay_id,moved_on,zone\n" + "".join(f"S-{i},soon,{MAIL}\n" for i in range(100))
    return {"intakes": intakes, "outcomes": outcomes, "weighings": weighings, "moves": moves}


def test_a_thousand_findings_print_as_about_sixty_lines_without_a_persons_detail(rescue):
    records = rescue(**many_faults())
    assert len(records.findings) > 1000
    lines = list(report_lines(records))
    assert 20 < len(lines) <= 60
    text = "\n".join(lines)
    for detail in ("456", "example.org", "Invented Road"):
        assert detail not in text
    assert "more kind" in text
    for title in ("Set aside, not used", "Doubtful, but kept", "Changed as they were read", "To know"):
        assert title in text
    assert text.index("Set aside, not used") < text.index("Doubtful, but kept") < text.index("To know")


def test_the_group_that_touches_most_animals_comes_first(rescue):
    intakes = INTAKES.replace("note", "group_size")
    intakes += "".join(f"S-{i},corn snake,2026-03-0{i},stray,{i}\n" for i in range(1, 6))
    outcomes = "stay_id,outcome_date,outcome_type\nS-5,2026-01-01,adopted\n"
    weighings = "stay_id,weighed_on,weight\nS-1,2026-03-02,heavy\nS-2,2026-03-02,heavy\n"
    text = "\n".join(report_lines(rescue(intakes=intakes, outcomes=outcomes, weighings=weighings)))
    assert text.index("outcomes.csv, outcome date") < text.index("weighings.csv, weight")
    assert "(2 rows, 3 animals)" in text
    assert 'row 2, B2 "2026-01-01": S-5 (5 corn snakes) counted as still in care' in text


def test_a_long_text_is_cut_on_the_screen_only(rescue):
    intakes = INTAKES + "S-1,corn snake,2026-03-01,stray,\nS-2,corn snake,2026-03-01," + "x" * 300 + ",\n"
    records = rescue(intakes=intakes)
    assert all(len(line) < 280 for line in report_lines(records))


def test_corrections_are_shown_with_who_and_why_to_the_rescue_itself(rescue):
    corrections = "file,row,column,typed,now,who,when,why\n"
    corrections += "intakes.csv,2,intake_date,someday,2026-03-01,Kim,2026-12-01,diary\n"
    records = rescue(intakes=INTAKES + "S-1,corn snake,someday,stray,\n", corrections=corrections)
    text = "\n".join(report_lines(records))
    assert "1 correction of yours: 1 corrected." in text
    assert 'intakes.csv, C2: "someday" is read as "2026-03-01" (Kim, 2026-12-01: diary)' in text
    assert "Corrected by you (1 cell)" in text


def test_a_corrected_day_is_shown_as_it_is_understood(rescue):
    corrections = "file,row,column,typed,now,who,why\nintakes.csv,2,intake_date,someday,1/9/2026,Kim,diary\n"
    corrections += "intakes.csv,3,intake_date,anyday,the ninth,Kim,diary\n"
    rows = "S-1,corn snake,someday,stray,\nS-2,corn snake,anyday,stray,\n"
    for order, meant in (("dmy", "1 September 2026"), ("mdy", "9 January 2026")):
        toml = f'[rescue]\ndate_order = "{order}"\n{TOML}'
        text = "\n".join(report_lines(rescue(toml, intakes=INTAKES + rows, corrections=corrections)))
        assert f'"someday" is read as "1/9/2026", {meant} (Kim: diary)' in text
        assert 'is read as "the ninth", cannot be used: see the findings' in text


def test_what_is_not_read_and_what_is_not_applied_is_on_the_screen_however_much_is_found(rescue):
    (rescue.folder / "old").mkdir()
    (rescue.folder / "old" / "intakes.csv").write_text(INTAKES, encoding="utf-8")
    (rescue.folder / "leaflet.pdf").write_bytes(b"%PDF-1.4")
    (rescue.folder / "oneline.csv").write_text("a line and no more\n", encoding="utf-8")
    corrections = "file,row,column,typed,now,who,when,why\nweighings.csv,5,weight,77,78,Kim,,card\n"
    corrections += "weighings.csv,3,weight,heavy,78,Kim,yesterday,card\n" * 11
    records = rescue(**many_faults(), corrections=corrections)
    lines = list(report_lines(records))
    assert len(lines) <= 60
    text = "\n".join(lines)
    assert "Not read (3 findings)" in text
    for place in ("  old/: a subfolder is not read", "  leaflet.pdf: this is no", "  oneline.csv: no table is read"):
        assert place in text
    assert "Your corrections that are not applied (12)" in text
    assert 'line 2, "78" for weighings.csv, C5: the cell no longer holds "77"' in text
    assert 'line 3, "78" for weighings.csv, row 3: "yesterday" under "when" is no date' in text
    assert "and 4 more corrections: see findings.xlsx" in text


def test_findings_are_counted_in_one_way_by_check_and_by_the_reports(rescue):
    faults = many_faults()
    faults["moves"] += "S-1,soon,quarantine\nS-2,2026-03-31,quarantine\n"
    corrections = "file,row,column,typed,now,who,why\nweighings.csv,5,weight,77,78,Kim,card\n"
    records = rescue(**faults, corrections=corrections)
    text = "\n".join(report_lines(records))
    by = quality.findings(records).to_frame().set_index("effect")["findings"]
    lines = records.findings[records.findings["table"] != "corrections"]
    assert by.sum() == len(lines)
    assert len(lines) == len(records.findings) - 1
    assert f"until mended ({by[SET_ASIDE]:,} findings in " in text
    assert f"how it is used ({by['kept, doubtful']:,} finding" in text
    assert f"as they were read ({by['changed']:,} finding" in text


def test_cells_and_rows_are_told_apart_where_one_row_holds_many(rescue):
    weighings = "stay_id,March,April\n" + "".join(f"S-{i},heavy,heavy\n" for i in range(1, 6))
    intakes = INTAKES + "".join(f"S-{i},corn snake,2026-01-0{i},stray,\n" for i in range(1, 6))
    toml = TOML + '[tables.weighings]\nfile = "weighings.csv"\n'
    toml += 'wide = {into = "weighed_on", values = "weight", headings = "months", year = 2026}\n'
    records = rescue(toml, intakes=intakes, weighings=weighings)
    found = records.cells[(records.cells["effect"] == SET_ASIDE)].assign(column="weight")
    group = grouped(found).iloc[0]
    assert (group["records"], group["cells"]) == (5, 10)
    # Each weighing is a record, on the screen and in the reports.
    assert quality.findings(records).to_frame().set_index("effect")["findings"][SET_ASIDE] == 10
    assert "until mended (10 findings)" in "\n".join(report_lines(records))


def test_a_row_that_is_out_is_not_headed_by_what_is_only_doubtful_in_it(rescue):
    weighings = "stay_id,weighed_on,weight\nS-9,2026-04-01,~44\n"
    records = rescue(intakes=INTAKES + "S-1,corn snake,2026-03-01,stray,\n", weighings=weighings)
    text = "\n".join(report_lines(records))
    assert "stay_id must be one of intakes" in text
    assert "about right only" not in text
    assert "Besides, 1 finding about other cells of these rows: see findings.xlsx" in text
    assert records.cells["rule"].str.contains("about right only").any()


@pytest.fixture
def written(rescue, tmp_path):
    """Return the records of many faults, and where they are written."""
    faults = many_faults()
    faults["moves"] = "stay_id,moved_on,zone\n=1+1,soon,quarantine\nS-2,@soon,quarantine\nS-3,-5,=HYPERLINK(1)\n"
    records = rescue(**faults)
    write(records, tmp_path / "check", rescue.folder)
    return records, tmp_path / "check"


def test_the_files_hold_every_finding_and_row(written):
    records, out = written
    assert {p.name for p in out.iterdir()} == {
        *("findings.csv", "set_aside.csv", "accounts.csv", "findings.xlsx"),
        *(["words.csv"] if len(records.words) else []),
    }
    sheet = load_workbook(out / "findings.xlsx")["Mending list"]
    todo = records.cells[records.cells["effect"].isin([SET_ASIDE, "kept, doubtful", "changed"])]
    assert sheet.max_row - 1 == todo["row"].notna().sum()
    texts = [(out / name).read_text(encoding="utf-8-sig") for name in ("findings.csv", "set_aside.csv")]
    assert len(texts[0].splitlines()) - 1 == len(records.findings)
    for detail in ("456 7890", "example.org"):
        assert detail not in "".join(texts)


def test_nothing_in_the_workbook_or_the_csv_would_run(written):
    _, out = written
    book = load_workbook(out / "findings.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s"}
    assert "=1+1" in {cell.value for cell in cells}
    assert all(cell.number_format == "@" for cell in cells)
    assert not any(sheet.data_validations.dataValidation for sheet in book)
    text = (out / "findings.csv").read_text(encoding="utf-8-sig")
    assert "'=1+1" in text
    assert "\n=" not in text
    assert ",=" not in text


def test_rows_link_to_their_cell_by_a_relative_way(written):
    _, out = written
    sheet = load_workbook(out / "findings.xlsx")["Mending list"]
    links = {sheet.cell(row, 4).hyperlink.target for row in range(2, 30)}
    assert links <= {f"../my%20records/{name}.csv" for name in ("intakes", "outcomes", "weighings", "moves")}


def test_a_workbooks_rows_link_to_the_sheet_and_cell(tmp_path):
    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "intakes"
    for row in (
        INTAKES.strip().split(","),
        ["S-1", "corn snake", "someday", "stray"],
        ["S-2", "x", "2026-03-01", "stray"],
    ):
        book.active.append(row)
    book.save(tmp_path / "It's ours.xlsx")
    (tmp_path / "records.toml").write_text(TOML, encoding="utf-8")
    write(load(tmp_path), tmp_path / "check", tmp_path)
    sheet = load_workbook(tmp_path / "check" / "findings.xlsx")["Mending list"]
    link = sheet["D2"].hyperlink
    assert (sheet["D2"].value, link.target, link.location) == ("C2", "It%27s%20ours.xlsx", "'intakes'!C2")


@pytest.mark.parametrize("out", ["check", "lists/of today/check", "my records/check"])
def test_links_open_the_files_once_the_list_is_saved_with_the_records(rescue, tmp_path, out):
    records = rescue(intakes=INTAKES + "S-1,corn snake,someday,stray,\n")
    path = write(records, tmp_path / out, rescue.folder)
    target = unquote(load_workbook(path)["Mending list"]["D2"].hyperlink.target)
    assert (rescue.folder / target).resolve() == rescue.folder / "intakes.csv"
    # Beside the records they open where the list is written, too.
    assert (path.parent / target).is_file() == (out == "check")


def test_a_line_that_is_not_applied_keeps_its_place_in_the_list_and_says_why(rescue, tmp_path):
    corrections = "file,row,column,cell,typed,now,who,when,why\nintakes.csv,2,intake_date,C2,someday,2026-03-01,Kim,,\n"
    corrections += "intakes.csv,,intake_date,,someday,2026-03-01,Kim,,card\n"
    records = rescue(intakes=INTAKES + "S-1,corn snake,someday,stray,\n", corrections=corrections)
    sheet = load_workbook(write(records, tmp_path / "check", rescue.folder))["Mending list"]
    last = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=sheet.max_row - 1)]
    assert last[0][:4] == ["intakes.csv", None, "2", "C2"]
    assert last[1][:4] == ["intakes.csv", None, None, None]
    assert "why is missing" in last[0][7]
    assert last[0][10:13] == ["2026-03-01", "Kim", None]


def test_delete_in_the_list_takes_the_row_out(rescue, tmp_path):
    rows = "S-1,corn snake,2026-03-01,stray,\n" * 2 + "S-2,corn snake,2026-03-02,stray,\n"
    weighings = "stay_id,weighed_on,weight\nS-2,2026-03-05,heavy\nS-2,2026-03-06,40\n"
    records = rescue(intakes=INTAKES + rows, weighings=weighings)
    assert records.set_aside["row"].tolist() == [3, 2]
    before = (rescue.folder / "intakes.csv").read_bytes()
    book = load_workbook(write(records, tmp_path / "check", rescue.folder))
    sheet = book["Mending list"]
    assert sheet.max_row == 3
    for row in (2, 3):
        for place, text in enumerate(("delete", "Kim", None, "written twice"), start=11):
            sheet.cell(row, place, text)
    book.save(rescue.folder / "corrections.xlsx")
    records = load(rescue.folder)
    assert records.corrections["state"].tolist() == ["taken out", "taken out"]
    assert not (records.findings["effect"] == SET_ASIDE).any()
    assert sorted(records.set_aside["row"]) == [2, 3]
    assert (rescue.folder / "intakes.csv").read_bytes() == before
    text = "\n".join(report_lines(records))
    assert "intakes.csv, row 3: the row is taken out (Kim: written twice)" in text
    assert "Set aside, not used" not in text


def test_the_list_is_ready_to_print_and_the_same_twice(written, rescue):
    records, out = written
    sheet = load_workbook(out / "findings.xlsx")["Mending list"]
    assert sheet.freeze_panes == "A2"
    assert sheet.page_setup.orientation == "landscape"
    assert sheet.print_title_rows == "$1:$1"
    assert [c.value for c in sheet[1]][-4:] == ["now", "who", "when", "why"]
    first = (out / "findings.xlsx").read_bytes()
    write(records, out, rescue.folder)
    assert (out / "findings.xlsx").read_bytes() == first


def test_a_filled_in_list_comes_back_as_corrections_and_keeps_what_was_corrected_before(rescue, tmp_path):
    rows = "S-1,corn snake,someday,stray,\nS-2,corn snake,anyday,stray,\n"
    records = rescue(intakes=INTAKES + rows)
    for stay, now in (("S-1", "2026-03-01"), ("S-2", "2026-03-02")):
        book = load_workbook(write(records, tmp_path / "check", rescue.folder))
        sheet = book["Mending list"]
        at = next(row for row in range(2, sheet.max_row + 1) if sheet.cell(row, 5).value == stay)
        for place, text in enumerate((now, "Kim", None, "diary"), start=11):
            sheet.cell(at, place, text)
        book.save(rescue.folder / "corrections.xlsx")
        records = load(rescue.folder)
    assert records["intakes"]["intake_date"].astype(str).tolist() == ["2026-03-01", "2026-03-02"]
    assert records.corrections["state"].tolist() == ["corrected", "corrected"]
    assert records.set_aside.empty
