"""Figures of the census: what is drawn is what the answer says, axes carry units, words fit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.figures.backtest import backtest
from mendcurve.figures.census_fan import census_fan
from mendcurve.figures.census_today import census_today
from mendcurve.figures.places_curve import places_curve
from mendcurve.questions.capacity_backtest import RULES, Backtest
from mendcurve.questions.capacity_census import Shown
from mendcurve.questions.capacity_forecast import Forecast
from mendcurve.questions.capacity_places import PlacesNeeded

AS_OF = pd.Timestamp("2026-10-31")


def fan_of(zones: dict[str, tuple[float, float, float]]) -> Forecast:
    """A forecast of constant zones: mean, places, chance of at least one day over."""
    ahead, back = (pd.date_range(AS_OF + pd.Timedelta(days=d), periods=n) for d, n in ((1, 28), (-181, 182)))
    frames, past, rows = [], [], []
    for zone, (mean, held, chance) in zones.items():
        bands = {
            f"{side}{level}": round(mean + sign * step)
            for level, step in ((50, 1), (80, 2), (95, 4))
            for side, sign in (("low", -1), ("high", 1))
        }
        frames.append(
            pd.DataFrame(
                {"zone": zone, "day": ahead, "mean": mean, "median": mean, **bands, "places": held, "over": chance}
            )
        )
        past.append(
            pd.DataFrame({"zone": zone, "day": back, "animals": mean, "places_taken": mean + 1, "places": held})
        )
        rows.append(
            {
                "zone": zone,
                "places": held,
                "mean": mean,
                "share_of_days_over": chance,
                "any_day_over": chance,
                "worst_day_over": chance,
                "worst_day": AS_OF,
                "short_by": 0.0,
            }
        )
    frame, before, table = (
        pd.concat(f, ignore_index=True) if f else pd.DataFrame() for f in (frames, past, [pd.DataFrame(rows)])
    )
    return Forecast(frame=frame, zones=table, past=before, weeks=4, as_of=AS_OF, remarks=())


NAN = float("nan")
THREE = {"quarantine": (10.0, 12.0, 0.7), "treatment": (6.0, 9.0, 0.1), "all zones": (16.0, NAN, NAN)}


def test_the_fan_draws_past_median_bands_and_places_of_each_zone():
    answer = fan_of(THREE)
    picture = census_fan(answer)
    shown = [ax for ax in picture.figure.axes if ax.get_visible()]
    assert [ax.get_title(loc="left") for ax in shown] == list(THREE)
    past, median, held = (shown[0].lines[i].get_ydata() for i in (0, 1, 3))
    assert set(past) == {11.0} and set(median) == {10.0} and set(held) == {12.0}
    assert len(shown[0].collections) == 3  # 95, 80 and 50 %
    tops = [c.get_paths()[0].vertices[:, 1].max() for c in shown[0].collections]
    assert tops == [14, 12, 11]
    assert "12 places" in [t.get_text() for t in shown[0].texts]
    assert not any("places" in t.get_text() for t in shown[2].texts)
    assert picture.figure.get_supylabel() == "places taken"
    assert picture.title == "Quarantine will more likely than not run short on some day"
    assert picture.alt == answer.sentence() and picture.figure.get_figwidth() == pytest.approx(7.2)


def test_the_fan_has_at_most_four_panels_the_busiest_and_the_total():
    many = {f"zone {i}": (10.0 + i, 30.0, 0.0) for i in range(6)} | {"all zones": (75.0, NAN, NAN)}
    picture = census_fan(fan_of(many))
    titles = [ax.get_title(loc="left") for ax in picture.figure.axes if ax.get_visible()]
    assert titles == ["zone 3", "zone 4", "zone 5", "all zones"]
    assert picture.title == "No zone is likely to run short; zone 0 comes nearest"


def test_one_zone_without_places_is_drawn_alone():
    picture = census_fan(fan_of({"in care": (20.0, NAN, NAN)}))
    assert len(picture.figure.axes) == 1
    assert picture.title == "In 4 weeks about 20 places taken, 18 to 22 likely"


def today_of(rows: list[tuple[str, int, float]]) -> Shown:
    frame = pd.DataFrame(rows, columns=["zone", "places_taken", "places"])
    frame = frame.assign(animals=frame["places_taken"], free=frame["places"] - frame["places_taken"])
    frame.attrs["title"] = "In care on 31 October 2026"
    return Shown(frame=frame, says="In words.")


def test_today_draws_a_bar_and_a_mark_for_each_zone():
    picture = census_today(today_of([("quarantine", 9, 12.0), ("foster", 3, NAN)]))
    ax = picture.figure.axes[0]
    assert [p.get_width() for p in ax.patches] == [9, 3]
    assert [line.get_xdata()[0] for line in ax.lines] == [12]
    assert [t.get_text() for t in ax.texts] == ["9 of 12", "3"]
    assert "places" in ax.get_xlabel()
    assert picture.title == "Every zone has room; fullest is quarantine, with 9 of 12 places taken"
    full = census_today(today_of([("quarantine", 12, 12.0), ("treatment", 8, 7.0)]))
    assert full.title == "Quarantine and treatment are full"


def test_nobody_in_care_is_said_in_words():
    assert census_today(today_of([("foster", 0, NAN)])).subtitle == "No animal is in care."


def test_an_empty_half_year_is_said_in_words():
    answer = fan_of({"all zones": (0.0, NAN, NAN)})
    answer.past["places_taken"] = 0
    assert census_fan(answer).subtitle == "No animal was in care in the last half year, and none is expected."


def needed_of(rows: list[tuple[str, float, int]]) -> PlacesNeeded:
    table = pd.DataFrame(rows, columns=["zone", "places", "needed"]).assign(enough_at_needed=0.96)
    curve = pd.concat(
        [
            pd.DataFrame(
                {"zone": z, "places": np.arange(30), "share_of_days": np.minimum(np.arange(30) / 20, 1), "error": 0.01}
            )
            for z, *_ in rows
        ]
    )
    return PlacesNeeded(zones=table, curve=curve, confidence=0.95, weeks=13, remarks=())


def test_the_service_curve_marks_the_places_needed_and_those_there_are():
    picture = places_curve(needed_of([("quarantine", 17.0, 19), ("adoption", 25.0, 19), ("all zones", NAN, 38)]))
    axes = [ax for ax in picture.figure.axes if ax.get_visible()]
    assert [ax.get_title(loc="left") for ax in axes] == ["quarantine", "adoption"]
    curve, level, dot, held = axes[0].lines
    assert curve.get_ydata()[10] == 0.5 and level.get_ydata()[0] == 0.95
    assert (dot.get_xdata()[0], dot.get_ydata()[0]) == (19, 0.96) and held.get_xdata()[0] == 17
    assert [t.get_text() for t in axes[0].texts] == ["19 needed", "17 now"]
    assert picture.figure.get_supxlabel() == "places" and "days" in picture.figure.get_supylabel()
    assert picture.title == "For 95 % of days, quarantine lacks 2"
    enough = places_curve(needed_of([("quarantine", 25.0, 19)]))
    assert enough.title == "The places there are would be enough on 95 % of days in every zone"
    assert places_curve(needed_of([("quarantine", NAN, 19)])).title == "19 places would be enough on 95 % of days"


def back_of(ours: list[float], last: list[float]) -> Backtest:
    n = len(ours)
    summary = pd.DataFrame(
        {
            "zone": "all zones",
            "days_ahead": [7, 28, 91][:n],
            "forecasts": 9,
            "score": ours,
            "last_value": last,
            "same_time_last_year": [5.0] * n,
            "littles_law": [NAN] * n,
            "held_50": 0.4,
            "held_80": 0.7,
            "held_95": 1.0,
        }
    )
    frame = summary.assign(origin=AS_OF, seen=1, mean=1.0, pit=0.5)
    return Backtest(frame=frame, summary=summary, origins=9, remarks=())


def test_the_back_test_draws_every_rule_there_is_and_the_coverage():
    picture = backtest(back_of([1.0, 2.0, 3.0], [1.5, 2.5, 4.0]))
    left, right = picture.figure.axes
    assert [line.get_ydata().tolist() for line in left.lines] == [[1, 2, 3], [1.5, 2.5, 4], [5, 5, 5]]
    assert [t.get_text() for t in left.texts] == ["this forecast", "last value", "same time last year"]
    assert len({str(line.get_linestyle()) for line in left.lines}) >= 2
    held = [line.get_ydata().tolist() for line in right.lines[1::2]]
    assert held == [[0.4] * 3, [0.7] * 3, [1.0] * 3]
    assert left.get_xlabel() == right.get_xlabel() == "days ahead" and "places" in left.get_ylabel()
    assert picture.title.endswith("ahead the mean error was smaller than that of last value")
    # nearer on average, but not at the furthest distance: the title tells of the furthest
    late = backtest(back_of([0.5, 0.5, 4.5], [1.5, 2.5, 4.0]))
    assert late.title.endswith("ahead the mean error was larger than that of last value")


def test_no_past_to_test_on_is_said_in_words():
    none = Backtest(frame=pd.DataFrame(columns=["zone", *RULES]), summary=pd.DataFrame(), origins=0, remarks=())
    assert "too short" in backtest(none).subtitle
    assert (
        places_curve(needed_of([("quarantine", 3.0, 1)])).subtitle == "In no zone would more than two places be needed."
    )
