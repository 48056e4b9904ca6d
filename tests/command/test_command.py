"""The command as a person types it: plain words, the nearest known name, and the exit code."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from mendcurve import __main__ as command

ROOT = Path(__file__).resolve().parents[2]
INTAKES = "stay_id,species,intake_date,intake_type\nS-1,corn snake,2025-03-01,stray\nS-2,corn snake,2025-04-01,stray\n"


@pytest.fixture
def rescue(tmp_path):
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / "intakes.csv").write_text(INTAKES, encoding="utf-8")
    (folder / "records.toml").write_text("[dates]\nas_of = 2025-12-31\nrecords_start = 2025-01-01\n", encoding="utf-8")
    return folder


@pytest.fixture
def run(monkeypatch, capsys):
    """Return a function that runs the command in this process: exit code, what it printed, what went wrong."""

    def go(*words):
        monkeypatch.setattr(sys, "argv", ["mendcurve", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            command.main()
        told = capsys.readouterr()
        return ended.value.code, told.out, told.err

    return go


VERBS = ("connect", "check", "report", "template", "demo", "lab")
REFUSALS = [
    (("report", "--periodstart", "2025-01-01", "funder", "x"), '"mendcurve report" has no option --periodstart'),
    (("report", "--form=2025-01-01", "funder", "x"), 'Did you mean "--from"'),
    (("check", "--setings", "x", "y"), 'Did you mean "--settings"'),
    (("report", "fundr", "x"), 'Did you mean "funder"'),
    (("report", "funder", "nowhere"), "there is nothing at nowhere"),
    (("check", "nowhere"), "must be a folder or a workbook that exists"),
    (("lab", "nowhere"), "must be a folder or a workbook that exists"),
    (("report", "planning", "x", "--grant", "G-1"), 'The report "planning" takes no --grant'),
    (("reprot", "funder", "x"), "reprot"),
    (("report", "funder", "x", "--since", "soon"), "--since"),
    (("report", "funder", "x", "--formats", "docx"), "docx"),
]


@pytest.mark.parametrize(("words", "says"), REFUSALS, ids=lambda v: " ".join(v) if isinstance(v, tuple) else None)
def test_refuses_in_words_names_the_nearest_and_ends_with_two(words, says, run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, _, err = run(*words)
    assert code == 2
    assert says in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def test_an_input_error_is_no_traceback_in_a_process_of_its_own(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "mendcurve", "check", "nowhere"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("The records must be a folder or a workbook that exists.")


def test_check_ends_with_nothing_when_no_row_is_set_aside(run, rescue, tmp_path):
    code, out, _ = run("check", rescue, "--out", tmp_path / "checked")
    assert code == 0
    assert "2 rows read: 2 used, 0 set aside." in out
    written = {"findings.csv", "set_aside.csv", "accounts.csv", "findings.xlsx"}
    assert {p.name for p in (tmp_path / "checked").iterdir()} == written


def test_check_ends_with_one_when_a_row_is_set_aside_and_says_where_and_what_to_do(run, rescue, tmp_path):
    with (rescue / "intakes.csv").open("a", encoding="utf-8") as file:
        file.write("S-3,corn snake,,stray\n")
    code, out, _ = run("check", rescue, "--out", tmp_path / "checked")
    assert code == 1
    assert "3 rows read: 2 used, 1 set aside." in out
    assert "row 4" in out
    assert "S-3" in (tmp_path / "checked" / "set_aside.csv").read_text(encoding="utf-8")


def test_a_row_the_rescue_has_taken_out_waits_for_nobody(run, rescue, tmp_path):
    with (rescue / "intakes.csv").open("a", encoding="utf-8") as file:
        file.write("S-3,corn snake,,stray\n")
    code, out, _ = run("check", rescue, "--out", tmp_path / "checked")
    assert code == 1
    assert f"(save it as corrections.xlsx in {rescue}, and fill it in there)" in out
    line = "file,row,column,typed,now,who,why\nintakes.csv,4,stay_id,S-3,(delete),Kim,never came\n"
    (rescue / "corrections.csv").write_text(line, encoding="utf-8")
    code, out, _ = run("check", rescue, "--out", tmp_path / "checked")
    assert code == 0
    assert "3 rows read: 2 used, 1 set aside." in out
    assert "intakes.csv, row 4: the row is taken out (Kim: never came)" in out
    assert "S-3" in (tmp_path / "checked" / "set_aside.csv").read_text(encoding="utf-8")


def test_check_against_older_records_says_what_differs_and_keeps_its_exit_codes(run, rescue, tmp_path):
    older = tmp_path / "older"
    older.mkdir()
    text = INTAKES.replace("2025-03-01", "2025-03-02") + "S-3,corn snake,2025-03-09,stray\n"
    (older / "intakes.csv").write_text(text, encoding="utf-8")
    code, out, _ = run("check", rescue, "--against", older, "--out", tmp_path / "checked")
    assert code == 0
    assert "Held against the older records, which reach to 1 April 2025:" in out
    assert "1 stay of the older records is gone: S-3 (corn snake, 2025-03-09, stray)." in out
    assert "Intake date says otherwise in 1 stay: S-1 (2025-03-02; now 2025-03-01)." in out
    table = (tmp_path / "checked" / "differences.csv").read_text(encoding="utf-8-sig").splitlines()
    assert len(table) == 3
    code, _, err = run("check", older, "--against", tmp_path / "nowhere", "--out", tmp_path / "checked")
    assert code == 2
    assert "nowhere" in err


def test_check_says_its_rules_of_reading_without_records(run):
    code, out, _ = run("check", "--rules")
    assert code == 0
    assert "decimal" in out.lower()
    code, _, err = run("check")
    assert code == 2
    assert "mendcurve check FOLDER" in err


def test_check_refuses_a_file_that_is_no_records_file(run, tmp_path):
    wrong = tmp_path / "photo.png"
    wrong.write_bytes(b"\x89PNG not really")
    code, _, err = run("check", wrong, "--out", tmp_path / "checked")
    assert code == 2
    assert "photo.png" in err


def test_report_writes_and_says_where(run, rescue, tmp_path):
    code, out, _ = run("report", "treatment", rescue, "--out", tmp_path / "out")
    assert code == 0
    assert "treatment-2025-01-to-2025-12" in out
    assert (tmp_path / "out" / "treatment-2025-01-to-2025-12" / "report.html").is_file()


def test_help_lists_the_verbs_in_plain_words(run):
    code, out, _ = run("--help")
    assert code == 0
    assert [word for word in VERBS if f"  {word} " not in out] == []


def test_template_writes_a_workbook(run, tmp_path):
    code, out, _ = run("template", tmp_path / "records.xlsx")
    assert code == 0
    assert (tmp_path / "records.xlsx").stat().st_size > 5000
    assert "Made" in out


def test_lab_opens_the_notebooks_with_the_records_chosen(run, rescue, monkeypatch):
    calls = []
    monkeypatch.setattr(subprocess, "call", lambda words, env: calls.append((words, env)) or 0)
    code, _, _ = run("lab", rescue)
    assert code == 0
    words, env = calls[0]
    assert words[1:3] == ["-m", "jupyterlab"]
    assert Path(words[3]).name == "notebooks"
    assert env["MENDCURVE_RECORDS"] == str(rescue.resolve())


def test_chosen_records_win_over_the_notebooks_own(monkeypatch):
    from mendcurve.documents import chosen

    monkeypatch.delenv("MENDCURVE_RECORDS", raising=False)
    assert chosen("here") == "here"
    monkeypatch.setenv("MENDCURVE_RECORDS", os.sep + "there")
    assert chosen("here") == os.sep + "there"


def test_the_demo_never_writes_over_what_is_there(tmp_path, monkeypatch, capsys):
    (tmp_path / "intakes.csv").write_text("MY RECORDS", encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["mendcurve", "demo", str(tmp_path)])
    with pytest.raises(SystemExit, match="2"):
        command.main()
    assert "empty folder only" in capsys.readouterr().err
    assert (tmp_path / "intakes.csv").read_text(encoding="utf-8") == "MY RECORDS"


def test_a_place_that_cannot_be_written_is_said_in_words(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["mendcurve", "template", str(tmp_path / "no" / "such" / "file.xlsx")])
    with pytest.raises(SystemExit, match="2"):
        command.main()
    assert "cannot be written or read" in capsys.readouterr().err
