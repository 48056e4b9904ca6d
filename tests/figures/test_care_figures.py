"""Doses, grant, cost and path: what is drawn is what the answers say; axes have units; nothing to draw says why."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.figures.case_path import _levels, case_path
from mendcurve.figures.cost_bars import cost_bars
from mendcurve.figures.doses import doses
from mendcurve.figures.grant_flow import grant_flow, steps_of
from mendcurve.questions import casefile, costs, treatment
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

YEAR = period("2025-11-01", "2026-10-31")


@pytest.fixture(scope="module")
def bare():
    return from_frames(
        as_of="2025-03-05",
        intakes=pd.DataFrame(
            [{"stay_id": "S-1", "species": "corn snake", "intake_date": "2025-03-01", "intake_type": "stray"}]
        ),
    )


def check(picture):
    assert picture.figure.get_figwidth() == pytest.approx(7.2)
    assert 0.8 < picture.figure.get_figheight() < 8
    for words in (picture.title, picture.subtitle, picture.alt):
        assert words and "nan" not in words


def test_doses_on_time_by_condition(demo):
    answer = treatment.doses(demo, YEAR)
    picture = doses(answer)
    check(picture)
    left, right = picture.figure.axes
    rows = answer.by_condition().set_index("condition")
    names = [t.get_text() for t in left.get_yticklabels()]
    points = next(line for line in left.lines if line.get_marker() == "o")
    assert points.get_xdata() == pytest.approx(rows.loc[names, "share_on_time"].to_numpy())
    ends = np.array([seg[:, 0] for seg in left.collections[0].get_segments()])
    assert ends == pytest.approx(rows.loc[names, ["low", "high"]].to_numpy())
    width = sum(bar.get_width() for bar in right.patches)
    others = rows[["late", "missed", "refused"]].sum(axis=1) / rows["doses_due"]
    assert width == pytest.approx(others.sum())
    assert "share of doses due" in left.get_xlabel()
    first = answer.to_frame().iloc[0]
    assert f"{first['doses_due']:,} doses due" in picture.title


def test_grant_steps_end_at_the_closing_balance(demo):
    for grant_id in demo["grants"]["grant_id"]:
        answer = costs.grant(demo, grant_id, YEAR)
        picture = grant_flow(answer)
        check(picture)
        steps = steps_of(answer)
        assert steps[-2].end == pytest.approx(float(answer.line("closing")))
        axes = picture.figure.axes[0]
        heights = [bar.get_height() for bar in axes.patches]
        assert heights == pytest.approx([s.end - s.start for s in steps])
        assert axes.get_ylabel() == "money of the grant (EUR)"


def test_cost_of_an_episode_with_intervals(demo):
    answer = costs.per_episode(demo, draws=100)
    picture = cost_bars(answer)
    check(picture)
    axes = picture.figure.axes[0]
    rows = answer.to_frame().set_index("condition")
    names = [t.get_text() for t in axes.get_yticklabels()]
    assert axes.lines[1].get_xdata() == pytest.approx(rows.loc[names, "mean"].to_numpy())
    assert axes.lines[2].get_xdata() == pytest.approx(rows.loc[names, "mean_of_closed"].to_numpy())
    assert "EUR" in axes.get_xlabel()


def test_the_path_of_an_animal(demo):
    stay = demo["intakes"].loc[demo["intakes"]["story_ok"], "stay_id"]
    treated = demo["conditions"][demo["conditions"]["episode_id"].isin(demo["courses"]["episode_id"])]["stay_id"]
    one = stay[stay.isin(treated)].iloc[0]
    answer = casefile.path(demo, one)
    picture = case_path(answer)
    check(picture)
    top, bottom = picture.figure.axes
    zones = answer.track("zone")
    assert (
        sum(b.get_width() for b in top.patches[: len(zones)])
        == zones["to_day"].fillna(answer.days).sub(zones["from_day"]).sum()
    )
    assert bottom.get_ylabel() == "weight (g)"
    assert bottom.get_xlabel() == "days since intake"
    said = [t.get_text() for t in top.texts]
    assert all(f"{m.what}, day {m.from_day}" in said for m in answer.track("milestone").itertuples())
    usable = answer.track("weight")["state"] == "usable"
    assert list(bottom.lines[0].get_ydata()) == answer.track("weight").loc[usable, "value"].tolist()


def test_labels_of_milestones_do_not_run_into_each_other():
    assert _levels([0, 1, 60], ["arrived", "seen by a vet", "cleared"], 100) == [1, 0, 0]


def test_an_untold_story_draws_nothing_of_the_animal(demo):
    stay = demo["intakes"].loc[~demo["intakes"]["story_ok"], "stay_id"].iloc[0]
    picture = case_path(casefile.path(demo, stay))
    assert "may not be told outside" in picture.alt
    assert stay not in picture.svg()


def test_nothing_recorded_says_why(bare):
    march = period("2025-03-01", "2025-03-05")
    pictures = {
        "Treatment courses": doses(treatment.doses(bare, march)),
        "Grants are not": grant_flow(costs.grant(bare, "G-1", march)),
        "Spending is not": cost_bars(costs.per_episode(bare, draws=10)),
    }
    for words, picture in pictures.items():
        assert picture.subtitle.startswith(words)
    check(case_path(casefile.path(bare, "S-1", public=False)))
