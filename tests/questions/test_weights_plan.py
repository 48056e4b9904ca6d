"""The weighing plan: days between weighings by noise and stall, and what is overdue."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import weights as q
from mendcurve.questions.wording import pace
from mendcurve.records import from_frames

AS_OF = pd.Timestamp("2026-03-31")


def _rescue(noise, n=14, weeks=18, gain=0.02, last=None):
    rng, came = np.random.default_rng(5), AS_OF - pd.Timedelta(days=7 * (weeks - 1))
    rows = [
        (f"S{i:02d}", came + pd.Timedelta(days=7 * k), np.exp(5 + gain * k + noise * rng.standard_normal()))
        for i in range(n)
        for k in range(weeks if i or last is None else last)
    ]
    intakes = {"stay_id": [f"S{i:02d}" for i in range(n)], "species": "corn snake", "intake_date": came}
    return from_frames(
        as_of=AS_OF,
        records_start="2025-01-01",
        intakes=pd.DataFrame(intakes | {"intake_type": "stray", "life_stage": "adult"}),
        weighings=pd.DataFrame(rows, columns=["stay_id", "weighed_on", "weight"]),
    )


def test_noisier_animals_are_weighed_more_often():
    calm, noisy = (q.plan(_rescue(noise), stall_percent_week=2.0, weeks=8).to_frame() for noise in (0.03, 0.08))
    assert (calm["weigh_every_days"] > noisy["weigh_every_days"]).all()
    assert (calm["smallest_percent_week"] < noisy["smallest_percent_week"]).all()
    assert calm["shown_percent"].min() > 95
    assert noisy["weigh_every_days"].notna().all()


def test_a_smaller_stall_or_less_time_needs_more_weighings():
    records = _rescue(0.05)
    usual, small, soon = (
        q.plan(records, stall_percent_week=s, weeks=w).to_frame()["weigh_every_days"].iloc[0]
        for s, w in ((2.0, 8), (1.0, 8), (2.0, 5))
    )
    assert small < usual
    assert soon < usual


def test_the_interval_shows_the_stall_as_often_as_it_says():
    records = _rescue(0.04)
    got = q.plan(records, stall_percent_week=2.0, weeks=8)
    row = got.to_frame().iloc[3]
    every, less = int(row["weigh_every_days"]), -np.log(0.98) / 7
    # The test that knows the day and, from 18 weeks of weighings, nearly the gain: simulated by least squares.
    rng, gain = np.random.default_rng(3), 0.02 / 7
    time = np.concatenate([np.arange(18) * 7.0, 119 + np.arange(every, 57, every)])
    after = np.maximum(time - 119, 0)
    x = np.column_stack([np.ones_like(time), np.minimum(time, 119), after])
    y = gain * time + 0.04 * rng.standard_normal((4000, len(time)))
    healthy, stalled = (np.linalg.lstsq(x, v.T, rcond=None)[0] for v in (y, y - less * after))
    fall = [b[2] - b[1] for b in (healthy, stalled)]
    assert 0.7 < (fall[1] < np.quantile(fall[0], got.alarm)).mean() < 0.97


def test_what_cannot_be_shown_is_said():
    got = q.plan(_rescue(0.1), stall_percent_week=0.2, weeks=2)
    assert got.to_frame()["weigh_every_days"].isna().all()
    assert "not even weighed every day" in got.to_frame()["why_not"].iloc[0]
    assert any("14 animals without an answer" in note for note in got.notes())


def test_overdue_is_by_the_day_it_was_due():
    got = q.plan(_rescue(0.02, last=15))
    late = got.overdue()
    assert list(late["stay_id"]) == ["S00"]
    assert late["days_overdue"].iloc[0] == 14
    assert late["due_on"].iloc[0] == AS_OF - pd.Timedelta(days=14)
    assert "1 weighing is overdue" in got.sentence()


@pytest.mark.parametrize(("asked", "says"), [({"stall_percent_week": 0}, "in % a week"), ({"weeks": 0}, "1 to 52")])
def test_refuses_and_says_what_it_found(asked, says):
    with pytest.raises(InputError, match=says):
        q.plan(_rescue(0.02), **asked)


def test_no_weighings_are_not_recorded():
    records = from_frames(
        as_of=AS_OF,
        intakes=pd.DataFrame(
            {"stay_id": ["S1"], "species": ["corn snake"], "intake_date": ["2026-03-30"], "intake_type": ["stray"]}
        ),
    )
    assert q.plan(records).sentence() == "Weighings are not recorded."


def test_the_ends_of_an_interval_never_print_as_one_number():
    assert pace(-0.197, -0.238, -0.161) == ("-0.20", "-0.24", "-0.16")
    assert pace(-1.8, -3.6, -0.5) == ("-1.8", "-3.6", "-0.5")
    assert pace(0.4, float("nan"), float("nan"))[0] == "+0.40"
