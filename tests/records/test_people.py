"""People are planted everywhere in a workbook, and looked for in every byte that is written."""

from __future__ import annotations

import io
import re
import shutil
import zipfile
from contextlib import redirect_stdout

import pandas as pd
import pytest
from openpyxl import Workbook
from openpyxl.comments import Comment

from mendcurve.records import load
from mendcurve.records.people_words import is_id_phone, is_name, is_phone
from mendcurve.records.privacy import details_of, masked
from mendcurve.records.schemas import TABLES

# Invented people and places; telephone numbers of ranges kept for fiction.
SECRETS = ("Fiktiva", "Erfunden", "900191", "900 191", "0142", "496 01", "49601", "nobody.real", "Invented Lane", "3WZ")


def planted(row: int) -> str:
    """Return a text with somebody's details, another each row."""
    forms = (
        "Maria Fiktiva rang 0161 496 0123",
        "call (555) 555-0142",
        "nobody.real@example.org",
        "nobody.real (at) example (dot) org",
        "left at 12 Invented Lane, Nowhere ZZ99 3WZ",
        "Mrs Erfunden, +44 7700 900191",
        "07700 900191",
    )
    return forms[row % len(forms)]


def whole(row: int) -> str:
    return ("Maria Fiktiva", "Thomas Erfunden", "ERFUNDEN, Anna", "Mr. Fiktiva")[row % 4]


