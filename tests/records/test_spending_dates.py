"""Spending outside the stay it names is doubted; a bill that comes a little late is not."""

from __future__ import annotations

import pytest

from mendcurve.records import load

TABLES = {
    "intakes": "stay_id,species,intake_date,intake_type\n"
    "S1,corn snake,2026-01-10,stray\nS2,corn snake,2026-01-10,stray\n",
    "outcomes": "stay_id,outcome_date,outcome_type\nS1,2026-03-01,adopted\n",
    "conditions": "episode_id,stay_id,condition,found_on\nE1,S1,mites,2026-01-11\n",
    "records": "[dates]\nas_of = 2026-09-30\nrecords_start = 2025-01-01\n",
}


def findings(folder, day, link):
    """Load a rescue with one bill; return the findings about its date, and the records."""
    rows = f"spent_on,amount,category,stay_id,episode_id\n{day},900,medical,{link}\n"
    for name, text in (TABLES | {"spending": rows}).items():
        (folder / f"{name}.{'toml' if name == 'records' else 'csv'}").write_text(text)
    records = load(folder)
    found = records.findings
    return found[(found["table"] == "spending") & (found["column"] == "spent_on")], records


@pytest.mark.parametrize(
    ("day", "link", "said"),
    [
        ("2025-01-10", "S1,", "on or after the intake of S1, 10 January 2026"),
        ("2026-01-09", "S2,", "on or after the intake of S2, 10 January 2026"),
        ("2026-01-09", ",E1", "on or after the intake of S1, 10 January 2026"),
        ("2026-05-31", "S1,", "within 90 days of the day S1 left, 1 March 2026 (adopted"),
    ],
)
def test_money_outside_its_stay_is_doubted_and_kept(tmp_path, day, link, said):
    found, records = findings(tmp_path, day, link)
    assert found["effect"].tolist() == ["kept, doubtful"]
    assert said in found["rule"].iloc[0]
    assert "in no cost of an episode" in found["changes"].iloc[0]
    assert len(records["spending"]) == 1


def test_the_year_that_slipped_is_named(tmp_path):
    found, _ = findings(tmp_path, "2025-02-03", "S1,")
    assert "3 February 2026" in found["likely"].iloc[0]


@pytest.mark.parametrize(
    ("day", "link"),
    [
        ("2026-01-10", "S1,"),
        ("2026-05-30", "S1,"),
        ("2026-09-30", "S2,"),
        ("2025-02-01", ","),
    ],
)
def test_a_bill_in_the_stay_or_soon_after_or_of_nobody_is_no_finding(tmp_path, day, link):
    found, _ = findings(tmp_path, day, link)
    assert not len(found)
