"""A heading that is a month has no day: one finding says so, and the as-of date is none of its days."""

from __future__ import annotations

import pandas as pd

from mendcurve.records import load

INTAKES = "stay_id,species,intake_date,intake_type\nS-1,corn snake,2026-01-01,stray\nS-2,corn snake,2026-03-20,stray\n"
WIDE = "stay_id,Feb 2026,Mar 2026,Apr 2026\nS-1,40,41,42\nS-2,,,44\n"
TOML = '[tables.weighings]\nwide = {into = "weighed_on", values = "weight", headings = "dates"}\n'


def read(tmp_path, toml):
    (tmp_path / "intakes.csv").write_text(INTAKES)
    (tmp_path / "weighings.csv").write_text(WIDE)
    (tmp_path / "records.toml").write_text(toml)
    return load(tmp_path)


def test_months_in_headings_are_one_finding_with_their_number(tmp_path):
    records = read(tmp_path, "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n" + TOML)
    assert len(records["weighings"]) == 4
    assert records.findings["rule"].tolist() == [
        "4 cells stand under 3 headings that name a month and no day; the middle of the month is taken"
    ]
    assert records.findings["effect"].tolist() == ["kept, doubtful"]
    assert records.findings["changes"].tolist() == ["used as written"]


def test_the_as_of_date_is_no_assumed_day(tmp_path):
    records = read(tmp_path, TOML)
    assert records.as_of == pd.Timestamp("2026-04-30")
    assert len(records["weighings"]) == 4
    assert records.findings["rule"].str.contains("the last day of that month may be the as-of date").any()
    (tmp_path / "outcomes.csv").write_text("stay_id,outcome_date,outcome_type\nS-2,2026-04-17,adopted\n")
    assert load(tmp_path).as_of == pd.Timestamp("2026-04-17")
