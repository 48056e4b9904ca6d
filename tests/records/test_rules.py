"""Every rule of reading, proved through ``load`` on a small real file."""

from __future__ import annotations

import csv
import re
import zipfile
from pathlib import Path

import pytest
from openpyxl.styles import Font
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.findings import SET_ASIDE
from mendcurve.records.rules import ASKED, MEANING, NOTHING_SAID, RULES, rules_table, rules_text
from records.rule_cells import BASE, CELLS, DAY, HEAD, ORDERED, ROW, UNITS, booked, effects, loaded, said

BY_NAME = {rule.name: rule for rule in RULES}


@pytest.mark.parametrize("name", CELLS)
def test_the_example_of_a_rule_about_cells_reads_as_it_says(tmp_path, name):
    rule = BY_NAME[name]
    (table, head, row), column, value, others = CELLS[name]
    cells = [rule.example, *others]
    with (tmp_path / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(head)
        for number, cell in enumerate(cells):
            line = [cell if text == "?" else text for text in row]
            # Further rows are stays of their own.
            line[0] = line[0] if row[0] == "?" or table != "intakes" else f"S-{number + 1}"
            writer.writerow(line)
    toml = ORDERED.get(name, "") + (f"[tables.{table}]\n{UNITS[name]}" if name in UNITS else "")
    if table == "courses":
        (tmp_path / "conditions.csv").write_text(
            "episode_id,stay_id,condition,found_on\nE-1,S-1,thin,2026-03-02\n", encoding="utf-8"
        )
    extra = {} if table != "intakes" else {"intakes": (tmp_path / "intakes.csv").read_bytes()}
    records = loaded(tmp_path, toml, **extra)
    frame = records[table]
    mine = frame[frame["source_row"] == 2]
    if value is None:
        assert rule.effect == SET_ASIDE
        assert len(mine) == 0
        assert 2 in records.set_aside.loc[records.set_aside["table"] == table, "row"].tolist()
        return
    assert mine[column].tolist() == [pytest.approx(value, abs=0.005) if isinstance(value, float) else value]
    told = records.findings.query("row == 2 and table == @table")["effect"].tolist()
    assert told == ([] if rule.effect == NOTHING_SAID else [rule.effect])


def test_a_rule_that_speaks_of_a_value_names_the_one_the_proof_asks_for():
    for name, (_, _, value, _) in CELLS.items():
        if isinstance(value, (int, str, float)) and name != "counts that became dates" and name != "counts too large":
            assert f"{value:.6g}" in BY_NAME[name].read if not isinstance(value, str) else value in BY_NAME[name].read


def utf8(folder):
    for start in ("", "\ufeff"):
        records = loaded(folder, intakes=start + BASE.replace("well", "São"))
        assert records["intakes"]["note"].tolist() == ["São"]
        assert effects(records) == []


def utf16(folder):
    for encoding in ("utf-16", "utf-16-le"):
        records = loaded(folder, intakes=BASE.replace("well", "São").encode(encoding))
        assert records["intakes"]["note"].tolist() == ["São"]
        assert effects(records) == []


def windows_text(folder):
    records = loaded(folder, intakes=BASE.replace("well", "São").encode("cp1252"))
    assert records["intakes"]["note"].tolist() == ["São"]
    assert said(records, "Windows", "note")


def delimiters(folder):
    for sign in ";\t|":
        records = loaded(folder, weighings=f"stay_id{sign}weighed_on{sign}weight\nS-1{sign}2026-03-05{sign}0,043 kg\n")
        assert records["weighings"]["weight_g"].tolist() == [43.0]
    records = loaded(folder, weighings="sep=;\nstay_id;weighed_on;weight\nS-1;2026-03-05;0,043 kg\n")
    assert records["weighings"]["weight_g"].tolist() == [43.0]
    assert effects(records) == []


def line_ends(folder):
    for end in ("\r", "\r\n", "\n"):
        records = loaded(folder, intakes=BASE.replace("\n", end))
        assert records["intakes"]["stay_id"].tolist() == ["S-1"]


def line_breaks(folder):
    records = loaded(folder, intakes=BASE.replace("well", '"in two\nlines"') + ",".join(["S-2", *ROW[1:]]) + "\n")
    assert records["intakes"]["note"].tolist() == ["in two\nlines", "well"]
    # A spreadsheet shows the cell of two lines as one row.
    assert records["intakes"]["source_row"].tolist() == [2, 3]


def open_quotation(folder):
    with pytest.raises(InputError, match="quotation mark is probably never closed"):
        loaded(folder, intakes=BASE.replace("well", '"well') + BASE)


def nul_bytes(folder):
    records = loaded(folder, intakes=BASE.replace("well", "we\x00ll"))
    assert records["intakes"]["note"].tolist() == ["well"]
    assert said(records, "line 2", "changed")


def no_text_file(folder):
    with pytest.raises(InputError, match="a workbook or an archive, not a text file"):
        loaded(folder, intakes=b"PK\x03\x04\x14\x00\x06\x00")


def titles(folder):
    records = loaded(folder, intakes="Intakes of 2026\n\n" + BASE)
    assert records["intakes"]["source_row"].tolist() == [4]
    assert records.accounts[["heading", "blank", "kept"]].to_numpy().tolist() == [[2, 1, 1]]


def merged_headings(folder):
    rows = [[*HEAD[:4], "adopter", None], [*ROW[:4], "Invented", "Nobody-At-All"]]
    records = booked(folder, rows, lambda out, sheet: sheet.merge_cells("E1:F1"))
    assert len(records["intakes"]) == 1
    assert not records.findings.map(lambda text: "Nobody" in str(text)).any(axis=None)
    assert said(records, "people are not in the records", "note")


def groups_of_headings(folder):
    rows = [["Animal", None, None, None, "Owner", None], [*HEAD[:4], "first", "last"], [*ROW[:4], "Invented", "Nobody"]]

    def merge(out, sheet):
        sheet.merge_cells("A1:D1")
        sheet.merge_cells("E1:F1")

    records = booked(folder, rows, merge)
    assert records["intakes"]["source_row"].tolist() == [3]
    assert records.findings.loc[records.findings["rule"].str.contains("people"), "column"].tolist() == [
        "Owner first, Owner last"
    ]


def repeated_headings(folder):
    records = loaded(folder, intakes=",".join([*HEAD, "Note"]) + "\n" + ",".join([*ROW, "other"]) + "\n")
    assert records["intakes"]["note"].tolist() == ["well"]
    assert said(records, 'column F is called "Note (6)"', "kept, doubtful")
    assert len(records.findings) == 1


def headings_again(folder):
    records = loaded(folder, intakes=BASE + ",".join(HEAD).upper() + "\n" + ",".join(["S-2", *ROW[1:]]) + "\n")
    assert records["intakes"]["stay_id"].tolist() == ["S-1", "S-2"]
    assert records.accounts["heading"].tolist() == [2]


def total_rows(folder):
    records = loaded(folder, intakes=BASE + "Total,1,,,\n")
    assert len(records["intakes"]) == 1
    assert records.accounts[["total", "kept", "set_aside"]].to_numpy().tolist() == [[1, 1, 0]]


def merged_cells(folder):
    rows = [[*HEAD[:4], "group_size"], [*ROW[:4], 4], ["S-2", "corn snake", None, "stray", None]]

    def merge(out, sheet):
        sheet.merge_cells("C2:C3")
        sheet.merge_cells("E2:E3")

    records = booked(folder, rows, merge)
    assert records["intakes"]["intake_date"].tolist() == [DAY, DAY]
    assert records["intakes"]["group_size"].tolist() == [4, 1]
    assert said(records, "merged over rows 2 to 3: it is read for this row too", "changed")
    assert said(records, "may be meant once, and is read in row 2 only", "changed")


def _three(folder, change):
    rows = [HEAD, ROW, ["S-2", *ROW[1:]], ["S-3", *ROW[1:]]]
    records = booked(folder, rows, change)
    assert records["intakes"]["stay_id"].tolist() == ["S-1", "S-2", "S-3"]
    return records


def hidden_rows(folder):
    records = _three(folder, lambda out, sheet: setattr(sheet.row_dimensions[3], "hidden", True))
    assert said(records, "the row is hidden", "note")
    assert records.findings["row"].tolist() == [3]


def filtered_rows(folder):
    def screen(out, sheet):
        sheet.auto_filter.ref = "A1:E4"
        sheet.row_dimensions[3].hidden = sheet.row_dimensions[4].hidden = True

    records = _three(folder, screen)
    assert said(records, "2 rows are hidden by a filter", "note")
    assert len(records.findings) == 1


def hidden_columns(folder):
    records = _three(folder, lambda out, sheet: setattr(sheet.column_dimensions["B"], "hidden", True))
    assert said(records, "column B is hidden", "note")


def hidden_sheets(folder):
    def hide(out, sheet):
        out.create_sheet("other")
        sheet.sheet_state = "hidden"

    assert said(_three(folder, hide), "the sheet is hidden", "note")


def formulas(folder):
    booked(folder, [HEAD, ROW])
    with zipfile.ZipFile(folder / "r.xlsx") as book:
        parts = {item: book.read(item) for item in book.namelist()}
    at = "xl/worksheets/sheet1.xml"
    cell = b'<c r="B2" t="str"><f>"corn "&amp;"snake"</f><v>corn snake</v></c>'
    parts[at] = re.sub(rb'<c r="B2".*?</c>', cell, parts[at])
    with zipfile.ZipFile(folder / "r.xlsx", "w") as book:
        for item, content in parts.items():
            book.writestr(item, content)
    records = load(folder / "r.xlsx")
    assert records["intakes"]["species"].tolist() == ["corn snake"]
    assert len(records.findings) == 0


def formulas_without_result(folder):
    records = booked(folder, [HEAD, [*ROW[:4], "=1+1"]])
    assert records["intakes"]["note"].isna().tolist() == [True]
    assert said(records, "never calculated", "changed")


def error_cells(folder):
    records = loaded(folder, intakes=BASE.replace("well", "#N/A"))
    assert records["intakes"]["note"].isna().tolist() == [True]
    assert said(records, "shows an error", "changed")

    def fault(out, sheet):
        sheet["E2"] = "#N/A"
        sheet["E2"].data_type = "e"

    (folder / "intakes.csv").unlink()
    records = booked(folder, [HEAD, ROW], fault)
    assert records["intakes"]["note"].isna().tolist() == [True]
    assert said(records, "shows an error", "changed")


def strike_outs(folder):
    def strike(out, sheet):
        for cell in sheet[3]:
            cell.font = Font(strike=True)

    records = _three(folder, strike)
    assert said(records, "the row is struck through", "kept, doubtful")


def number_formats(folder):
    def shape(out, sheet):
        sheet["A2"] = 7
        sheet["A2"].number_format = '"S-"000'

    assert booked(folder, [HEAD, ROW], shape)["intakes"]["stay_id"].tolist() == ["S-007"]


def too_many_cells(folder):
    records = loaded(folder, intakes=BASE.replace("well", "well, fed"))
    assert len(records["intakes"]) == 0
    assert effects(records) == ["set aside"]


def repeated_rows(folder):
    records = loaded(folder, intakes=BASE + ",".join(ROW) + "\n")
    assert records["intakes"]["source_row"].tolist() == [2]
    assert effects(records, 3) == ["set aside"]


def order_unknown(folder):
    with pytest.raises(InputError, match=r"day/month order unknown(.|\n)*02/03/2026(.|\n)*date_order"):
        loaded(folder, intakes=BASE.replace("2026-03-02", BY_NAME["order unknown"].example))


def two_orders(folder):
    one, two = BY_NAME["two orders"].example.split(" and ")
    rows = [["S-1", "corn snake", one, "stray", ""], ["S-2", "corn snake", two, "stray", ""]]
    with pytest.raises(InputError, match=f"(?s)row 2, .*{one}.*row 3, .*{two}"):
        loaded(folder, intakes="\n".join(map(",".join, [HEAD, *rows])) + "\n")


def day_numbers_of_1904(folder):
    def mac(out, sheet):
        out.epoch = CALENDAR_MAC_1904

    records = booked(folder, [HEAD, [*ROW[:2], int(BY_NAME["day numbers of 1904"].example), *ROW[3:]]], mac)
    assert records["intakes"]["intake_date"].tolist() == [DAY]
    assert effects(records) == ["changed"]


def ids_without_letters(folder):
    text = BASE.replace("note\n", "animal_id\n").replace("well", "-") + "S-2,corn snake,2026-03-03,stray,-\n"
    records = loaded(folder, intakes=text)
    assert records["intakes"]["animal_id"].isna().tolist() == [True, True]
    assert said(records, '2 cells hold "-"', "note")
    assert len(records.findings) == 1


def words_for_nothing(folder):
    text = BASE.replace("note\n", "hatched_on\n").replace("well", "n/a") + "S-2,corn snake,2026-03-03,stray,n/a\n"
    records = loaded(folder, intakes=text)
    assert records["intakes"]["hatched_on"].isna().tolist() == [True, True]
    assert said(records, '2 cells hold "n/a"', "note")
    assert len(records.findings) == 1


SHEETS = {
    "UTF-8": utf8,
    "UTF-16": utf16,
    "Windows text": windows_text,
    "delimiters": delimiters,
    "line ends": line_ends,
    "line breaks in cells": line_breaks,
    "open quotation mark": open_quotation,
    "NUL bytes": nul_bytes,
    "no text file": no_text_file,
    "titles": titles,
    "merged headings": merged_headings,
    "groups of headings": groups_of_headings,
    "headings that repeat": repeated_headings,
    "headings again": headings_again,
    "total rows": total_rows,
    "merged cells": merged_cells,
    "hidden rows": hidden_rows,
    "filtered rows": filtered_rows,
    "hidden columns": hidden_columns,
    "hidden sheets": hidden_sheets,
    "formulas": formulas,
    "formulas without result": formulas_without_result,
    "error cells": error_cells,
    "strike-outs": strike_outs,
    "number formats": number_formats,
    "too many cells": too_many_cells,
    "repeated rows": repeated_rows,
    "order unknown": order_unknown,
    "two orders": two_orders,
    "day numbers of 1904": day_numbers_of_1904,
    "ids without letters": ids_without_letters,
    "words for nothing": words_for_nothing,
}


@pytest.mark.parametrize("name", SHEETS)
def test_what_a_rule_about_files_and_sheets_says_is_so(tmp_path, name):
    SHEETS[name](tmp_path)


def test_every_rule_has_a_proof_and_a_known_effect():
    assert len(BY_NAME) == len(RULES)
    assert sorted({*CELLS, *SHEETS}) == sorted(BY_NAME)
    assert not set(CELLS) & set(SHEETS)
    for rule in RULES:
        assert rule.effect in MEANING
        assert rule.found
        assert rule.example
        assert rule.read
    assert {rule.effect for rule in RULES} == set(MEANING)
    assert ASKED in MEANING


def test_the_list_is_printed_whole_and_as_a_table():
    text, table = rules_text(), rules_table()
    for rule in RULES:
        assert f"{rule.name}: {rule.found}" in text
    assert len(table.splitlines()) == len(RULES) + 2
    assert {len(re.findall(r"(?<!\\)\|", line)) for line in table.splitlines()} == {6}
    assert "\x00" not in text + table


def test_the_developers_page_shows_the_list():
    page = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = page.split("<!-- rules -->\n")[1].split("<!-- end of rules -->")[0]
    assert shown.strip() == rules_table().strip()
