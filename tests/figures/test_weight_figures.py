"""Weight figures: the drawn data are the answer's, axes carry units, words carry numbers."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.figures import style
from mendcurve.figures.stall_panel import stall_panel
from mendcurve.figures.weight_curves import weight_curves
from mendcurve.figures.weight_path import weight_path
from mendcurve.questions import weights as q
from mendcurve.records import from_frames


def _records(stop_at=8, n=24, **more):
    rng, week = np.random.default_rng(9), np.arange(18.0)
    rows = []
    for i in range(n):
        grown = 0.02 * (np.minimum(week, stop_at) if i == 0 else week)
        grams = np.exp(5 + grown + 0.02 * rng.standard_normal(18))
        rows += [(f"S{i:02d}", pd.Timestamp("2025-12-01") + pd.Timedelta(days=7 * k), g) for k, g in enumerate(grams)]
    stays = [f"S{i:02d}" for i in range(n)]
    weighings = pd.DataFrame(rows, columns=["stay_id", "weighed_on", "weight"]).assign(circumstance="")
    weighings.loc[[3, 7], "circumstance"] = ["fed", "laid eggs"] if more.get("marked") else ""
    return from_frames(
        as_of="2026-03-31",
        intakes=pd.DataFrame(
            {
                "stay_id": stays,
                "species": "corn snake",
                "intake_date": "2025-12-01",
                "intake_type": "stray",
                "life_stage": "adult",
            }
        ),
        weighings=weighings,
        targets=pd.DataFrame({"stay_id": stays, "target_g": 400.0, "set_on": "2025-12-01"}),
    )


def _lines(axis, gid):
    return [line for line in axis.get_lines() if line.get_gid() == gid]


def test_curves_draw_the_mean_of_the_answer_with_units():
    answer = q.curves(_records(), by="taxon")
    picture = weight_curves(answer)
    axis = picture.figure.axes[0]
    x, y = _lines(axis, "mean")[0].get_data()
    frame = answer.to_frame()
    assert x == pytest.approx(frame["day"].astype(float))
    assert y == pytest.approx(frame["percent"].astype(float))
    assert "% of weight at intake" in picture.figure.get_supylabel()
    assert "days since intake" in picture.figure.get_supxlabel()
    assert picture.figure.get_figwidth() == style.WIDTH_INCHES
    assert "24 animals" in picture.subtitle
    assert picture.name == "weight-curves-taxon"


def test_curves_without_enough_animals_say_why():
    assert "Too few animals" in weight_curves(q.curves(_records(n=3), by="taxon")).subtitle


def test_stall_panel_draws_weighings_slope_and_needed_gain():
    answer = q.screen(_records())
    picture = stall_panel(answer)
    axis = picture.figure.axes[0]
    path = answer.weighings()
    path = path[path["stay_id"] == answer.to_frame()["stay_id"].iloc[0]]
    assert _lines(axis, "weighings")[0].get_ydata() == pytest.approx(path["weight_g"])
    assert _lines(axis, "needed")[0].get_ydata()[-1] == pytest.approx(path["needed_g"].iloc[-1])
    assert _lines(axis, "slope")[0].get_linestyle() == "-"
    assert _lines(axis, "needed")[0].get_linestyle() == "--"
    row = answer.to_frame().iloc[0]
    weeks = [(on - answer.as_of).days / 7 for on in (row["since_first"], row["since_last"])]
    assert _lines(axis, "since")[0].get_xdata() == pytest.approx([max(weeks[0], -26), weeks[1]])
    assert picture.figure.get_supylabel() == "weight (g)"
    assert "seems to have stopped gaining" in picture.title or "seem" in picture.title
    assert "S00" in picture.alt


def test_stall_panel_of_a_quiet_rescue_is_a_sentence():
    empty = from_frames(
        as_of="2026-03-31",
        intakes=pd.DataFrame(
            {"stay_id": ["S1"], "species": ["corn snake"], "intake_date": ["2026-03-30"], "intake_type": ["stray"]}
        ),
    )
    assert stall_panel(q.screen(empty)).subtitle == "Weighings are not recorded."


def test_path_draws_used_and_unused_weighings_apart_and_the_target():
    answer = q.path(_records(marked=True), "S00")
    picture = weight_path(answer)
    axis = picture.figure.axes[0]
    used = np.concatenate([line.get_ydata() for line in _lines(axis, "used")])
    frame = answer.to_frame()
    assert used == pytest.approx(frame.loc[frame["usable"], "weight_g"])
    assert _lines(axis, "not used")[0].get_ydata() == pytest.approx(frame.loc[~frame["usable"], "weight_g"])
    assert len(_lines(axis, "used")) == 2  # before and after the eggs
    assert _lines(axis, "target")[0].get_ydata()[0] == 400
    assert axis.get_ylabel() == "weight (g)"
    assert "1 weighing not used (fed)" in picture.subtitle


def test_a_stay_without_weighings_says_so():
    records = from_frames(
        as_of="2026-03-31",
        intakes=pd.DataFrame(
            {"stay_id": ["S1"], "species": ["corn snake"], "intake_date": ["2026-03-30"], "intake_type": ["stray"]}
        ),
    )
    assert weight_path(q.path(records, "S1")).subtitle == "S1 was not weighed."


def test_pictures_are_the_same_bytes_twice():
    answer = q.path(_records(), "S01")
    assert weight_path(answer).svg() == weight_path(answer).svg()
