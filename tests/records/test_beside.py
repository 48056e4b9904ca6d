"""What lies beside the records: each thing that is not read is named, with what it may have been meant to be."""

from __future__ import annotations

import shutil

import pytest
from openpyxl import Workbook

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.beside import near_table

INTAKES = "stay_id,species,intake_date,intake_type\nS-1,corn snake,2026-03-02,stray\n"
WEIGHINGS = "stay_id,weighed_on,weight\nS-1,2026-03-03,285\n"


def folder(tmp_path, toml="", **files):
    for name, text in {"intakes.csv": INTAKES, **files}.items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n" + toml, encoding="utf-8"
    )
    return tmp_path


def found(path):
    frame = load(path).findings
    return {f: (r, w, e) for f, r, w, e in frame[["file", "rule", "what_to_do", "effect"]].to_numpy(dtype=object)}


@pytest.mark.parametrize("kind", [".ods", ".xls", ".numbers", ".json"])
def test_a_spreadsheet_of_another_kind_is_named_with_the_way_out(tmp_path, kind):
    rule, remedy, _ = found(folder(tmp_path, **{f"Weighings 2025{kind}": "x"}))[f"Weighings 2025{kind}"]
    assert f"files ending in {kind} are not read" in rule
    assert "save it as .xlsx or CSV" in remedy
    assert 'like that of the table "weighings"' in remedy


@pytest.mark.parametrize("name", ["letter.pdf", "letter.docx", "photo.jpg", "no_suffix"])
def test_a_document_is_named(tmp_path, name):
    rule, remedy, effect = found(folder(tmp_path, **{name: "x"}))[name]
    assert "is no file of records" in rule
    assert remedy == "Nothing, if it holds no records."
    assert effect == "note"


def test_many_documents_of_a_kind_are_one_line(tmp_path):
    findings = load(folder(tmp_path, **{f"{n}.jpg": "x" for n in range(40)})).findings
    assert len(findings) == 1
    assert "40 files ending in .jpg are not read (0.jpg, 1.jpg, 10.jpg and 37 more)" in findings["rule"].iloc[0]


def test_a_subfolder_that_holds_tables_is_named_and_one_of_our_own_is_not(tmp_path):
    path = folder(
        tmp_path, **{"2025/outcomes.csv": "x", "2025/more.ods": "x", "check/findings.csv": "x", "img/a.png": ""}
    )
    all_found = found(path)
    assert set(all_found) == {"2025/"}
    assert "holds 2 files that may be records (more.ods, outcomes.csv)" in all_found["2025/"][0]
    assert not found(folder(tmp_path, '[files]\nignore = ["2025"]\n'))


def test_a_misspelt_file_names_the_table_it_is_near_and_counts_as_doubtful(tmp_path):
    rule, remedy, effect = found(folder(tmp_path, **{"Weighngs.csv": WEIGHINGS}))["Weighngs.csv"]
    like = 'though its name is like that of the table "weighings", which nothing else holds'
    assert rule == f"no table is read from this file, {like}"
    assert remedy.startswith('If it holds weighings, rename it "weighings".')
    assert "mendcurve connect" in remedy
    assert effect == "kept, doubtful"


def test_a_misspelt_sheet_and_a_sheet_of_no_table_beside_readable_ones(tmp_path):
    book = Workbook()
    book.active.title = "intakes"
    for line in INTAKES.splitlines():
        book["intakes"].append(line.split(","))
    for name in ("Weighngs", "Rota", "How to"):
        book.create_sheet(name).append(["a", "b"])
    book.save(tmp_path / "book.xlsx")
    findings = load(tmp_path / "book.xlsx", as_of="2026-12-31").findings
    told = findings.set_index("sheet")["rule"].to_dict()
    assert 'like that of the table "weighings"' in told["Weighngs"]
    assert told["Rota"] == "no table is read from this sheet"
    assert "How to" not in told


def test_what_the_settings_ignore_is_not_told(tmp_path):
    files = {"Weighngs.csv": WEIGHINGS, "a.ods": "x"}
    assert not found(folder(tmp_path, '[files]\nignore = ["Weighngs.csv", "a.ods"]\n', **files))


@pytest.mark.parametrize(
    "name", ["intakes (1).csv", "Copy of intakes.csv", "intakes - Copy.csv", "copy of intakes (1).csv"]
)
def test_a_copy_of_a_file_is_named_and_compared(tmp_path, name):
    rule, remedy, effect = found(folder(tmp_path, **{name: INTAKES}))[name]
    assert 'this is a copy of "intakes.csv", and is not read; the two are the same' in rule
    assert (remedy, effect) == ("Delete it, or move it elsewhere.", "note")
    rule, remedy, effect = found(folder(tmp_path, **{name: INTAKES + "S-2,corn snake,2026-03-09,stray\n"}))[name]
    assert "but the two differ" in rule
    assert 'Keep the one that is right under the name "intakes.csv"' in remedy
    assert effect == "kept, doubtful"


def test_two_places_of_one_table_are_told_unless_the_settings_name_them(tmp_path):
    other = INTAKES.replace("S-1", "S-2")
    path = folder(tmp_path, **{"Intakes.tsv": other.replace(",", "\t")})
    rule, _, effect = next(iter(found(path).values()))
    assert "intakes is read from 2 places, and the rows of all are used: Intakes.tsv, intakes.csv" in rule
    assert effect == "kept, doubtful"
    assert len(load(path)["intakes"]) == 2
    named = '[[tables.intakes]]\nfile = "Intakes.tsv"\n[[tables.intakes]]\nfile = "intakes.csv"\n'
    assert not found(folder(tmp_path, named))


def test_one_file_under_two_names_that_are_both_read_is_told(tmp_path):
    shutil.copy(folder(tmp_path) / "intakes.csv", tmp_path / "older.csv")
    named = '[[tables.intakes]]\nfile = "older.csv"\n[[tables.intakes]]\nfile = "intakes.csv"\n'
    told = load(folder(tmp_path, named)).findings
    assert 'this file is the same as "intakes.csv", and both are read' in told["rule"].tolist()


def test_a_file_of_intakes_under_another_name_is_answered_with_connect(tmp_path):
    (tmp_path / "Animals 2025.csv").write_text(INTAKES, encoding="utf-8")
    fits = r"Animals 2025.csv; its headings fit intakes \(stay_id, species, intake_date, intake_type\)"
    says = rf'{fits}\n.*Run "mendcurve connect'
    with pytest.raises(InputError, match=says):
        load(tmp_path)
    with pytest.raises(InputError, match=f'connect {tmp_path.name}"'):
        load(tmp_path / "Animals 2025.csv")


def test_a_misspelt_intakes_is_answered_with_its_name(tmp_path):
    (tmp_path / "intakess.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(InputError, match=r'intakess.csv; its name is like that of the table "intakes"'):
        load(tmp_path)


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("Weighngs 2025", "weighings"),
        ("intakess", "intakes"),
        ("OUTCOME", "outcomes"),
        ("copy of doses (2)", "doses"),
        ("Rota", ""),
        ("adoption contract", ""),
        ("Grant letters", ""),
        ("Sheet1", ""),
        ("2025", ""),
    ],
)
def test_a_name_is_near_a_table_or_not(name, table):
    assert near_table(name) == table
