"""Length of stay from every stay, phases, the longest, and the fate of any set of stays."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import stay
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

AS_OF = "2025-12-31"
START = pd.Timestamp("2025-01-01")


def records(rows, *, start="2025-01-01", settings=None, **tables):
    """Build records of stays: dicts of came (day of 2025), days until ``end``, end, species, group."""
    intakes, out = [], []
    for i, row in enumerate(rows):
        on = START + pd.Timedelta(days=row.get("came", 0))
        intakes.append({"stay_id": f"S{i}", "species": row.get("species", "corn snake"), "intake_type": "stray",
                        "intake_date": on, "group_size": row.get("group", 1)})  # fmt: skip
        if row.get("end"):
            last = on + pd.Timedelta(days=row["days"])
            out.append({"stay_id": f"S{i}", "outcome_date": last, "outcome_type": row["end"]})
    given = {"intakes": intakes, "outcomes": out, **tables}
    frames = {name: pd.DataFrame(some) for name, some in given.items() if len(some)}
    return from_frames(as_of=AS_OF, records_start=start, settings=settings, **frames)


def whole(answer):
    frame = answer.to_frame()
    return frame[(frame["group"] == "all") & (frame["cohort"] == answer.cohort)].iloc[0]


def truth_cut_at_a_date(seed, n=400, mean=120):
    rng = np.random.default_rng(seed)
    rows = []
    for came, days in zip(rng.integers(0, 360, n), rng.geometric(1 / mean, n), strict=True):
        rows.append({"came": int(came), "days": int(days), "end": "adopted" if came + days <= 364 else None})
    return rows


@pytest.mark.parametrize("seed", range(3))
def test_the_median_is_near_the_truth_and_the_mean_of_leavers_far_below_it(seed):
    answer = stay.length(records(truth_cut_at_a_date(seed)))
    row = whole(answer)
    truth = np.log(0.5) / np.log(1 - 1 / 120)
    assert row["median_low"] <= truth <= row["median_high"]
    assert row["leavers_mean"] < 0.75 * 120
    assert f"{row['still_here']} still here" in answer.sentence()
    assert "do not read it as the length of a stay" in answer.sentence()


def test_a_stay_of_no_days_counts():
    row = whole(stay.length(records([{"days": 0, "end": "adopted"}] * 6 + [{"days": 10, "end": "died"}] * 4)))
    assert row["median"] == 0
    assert (row["adopted_by_90"], row["died_by_90"]) == pytest.approx((0.6, 0.4))


def test_delayed_entries_are_at_risk_only_from_the_records_start():
    rows = [{"came": -20, "days": 21, "end": "adopted"}] * 5 + [{"days": 5, "end": "adopted"}] * 5
    row = whole(stay.length(records(rows)))
    assert row["median"] == 5  # nobody known to have stayed long at first speaks for day 5


def test_a_permanent_resident_is_no_leaver_and_shown_apart_only_if_so_from_the_first_day():
    kept = [{"stay_id": "S0", "what": "permanent resident", "from_date": "2025-01-01"},
            {"stay_id": "S1", "what": "permanent resident", "from_date": "2025-02-10"}]  # fmt: skip
    rows = [{}, {}] + [{"days": 30, "end": "adopted"}] * 8
    answer = stay.length(records(rows, periods=kept))
    row = whole(answer)
    assert (answer.permanent, row["animals"]) == (1, 9)
    assert row["adopted_by_90"] == pytest.approx(8 / 9)
    assert row["still_here"] == 1


def test_a_period_is_told_beside_all_records():
    rows = [{"came": c, "days": 20, "end": "adopted"} for c in (0, 10, 20, 30, 40, 200, 210, 220, 230, 240)]
    frame = stay.length(records(rows), period("2025-06-01", "2025-12-31")).to_frame()
    assert frame.loc[frame["group"] == "all", "animals"].tolist() == [10, 5]


def test_phases_follow_recorded_moves_and_readiness():
    moves = [{"stay_id": "S0", "moved_on": d, "zone": z} for d, z in
             (("2025-01-01", "quarantine"), ("2025-01-31", "treatment"))]  # fmt: skip
    ready = [{"stay_id": "S0", "what": "ready for a home", "from_date": "2025-02-20"}]
    answer = stay.phases(records([{"days": 60, "end": "adopted"}], moves=moves, periods=ready))
    days = answer.to_frame().set_index("phase")["animal_days"]
    assert days.to_dict() == {"quarantine": 30, "treatment": 20, "waiting for a home": 10}
    assert answer.to_frame()["assumed_days"].sum() == 0
    assert answer.sentence().startswith("Of 60 animal-days up to 31 December 2025, 50 % were spent in quarantine, 33 %")


def test_readiness_that_has_ended_still_was_readiness():
    moves = [{"stay_id": "S0", "moved_on": "2025-01-01", "zone": "foster"}]
    ready = [{"stay_id": "S0", "what": "ready for a home", "from_date": "2025-01-11", "to_date": "2025-01-20"}]
    frame = stay.phases(records([{"days": 60, "end": "adopted"}], moves=moves, periods=ready)).to_frame()
    # ten days from the 11th to the 20th, both counted
    assert frame.set_index("phase")["animal_days"].to_dict() == {"foster": 50, "waiting for a home": 10}


def test_days_before_an_animal_became_a_resident_count_and_its_phase_is_cut_off_not_over():
    moves = [{"stay_id": f"S{i}", "moved_on": "2025-01-01", "zone": "quarantine"} for i in range(8)]
    kept = [{"stay_id": "S0", "what": "permanent resident", "from_date": "2025-01-06"}]
    rows = [{"days": 200, "end": None}, *[{"days": 40, "end": "adopted"}] * 7]
    frame = stay.phases(records(rows, moves=moves, periods=kept)).to_frame().set_index("phase")
    assert frame.loc["quarantine", "animal_days"] == 5 + 7 * 40
    assert frame.loc["quarantine", "still_in_it"] == 0
    assert frame.loc["quarantine", "median"] == 40


def test_the_days_of_the_phases_are_the_days_in_care(demo):
    from mendcurve.timelines.stays import stays

    frame = stays(demo)
    frame = frame[~frame["dead_on_arrival"]]
    far = demo.as_of + pd.Timedelta(days=1)
    out = frame["outcome_date"].mask(frame["end"] == "lost track of", frame["last_seen"]).fillna(far)
    out = out.where(frame["permanent_from"].isna() | (out <= frame["permanent_from"]), frame["permanent_from"])
    since = frame["intake_date"].clip(lower=pd.Series(demo.records_start, index=frame.index))
    days = ((out - since).dt.days.clip(lower=0) * frame["animals"]).sum()
    table = stay.phases(demo).to_frame()
    assert table.loc[~table["phase"].str.startswith("of these"), "animal_days"].sum() == days


def test_the_wait_for_the_vet_lies_within():
    seen = [{"episode_id": f"E{i}", "stay_id": f"S{i}", "condition": "burns", "found_on": "2025-01-01",
             "vet_seen_on": "2025-01-05"} for i in range(6)]  # fmt: skip
    frame = stay.phases(records([{"days": 60, "end": "adopted"}] * 6, conditions=seen)).to_frame().set_index("phase")
    row = frame.loc["of these, waiting for the vet"]
    assert (row["animal_days"], row["median"]) == (24, 4)
    assert frame.drop(index=row.name)["share"].sum() == pytest.approx(1)


def test_the_longest_stays_stand_beside_those_like_them():
    rows = [{"days": d, "end": "adopted"} for d in range(10, 110)] + [{"came": 200}, {"came": 355}]
    frame = stay.longest(records(rows)).to_frame()
    assert frame["stay_id"].tolist() == ["S100", "S101"]
    assert frame["days"].tolist() == [164, 9]
    assert frame["unusual"].tolist() == [True, False]
    assert frame["shorter"].iloc[1] == 0


def test_a_stay_that_ended_on_the_same_day_was_not_shorter():
    rows = [{"days": 10, "end": "adopted"}] * 5 + [{"days": 20, "end": "adopted"}] * 5 + [{"came": 344}, {"came": 353}]
    frame = stay.longest(records(rows)).to_frame()
    assert frame["days"].tolist() == [20, 11]
    assert frame["shorter"].tolist() == pytest.approx([5 / 11, 5 / 12], abs=0.06)


def test_an_animal_still_in_a_phase_is_followed_up_to_the_as_of_date():
    moves = [{"stay_id": f"S{i}", "moved_on": "2025-01-01", "zone": "quarantine"} for i in range(6)]
    moves += [{"stay_id": "S5", "moved_on": "2025-12-25", "zone": "quarantine"}]
    rows = [{"days": 364, "end": "adopted"}] * 5 + [{}]
    frame = stay.phases(records(rows, moves=moves)).to_frame().set_index("phase")
    # five left on day 364, the sixth was last seen there on that very day
    assert frame.loc["quarantine", "animal_days"] == 5 * 364 + 365
    assert frame.loc["quarantine", "still_in_it"] == 1
    assert frame.loc["quarantine", "median"] == 364


def test_an_open_phase_is_not_at_risk_on_the_day_after_the_as_of_date():
    rows = [{"days": 10, "end": "adopted"}] * 3 + [{"days": 50, "end": "adopted"}] * 2 + [{"came": 355}] * 3
    days = ["2025-01-01"] * 5 + ["2025-12-22"] * 3
    moves = [{"stay_id": f"S{i}", "moved_on": d, "zone": "quarantine"} for i, d in enumerate(days)]
    frame = stay.phases(records(rows, moves=moves)).to_frame().set_index("phase")
    # the three open ones were last seen on day 9: on day 10 three of five leave, not three of eight
    assert frame.loc["quarantine", "median"] == 10


def test_permanent_residents_are_not_among_the_longest():
    kept = [{"stay_id": "S0", "what": "permanent resident", "from_date": "2025-02-01"}]
    answer = stay.longest(records([{}], periods=kept))
    assert answer.to_frame().empty
    assert answer.residents == 1


def test_the_fate_of_a_set_of_stays():
    ends = ["adopted"] * 5 + ["died"] * 3 + ["missing"] * 2
    rows = [{"days": 3 if i % 2 else 20, "end": e} for i, e in enumerate(ends)]
    rows += [{"days": 1, "end": "died", "species": "axolotl"}] * 6
    table = records(rows)
    frame = stay.fate(table, (7, 30), "snake").to_frame().set_index(["day", "end"])["share"]
    assert frame.loc[30].to_dict() == pytest.approx({"live": 0.5, "died": 0.3, "missing": 0.2, "in care": 0.0})
    assert frame.loc[7].sum() == pytest.approx(1)
    again = stay.fate(table, (7, 30), lambda f: f["taxon"] == "snake", label="snake")
    pd.testing.assert_frame_equal(again.to_frame(), stay.fate(table, (7, 30), "snake").to_frame())


def test_left_not_recorded_how_is_followed_up_to_then():
    rows = [{"days": 5, "end": "not recorded"}] * 5 + [{"days": 10, "end": "adopted"}] * 5
    frame = stay.fate(records(rows), (10,)).to_frame().set_index("end")["share"]
    assert frame["live"] == pytest.approx(1)
    assert stay.fate(records(rows)).counts.set_index("end")["animals"].to_dict() == {"live": 5, "not recorded": 5}


def test_a_taxon_group_that_is_not_there_is_refused():
    with pytest.raises(InputError, match=r'taxon group "snakes"\. Did you mean "snake"'):
        stay.fate(records([{}]), where="snakes")


ALL = [stay.length, stay.phases, stay.longest, stay.fate]


@pytest.mark.parametrize("ask", ALL)
@pytest.mark.parametrize("table", [from_frames(as_of=AS_OF), records([{}]), records([{"days": 3, "end": "died"}])])
def test_little_or_nothing_is_answered_in_words(ask, table):
    html = ask(table)._repr_html_()
    assert "nan" not in html
    assert "inf" not in html


@pytest.mark.parametrize("ask", ALL)
def test_the_demo_is_answered(ask, demo):
    answer = ask(demo)
    assert len(answer.to_frame())
    assert "nan" not in answer._repr_html_()
