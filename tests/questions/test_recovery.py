"""Recovery: curves with known answers, who is left out, the gate, open episodes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import recovery
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

AS_OF = "2025-12-31"
START = pd.Timestamp("2025-01-01")


def records(rows, *, start="2024-01-01", settings=None, as_of=AS_OF):
    """Build records of episodes: dicts of found (day of 2025), days until ``end``, end, condition, group, animal."""
    intakes, found, out = [], [], []
    for i, row in enumerate(rows):
        stay = row.get("stay", f"S{i}")
        on = START + pd.Timedelta(days=row.get("found", 0))
        end, last = row.get("end"), on + pd.Timedelta(days=row.get("days", 0))
        if "stay" not in row or stay not in {r["stay_id"] for r in intakes}:
            intakes.append({"stay_id": stay, "species": "corn snake", "intake_type": "stray", "intake_date": on,
                            "group_size": row.get("group", 1)})  # fmt: skip
        own = end in ("cleared", "managed", "misdiagnosed")
        condition = row.get("condition", "burns")
        found.append({"episode_id": f"E{i}", "stay_id": stay, "condition": condition, "found_on": on,
                      "ended_on": last if own else None, "ended_as": end if own else None})  # fmt: skip
        if end and not own:
            out.append({"stay_id": stay, "outcome_date": last, "outcome_type": end})
    tables = {"intakes": pd.DataFrame(intakes), "conditions": pd.DataFrame(found)}
    if out:
        tables["outcomes"] = pd.DataFrame(out)
    return from_frames(as_of=as_of, records_start=start, settings=settings, **tables)


def row_of(answer, condition="burns", cohort="all records"):
    frame = answer.to_frame()
    return frame[(frame["condition"] == condition) & (frame["cohort"] == cohort)].iloc[0]


def test_every_end_competes_and_no_one_leaves_the_denominator():
    ends = ["cleared"] * 4 + ["managed", "misdiagnosed", "died", "euthanised", "adopted", "missing"]
    row = row_of(recovery.by_condition(records([{"days": 10 + i, "end": e} for i, e in enumerate(ends)])))
    assert row["cleared_by_30"] == pytest.approx(0.4)
    names = ["cleared", "managed", "misdiagnosed", "died", "left_uncleared", "missing", "open"]
    assert row[names].tolist() == [4, 1, 1, 2, 1, 1, 0]


# By hand: times 1,1,1,2,2,3 with causes 1,1,2,1,2,1: cumulative incidence of cause 1 is 1/3, 1/2, 2/3.
def test_ties_are_exact():
    ends = ["cleared", "cleared", "died", "cleared", "died", "cleared"]
    rows = [{"days": d, "end": e} for d, e in zip([1, 1, 1, 2, 2, 3], ends, strict=True)]
    steps = recovery.curves(records(rows, settings={"counts.at_risk": 1})).to_frame()
    cleared = steps[steps["end"] == "cleared"].set_index("day")["share"]
    assert cleared.loc[[1, 2, 3]].tolist() == pytest.approx([1 / 3, 1 / 2, 2 / 3])


def test_open_episodes_are_cut_off_and_not_dropped():
    rows = [{"days": 10, "end": "cleared"}] * 5 + [{"found": 359}] * 5
    row = row_of(recovery.by_condition(records(rows)))
    assert row["open"] == 5
    assert row["cleared_by_30"] == pytest.approx(1.0)  # those cut off on day 5 tell nothing about day 10
    assert row["cleared_by_30_low"] < 0.75


def test_the_median_is_the_first_day_half_were_cleared():
    rows = [{"days": d, "end": "cleared"} for d in (5, 10, 15, 20, 25, 30)] + [{"days": 40, "end": "died"}] * 4
    row = row_of(recovery.by_condition(records(rows)))
    assert row["median"] == 25
    assert row["median_low"] < 25
    assert "half were cleared by day 25" in row["says"]


def test_where_half_is_never_reached_it_says_so_and_never_infinity():
    rows = [{"days": d, "end": "cleared"} for d in (5, 10, 15, 20)] + [{"days": 60, "end": "died"}] * 6
    row = row_of(recovery.by_condition(records(rows)))
    assert np.isnan(row["median"])
    assert "fewer than half were cleared by day 60" in row["says"]


def test_one_row_of_thirty_is_no_evidence_of_thirty():
    alone = recovery.by_condition(records([{"days": 10, "end": "cleared", "group": 30}]))
    assert not row_of(alone)["enough"]
    assert "too few to say" in row_of(alone)["says"]
    rows = [{"days": 10 + i, "end": "cleared" if i % 2 else "died"} for i in range(8)]
    one, thirty = (row_of(recovery.by_condition(records([r | {"group": g} for r in rows]))) for g in (1, 30))
    assert thirty["animals"] == 240
    assert (thirty["cleared_by_30"], thirty["cleared_by_30_low"], thirty["cleared_by_30_high"]) == pytest.approx(
        (one["cleared_by_30"], one["cleared_by_30_low"], one["cleared_by_30_high"])
    )


@pytest.mark.parametrize(("n", "enough"), [(4, False), (5, True)])
def test_the_gate_is_the_rescues_setting(n, enough):
    rows = [{"days": 10, "end": "cleared"}] * n
    assert row_of(recovery.by_condition(records(rows)))["enough"] == enough
    assert not row_of(recovery.by_condition(records(rows, settings={"counts.animals": 6})))["enough"]


# R survival (its behaviour shown in an issue report): entries 0,5,5,5,6,6, exits 2,10,12,15,20,25, events 1,1,1,0,1,0
# give a survival of 0 from day 2 for ever: one early end among one at risk.
def test_a_tiny_early_risk_set_does_not_flatten_the_curve():
    rows = [{"found": -f, "days": d, "end": e} for f, d, e in
            [(0, 2, "died"), *[(5, 10 + i, "cleared") for i in range(6)], *[(6, 20, "died")] * 2]]  # fmt: skip
    answer = recovery.by_condition(records(rows, start="2025-01-01"))
    row = row_of(answer)
    assert row["begins"] == 5
    assert row["cleared_by_30"] == pytest.approx(6 / 8)
    assert "begins on day 5" in row["says"]


def test_lifelong_relapses_and_older_episodes_are_left_out_and_counted():
    rows = [{"days": 10 + i, "end": "cleared"} for i in range(6)]
    rows += [{"stay": "S0", "found": 50, "days": 5, "end": "cleared"}, {"condition": "kidney disease"}]
    rows += [{"found": -400, "days": 3, "end": "cleared"}]
    answer = recovery.by_condition(records(rows, settings={"conditions.lifelong": ["kidney disease"]}))
    assert row_of(answer)["animals"] == 6
    assert "kidney disease" not in set(answer.to_frame()["condition"])
    note = next(n for n in answer.notes() if n.startswith("Not in the curves"))
    assert note == (
        "Not in the curves: 1 animal with a condition the rescue lists as lifelong, 1 animal in a second or later "
        "episode of the condition in one stay (a relapse) and 1 animal whose episode was over before the records start."
    )


def test_a_share_past_the_data_is_not_printed():
    rows = [{"days": 10, "end": "cleared"}] * 6 + [{"found": 330}] * 20
    row = row_of(recovery.by_condition(records(rows)))
    assert row["cleared_by_30"] > 0
    rows = [{"days": 10, "end": "cleared"}] * 2 + [{"found": 330}] * 20
    row = row_of(recovery.by_condition(records(rows)))
    assert np.isnan(row["cleared_by_60"])
    assert not np.isnan(row["cleared_by_30"])


def test_a_period_is_told_beside_all_records_and_the_year_before_followed_as_long():
    rows = [{"found": f, "days": 40, "end": "cleared"} for f in (300, 310, 320, 330, 340, 350)]
    rows += [{"found": f - 365, "days": 40, "end": "cleared"} for f in (300, 310, 320, 330, 340, 350)]
    answer = recovery.by_condition(records(rows), period("2025-10-01", "2025-12-31"))
    frame = answer.to_frame().set_index("cohort")
    assert frame["animals"].to_dict() == {"all records": 12, "found in the period": 6, "found in the year before": 6}
    # a year ago, on the same day, the last ones were open too
    assert frame.loc["found in the year before", "open"] == frame.loc["found in the period", "open"] > 0


def test_lost_track_of_is_told_at_both_ends():
    rows = [{"found": -700, "days": 10 + i % 5, "end": "cleared"} for i in range(40)] + [{"found": -400}]
    frame = recovery.by_condition(records(rows, start="2022-01-01")).both_ends()
    assert frame["lost_track_of"].tolist() == [1]
    assert frame["cleared_by_90"].iloc[0] > frame["cleared_by_90_if_still_open"].iloc[0]


def test_curves_are_dashed_where_few_are_left():
    rows = [{"days": 5 + i, "end": "cleared"} for i in range(40)]
    steps = recovery.curves(records(rows)).to_frame()
    cleared = steps[steps["end"] == "cleared"]
    assert not cleared.loc[cleared["at_risk"] >= 4, "dashed"].any()
    assert cleared.loc[cleared["at_risk"] < 4, "dashed"].all()


# At risk on day t means entry < t <= exit: entries 0,0,0,5,5,5, exits 3,4,10,11,12,13 at 0,5,6,12 give 3,1,4,2 (with
# entry -1 for those seen from day 0).
def test_numbers_at_risk_under_delayed_entry():
    rows = [{"found": f, "days": d, "end": "cleared"} for f, d in
            [(0, 3), (0, 4), (0, 10), (-6, 11), (-6, 12), (-6, 13)]]  # fmt: skip
    table = records(rows, start="2025-01-01", settings={"counts.at_risk": 1})
    from mendcurve.questions.incidence import told
    from mendcurve.questions.recovery_cohort import cohorts
    from mendcurve.timelines.episodes import CAUSES

    one = next(told(cohorts(table, None)[0].rows, "condition", CAUSES, table.settings))
    assert one.tally.at_risk([0, 5, 6, 12])[0].tolist() == [3, 1, 4, 2]


def test_an_unknown_condition_is_refused_with_the_nearest():
    with pytest.raises(InputError, match=r'"burn" is recorded.*Did you mean "burns"'):
        recovery.curves(records([{}]), "burn")


def memoryless(n=400, seed=2):
    rng = np.random.default_rng(seed)
    return [{"found": -int(f), "days": int(d), "end": "cleared"} for f, d in
            zip(rng.integers(0, 300, n), rng.geometric(1 / 20, n), strict=True)]  # fmt: skip


def test_remaining_days_of_a_memoryless_episode_do_not_depend_on_the_days_so_far():
    rows = [*memoryless(), {"found": 360}, {"found": 345}, {"found": 324}]
    frame = recovery.open_now(records(rows)).to_frame().tail(3)
    assert frame["days_so_far"].tolist() == [40, 19, 4]
    # truth: median 14, 80 % between 3 and 45
    assert frame["median"].between(8, 20).all()
    assert (frame["low"] <= frame["median"]).all()
    assert frame["high"].between(28, 70).all()


def test_past_the_longest_episode_it_is_beyond_our_data():
    rows = [{"days": 10 + i, "end": "cleared"} for i in range(20)] + [{"found": 250}]
    frame = recovery.open_now(records(rows)).to_frame()
    assert frame["says"].tolist() == ["beyond our data"]
    assert frame[["low", "median", "high"]].isna().all(axis=None)


def test_open_now_gives_days_and_never_a_chance():
    answer = recovery.open_now(records([*memoryless(), {"found": 345}]))
    assert not {"share", "chance", "probability", "risk"} & set(answer.to_frame().columns)
    assert "%" not in answer.sentence()


def test_conditions_count_animals_once_each_and_pairs():
    rows = [
        {"stay": "A"},
        {"stay": "A", "condition": "mites"},
        {"stay": "B"},
        {"stay": "C", "condition": "mites", "group": 4},
    ]
    answer = recovery.conditions(records(rows))
    assert answer.to_frame().set_index("condition")["animals"].to_dict() == {"mites": 5, "burns": 2}
    assert answer.several()[["conditions", "animals"]].to_numpy().tolist() == [[1, 5], [2, 1]]
    assert answer.together()[["condition", "with", "animals"]].to_numpy().tolist() == [["burns", "mites", 1]]


def kin(n):
    rows = [{"days": 10 + i % 20, "end": "cleared" if i % 4 else "died"} for i in range(40)]
    rows += [{"days": 10 + i, "end": "cleared", "condition": "scalds"} for i in range(n)]
    return records(rows, settings={"conditions.families": {"skin": ["burns", "scalds"]}})


def test_a_small_condition_borrows_from_its_family_and_keeps_its_own_beside():
    frame = recovery.pooled(kin(3)).to_frame().set_index(["within", "group"])
    small = frame.loc[("skin", "scalds")]
    assert small["pooled"]
    assert small["cleared_by_30_alone"] == pytest.approx(1)
    assert 0.7 < small["cleared_by_30"] < 1
    assert small["cleared_by_30_low"] > small["cleared_by_30_alone_low"]
    assert small["own_weight"] < frame.loc[("skin", "burns"), "own_weight"]
    pd.testing.assert_frame_equal(recovery.pooled(kin(3)).to_frame(), recovery.pooled(kin(3)).to_frame())


def test_nothing_is_pooled_across_conditions_of_no_family():
    table = records([{"days": 10, "end": "cleared"}] * 6 + [{"days": 10, "end": "cleared", "condition": "mites"}] * 3)
    assert recovery.pooled(table).to_frame().empty


ALL = [recovery.by_condition, recovery.curves, recovery.open_now, recovery.conditions, recovery.pooled]
NOTHING = [from_frames(as_of=AS_OF), records([{}]), records([{"days": 3, "end": "cleared"}])]


@pytest.mark.parametrize("ask", ALL)
@pytest.mark.parametrize("table", NOTHING)
def test_little_or_nothing_is_answered_in_words(ask, table):
    html = ask(table)._repr_html_()
    assert "nan" not in html
    assert "inf" not in html.replace("infection", "").replace("information", "")


@pytest.mark.parametrize("ask", ALL)
def test_the_demo_is_answered(ask, demo):
    answer = ask(demo)
    assert len(answer.to_frame())
    assert "nan" not in answer._repr_html_()


@pytest.mark.slow
def test_bands_cover_the_truth_as_often_as_they_say():
    """Share cleared by day 30 with deaths competing and open episodes; truth by the hazards."""
    rng, covered, wide, runs = np.random.default_rng(5), 0, 0.0, 90
    h1, h2 = 0.03, 0.01
    truth = h1 / (h1 + h2) * (1 - (1 - h1 - h2) ** 30)
    for _ in range(runs):
        days = rng.geometric(h1 + h2, 40)
        kind = np.where(rng.random(40) < h1 / (h1 + h2), "cleared", "died")
        rows = [{"found": int(f), "days": int(d), "end": k if f + d <= 364 else None} for f, d, k in
                zip(rng.integers(200, 355, 40), days, kind, strict=True)]  # fmt: skip
        row = row_of(recovery.by_condition(records(rows)))
        covered += row["cleared_by_30_low"] <= truth <= row["cleared_by_30_high"]
        wide += row["cleared_by_30_high"] - row["cleared_by_30_low"]
    print(f"covered {covered} of {runs}, mean width {wide / runs:.3f}")
    assert covered / runs >= 0.92
    assert wide / runs < 0.40


def test_where_clearing_is_never_written_down_no_share_is_told():
    heard = records([{"end": "died", "days": 5}] * 4 + [{"end": "adopted", "days": 9}] * 8)
    told = recovery.by_condition(heard)
    assert "When a condition was cleared is not recorded" in told.sentence()
    row = row_of(told)
    assert row[["cleared_by_30", "median"]].isna().all()
    assert (row["died"], row["left_uncleared"], row["enough"]) == (4, 8, False)
    assert "4 died" in row["says"]
    assert recovery.curves(heard).sentence() == recovery.by_condition(heard).sentence().split(". ", 1)[1]


def test_animals_split_off_and_followed_on_are_counted_once():
    """A clutch of 12 split on day 10, each with its own episode, and 8 single animals: 20 animals, all cleared."""
    on = START + pd.Timedelta(days=10)
    intakes = [{"stay_id": "C", "group_size": 12, "intake_date": START}]
    intakes += [{"stay_id": f"D{i}", "group_size": 1, "intake_date": on, "split_from": "C"} for i in range(12)]
    intakes += [{"stay_id": f"S{i}", "group_size": 1, "intake_date": START} for i in range(8)]
    found = [{"episode_id": "C", "stay_id": "C", "ended_on": None}]
    single = [s["stay_id"] for s in intakes[1:]]
    found += [
        {"episode_id": s, "stay_id": s, "ended_on": START + pd.Timedelta(days=12 + i)} for i, s in enumerate(single)
    ]
    given = from_frames(
        as_of=AS_OF, records_start="2024-01-01",
        intakes=pd.DataFrame(intakes).assign(species="corn snake", intake_type="stray"),
        conditions=pd.DataFrame(found).assign(condition="burns", found_on=START, ended_as=[None, *["cleared"] * 20]),
    )  # fmt: skip
    row = row_of(recovery.by_condition(given))
    assert (row["animals"], row["cleared"], row["open"]) == (20, 20, 0)
    assert "of 20 cases" in row["says"]
