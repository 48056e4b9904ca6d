"""Days said to be left, on past days, against what became of them; and how long a wait is among others."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.questions import recovery
from mendcurve.records import from_frames

START = pd.Timestamp("2024-01-01")


def records(seed, *, n=240, slower_from=None):
    """Build animals that arrive over 20 months with one condition each, lasting a fixed law of days."""
    rng = np.random.default_rng(seed)
    found = np.sort(rng.integers(0, 600, n))
    days = np.ceil(rng.lognormal(3.3, 0.5, n))
    if slower_from is not None:
        days = np.where(found >= slower_from, np.ceil(days * 3), days)
    ended = found + days <= 640
    on = START + pd.to_timedelta(found, unit="D")
    names = [f"S{i}" for i in range(n)]
    return from_frames(
        as_of=START + pd.Timedelta(days=640), records_start=START,
        intakes=pd.DataFrame({"stay_id": names, "animal_id": names, "species": "corn snake", "intake_date": on,
                              "intake_type": "stray"}),
        conditions=pd.DataFrame({"episode_id": names, "stay_id": names, "condition": "burns", "found_on": on,
                                 "ended_on": (on + pd.to_timedelta(days, unit="D")).where(ended),
                                 "ended_as": np.where(ended, "cleared", None)}),
    )  # fmt: skip


def test_a_steady_law_holds_what_is_said():
    answer = recovery.open_backtest(records(1))
    row = answer.to_frame().set_index("level").loc[0.8]
    assert row["low"] <= 0.8 <= row["high"]
    assert "nothing speaks against it" in answer.sentence()
    assert row["looks"] > 100


def test_a_law_that_changes_is_told():
    answer = recovery.open_backtest(records(2, slower_from=330))
    row = answer.to_frame().set_index("level").loc[0.8]
    assert row["high"] < 0.8
    assert "too narrow" in answer.sentence()


def test_nothing_later_than_the_past_day_is_used():
    """What was known four weeks later scores those that had ended by then exactly as what is known today does."""
    long = records(3)
    last = recovery.open_backtest(long, every=28, looks=7).looks
    day = START + pd.Timedelta(days=640 - 28 * 6)
    assert day in set(last["origin"])
    ended = last[(last["origin"] == day) & last["ended"]]
    again = recovery.open_backtest(long.cut(day + pd.Timedelta(days=28)), every=28, looks=1).looks
    both = ended.merge(again[again["ended"]], on="episode_id")
    assert len(both) > 2
    np.testing.assert_allclose(both["pit_low_x"], both["pit_low_y"])


def test_the_demo_holds_its_ranges(demo):
    frame = recovery.open_backtest(demo).to_frame().set_index("level")
    print(frame)
    assert ((frame["low"] <= frame.index) & (frame.index <= frame["high"])).all()


def test_without_conditions_it_says_so():
    bare = from_frames(as_of="2025-12-31", intakes=pd.DataFrame(
        {"stay_id": ["S1"], "species": ["corn snake"], "intake_date": [START], "intake_type": ["stray"]}))  # fmt: skip
    assert "too little past" in recovery.open_backtest(bare).sentence()


def test_how_long_a_wait_is_among_others():
    """Nine ended on days 10, 20, ... 90; one open for 55 days has outlasted five of the nine followed so far."""
    n = range(10)
    found = pd.Timestamp("2025-01-01")
    ended = [found + pd.Timedelta(days=10 * (i + 1)) for i in range(9)]
    given = from_frames(
        as_of="2025-12-31", records_start="2024-01-01",
        intakes=pd.DataFrame({"stay_id": [f"S{i}" for i in n], "species": "corn snake", "intake_type": "stray",
                              "intake_date": [found] * 9 + [pd.Timestamp("2025-11-06")]}),
        conditions=pd.DataFrame({"episode_id": [f"E{i}" for i in n], "stay_id": [f"S{i}" for i in n],
                                 "condition": "burns", "found_on": [found] * 9 + [pd.Timestamp("2025-11-06")],
                                 "ended_on": [*ended, None], "ended_as": ["cleared"] * 9 + [None]}),
    )  # fmt: skip
    row = recovery.open_now(given).to_frame().iloc[0]
    assert row["days_so_far"] == 55
    assert row["longer_than"] == pytest.approx(5 / 10, abs=0.01)
