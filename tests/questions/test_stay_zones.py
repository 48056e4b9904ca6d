"""Days in each zone: by hand and by a plain count where nobody is cut off; late entries, residents, groups, words."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.questions import stay
from mendcurve.records import from_frames
from mendcurve.timelines.places import spells
from mendcurve.timelines.stays import stays

AS_OF = "2025-12-31"
START = pd.Timestamp("2025-01-01")


def records(rows, *, start="2025-01-01", settings=None, **tables):
    """Build records of stays: dicts of came (day of 2025), moves (day since intake, zone), days, end, group, animal."""
    intakes, out, moves = [], [], []
    for i, row in enumerate(rows):
        on = START + pd.Timedelta(days=row.get("came", 0))
        intakes.append({"stay_id": f"S{i}", "species": "corn snake", "intake_type": "stray", "intake_date": on,
                        "group_size": row.get("group", 1), "animal_id": row.get("animal")})  # fmt: skip
        for after, zone in row.get("moves", [(0, "quarantine")]):
            moves.append({"stay_id": f"S{i}", "moved_on": on + pd.Timedelta(days=after), "zone": zone})
        if row.get("end"):
            last = on + pd.Timedelta(days=row["days"])
            out.append({"stay_id": f"S{i}", "outcome_date": last, "outcome_type": row["end"]})
    given = {"intakes": intakes, "outcomes": out, "moves": moves, **tables}
    frames = {name: pd.DataFrame(some) for name, some in given.items() if len(some)}
    return from_frames(as_of=AS_OF, records_start=start, settings=settings, **frames)


def through(days, *, first=30, **more):
    return {"moves": [(0, "quarantine"), (first, "treatment")], "days": days, "end": "adopted", **more}


def days_in(answer):
    return answer.to_frame().set_index("zone")["days"].to_dict()


def share(answer, on):
    table = answer.by_day()
    return table[table["day"] == on].set_index("zone")["share"].to_dict()


def test_days_by_hand_where_all_are_followed_to_the_end():
    answer = stay.zones(records([through(60), through(60), through(90), through(100, first=50), through(300)]))
    # quarantine 30, 30, 30, 30, 50; treatment 30, 30, 60, 50, 150 of 270 (the horizon is day 180)
    assert days_in(answer) == pytest.approx({"quarantine": 34, "treatment": 64, "left care": 82})
    assert share(answer, 29) == pytest.approx({"quarantine": 1, "treatment": 0, "left care": 0})
    assert share(answer, 30) == pytest.approx({"quarantine": 0.2, "treatment": 0.8, "left care": 0})
    assert share(answer, 90) == pytest.approx({"quarantine": 0, "treatment": 0.4, "left care": 0.6})
    assert answer.horizon == 180
    # what comes after the last day told does not count on it
    assert share(answer, 180) == pytest.approx({"quarantine": 0, "treatment": 0.2, "left care": 0.8})
    assert "34 in quarantine (95 % interval between" in answer.sentence()
    assert answer.sentence().startswith("Of 5 animals in care up to 31 December 2025, the first 180 days after intake")


def plain(table, days):
    """Count by census, without a method: days in each zone of each animal, and who is where at the end of a day."""
    rows = spells(table).merge(stays(table)[["stay_id", "part", "clock_start"]], on=["stay_id", "part"])
    since = (rows["from_date"] - rows["clock_start"]).dt.days.to_numpy()
    upto = (rows["to_date"] - rows["clock_start"]).dt.days.to_numpy()
    there = (since[:, None] <= np.arange(days)) & (np.arange(days) < upto[:, None])
    by_zone = pd.DataFrame(there * rows["animals"].to_numpy()[:, None]).groupby(rows["zone"]).sum()
    return by_zone / stays(table)["animals"].sum()


@pytest.mark.parametrize("seed", range(4))
def test_equals_a_plain_count_where_nobody_is_cut_off(seed):
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(60):
        days = int(rng.integers(0, 170))
        at = np.sort(rng.choice(np.arange(1, 200), 3, replace=False))
        zones = rng.permutation(["treatment", "adoption", "foster"])
        moves = [(0, "quarantine"), *((int(d), str(z)) for d, z in zip(at, zones, strict=True) if d <= days)]
        rows.append({"came": int(rng.integers(0, 150)), "days": days, "moves": moves, "end": "adopted",
                     "group": int(rng.choice([1, 1, 1, 5]))})  # fmt: skip
    table = records(rows)
    answer = stay.zones(table)
    count = plain(table, 181)
    zones = count.index.tolist()
    assert days_in(answer) == pytest.approx(
        {**count.loc[:, :179].sum(axis=1), "left care": 180 - count.loc[:, :179].sum().sum()}
    )
    shares = answer.by_day().pivot(index="zone", columns="day", values="share").loc[zones]
    np.testing.assert_allclose(shares.to_numpy(), count.to_numpy(), atol=1e-9)


def test_days_and_shares_add_up_and_limits_hold_them(demo):
    answer = stay.zones(demo)
    frame = answer.to_frame()
    assert frame["days"].sum() == pytest.approx(answer.horizon)
    assert (frame["days_low"] <= frame["days"]).all() and (frame["days"] <= frame["days_high"]).all()
    shares = answer.by_day()
    np.testing.assert_allclose(shares.groupby("day")["share"].sum(), 1)
    assert (shares["low"] <= shares["share"] + 1e-12).all() and (shares["share"] <= shares["high"] + 1e-12).all()
    # days are the shares at the end of each day added up
    added = shares[shares["day"] < answer.horizon].groupby("zone")["share"].sum()
    assert frame.set_index("zone")["days"].to_dict() == pytest.approx(added.to_dict())


def test_those_still_here_count_for_as_long_as_they_are_followed():
    # 40 days in quarantine each; half are cut off on day 20, and must not pull the mean down
    gone = [{"days": 40, "end": "adopted"}] * 10
    here = [{"came": 344}] * 10
    answer = stay.zones(records(gone + here))
    assert days_in(answer)["quarantine"] == pytest.approx(40)


def test_a_move_on_the_as_of_date_counts():
    # five are moved on day 10, which is the as-of date for them; the share there on day 10 is theirs
    rows = [{"came": 354, "moves": [(0, "quarantine"), (10, "treatment")]}] * 5
    rows += [{"days": 10, "end": "adopted"}] * 5
    answer = stay.zones(records(rows))
    assert answer.horizon == 10
    assert share(answer, 10) == pytest.approx({"quarantine": 0, "treatment": 0.5, "left care": 0.5})


def test_late_entries_are_at_risk_from_the_records_start_in_the_zone_they_were_then_in():
    # came 40 days before the start; moved on day 10, before anybody looked, and stay until day 100
    late = [{"came": -40, "moves": [(0, "quarantine"), (10, "treatment")], "days": 100, "end": "adopted"}] * 10
    fresh = [{"moves": [(0, "quarantine"), (30, "treatment")], "days": 50, "end": "adopted"}] * 10
    answer = stay.zones(records(late + fresh))
    # until day 40 only the fresh are seen; on day 50 ten of twenty leave treatment; the late ones on day 100
    assert days_in(answer) == pytest.approx({"quarantine": 30, "treatment": 20 + 25, "left care": 105})
    assert answer.to_frame().set_index("zone").loc["quarantine", "animals"] == 10


def test_only_late_entries_are_no_answer():
    answer = stay.zones(records([{"came": -40, "days": 100, "end": "adopted"}] * 10))
    assert not answer.enough
    assert "too few seen from their intake" in answer.sentence()


def test_residents_from_the_first_day_are_left_out_and_later_ones_leave_that_day():
    kept = [{"stay_id": "S0", "what": "permanent resident", "from_date": "2025-01-01"},
            {"stay_id": "S1", "what": "permanent resident", "from_date": "2025-01-21"}]  # fmt: skip
    answer = stay.zones(records([{}, {}] + [{"days": 40, "end": "adopted"}] * 9, periods=kept))
    assert (answer.residents, answer.animals) == (1, 10)
    assert days_in(answer) == pytest.approx({"quarantine": 38, "kept for life": 16, "left care": 126})
    assert "1 animal kept for life from the first day was left out." in answer.notes()


def test_a_resident_declared_late_and_moved_that_day_is_kept_and_cuts_nothing_off():
    kept = [{"stay_id": "S0", "what": "permanent resident", "from_date": "2025-04-11"}]
    first = {"moves": [(0, "quarantine"), (100, "residents")]}
    answer = stay.zones(records([first] + [{"days": 40, "end": "adopted"}] * 9, periods=kept))
    assert answer.horizon == 180
    assert days_in(answer) == pytest.approx({"quarantine": 46, "kept for life": 8, "left care": 126})


def test_a_group_counts_by_its_animals_and_is_one_of_its_own():
    rows = [{"days": 20, "end": "adopted"}] * 10
    alone = stay.zones(records([*rows, {"days": 100, "end": "adopted"}]))
    group = stay.zones(records([*rows, {"days": 100, "end": "adopted", "group": 30}]))
    assert (group.animals, group.clusters) == (40, 11)
    assert days_in(group)["quarantine"] == pytest.approx(80)
    width = {a: a.to_frame().set_index("zone").loc["quarantine", ["days_low", "days_high"]].diff().iloc[1]
             for a in (alone, group)}  # fmt: skip
    assert width[group] > 1.5 * width[alone]


def test_two_stays_of_one_animal_are_one():
    rows = [{"days": 20 + 10 * i, "end": "adopted"} for i in range(8)]
    again = [{**row, "came": 150, "animal": f"A{i}"} for i, row in enumerate(rows)]
    once = stay.zones(records([{**row, "animal": f"A{i}"} for i, row in enumerate(rows)]))
    twice = stay.zones(records([{**row, "animal": f"A{i}"} for i, row in enumerate(rows)] + again))
    pd.testing.assert_frame_equal(
        once.to_frame()[["days", "days_low", "days_high"]], twice.to_frame()[["days", "days_low", "days_high"]]
    )


def test_zones_by_rule_are_said_to_be():
    rows = [{"days": 60, "end": "adopted", "moves": []}] * 8
    by_rule = stay.zones(records(rows, settings={"zones.default_quarantine_days": 31}))
    assert by_rule.recorded
    assert by_rule.to_frame()["assumed_days"].sum() == 8 * 60
    assert any("480 are placed in a zone by the rescue's rules" in note for note in by_rule.notes())
    late = [{"came": -20, "days": 60, "end": "adopted", "moves": []}]
    seen = stay.zones(records(rows + late, settings={"zones.default_quarantine_days": 31}))
    assert seen.to_frame()["assumed_days"].sum() == 8 * 60 + 40  # of the late one, only from the records' start
    moved = stay.zones(records([through(60)] * 8))
    assert not any("rules" in note for note in moved.notes())


def test_without_zones_nothing_is_told():
    answer = stay.zones(records([{"days": 60, "end": "adopted", "moves": []}] * 8))
    assert not answer.recorded
    assert answer.to_frame().empty
    assert answer.sentence().startswith("Which zone animals were in is not recorded")


def test_the_last_day_told_is_said():
    rows = [{"came": 300}] * 10 + [through(10, first=5, came=300)]
    answer = stay.zones(records(rows))
    assert answer.horizon == 64
    assert "Told up to day 64: later on too few animals are followed." in answer.notes()


def test_animals_split_from_a_group_go_on_and_are_counted_once():
    more = pd.DataFrame([{"stay_id": "T", "species": "corn snake", "intake_type": "stray", "group_size": 2,
                          "intake_date": pd.Timestamp("2025-01-11"), "split_from": "S8"}])  # fmt: skip
    base = pd.DataFrame([{"stay_id": f"S{i}", "species": "corn snake", "intake_type": "stray", "intake_date": START,
                          "group_size": 6 if i == 8 else 1} for i in range(9)])  # fmt: skip
    outs = [{"stay_id": f"S{i}", "outcome_date": START + pd.Timedelta(days=40), "outcome_type": "adopted",
             "animals": 4 if i == 8 else 1} for i in range(9)]  # fmt: skip
    outs.append({"stay_id": "T", "outcome_date": START + pd.Timedelta(days=110), "outcome_type": "adopted",
                 "animals": 2})  # fmt: skip
    moves = [{"stay_id": s, "moved_on": START, "zone": "quarantine"} for s in base["stay_id"]]
    moves.append({"stay_id": "T", "moved_on": pd.Timestamp("2025-01-11"), "zone": "quarantine"})
    split = from_frames(as_of=AS_OF, records_start="2025-01-01", intakes=pd.concat([base, more]),
                        outcomes=pd.DataFrame(outs), moves=pd.DataFrame(moves))  # fmt: skip
    answer = stay.zones(split)
    assert (answer.animals, answer.clusters) == (14, 9)
    # twelve animals 40 days, two 110 on the clock of the group
    assert days_in(answer)["quarantine"] == pytest.approx((12 * 40 + 2 * 110) / 14)
    assert answer.to_frame().set_index("zone").loc["quarantine", "animals"] == 14


@pytest.mark.parametrize("table", [from_frames(as_of=AS_OF), records([{}]), records([{"days": 3, "end": "died"}])])
def test_little_or_nothing_is_answered_in_words(table):
    html = stay.zones(table)._repr_html_()
    assert "nan" not in html and "inf" not in html


def test_the_demo_says_its_numbers(demo):
    answer = stay.zones(demo)
    row = answer.to_frame().set_index("zone").loc["quarantine"]
    assert f"{row['days']:.0f} in quarantine (95 % interval between {row['days_low']:.0f}" in answer.sentence()
    assert "nan" not in answer._repr_html_()
