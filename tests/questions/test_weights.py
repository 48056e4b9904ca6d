"""Weight questions on made-up rescues: what is found, what is left out, what is said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import weights as q
from mendcurve.questions.weights_data import noise_of, percent_week, targets, usable, usual_gains
from mendcurve.questions.weights_drops import from_noise
from mendcurve.questions.weights_states import STATES
from mendcurve.records import from_frames
from questions.herds import AS_OF
from questions.herds import herd as _herd
from questions.herds import rescue as _rescue


def _state(answer, stay):
    return answer.to_frame().set_index("stay_id").loc[stay]


# ---- curves


def test_the_curve_is_the_simulated_one():
    rng = np.random.default_rng(1)
    records = _rescue(_herd(rng, n=60, weeks=13))
    curve = q.curves(records, by="taxon").to_frame().set_index("day")
    for day in (28, 56, 84):
        row = curve.loc[day]
        assert row["low"] < 100 * np.exp(0.02 / 7 * day) < row["high"]
        assert row["percent"] == pytest.approx(100 * np.exp(0.02 / 7 * day), rel=0.02)
        assert row["animals"] == 60
    assert curve.loc[0, "percent"] == 100


def test_the_band_of_new_animals_holds_about_ninety_percent():
    rng = np.random.default_rng(2)
    curve = q.curves(_rescue(_herd(rng, n=80, weeks=13)), by="taxon").to_frame().set_index("day")
    inside = []
    for later in _herd(rng, n=400, weeks=13).values():
        percent = 100 * np.exp(later[8] - later[0])
        inside.append(curve.loc[56, "new_low"] <= percent <= curve.loc[56, "new_high"])
    assert 0.85 < np.mean(inside) < 0.95


def test_the_line_stops_where_fewer_than_five_are_still_weighed():
    rng = np.random.default_rng(3)
    paths = {k: (v if i < 4 else v[:10]) for i, (k, v) in enumerate(_herd(rng, n=12).items())}
    curve = q.curves(_rescue(paths), by="taxon").to_frame()
    assert curve["day"].max() == 63
    assert curve["animals"].min() >= 5


def test_late_first_weighings_are_left_out_and_counted():
    paths = _herd(np.random.default_rng(4), n=12)
    paths["S03"][:1] = np.nan
    got = q.curves(_rescue(paths), by="taxon")
    assert got.by_group()["animals"].iloc[0] == 11
    assert "1 animal first weighed more than 3 days after intake left out." in got.notes()


def test_degrees_of_freedom_follow_the_weeks_spanned():
    for weeks, df in ((3, 1), (5, 2), (9, 3), (13, 4)):
        paths = _herd(np.random.default_rng(5), n=8, weeks=weeks)
        assert q.curves(_rescue(paths), by="taxon").by_group()["df"].iloc[0] == df


def test_four_animals_are_too_few_and_it_says_so():
    got = q.curves(_rescue(_herd(np.random.default_rng(6), n=4)), by="taxon")
    assert got.to_frame().empty
    assert "too few" in got.sentence().lower()
    assert "4 animals weighed over 2 weeks or more, fewer than 5: too few to say." in got.by_group()["why_not"].iloc[0]


def test_condition_is_the_primary_one_else_the_first_found():
    paths = _herd(np.random.default_rng(7), n=12)
    stays = list(paths)
    conditions = {
        "episode_id": [f"E{i}" for i in range(13)],
        "stay_id": [*stays, stays[0]],
        "condition": ["mites"] * 12 + ["wound"],
        "found_on": ["2025-12-01"] * 12 + ["2025-12-05"],
        "primary": [False] * 12 + [True],
    }
    groups = q.curves(_rescue(paths, conditions=conditions)).by_group().set_index("group")["animals"]
    assert groups.to_dict() == {"mites": 11, "wound": 1}


def test_an_unknown_grouping_is_answered_with_the_nearest():
    with pytest.raises(InputError, match='not "taxa"'):
        q.curves(_rescue({}), by="taxa")


# ---- noise and usual gain


def test_noise_and_usual_gain_are_the_simulated_ones():
    paths = _herd(np.random.default_rng(8), n=40)
    use = usable(_rescue(paths, target=dict.fromkeys(paths, 1e4)))
    noise = noise_of(use)["corn snake"]
    assert noise.sd == pytest.approx(0.02, rel=0.1)
    assert noise.tail > 8
    usual = usual_gains(use, noise_of(use))["corn snake", "adult"]
    assert percent_week(usual.gain) == pytest.approx(2.02, abs=0.1)
    assert usual.spread * 7 == pytest.approx(0.003, rel=0.35)
    assert usual.animals == 40
    assert usual.wander < 0.002


def test_weighings_after_the_target_was_reached_are_not_part_of_the_usual_gain():
    rng, week = np.random.default_rng(21), np.arange(30.0)
    paths = {f"S{i:02d}": 5 + 0.02 * np.minimum(week, 12) + 0.005 * rng.standard_normal(30) for i in range(20)}
    use = usable(_rescue(paths, target=dict.fromkeys(paths, np.exp(5.22)), intake="2025-08-01"))
    assert percent_week(usual_gains(use, noise_of(use))["snake",].gain) == pytest.approx(2.02, abs=0.1)


def test_the_latest_target_set_by_the_as_of_date_counts():
    targets_ = {
        "stay_id": ["S1"] * 3,
        "target_g": [100, 120, 500],
        "set_on": ["2025-12-01", "2026-01-01", "2026-06-01"],
    }
    assert targets(_rescue({"S1": [4.0]}, targets=targets_))["target_g"].to_dict() == {"S1": 120}


# ---- screen


@pytest.fixture(scope="module")
def stalled():
    paths = _herd(np.random.default_rng(9), stop_at=8)
    return q.screen(_rescue(paths, target=dict.fromkeys(paths, 1e4)))


def test_the_stalled_animal_is_found_with_its_evidence(stalled):
    row = _state(stalled, "S00")
    assert row["state"] == "stalled"
    assert row["listed"]
    assert row["low"] < 0.5 < 2
    assert row["needed_percent_week"] == pytest.approx(1.0, abs=0.15)
    assert abs((row["since"] - pd.Timestamp("2025-12-01")).days - 56) <= 21
    assert "% a week, half the usual gain of animals like it below target (adult corn snake, 24 animals)" in row["why"]


def test_the_others_gain_and_the_sentence_counts(stalled):
    frame = stalled.to_frame()
    assert (frame["state"] == "gaining").sum() >= 21
    n = stalled.states().set_index("state")["animals"]
    assert list(n.index) == list(STATES)
    assert n.sum() == 24
    assert "seem" in stalled.sentence()
    assert "1 of those listed would be expected by chance" in stalled.sentence()


def test_the_listed_path_has_needed_and_fitted_from_the_onset_on(stalled):
    path = stalled.weighings()
    path = path[path["stay_id"] == "S00"]
    after = path["weighed_on"] >= path["since"]
    assert path.loc[after, "needed_g"].notna().all()
    assert path.loc[~after, ["needed_g", "fitted_g"]].isna().all().all()
    assert path["needed_g"].iloc[-1] > path["fitted_g"].iloc[-1]


def test_losing_comes_before_stalled_and_at_target_is_watched_for_loss():
    rng = np.random.default_rng(10)
    paths = _herd(rng)
    week = np.arange(18)
    paths["S00"] = 5 + 0.02 * np.minimum(week, 8) - 0.02 * np.maximum(week - 8, 0) + 0.02 * rng.standard_normal(18)
    paths["S01"] = 5 + 0.02 * np.minimum(week, 8) + 0.02 * rng.standard_normal(18)
    target = dict.fromkeys(paths, 1e4) | {"S01": float(np.exp(5.1))}
    got = q.screen(_rescue(paths, target=target))
    assert _state(got, "S00")["state"] == "losing"
    assert _state(got, "S01")["state"] == "holding at target"
    assert _state(got, "S01")["needed_percent_week"] == 0


def test_a_slow_loss_over_a_long_time_is_losing():
    rng = np.random.default_rng(11)
    paths = _herd(rng, weeks=60)
    paths["S00"] = 5 - 0.004 * np.arange(60) + 0.02 * rng.standard_normal(60)
    row = _state(q.screen(_rescue(paths, intake="2025-02-05")), "S00")
    assert row["state"] == "losing"


def test_group_overdue_and_too_few_come_first_in_that_order():
    paths = _herd(np.random.default_rng(12), n=12)
    paths["S00"], paths["S01"] = paths["S00"][:10], paths["S01"][-2:]
    records = _rescue(paths)
    records["weighings"].loc[records["weighings"]["stay_id"] == "S02", "is_group_weight"] = True
    came = records["weighings"]["stay_id"] == "S01"
    records["weighings"].loc[came, "weighed_on"] += pd.Timedelta(days=105)
    got = q.screen(records)
    assert _state(got, "S00")["state"] == "overdue"
    assert "not weighed for 57 days, though due every 7 days" in _state(got, "S00")["why"]
    assert _state(got, "S01")["state"] == "too few weighings to tell"
    assert "2 usable weighings since the last step, at least 3 are needed" in _state(got, "S01")["why"]
    assert _state(got, "S02")["state"] == "group weight only"


def test_a_date_sets_what_is_needed():
    paths = _herd(np.random.default_rng(13), n=12)
    last = np.exp(paths["S00"][-1])
    plan = {"stay_id": ["S00"], "target_g": [2 * last], "set_on": ["2025-12-01"], "by_date": ["2026-06-09"]}
    row = _state(q.screen(_rescue(paths, targets=plan)), "S00")
    assert row["needed_percent_week"] == pytest.approx(100 * np.expm1(np.log(2) / 70 * 7), rel=0.01)


def test_a_step_restarts_the_screen():
    paths = _herd(np.random.default_rng(14), n=12)
    paths["S00"][15:] -= 0.25
    records = _rescue(paths)
    laid = (records["weighings"]["stay_id"] == "S00") & (records["weighings"]["weighed_on"] == "2026-03-16")
    assert laid.sum() == 1
    before = q.screen(records)
    records["weighings"].loc[laid, "circumstance"] = "laid eggs"
    after = q.screen(records)
    assert "S00" in set(before.drops()["stay_id"])
    assert "S00" not in set(after.drops()["stay_id"])
    assert _state(after, "S00")["state"] == "too few weighings to tell"


@pytest.mark.slow
def test_false_alarms_of_a_rescue_keep_to_its_budget_and_do_not_meet_it_by_silence():
    listed, screened = [], 0
    for seed in range(12):
        paths = _herd(np.random.default_rng(100 + seed), n=40, weeks=14, noise=0.03)
        got = q.screen(
            _rescue(
                paths,
                target=dict.fromkeys(paths, 1e5),
                intake="2025-12-30",
                settings={"watch.false_alarms_per_week": 2.0},
            )
        )
        assert got.expected == pytest.approx(2.0, abs=0.02)
        listed.append(int(got.to_frame()["listed"].sum()))
        screened += got.screened
    print(f"\n{sum(listed)} false alarms in {len(listed)} weeks of 40 healthy animals, budget {2 * len(listed)}")
    assert screened == 12 * 40
    # 24 expected; the standard error of the count is about 5.
    assert 0.6 * 24 <= sum(listed) <= 1.4 * 24


# ---- drops


def test_a_third_of_steady_animals_show_a_ten_percent_drop_at_the_twelfth_weighing():
    # METHODS.md 6: with 5 % noise a third of healthy animals show one by the 12th weighing.
    assert from_noise(12, 0.05, 10.0)[0] == pytest.approx(1 / 3, abs=0.02)
    assert from_noise(3, 0.05, 10.0)[0] < from_noise(12, 0.05, 10.0)[0]


def _dropped(last, gap=7):
    paths = _herd(np.random.default_rng(15), n=12, gain=0.0, noise=0.03)
    paths["S00"] = np.array([5.0] * (18 - len(last)) + [5 + np.log1p(-d / 100) for d in last])
    return q.screen(_rescue(paths, every=gap, intake=str((AS_OF - pd.Timedelta(days=17 * gap)).date())))


def test_a_drop_is_listed_apart_with_what_noise_would_show():
    got = _dropped([11])
    drop = got.drops().set_index("stay_id").loc["S00"]
    assert drop["drop_percent"] == pytest.approx(11, abs=0.01)
    assert 3 < drop["expected_percent"] < 20
    assert drop["confirmed"] == ""
    assert _state(got, "S00")["drop_percent"] == pytest.approx(11, abs=0.01)


def test_a_second_weighing_within_seven_days_confirms_it():
    assert "two weighings" in _dropped([11, 11]).drops().set_index("stay_id").loc["S00", "confirmed"]
    assert _dropped([11, 11], gap=8).drops().set_index("stay_id").loc["S00", "confirmed"] == ""


def test_a_drop_beyond_noise_goes_to_the_main_list():
    got = _dropped([25])
    assert "more than the noise" in got.drops().set_index("stay_id").loc["S00", "confirmed"]
    assert _state(got, "S00")["state"] == "losing"
    assert "dropped 25 % from its highest weight" in _state(got, "S00")["why"]


def test_nine_percent_is_no_drop_unless_the_rescue_says_so():
    assert "S00" not in set(_dropped([9]).drops()["stay_id"])


# ---- targets


def test_days_to_target_of_a_steady_gainer():
    paths = _herd(np.random.default_rng(16), n=24, noise=0.01)
    target = dict.fromkeys(paths, 1e4)
    target["S00"] = float(np.exp(paths["S00"][-5:].mean() + 0.02 * 2 + 0.12))  # about six weeks away
    others = list(paths)[1:]
    got = q.target_days(_rescue(paths, target=target, left=others)).to_frame()
    assert list(got["stay_id"]) == ["S00"]
    row = got.iloc[0]
    assert 20 <= row["low_days"] <= row["median_days"] <= 70


def test_the_slope_of_a_fast_gainer_reverts_to_its_groups():
    paths = _herd(np.random.default_rng(22), n=24, noise=0.005, gain=0.01)
    paths["S00"] = 5 + 0.03 * np.arange(18) + 0.005 * np.random.default_rng(23).standard_normal(18)
    target = dict.fromkeys(paths, 1e4) | {"S00": float(np.exp(5 + 0.03 * 17 + 0.30))}
    got = q.target_days(_rescue(paths, target=target)).to_frame().set_index("stay_id")
    # Straight on it would take 70 days, and at the group's gain 210. All the others hold their slopes, so the half-life
    # is estimated as long and little of its lead is lost.
    assert got.loc["S00", "half_life_days"] > 90
    assert 66 < got.loc["S00", "median_days"] < 130


def test_all_animals_can_leave_before_they_reach_it():
    paths = _herd(np.random.default_rng(17), n=24, noise=0.01)
    kept = _rescue(paths, target=dict.fromkeys(paths, 300.0))
    gone = _rescue(paths, target=dict.fromkeys(paths, 300.0), left=list(paths)[4:])
    here = ["S00", "S01"]  # the others are too far away in either case
    a, b = (q.target_days(r).to_frame().set_index("stay_id").loc[here, "not_in_90_percent"] for r in (kept, gone))
    assert (b > a).all()


def test_the_same_records_give_the_same_days():
    paths = _herd(np.random.default_rng(18), n=12)
    records = _rescue(paths, target=dict.fromkeys(paths, 400.0))
    pd.testing.assert_frame_equal(q.target_days(records).to_frame(), q.target_days(records).to_frame())


# ---- path, and nothing recorded


def test_path_says_first_last_target_and_slope():
    paths = _herd(np.random.default_rng(19), n=12)
    got = q.path(_rescue(paths, target={"S00": 400.0}), "S00")
    assert got.sentence().startswith("S00 (corn snake) weighed ")
    assert "its target is 400 g" in got.sentence()
    assert got.slope.estimate * 7 == pytest.approx(0.02, abs=0.008)
    assert len(got.to_frame()) == 18


def test_path_of_an_unknown_stay_names_the_nearest():
    with pytest.raises(InputError, match=r'"S0" is not a stay.*\n.*Did you mean "S0\d"'):
        q.path(_rescue(_herd(np.random.default_rng(20), n=2)), "S0")


def test_no_weighings_and_no_targets_are_not_recorded():
    records = from_frames(
        as_of=AS_OF,
        intakes=pd.DataFrame(
            {"stay_id": ["S1"], "species": ["corn snake"], "intake_date": ["2026-03-30"], "intake_type": ["stray"]}
        ),
    )
    assert q.curves(records).sentence() == "Weighings are not recorded."
    assert q.screen(records).sentence() == "Weighings are not recorded."
    assert q.target_days(records).sentence() == "Target weights are not recorded."
    assert "none of which can be used" in q.path(records, "S1").sentence()
    assert q.screen(records).states()["animals"].sum() == 1
    for answer in (q.curves(records), q.screen(records), q.target_days(records), q.path(records, "S1")):
        assert answer._repr_html_()
        assert list(answer.to_frame().columns)


def test_no_word_of_medicine_or_diagnosis(stalled):
    words = " ".join([stalled.sentence(), *stalled.notes(), *stalled.to_frame()["why"]]).lower()
    for forbidden in ("die ", "death", "dose", "treat with", "give ", "should be fed"):
        assert forbidden not in words


def test_the_demo_is_answered_whole(demo):
    got = q.screen(demo)
    frame = got.to_frame()
    assert frame["state"].isin(STATES).all()
    assert not frame["stay_id"].duplicated().any()
    assert frame.attrs["units"]["weight_g"] == "g"
    assert q.curves(demo).to_frame()["percent"].between(80, 200).all()
    assert len(q.target_days(demo).to_frame())
