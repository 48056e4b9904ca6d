"""Curves of weight: coverage of the mean and of the band, parts of a stay, new levels after a step, decimals."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.figures.weight_curves import weight_curves
from mendcurve.questions.weights_curves import _one, curves
from mendcurve.questions.weights_spans import first_courses
from mendcurve.questions.wording import decimals
from mendcurve.records import from_frames

CAME = pd.Timestamp("2025-12-01")


def _records(y, *, courses=(), circumstance=None, every=7):
    """Animals in rows, log weight by weighing; ``courses``: (animal, first day, doses), a dose a day."""
    n, k = y.shape
    stays = [f"S{i:02d}" for i in range(n)]
    weighings = pd.DataFrame(
        {
            "stay_id": np.repeat(stays, k),
            "weighed_on": np.tile(CAME + pd.to_timedelta(every * np.arange(k), unit="D"), n),
            "weight": np.exp(y).ravel(),
            "circumstance": "",
        }
    )
    for (i, j), word in (circumstance or {}).items():
        weighings.loc[i * k + j, "circumstance"] = word
    found = pd.DataFrame(
        {"episode_id": [f"E{s}" for s in stays], "stay_id": stays, "condition": "mites", "found_on": CAME}
    )
    plan = pd.DataFrame(
        [(f"C{c}", f"ES{i:02d}", CAME + pd.Timedelta(days=day), 24, doses)
         for c, (i, day, doses) in enumerate(courses)],
        columns=["course_id", "episode_id", "first_dose_at", "interval_hours", "doses_planned"],
    ).assign(medicine="medicine A", kind="antibiotic")  # fmt: skip
    more = {"courses": plan} if len(plan) else {}
    return from_frames(
        as_of=CAME + pd.Timedelta(days=every * k), records_start="2025-01-01",
        intakes=pd.DataFrame({"stay_id": stays, "species": "corn snake", "intake_date": CAME,
                              "intake_type": "stray", "life_stage": "adult"}),
        weighings=weighings, conditions=found, **more,
    )  # fmt: skip


def _bent(rng, animals=20, weeks=20, stop=28, noise=0.01):
    """No gain up to day ``stop``, 1 % a week while in a course, 3 % a week after four weeks of it."""
    day = 7.0 * np.arange(weeks)
    gain = 0.01 / 7 * np.clip(day - stop, 0, 28) + 0.03 / 7 * np.clip(day - stop - 28, 0, None)
    return 5 + 0.3 * rng.standard_normal((animals, 1)) + gain + noise * rng.standard_normal((animals, weeks))


def test_during_a_course_and_after_it_are_counted_from_its_days():
    y = _bent(np.random.default_rng(1))
    records = _records(y, courses=[(i, 28, 29) for i in range(20)])
    during = curves(records, by="taxon", part="course").to_frame().set_index("day")
    assert during.index.max() == 28
    assert during.loc[0, "percent"] == 100
    assert during.loc[28, "percent"] == pytest.approx(100 * np.exp(0.04), abs=1.2)
    assert (during["in_course"] == 100).all()
    after = curves(records, by="taxon", part="after")
    frame = after.to_frame().set_index("day")
    assert frame.loc[56, "percent"] == pytest.approx(100 * np.exp(0.24), abs=2.5)
    assert "of their weight when the course ended after" in after.sentence()
    assert after.to_frame().attrs["units"]["day"] == "days since the course ended"


def test_courses_that_touch_are_one_and_the_next_ends_what_followed():
    y = _bent(np.random.default_rng(2), animals=6)
    twice = [(0, 28, 7), (0, 35, 8), (0, 84, 5), *((i, 28, 15) for i in range(1, 6))]
    records = _records(y, courses=twice)
    spans = first_courses(records)
    assert (spans.loc["S00"] - CAME).dt.days.tolist() == [28, 42, 84]
    assert (spans.loc["S01"] - CAME).dt.days.tolist()[:2] == [28, 42]
    after = curves(records, by="taxon", part="after").by_group().iloc[0]
    assert after["weighings"] == 6 + 5 * 14  # days 42 to 77 of the first, to the last of the others


def test_those_without_a_course_are_left_out_and_counted_and_other_words_refused():
    y = _bent(np.random.default_rng(3), animals=8)
    records = _records(y, courses=[(i, 28, 29) for i in range(6)])
    assert "2 animals without weighings of that part left out." in curves(records, by="taxon", part="course").notes()
    with pytest.raises(InputError, match='not "during"'):
        curves(records, part="during")


def test_a_step_starts_a_new_level_and_does_not_bend_the_curve():
    rng = np.random.default_rng(4)
    y = _bent(rng, stop=0)
    laid = y.copy()
    laid[:10, 6:] -= 0.13
    marked = {(i, 6): "laid eggs" for i in range(10)}
    plain, stepped = (
        curves(r, by="taxon").to_frame().set_index("day") for r in (_records(y), _records(laid, circumstance=marked))
    )
    assert stepped.loc[133, "animals"] == 20
    assert stepped.loc[84, "percent"] == pytest.approx(plain.loc[84, "percent"], rel=0.01)
    unmarked = curves(_records(laid), by="taxon").to_frame().set_index("day")
    assert unmarked.loc[84, "percent"] < stepped.loc[84, "percent"] - 3


def test_the_figure_of_a_part_says_which():
    y = _bent(np.random.default_rng(5))
    picture = weight_curves(curves(_records(y, courses=[(i, 28, 29) for i in range(20)]), part="course"))
    assert picture.name == "weight-curves-condition-course"
    assert "days since the course began" in picture.figure.get_supxlabel()
    assert "when the course began" in picture.title
    assert picture.alt.startswith("Mean weight as percent of the weight when the course began.")


@pytest.mark.parametrize(
    ("values", "digits"),
    [((-0.24, -0.2, -0.16), 2), ((1.2, 2.5), 1), ((0.012, 0.031), 3), ((12.0, 12.04), 2), ((0.0, 0.0), 1)],
)
def test_decimals_follow_the_size_and_tell_two_ends_apart(values, digits):
    assert decimals(*values) == digits


def _simulated(rng, animals, weeks=13, noise=0.025):
    """Log gains of animals that leave as they go; the mean bends, slopes differ."""
    day = 7.0 * np.arange(weeks)
    mean = 0.004 * np.minimum(day, 42) + 0.0015 * np.maximum(day - 42, 0)
    y = mean + 0.0012 * rng.standard_normal((animals, 1)) * day + noise * rng.standard_normal((animals, weeks))
    return y, mean, np.maximum(rng.geometric(0.06, animals), 3)


@pytest.mark.slow
@pytest.mark.parametrize("animals", [12, 40])
def test_the_mean_and_the_band_hold_as_often_as_they_say(animals):
    held, band = [], []
    for seed in range(120):
        rng = np.random.default_rng(seed)
        y, mean, until = _simulated(rng, animals)
        keep = np.arange(13) < until[:, None]
        i, k = np.nonzero(keep)
        level = 5 + 0.3 * rng.standard_normal(animals)
        stay = pd.Series(i).map("S{:02d}".format)
        group = pd.DataFrame({"stay_id": stay, "series": stay + "/0", "day": 7.0 * k, "log_g": level[i] + y[keep],
                              "in_course": False})  # fmt: skip
        curve, _ = _one("all", group, 5)
        new = _simulated(rng, 60)[0]
        for row in curve[curve["day"].isin([21, 42, 63])].itertuples():
            at = int(row.day) // 7
            held.append(row.low < 100 * np.exp(mean[at] - mean[0]) < row.high)
            percent = 100 * np.exp(new[:, at] - new[:, 0])
            band.append(np.mean((row.new_low <= percent) & (percent <= row.new_high)))
    print(
        f"\n{animals} animals: mean held in {np.mean(held):.1%} of {len(held)}, band {np.mean(band):.1%} of new animals"
    )
    assert 0.91 < np.mean(held) < 0.985
    assert 0.85 < np.mean(band) < 0.95