def full_row(table: str, n: int, people: bool) -> list[object]:
    """Return a sound row of a table, with details in every column of text if ``people``."""
    made = {
        "stay_id": f"S-{n}",
        "animal_id": f"nobody.real{n}@example.org" if people else f"A-{n}",
        "episode_id": f"E-{n}",
        "course_id": f"C-{n}",
        "grant_id": f"G-{n}",
        "split_from": "",
        "species": "corn snake",
        "group_size": "1",
        "dead_on_arrival": "",
        "is_group_weight": "",
        "interval_hours": "24",
    }
    out: list[object] = []
    for column in TABLES[table].columns:
        if column.name in made:
            out.append(made[column.name])
        elif column.kind in ("date", "datetime"):
            out.append({"outcome_date": "2026-06-01", "ended_on": "2026-05-01"}.get(column.name, "2026-03-02"))
        elif column.name == "funder":
            out.append(whole(n) if people else "A fund")
        elif column.kind in ("text", "id"):
            out.append(planted(n) if people else "")
        elif column.kind == "code":
            out.append(column.codes[0])
        elif column.kind in ("number", "count", "money"):
            out.append("300")
        else:
            out.append("")
    return out


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("people")
    book = Workbook()
    book.properties.creator = "Maria Fiktiva"
    for place, table in enumerate(TABLES.values()):
        sheet = book.active if place == 0 else book.create_sheet()
        sheet.title = table.name
        extra = ["Who has it now", "how to reach", "where from", "ring 07700 900191", "Owner", "more"]
        sheet.append(["Held by Maria Fiktiva, 0161 496 0123"])
        sheet.append([*table.names, *extra])
        for n in range(1, 13):
            sheet.append([*full_row(table.name, n, True), whole(n), planted(1), planted(4), "x", whole(n), planted(n)])
        # A row of details in every column, dates and numbers too: it is set aside.
        sheet.append([planted(n) for n in range(len(table.names) + len(extra))])
        sheet.append(["S-1", '=HYPERLINK("mailto:nobody.real@example.org")'])
        sheet["A3"].comment = Comment("ask Maria Fiktiva, 07700 900191", "Maria Fiktiva")
    book.create_sheet("Rota 07700 900191").append(["Maria Fiktiva", "07700 900191"])
    book.create_sheet("Weighngs").append(["Maria Fiktiva", "07700 900191"])
    book.save(path / "records.xlsx")
    (path / "list 07700 900191.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    (path / "letter to Maria Fiktiva.docx").write_bytes(b"")
    (path / "of Mrs Erfunden").mkdir()
    (path / "of Mrs Erfunden" / "07700 900191.csv").write_text("a,b\n", encoding="utf-8")
    (path / "dictionary.csv").write_text(
        "kind,word,means,note,Maria Fiktiva\ncondition,Maria Fiktiva,07700 900191,ask Maria Fiktiva,1\n"
        "07700 900191,Mrs Erfunden,,,\n",
        encoding="utf-8",
    )
    start = "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n"
    (path / "records.toml").write_text(start, encoding="utf-8")
    return path


def told(text: str) -> list[str]:
    """Return the secrets in a text, also where line ends or marks came between."""
    plain = re.sub(r"<[^>]+>|\s+", " ", text)
    # figures inside a longer decimal number are no telephone number
    numbers = re.sub(r"\d*\.\d{5,}", " ", plain)
    return [secret for secret in SECRETS if secret in (numbers if secret.isdigit() else plain)]


def written(path) -> dict[str, str]:
    """Return every file below a folder as text; the parts of workbooks and documents too."""
    out = {}
    for file in sorted(p for p in path.rglob("*") if p.is_file()):
        raw = file.read_bytes()
        out[file.name] = raw.decode("utf-8", "replace") + raw.decode("utf-16-le", "ignore")
        if zipfile.is_zipfile(file):
            with zipfile.ZipFile(file) as parts:
                out |= {f"{file.name}/{n}": parts.read(n).decode("utf-8", "replace") for n in parts.namelist()}
    return out


def test_the_search_finds_what_is_there(folder):
    found = {secret for text in written(folder).values() for secret in told(text)}
    assert found >= {"Fiktiva", "Erfunden", "900191", "0142", "496 01", "nobody.real", "Invented Lane", "3WZ"}


def test_no_output_of_check_holds_a_person(folder, tmp_path, monkeypatch, capsys):
    from mendcurve import __main__ as command

    monkeypatch.setattr("sys.argv", ["mendcurve", "check", str(folder), "--out", str(tmp_path / "out")])
    with pytest.raises(SystemExit) as ended:
        command.main()
    said = capsys.readouterr()
    assert ended.value.code == 1, said.err
    assert told(said.out + said.err) == []
    files = written(tmp_path / "out")
    assert {"findings.csv", "set_aside.csv"} <= set(files)
    assert {name: told(text) for name, text in files.items() if told(text)} == {}
    assert "removed: " in files["set_aside.csv"]


def test_connect_tells_no_person_and_writes_none_into_a_comment(folder, tmp_path, monkeypatch, capsys):
    from mendcurve import __main__ as command

    for file in ("records.xlsx", "list 07700 900191.csv"):
        shutil.copy(folder / file, tmp_path)
    monkeypatch.setattr("sys.argv", ["mendcurve", "connect", str(tmp_path)])
    with pytest.raises(SystemExit):
        command.main()
    said = capsys.readouterr()
    assert "Written" in said.out, said.err
    assert told(said.out + said.err) == []
    lines = (tmp_path / "records.toml").read_text(encoding="utf-8").splitlines()
    # A file is ignored by its own name; nothing else may hold a detail.
    assert [line for line in lines if told(line)] == ['ignore = ["list 07700 900191.csv"]']


def test_no_frame_holds_a_person(folder):
    records = load(folder)
    frames = {**records.tables, "findings": records.findings, "aside": records.set_aside, "accounts": records.accounts}
    for name, frame in frames.items():
        assert told(frame.to_csv()) == [], name
        assert len(frame) or name in ("corrections",), name
    # Ids that were people's stay apart and stay the same.
    assert records["intakes"]["animal_id"].nunique() == 12
    assert records["grants"]["funder"].str.startswith("[removed: a person's name").all()
    assert records["grants"]["funder"].nunique() == 4


@pytest.mark.slow
@pytest.mark.parametrize("name", ["funder", "planning"])
def test_no_report_holds_a_person(folder, tmp_path, name):
    from mendcurve.documents import build

    with redirect_stdout(io.StringIO()) as said:
        build(name, folder, out=tmp_path)
    files = written(tmp_path)
    assert files
    assert {name: told(text) for name, text in files.items() if told(text)} == {}
    assert told(said.getvalue()) == []


def one(tmp_path, cells, heading="column x"):
    lines = [f"S-{n},corn snake,2026-03-02,stray,{cell}" for n, cell in enumerate(cells)]
    text = f'stay_id,species,intake_date,intake_type,"{heading}"\n' + "\n".join(lines)
    (tmp_path / "intakes.csv").write_text(text, encoding="utf-8")
    findings = load(tmp_path, as_of="2026-12-31").findings
    return findings.loc[findings["rule"].str.contains("were dropped as they were read"), "column"].tolist()


@pytest.mark.parametrize(
    "cells",
    [
        ["Maria Fiktiva", "Thomas Erfunden", ""],
        ['"Fiktiva, Maria"', '"Erfunden, Anna"', "unknown"],
        ["maria fiktiva", "THOMAS ERFUNDEN"],
        ["Mrs Fiktiva", "Herr Erfunden"],
        ["0161 496 0123", "07700 900191"],
        ["+44 7700 900191", "+49 30 123456"],
        ["5555550142", "(555) 555-0142", "555-555-0142"],
        ["nobody.real@example.org", "else@example.org"],
        ["12 Invented Lane", "3 Made-Up Street"],
        ["Musterstraße 12", "12 rue de la Paix"],
    ],
)
def test_a_column_of_people_is_dropped_under_any_heading(tmp_path, cells):
    assert one(tmp_path, cells) == ["column x"]


@pytest.mark.parametrize(
    "cells",
    [
        ["Charlie", "Bella", "Thomas", "Maria"],
        ["Princess Peach", "Sir Hiss", "Captain Hook"],
        ["Mary Jane", "Noodle", "Rango", "Spike", "Slinky"],
        ["Corn Snake", "Bearded Dragon"],
        ["AB", "JM", "TH"],
        ["981020012345678", "981020012345679"],
        ["2026-03-02", "02/03/2026"],
        ["1200-1300", "285-290"],
        ["12345.67", "111877.82"],
        ["Room One", "Hot Room"],
        ["E-0001", "A-0002"],
        ["S-0000001", "S-0000002"],
    ],
)
def test_a_column_of_animals_codes_or_numbers_is_not(tmp_path, cells):
    assert one(tmp_path, cells) == []


ADDRESSES = [
    "45 W 3rd Ave Apt 4",
    "lives in Springfield, IL 62704",
    "123 Main St.",
    "Flat 2, 14 High Street, Leeds",
    "12 invented lane",
    "ls1 4ab",
    "Postfach 1234",
    "D-12345 Musterstadt",
    "Kerkweg 3",
    "1234 AB Voorbeeld",
    "12 bis, rue de la Paix",
    "3, avenue Foch",
    "Calle Mayor, 5",
    "C/ Mayor 5",
    "Via Roma 12",
    "ul. Długa 5",
    "Storgatan 5",
    "Rua Direita 14",
]
PHONES = [
    "0161–496–0123",
    "0161\u00a0496\u00a00123",
    "０１６１ ４９６ ０１２３",
    "0044 161 496 0123",
    "+44 (0)161 496 0123",
    "06 12 34 56 78",
    "030 12345678",
    "0171/1234567",
    "call Anna on 612 345 678",
    "1-800-555-0142",
    "555.555.0142",
]
OTHERS = ["someone [at] example [dot] org", "someone at example dot org", "Dr. Erfunden said", "ask Frau Erfunden"]


@pytest.mark.parametrize("text", [*ADDRESSES, *PHONES, *OTHERS])
def test_forms_of_details_are_found_in_free_text(text):
    assert masked(f"note: {text} please")[1], text
    digits = re.findall(r"\d{4,}", text)
    assert not any(d in masked(f"note: {text} please")[0] for d in digits if len(d) > 5)


@pytest.mark.parametrize(
    "text",
    [
        "ate 3 crickets on the way",
        "found 3 turtles crossing the road",
        "found 12 by the road",
        "2nd dose at 5 pm, 3rd due",
        "weights 285 290 301 312",
        "eats 200-1000 g a week",
        "chip 0981020012",
        "Thomas Tortoise is well",
        "Hermann Tortoise x 2",
        "seen by Anna",
        "S-0001 and E-0001",
        "A-1234 moved",
        "between 2024-03-02 and 2024-03-09",
        "on 02/03/2026 and 04.05.2026",
        "Corn Snake, Ball Python",
        "temp 32.5, humidity 60 %",
        "1,200.50 g",
        "Saltmarsh Lane Rescue",
    ],
)
def test_notes_about_animals_stay_as_they_are(text):
    assert masked(text) == (text, [])


def test_what_a_whole_cell_is():
    assert is_name("Maria Fiktiva") and is_name("Fiktiva, Maria") and not is_name("Thomas Tortoise")
    assert is_phone("0161 496 0123") and not is_phone("2026-03-02") and not is_phone("981020012345678")
    assert is_id_phone("+44 7700 900191") and is_id_phone("555-555-0142")
    assert not is_id_phone("231-0410") and not is_id_phone("2024-0115") and not is_id_phone("981020012345678")


def test_one_name_among_animals_is_taken_out_of_its_cell_only(tmp_path):
    cells = ["Noodle", "Rango", "Mrs Fiktiva", "Spike", "Slinky"]
    assert one(tmp_path, cells, "called") == []


def test_the_demo_loses_nothing_but_its_planted_people(demo):
    dropped = demo.findings[demo.findings["rule"].str.contains("dropped as they were read")]
    assert sorted(set(dropped["column"])) == ["surrendered by, surrenderer phone"]
    kept = pd.concat([frame[c].dropna() for frame in demo.tables.values() for c in frame.select_dtypes("string")])
    assert kept[kept.str.contains("removed: ")].unique().tolist() == ["write to [removed: an e-mail address]"]


def test_kinds_of_a_cell_are_named():
    assert details_of("nobody.real@example.org") == ["an e-mail address"]
    assert details_of("Maria Fiktiva") == ["a person's name"]
    assert details_of("5555550142 ") == [] or details_of("5555550142 ") == ["a telephone number"]
