"""A second table in one sheet is set aside (below) or told of (beside), never read as rows of the first."""

from __future__ import annotations

import pytest

from mendcurve.documents.checking import report_lines
from mendcurve.records import load

INTAKES = "stay_id,species,intake_date,intake_type\nS-1,corn snake,2026-03-01,stray\n"
FIRST = "episode_id,stay_id,condition,found_on\nE-1,S-1,burn,2026-03-02\nE-2,S-1,wound,2026-03-03\n"


def read(tmp_path, **files):
    for name, text in {"intakes": INTAKES, **files}.items():
        (tmp_path / f"{name}.csv").write_text(text)
    (tmp_path / "records.toml").write_text("[dates]\nas_of = 2026-03-31\nrecords_start = 2026-01-01\n")
    return load(tmp_path)


@pytest.mark.parametrize(
    "heading",
    ["episode_id,checked_on,result,", "found_on,condition,stay_id,episode_id", "Weighed on,Stay id,Weight,"],
    ids=["another table's", "its own in another order", "spelt as people do"],
)
def test_a_second_table_below_is_set_aside_with_one_finding(tmp_path, heading):
    records = read(tmp_path, conditions=f"{FIRST},,,\n{heading}\nE-1,2026-03-05,well,\nE-2,2026-03-09,S-1,2026-03-04\n")
    assert records["conditions"]["episode_id"].tolist() == ["E-1", "E-2"]
    assert len(records.findings) == 1
    found = records.findings.iloc[0]
    assert (found["row"], found["effect"]) == (5, "set aside")
    assert "a second table seems to begin" in found["rule"]
    assert records.set_aside["row"].tolist() == [5, 6, 7]
    assert records.set_aside["reason"].str.contains("a second table seems to begin").all()
    assert records.accounts.query("table == 'conditions'")["set_aside"].tolist() == [3]


def test_the_same_headings_again_are_still_passed_over(tmp_path):
    again = FIRST + FIRST.replace("E-1", "E-3").replace("E-2", "E-4").replace("burn", "bite").replace("wound", "cut")
    records = read(tmp_path, conditions=again)
    assert records["conditions"]["episode_id"].tolist() == ["E-1", "E-2", "E-3", "E-4"]
    assert not (records.findings["effect"] == "set aside").any()


def test_words_that_are_headings_elsewhere_are_no_second_table(tmp_path):
    moves = "stay_id,moved_on,zone,room,place\nS-1,2026-03-02,weight,route,medicine\n"
    housing = "zone,housing_kind,room,from_date\nweight,arid,route,2026-01-01\n"
    records = read(tmp_path, moves=moves, housing=housing)
    assert len(records["moves"]) == 1
    assert len(records["housing"]) == 1


def test_a_second_table_beside_the_first_is_said_to_be_unread_with_its_rows(tmp_path):
    head = "stay_id,weighed_on,weight,unit"
    rows = "S-1,2026-03-02,40,g,S-1,2026-03-09,41,g\nS-1,2026-03-03,40,g,,,,\n"
    records = read(tmp_path, weighings=f"{head},{head}\n{rows}")
    assert len(records["weighings"]) == 2
    assert len(records.findings) == 1
    said = records.findings.iloc[0]
    assert (said["effect"], said["file"]) == ("note", "weighings.csv")
    assert "columns A to D stand again over columns E to H" in said["rule"]
    assert "its 1 row is not read" in said["rule"]
    # The command shows what is not read before all else.
    lines = list(report_lines(records))
    assert "stand again" in lines[lines.index("Not read (1 finding)") + 1]


def test_one_heading_that_repeats_is_no_second_table(tmp_path):
    records = read(tmp_path, weighings="stay_id,weighed_on,weight,weight\nS-1,2026-03-02,40,41\n")
    assert "stands in columns C and D" in records.findings["rule"].iloc[0]
