"""The lines to write for words nobody knows, grouped by section, with the rows that wait for them."""

from __future__ import annotations

from mendcurve.records import load
from mendcurve.records.connecting.asking import lines_to_answer
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.telling import tried
from mendcurve.records.connecting.writing import write


def folder(tmp_path, reasons=("OS", "OS", "owner", "stray")):
    for year in (2023, 2024):
        rows = [f"{year}-{n},{13 + n}/03/{year},axolotl,{why}" for n, why in enumerate(reasons)]
        (tmp_path / f"Intakes {year}.csv").write_text("\n".join(["Case no,Date in,Species,Reason in", *rows]))
    weights = [f"{year}-{n},{15 + n}/03/{year},60" for year in (2023, 2024) for n in range(4)]
    (tmp_path / "Weights.csv").write_text("\n".join(["Case no,Date,Weight (g)", *weights]))
    return tmp_path


def test_each_word_is_shown_once_as_the_line_to_write(tmp_path):
    proposal = propose(folder(tmp_path))
    lines = lines_to_answer([feed for one in proposal.told for feed in one.feeds])
    assert lines[1].startswith("  [tables.intakes.codes.intake_type]  our words: surrendered, stray")
    assert lines[2] == '    OS = "..."   (4 rows, in 2 sections of the file; not known: put a word for the dots)'
    assert lines[3] == '    owner = "surrendered"   (2 rows, in 2 sections of the file)'
    assert len(lines) == 4


def test_nothing_is_asked_where_all_words_are_known(tmp_path):
    proposal = propose(folder(tmp_path, reasons=("stray",) * 4))
    assert lines_to_answer([feed for one in proposal.told for feed in one.feeds]) == []


def test_rows_that_wait_for_their_intakes_are_told_apart(tmp_path):
    proposal = propose(folder(tmp_path))
    write(proposal.body, tmp_path / "records.toml")
    said = tried(load(tmp_path))
    assert said[1] == "12 rows would be set aside, most of them because:"
    assert said[2].startswith("  intake_type must be one of")
    assert said[-1].startswith("  6 of them belong to animals whose intake is set aside")


def test_a_long_list_is_cut_and_said_so(tmp_path):
    proposal = propose(folder(tmp_path, reasons=[f"word {n} blorp" for n in range(17)]))
    lines = lines_to_answer([feed for one in proposal.told for feed in one.feeds])
    assert len(lines) == 2 + 17
    assert not lines[-1].startswith("  and")
