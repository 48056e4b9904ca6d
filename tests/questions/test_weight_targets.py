"""Days to target: who gets none, who leaves, and how often what was said held, on simulated, open and demo weights."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.questions import weights as q
from mendcurve.questions.weights_backtest import _chances
from mendcurve.records import from_frames
from questions.herds import herd as _herd
from questions.herds import rescue as _rescue


def test_an_animal_that_has_stopped_or_loses_gets_no_days():
    rng = np.random.default_rng(24)
    paths = _herd(rng, stop_at=8)
    paths["S01"] = paths["S01"] - 0.06 * np.maximum(np.arange(18) - 9, 0)
    got = q.target_days(_rescue(paths, target=dict.fromkeys(paths, 300.0)))
    row = got.to_frame().set_index("stay_id")
    assert row.loc["S00", "why_not"] == "not while it has stopped gaining"
    assert row.loc["S01", "why_not"] == "not while it is losing"
    assert row.loc[["S00", "S01"], ["median_days", "low_days", "not_in_90_percent"]].isna().all().all()
    assert "1 animal below target without a day: not while it is losing." in got.notes()
    assert "S00" not in got.futures


def test_two_weighings_are_enough_for_a_wide_range_and_one_is_not():
    paths = _herd(np.random.default_rng(25), n=24)
    paths["S00"], paths["S01"] = np.append([np.nan] * 16, [5.0, 5.02]), np.append([np.nan] * 17, [5.0])
    target = dict.fromkeys(paths, 1e4) | {"S00": 170.0, "S01": 170.0}
    got = q.target_days(_rescue(paths, target=target)).to_frame().set_index("stay_id")
    assert got.loc["S01", "why_not"] == "too few weighings"
    assert 14 < got.loc["S00", "median_days"] < 84


def test_leaving_is_that_of_animals_below_target():
    paths = _herd(np.random.default_rng(26), n=24)
    # all that left had long reached their target: nobody is known to leave before
    target = dict.fromkeys(paths, 1e4) | dict.fromkeys(list(paths)[6:], 160.0)
    target["S00"] = float(np.exp(paths["S00"][-1]) * 1.1)
    kept, gone = (
        q.target_days(_rescue(paths, target=target, left=left)).to_frame().set_index("stay_id")
        for left in (None, list(paths)[6:])
    )
    a, b = (f.loc["S00", "not_in_90_percent"] for f in (kept, gone))
    assert b == pytest.approx(a, abs=3)


def _growers(series, *, target, species="corn snake", every, stagger, settings=None):
    """A rescue of open series (columns subject, day, weight), that came one after the other."""
    subjects = sorted(series["subject"].unique())
    came = {s: pd.Timestamp("2025-01-01") + pd.Timedelta(days=stagger * i) for i, s in enumerate(subjects)}
    first = series.groupby("subject")["day"].min()
    on = series["subject"].map(came) + pd.to_timedelta(series["day"] - series["subject"].map(first), unit="D")
    stay = series["subject"].map(lambda s: f"S-{s:03d}")
    intakes = pd.DataFrame({"stay_id": [f"S-{s:03d}" for s in subjects], "species": species,
                            "intake_date": list(came.values()), "intake_type": "stray",
                            "life_stage": "juvenile"})  # fmt: skip
    plan = intakes[["stay_id"]].assign(target_g=target, set_on=intakes["intake_date"], weigh_every_days=every)
    return from_frames(
        as_of=on.max(), records_start="2024-12-31", settings=settings, intakes=intakes, targets=plan,
        weighings=pd.DataFrame({"stay_id": stay, "weighed_on": on, "weight": series["weight"]}),
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "subject", "target", "every", "stagger"),
    [("chickweight.csv", "Chick", 130.0, 2, 3), ("bodyweight.csv", "Rat", 0.0, 7, 14)],
)
def test_days_to_target_hold_on_open_series(file, subject, target, every, stagger):
    from reference.rows import data

    series = data(file).rename(columns=str.lower).rename(columns={subject.lower(): "subject", "time": "day"})
    series["subject"] = series["subject"].astype(int)
    if not target:  # rats: each a tenth above its own first weight
        first = series.sort_values("day").groupby("subject")["weight"].first().sort_index()
        target = (1.08 * first).to_numpy()
    got = q.targets_backtest(_growers(series, target=target, every=every, stagger=stagger), every=14, looks=40)
    print(f"\n{file}: {got.sentence()}\n{got.to_frame().round(2).to_string()}\n{got.silent} silent")
    assert len(got.looks) >= 20
    for row in got.to_frame().itertuples():
        assert row.low - 0.12 < row.level < row.high + 0.12


@pytest.mark.slow
def test_days_to_target_hold_on_past_days_of_the_demo(demo):
    got = q.targets_backtest(demo, every=120, looks=5)
    print(f"\n{got.sentence()}\n{got.notes()[1]}\n{got.to_frame().round(2).to_string()}\n{got.silent} silent")
    assert len(got.looks) > 30
    for row in got.to_frame().itertuples():
        assert row.low - 0.05 < row.level < row.high + 0.05
    known = got.looks.dropna(subset="not_in_90")
    assert known["said_not_in_90"].mean() == pytest.approx(known["not_in_90"].mean(), abs=0.12)


def test_a_look_lies_between_the_weighings_around_the_target():
    futures = np.array([7.0] * 2 + [14.0] * 3 + [21.0] * 1 + [np.inf] * 4)
    assert _chances(futures, 8.0, 14.0, False, 3.5) == pytest.approx((0.2, 0.5))
    assert _chances(futures, 0.0, 6.0, False, 3.5) == pytest.approx((0.0, 0.2))  # a day early is that weighing
    assert _chances(futures, 6.0, 21.0, False, 3.5) == pytest.approx((0.2, 0.6))  # the one between was missed
    assert _chances(futures, 15.0, np.nan, False, 3.5) == pytest.approx((0.5, 1.0))
    assert _chances(futures, 15.0, np.nan, True, 3.5) == pytest.approx((0.6, 1.0))
