from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mendcurve.errors import InputError
from mendcurve.records import from_frames
from mendcurve.records.clock import EVENTS, propose_as_of
from mendcurve.records.cutting import CUTS
from mendcurve.records.findings import Ledger
from mendcurve.records.schemas import TABLES

DAYS = st.integers(0, 300).map(lambda n: pd.Timestamp("2026-01-01") + pd.Timedelta(days=n))
PLANS = {"due_at", "by_date", "starts_on", "ends_on"}


def later(day, days):
    return None if days is None else day + pd.Timedelta(days=days)


@st.composite
def anything(draw):
    gap = st.none() | st.integers(0, 100)
    tables = {name: [] for name in TABLES}
    for i in range(draw(st.integers(1, 5))):
        came = draw(DAYS)
        tables["intakes"].append(
            {"stay_id": f"S-{i}", "species": "axolotl", "intake_date": came, "intake_type": "stray"}
        )
        if (gone := later(came, draw(gap))) is not None:
            tables["outcomes"].append({"stay_id": f"S-{i}", "outcome_date": gone, "outcome_type": "adopted"})
        found = came + pd.Timedelta(days=draw(st.integers(-5, 20)))
        tables["conditions"].append(
            {
                "episode_id": f"E-{i}",
                "stay_id": f"S-{i}",
                "condition": "wound",
                "found_on": found,
                "vet_seen_on": later(found, draw(gap)),
                "ended_on": later(found, draw(gap)),
                "ended_as": "cleared",
            }
        )
        tables["courses"].append(
            {
                "course_id": f"C-{i}",
                "episode_id": f"E-{i}",
                "interval_hours": 24,
                "first_dose_at": found + pd.Timedelta(hours=8),
                "stopped_at": later(found, draw(gap)),
            }
        )
        tables["doses"].append(
            {"course_id": f"C-{i}", "given_at": found + pd.Timedelta(hours=draw(st.integers(0, 2000)))}
        )
        tables["periods"].append(
            {"stay_id": f"S-{i}", "what": "foster", "from_date": came, "to_date": later(came, draw(gap))}
        )
        tables["weighings"].append(
            {"stay_id": f"S-{i}", "weighed_on": later(came, draw(st.integers(0, 90))), "weight": 5}
        )
        asked = draw(DAYS)
        tables["requests"].append({"asked_on": asked, "answer": "no room", "answered_on": later(asked, draw(gap))})
        tables["grants"].append(
            {
                "grant_id": f"G-{i}",
                "funder": "x",
                "amount": 5,
                "awarded_on": draw(DAYS),
                "ends_on": pd.Timestamp("2030-01-01"),
            }
        )
    return from_frames(
        as_of="2026-12-31",
        records_start="2026-01-01",
        **{name: pd.DataFrame(rows) for name, rows in tables.items() if rows},
    )


def same(one, two):
    assert one.as_of == two.as_of
    for name in TABLES:
        pd.testing.assert_frame_equal(one[name], two[name])


@given(anything(), DAYS, DAYS)
@settings(deadline=None, max_examples=30)
def test_a_cut_leaves_nothing_later_and_cutting_twice_is_cutting_once(records, one, two):
    early, late = min(one, two), max(one, two)
    cut = records.cut(early)
    same(records.cut(late).cut(early), cut)
    same(cut.cut(early), cut)
    night = early + pd.Timedelta(days=1)
    for name, table in TABLES.items():
        for column in table.columns:
            if column.kind in ("date", "datetime") and column.name not in PLANS:
                assert not (cut[name][column.name] >= night).any()
    assert set(cut["conditions"]["stay_id"]) <= set(cut["intakes"]["stay_id"])
    assert set(cut["doses"]["course_id"]) <= set(cut["courses"]["course_id"])


@given(anything())
@settings(deadline=None, max_examples=10)
def test_a_cut_at_the_as_of_date_is_the_same_records(records):
    # Frames may hold later facts; what has been cut (as everything that is loaded has) does not change at its own day.
    whole = records.cut(records.as_of)
    assert all(whole.cut(whole.as_of)[name] is whole[name] for name in TABLES)
    for name, rule in CUTS.items():
        dates = [rule.known_on, *rule.reopened]
        if not (records[name][dates].max() > records.as_of).any():
            assert whole[name].equals(records[name])


def test_what_a_later_fact_closed_is_open_again():
    records = from_frames(
        as_of="2026-12-31",
        intakes=pd.DataFrame(
            {"stay_id": ["S-1"], "species": ["axolotl"], "intake_date": ["2026-01-01"], "intake_type": ["stray"]}
        ),
        conditions=pd.DataFrame(
            {
                "episode_id": ["E-1"],
                "stay_id": ["S-1"],
                "condition": ["wound"],
                "found_on": ["2026-01-01"],
                "ended_on": ["2026-03-01"],
                "ended_as": ["cleared"],
                "vet_seen_on": ["2026-01-05"],
            }
        ),
        requests=pd.DataFrame({"asked_on": ["2026-01-01"], "answer": ["no room"], "answered_on": ["2026-03-01"]}),
    )
    cut = records.cut("2026-02-28")
    assert cut["conditions"].iloc[0][["ended_on", "ended_as"]].isna().all()
    assert cut["conditions"]["vet_seen_on"].iloc[0] == pd.Timestamp("2026-01-05")
    assert cut["requests"]["answer"].tolist() == ["waiting"]
    assert records["conditions"]["ended_as"].tolist() == ["cleared"]
    assert records.cut("2026-03-01")["conditions"]["ended_as"].tolist() == ["cleared"]


def test_every_table_says_when_its_rows_became_known():
    assert set(CUTS) == set(TABLES)
    covered = {(n, c) for n, rule in CUTS.items() for c in (rule.known_on, *rule.reopened)}
    dated = {(t.name, c.name) for t in TABLES.values() for c in t.columns if c.kind in ("date", "datetime")}
    assert {c for _, c in dated - covered} == PLANS | {"hatched_on"}


def test_no_record_can_be_cut_later_than_it_is_known():
    records = from_frames(as_of="2026-12-31")
    with pytest.raises(InputError, match="complete up to 2026-12-31 cannot be cut at 2027-01-01"):
        records.cut("2027-01-01")


def test_several_lone_late_dates_do_not_decide_the_as_of_date():
    days = [*pd.date_range("2025-01-01", periods=120).strftime("%Y-%m-%d"), "2026-02-01", "2027-08-20", "2029-03-01"]
    tables = {name: pd.DataFrame({column: pd.Series([], dtype="datetime64[s]")}) for name, column in EVENTS.items()}
    tables["weighings"] = pd.DataFrame({"weighed_on": pd.to_datetime(days).astype("datetime64[s]")})
    assert propose_as_of(tables, Ledger()) == pd.Timestamp("2025-04-30")
