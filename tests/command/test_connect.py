"""The command: mendcurve connect, as a new user runs it."""

from __future__ import annotations

import pytest

from mendcurve import __main__ as command

GOOD = """ID,Species,Date in,Reason,Owner
R1,corn snake,2024-05-06,Stray,A Person
R2,corn snake,2024-06-06,Surrender,A Person
"""
OPEN = GOOD.replace("Surrender,", "Fell from the sky,")


def run(monkeypatch, capsys, *words):
    """Run the command; its exit code and what it printed."""
    monkeypatch.setattr("sys.argv", ["mendcurve", *map(str, words)])
    with pytest.raises(SystemExit) as done:
        command.main()
    said = capsys.readouterr()
    return done.value.code or 0, said.out, said.err


def test_it_says_what_it_took_each_file_for_and_what_to_run_next(tmp_path, monkeypatch, capsys):
    (tmp_path / "Animals.csv").write_text(GOOD)
    code, out, _ = run(monkeypatch, capsys, "connect", tmp_path)
    assert code == 0
    assert "Animals.csv: intakes." in out
    assert 'Why: the file\'s name holds "animals"' in out
    assert 'People\'s details, dropped as they are read: "Owner".' in out
    assert "2 rows of intakes" in out
    assert f"mendcurve check {tmp_path}" in out
    assert f"mendcurve report funder {tmp_path}" in out
    assert (tmp_path / "records.toml").is_file()


def test_open_questions_are_exit_code_1(tmp_path, monkeypatch, capsys):
    (tmp_path / "Animals.csv").write_text(OPEN)
    code, out, _ = run(monkeypatch, capsys, "connect", tmp_path)
    assert code == 1
    assert '"Fell from the sky" = "..."   (1 row; not known' in out
    assert "answer its 1 question" in out


def test_an_edited_file_stays_and_the_next_commands_name_the_proposal(tmp_path, monkeypatch, capsys):
    (tmp_path / "Animals.csv").write_text(GOOD)
    (tmp_path / "records.toml").write_text('[rescue]\nname = "Ours"\n')
    _, out, _ = run(monkeypatch, capsys, "connect", tmp_path)
    assert "stays as it is" in out
    assert "--settings" in out
    assert (tmp_path / "records.toml").read_text() == '[rescue]\nname = "Ours"\n'


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda p: None, "no CSV, TSV or XLSX file"),
        (lambda p: (p / "a.csv").write_bytes(b"\x00\x01"), "not a text file"),
        (lambda p: (p / "a.xls").write_bytes(b"x"), ".xls files are not read"),
    ],
)
def test_nothing_to_read_is_exit_code_2(tmp_path, monkeypatch, capsys, make, says):
    make(tmp_path)
    code, _, err = run(monkeypatch, capsys, "connect", tmp_path)
    assert code == 2
    assert says in err
    assert not (tmp_path / "records.toml").exists()
