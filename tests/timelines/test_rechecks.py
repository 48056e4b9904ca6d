"""Clearing between two re-checks: the span of each episode, and how far the printed answer moves."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.questions import recovery
from mendcurve.records import from_frames
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.rechecks import between_checks

START = pd.Timestamp("2025-01-01")


def records(rows):
    """Build episodes of (day ended, how) with re-checks [(day, result), ...], found on day 0."""
    n = range(len(rows))
    ended = [START + pd.Timedelta(days=r[0]) for r in rows]
    checks = [(f"E{i}", START + pd.Timedelta(days=d), what) for i in n for d, what in rows[i][2]]
    own = [r[1] == "cleared" for r in rows]
    tables = {
        "intakes": pd.DataFrame({"stay_id": [f"S{i}" for i in n], "animal_id": [f"A{i}" for i in n],
                                 "species": "corn snake", "intake_date": START, "intake_type": "stray"}),
        "conditions": pd.DataFrame({"episode_id": [f"E{i}" for i in n], "stay_id": [f"S{i}" for i in n],
                                    "condition": "burns", "found_on": START,
                                    "ended_on": [e if o else None for e, o in zip(ended, own, strict=True)],
                                    "ended_as": ["cleared" if o else None for o in own]}),
        "checks": pd.DataFrame(checks, columns=["episode_id", "checked_on", "result"]),
        "outcomes": pd.DataFrame([(f"S{i}", ended[i], rows[i][1]) for i in n if not own[i]],
                                 columns=["stay_id", "outcome_date", "outcome_type"]),
    }  # fmt: skip
    if not len(tables["outcomes"]):
        del tables["outcomes"]
    return from_frames(as_of="2025-06-30", records_start="2024-01-01", **tables)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ((21, "cleared", [(7, "still ill"), (14, "still ill"), (21, "well")]), (14, 21, True)),
        ((23, "cleared", [(14, "still ill"), (21, "well")]), (14, 21, True)),
        ((21, "cleared", [(14, "unclear")]), (20, 21, False)),
        ((21, "cleared", []), (20, 21, False)),
        ((21, "cleared", [(21, "well")]), (0, 21, True)),
        ((0, "cleared", []), (-1, 0, False)),
        ((21, "cleared", [(7, "well"), (14, "still ill"), (21, "well")]), (14, 21, True)),
        ((21, "died", [(14, "still ill")]), (20, 21, False)),
    ],
)
def test_the_span_in_which_an_episode_ended(row, expected):
    given = records([row])
    found = between_checks(given, episodes(given)).iloc[0]
    assert (found["after"], found["until"], found["checked"]) == expected


def test_the_two_ends_differ_by_the_spacing_of_the_checks():
    """PITFALLS row 40: weekly re-checks, all cleared on one; the answer moves by a week."""
    rows = [(7 * k, "cleared", [*((7 * j, "still ill") for j in range(1, k)), (7 * k, "well")]) for k in range(2, 12)]
    row = recovery.checked(records(rows)).to_frame().iloc[0]
    assert row["median"] - row["median_soonest"] == 7 - 1  # the day after it was last seen ill
    assert row["gap"] == 7
    assert row["cleared_by_30"] <= row["fitted_by_30"] <= row["soonest_by_30"]


def test_without_rechecks_it_says_so():
    given = records([(21, "cleared", [])] * 6)
    answer = recovery.checked(given)
    assert answer.to_frame()["checked"].fillna(0).eq(0).all() or "not recorded" in answer.sentence()


def test_the_demo_moves_by_less_than_the_gap(demo):
    frame = recovery.checked(demo).to_frame()
    assert len(frame) >= 8
    moved = frame["median"] - frame["median_soonest"]
    assert ((moved >= 0) & (moved <= frame["gap"] + 2)).all()
    known = frame.dropna(subset=["soonest_by_60"])
    assert (known["soonest_by_60"] - known["cleared_by_60"] > -0.02).all()
    assert np.isfinite(frame["fitted_by_60"]).all()
