"""Groups compared: effects with known answers, the gate, what may be said; ratios adjusted for each other."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.figures.forest import adjusted_forest, comparison_forest
from mendcurve.questions import recovery
from mendcurve.records import from_frames

START = pd.Timestamp("2025-01-01")


def records(rows, *, clearing=True):
    """Build one stay with one episode a row: dicts of days, end, severity, species, condition, animal."""
    intakes, found, out = [], [], []
    for i, row in enumerate(rows):
        last = START + pd.Timedelta(days=int(row["days"]))
        intakes.append({"stay_id": f"S{i}", "animal_id": row.get("animal", f"A{i}"), "intake_date": START,
                        "species": row.get("species", "corn snake"), "intake_type": "stray",
                        "life_stage": row.get("stage", "adult")})  # fmt: skip
        own = row["end"] == "cleared"
        episode = {"episode_id": f"E{i}", "stay_id": f"S{i}", "condition": row.get("condition", "burns"),
                   "found_on": START, "severity": row.get("severity", "mild")}  # fmt: skip
        if clearing:
            episode |= {"ended_on": last if own else None, "ended_as": "cleared" if own else None}
        found.append(episode)
        if row["end"] and not own:
            out.append({"stay_id": f"S{i}", "outcome_date": last, "outcome_type": row["end"]})
    tables = {"intakes": pd.DataFrame(intakes), "conditions": pd.DataFrame(found)}
    if out:
        tables["outcomes"] = pd.DataFrame(out)
    return from_frames(as_of="2025-12-31", records_start="2024-01-01", **tables)


def drawn(n: int, seed: int, slower: float = 1.0, **more):
    rng = np.random.default_rng(seed)
    days = np.ceil(rng.exponential(20 * slower, n)).clip(1, 300)
    return [{"days": d, "end": "cleared" if rng.random() < 0.85 else "died", **more} for d in days]


def test_a_difference_of_shares_without_censoring_is_the_plain_one():
    mild = [{"days": d, "end": "cleared", "severity": "mild"} for d in range(5, 85, 4)]
    severe = [{"days": 95 + i, "end": "cleared", "severity": "severe"} for i in range(8)]
    severe += [{"days": 10 + i, "end": "cleared", "severity": "severe"} for i in range(4)]
    answer = recovery.compare(records(mild + severe))
    row = answer.to_frame().iloc[0]
    assert (row["group"], row["against"], row["day"]) == ("severe", "mild", 90)
    assert row["share"] == pytest.approx(4 / 12)
    assert row["share_against"] == pytest.approx(1)
    assert row["difference_low"] < -2 / 3 < row["difference_high"] < 0
    assert row["median_difference"] == 96 - 41
    assert row["ratio"] < 1
    assert "33 % of 12 animals" in answer.sentence()
    assert "−67 points" in answer.sentence()


@pytest.mark.slow
def test_nothing_is_claimed_of_groups_that_do_not_differ():
    claims = sum(
        len(answer.to_frame().query("p_holm < 0.05"))
        for answer in (
            recovery.compare(records(drawn(20, s, severity="mild") + drawn(15, 900 + s, severity="severe")))
            for s in range(40)
        )
    )
    print(f"claimed where there is no difference: {claims} of 40")
    assert claims <= 6  # 5 % of 40 is 2; 7 or more would have a chance of 0.3 %


def test_groups_too_small_are_listed_and_not_compared():
    answer = recovery.compare(records(drawn(12, 1, severity="mild") + drawn(3, 2, severity="severe")))
    assert not len(answer.to_frame())
    assert answer.too_few()[["group", "animals"]].values.tolist() == [["severe", 3], ["mild", 12]]  # noqa: PD011
    assert "enough animals to compare" in answer.sentence()
    assert comparison_forest(answer).alt.startswith("No picture")


def test_an_animal_with_two_stays_is_one_animals_evidence():
    once = drawn(12, 5, severity="severe")
    twice = [dict(row, animal=f"T{i}") for _ in range(2) for i, row in enumerate(once)]
    base = drawn(30, 6, severity="mild")
    single = recovery.compare(records(base + once)).to_frame().iloc[0]
    double = recovery.compare(records(base + twice)).to_frame().iloc[0]
    width = [row["difference_high"] - row["difference_low"] for row in (single, double)]
    assert double["share"] == pytest.approx(single["share"])
    assert width[1] > 0.9 * width[0]


def test_without_clearing_or_conditions_it_says_so():
    assert "is not recorded" in recovery.compare(records(drawn(9, 1), clearing=False)).sentence()
    bare = from_frames(
        as_of="2025-12-31",
        intakes=pd.DataFrame({"stay_id": ["S1"], "species": ["corn snake"], "intake_date": [START],
                              "intake_type": ["stray"]}),
    )  # fmt: skip
    for answer in (recovery.compare(bare), recovery.adjusted(bare)):
        assert "not recorded" in answer.sentence()
        assert not len(answer.to_frame())


def test_an_unknown_way_to_group_is_refused():
    with pytest.raises(InputError, match='not by "sevrity"'):
        recovery.compare(records(drawn(9, 1)), by="sevrity")


def test_adjusted_ratios_untangle_what_goes_together():
    """Severe burns are slow; snakes are not, but are more often severe: the plain ratio of snakes would be low."""
    rows = []
    for species, severe in (("corn snake", 0.75), ("bearded dragon", 0.25)):
        n = 120
        rows += drawn(int(n * severe), 10, slower=2.5, severity="severe", species=species)
        rows += drawn(int(n * (1 - severe)), 11, severity="mild", species=species)
    answer = recovery.adjusted(records(rows), terms=("severity", "taxon"))
    frame = answer.to_frame().set_index("level")
    assert frame.loc["severe" if "severe" in frame.index else "mild", "low"] > 1 or frame["high"].min() < 1
    taxon = frame[frame["term"] == "species group"].iloc[0]
    assert taxon["low"] < 1 < taxon["high"]
    assert len(adjusted_forest(answer).figure.axes[0].get_yticklabels()) == len(frame)


def test_terms_leave_the_model_until_each_ratio_has_ten_cleared():
    rows = drawn(13, 3, severity="mild", species="corn snake") + drawn(12, 4, severity="severe", species="axolotl")
    rows += drawn(6, 5, severity="moderate", species="leopard gecko")
    answer = recovery.adjusted(records(rows), terms=("severity", "taxon"))
    assert answer.cleared < 40
    assert answer.left_out
    assert len(answer.to_frame()) <= answer.cleared / 10
    assert "too few cases cleared" in " ".join(answer.notes())


def test_everything_told_apart_is_told_with_its_interval(demo):
    answer = recovery.adjusted(demo)
    frame = answer.to_frame()
    assert frame["animals"].gt(0).all()
    mild = frame[frame["level"] == "mild"].iloc[0]
    assert mild["low"] > 1  # truth: mild episodes last 0.8 of the median of moderate ones
    assert answer.animals + answer.unknown + answer.small == int(
        recovery.by_condition(demo).to_frame().query("cohort == 'all records'")["animals"].sum()
    )


def test_a_level_of_which_none_was_cleared_is_told_and_not_left_out():
    rows = drawn(40, 1, severity="mild", condition="mites")
    rows = [row | {"end": "cleared"} for row in rows]
    rows += [{"days": 5 + i, "end": "died", "severity": "severe", "condition": "mites"} for i in range(20)]
    answer = recovery.adjusted(records(rows), terms=("severity",))
    assert (answer.animals, answer.cleared, answer.small) == (60, 40, 0)
    assert "none of 20 cases cleared, so no ratio fits" in answer.sentence()


def test_told_apart_needs_an_interval_that_carries_it():
    from mendcurve.questions import recovery_compare

    frame = pd.DataFrame({
        "difference_low": [-0.1, 0.1, -0.1, -0.1], "difference_high": [0.3, 0.3, 0.3, 0.3],
        "ratio_low": [0.9, 0.9, 1.1, np.nan], "ratio_high": [2.0, 2.0, 2.0, np.nan],
    })  # fmt: skip
    carried = recovery_compare._excludes(frame, "difference", 0) | recovery_compare._excludes(frame, "ratio", 1)
    assert carried.tolist() == [False, True, True, False]


def test_medians_are_set_against_each_other_only_with_all_their_limits():
    slow = [{"days": 20 + 9 * i, "end": "cleared" if i < 7 else "died", "severity": "severe"} for i in range(12)]
    row = recovery.compare(records(drawn(30, 6, severity="mild") + slow)).to_frame().iloc[0]
    assert row[["median_difference", "median_low", "median_high"]].isna().all()


def test_a_clutch_split_into_single_stays_is_not_so_many_animals_in_the_test():
    base = drawn(30, 6, severity="mild")
    others = drawn(9, 7, severity="severe")
    clutch = {"days": 2, "end": "cleared", "severity": "severe"}
    apart = recovery.compare(records(base + others + [clutch] * 12)).to_frame().iloc[0]
    one = recovery.compare(records(base + others + [dict(clutch, animal="K")] * 12)).to_frame().iloc[0]
    assert one["p"] > 2 * apart["p"]
    assert one["mean_high"] - one["mean_low"] > 1.3 * (apart["mean_high"] - apart["mean_low"])
