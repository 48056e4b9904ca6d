"""The year in one paragraph, what to mend first, which grant and animal, and the simple figures."""

from __future__ import annotations

from decimal import Decimal

import pandas as pd
import pytest

from mendcurve.questions import choosing, quality, simple, summary
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

YEAR = period("2025-01-01", "2025-12-31")


def rescue(**more):
    tables = {
        "intakes": pd.DataFrame(
            {
                "stay_id": ["A", "B", "C", "D"],
                "animal_id": ["a", "b", "c", "d"],
                "species": "corn snake",
                "intake_date": ["2024-11-01", "2025-02-01", "2025-03-01", "2025-04-01"],
                "intake_type": "stray",
                "story_ok": [False, True, True, False],
            }
        ),
        "outcomes": pd.DataFrame(
            {
                "stay_id": ["A", "B", "C"],
                "outcome_date": ["2025-01-20", "2025-05-01", "2025-06-01"],
                "outcome_type": ["adopted", "adopted", "died"],
            }
        ),
        "conditions": pd.DataFrame(
            {
                "episode_id": ["E1", "E2", "E3"],
                "stay_id": ["B", "B", "C"],
                "condition": ["mites", "wound", "mites"],
                "found_on": ["2025-02-01", "2025-02-02", "2025-03-01"],
                "ended_on": ["2025-03-01", "2025-03-05", None],
                "ended_as": ["cleared", "cleared", None],
            }
        ),
        "spending": pd.DataFrame(
            {
                "spent_on": ["2025-02-02", "2025-03-03", "2024-12-31"],
                "amount": [10.10, 20.20, 99],
                "category": "medical",
                "grant_id": ["G-1", "G-2", "G-1"],
            }
        ),
        "grants": pd.DataFrame(
            {"grant_id": ["G-1", "G-2"], "funder": "An invented fund", "amount": 100, "awarded_on": "2024-01-01"}
        ),
    }
    return from_frames(as_of="2025-12-31", records_start="2024-06-01", **(tables | more))


def test_the_year_counts_each_animal_once_and_the_money_to_the_cent():
    now = summary.what_happened(rescue(), YEAR).now
    assert (now.here, now.came_in, now.helped) == (1, 3, 4)
    assert (now.left, now.live, now.adopted) == (3, 2, 2)
    assert (now.ill, now.cleared) == (2, 1)  # B had two conditions cleared and is one animal
    assert now.spent == Decimal("30.30")


def test_the_paragraph_has_the_denominator_and_says_that_no_year_before_is_known():
    text = summary.what_happened(rescue(), YEAR).sentence()
    assert "we cared for 4 animals: 1 was here" in text
    assert "1 of 2 (50 %" in text
    assert "30.30 EUR" in text
    assert "There is no year before" in text


def test_what_is_not_kept_is_called_not_recorded():
    bare = rescue(conditions=pd.DataFrame(), spending=pd.DataFrame(), grants=pd.DataFrame())
    text = summary.what_happened(bare, YEAR).sentence()
    assert "Conditions are not recorded." in text
    assert "Spending is not recorded." in text
    assert "Not recorded at all:" in summary.unknown(bare, YEAR).sentence()


def test_the_grant_is_the_one_asked_for_or_the_one_most_was_charged_to():
    assert choosing.grant(rescue(), None, YEAR) == "G-2"
    assert choosing.grant(rescue(), "G-1", YEAR) == "G-1"
    assert choosing.grant(rescue(grants=pd.DataFrame()), None, YEAR) == ""


def test_a_story_is_only_of_an_animal_whose_story_may_be_told():
    assert choosing.story(rescue(), None, YEAR) == "B"
    assert choosing.story(rescue(), None, period("2025-01-01", "2025-01-31")) == ""


def test_nothing_to_mend_is_said():
    assert quality.to_mend(rescue()).sentence() == "Nothing to mend was found in the records."
    assert "nothing to mend" in quality.findings(rescue()).sentence()


def test_what_is_set_aside_comes_before_what_is_doubtful_and_intakes_before_doses(demo):
    found = quality.to_mend(demo, most=99).to_frame()
    effects = list(found["effect"])
    assert effects == sorted(effects, key=quality.EFFECTS.index)
    assert found["where"].iloc[0].startswith("intakes.csv, row ")
    assert "note" not in effects


def test_the_simple_share_is_never_below_the_right_one(demo):
    frame = simple.means(demo).to_frame().dropna(subset=["simple_share", "share"])
    assert len(frame) >= 5
    assert (frame["simple_share"] >= frame["share"] - 1e-12).all()


def test_the_simple_curve_is_right_where_nothing_competes():
    n = 12
    made = from_frames(
        as_of="2025-12-31",
        records_start="2025-01-01",
        intakes=pd.DataFrame(
            {"stay_id": [f"S{i}" for i in range(n)], "species": "corn snake", "intake_date": "2025-01-01",
             "intake_type": "stray"}
        ),
        conditions=pd.DataFrame(
            {
                "episode_id": [f"E{i}" for i in range(n)], "stay_id": [f"S{i}" for i in range(n)], "condition": "mites",
                "found_on": "2025-01-01", "ended_on": [f"2025-02-{1 + i:02d}" for i in range(n)], "ended_as": "cleared",
            }
        ),
    )  # fmt: skip
    row = simple.means(made).to_frame().iloc[0]
    assert row["simple_share"] == pytest.approx(row["share"]) == pytest.approx(1)
    assert row["mean_of_cleared"] == pytest.approx(31 + (n - 1) / 2)


def test_where_outcomes_are_not_recorded_nobody_is_said_to_have_left():
    only = from_frames(
        as_of="2025-12-31",
        records_start="2025-01-01",
        intakes=pd.DataFrame(
            {"stay_id": ["A"], "species": "corn snake", "intake_date": ["2025-02-01"], "intake_type": "stray"}
        ),
    )
    assert "Outcomes are not recorded" in summary.what_happened(only, YEAR).sentence()
