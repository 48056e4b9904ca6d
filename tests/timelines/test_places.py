"""Zone spells: as moved, by rule where moves are not recorded, groups, splits, and what ends a spell."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.methods.occupancy import census
from mendcurve.records import from_frames
from mendcurve.timelines.places import COLUMNS, places_on, spells, zone_order

AS_OF = "2025-12-31"
SETTINGS = {"zones.quarantine_days": {"snake": 60}, "dates.lost_after_days": 9999}


def rescue(as_of: str = AS_OF, settings=SETTINGS, **tables):
    frames = {name: pd.DataFrame(rows) for name, rows in tables.items()}
    return from_frames(as_of=as_of, records_start="2025-01-01", settings=settings, **frames)


def stay(stay_id: str = "S1", on: str = "2025-03-01", species: str = "bearded dragon", **more):
    return {"stay_id": stay_id, "species": species, "intake_date": on, "intake_type": "stray", **more}


def move(on: str, zone: str, stay_id: str = "S1", **more):
    return {"stay_id": stay_id, "moved_on": on, "zone": zone, **more}


def left(on: str, how: str = "adopted", stay_id: str = "S1", **more):
    return {"stay_id": stay_id, "outcome_date": on, "outcome_type": how, **more}


def ill(found: str, ended: str | None, stay_id: str = "S1"):
    return {"episode_id": f"E{found}", "stay_id": stay_id, "condition": "mites", "found_on": found, "ended_on": ended}


def told(frame: pd.DataFrame) -> list[tuple[str, str, str, str]]:
    day = frame["from_date"].dt.strftime("%m-%d"), frame["to_date"].dt.strftime("%m-%d").fillna("")
    return list(zip(frame["zone"], *day, frame["next"], strict=True))


def test_moves_are_spells_that_end_where_the_next_begins():
    records = rescue(
        intakes=[stay()],
        outcomes=[left("2025-06-01")],
        moves=[move("2025-03-01", "quarantine"), move("2025-04-10", "treatment"), move("2025-05-02", "adoption")],
    )
    frame = spells(records)
    assert told(frame) == [
        ("quarantine", "03-01", "04-10", "treatment"),
        ("treatment", "04-10", "05-02", "adoption"),
        ("adoption", "05-02", "06-01", "live"),
    ]
    assert not frame["assumed"].any() and list(frame.columns) == list(COLUMNS)


def test_of_two_moves_on_a_day_the_last_counts_and_moving_to_the_same_zone_is_no_move():
    records = rescue(
        intakes=[stay()],
        moves=[
            move("2025-03-01", "adoption"),
            move("2025-03-01", "quarantine"),
            move("2025-03-20", "quarantine"),
            move("2025-04-01", "adoption"),
        ],
    )
    assert told(spells(records)) == [("quarantine", "03-01", "04-01", "adoption"), ("adoption", "04-01", "", "in care")]


def test_a_move_on_the_day_of_leaving_has_no_day_in_its_zone():
    records = rescue(
        intakes=[stay()],
        outcomes=[left("2025-04-01")],
        moves=[move("2025-03-01", "quarantine"), move("2025-04-01", "adoption")],
    )
    assert told(spells(records)) == [("quarantine", "03-01", "04-01", "live")]


def test_a_stay_of_one_day_is_kept_and_is_in_no_census():
    frame = spells(
        rescue(intakes=[stay()], outcomes=[left("2025-03-01", "died")], moves=[move("2025-03-01", "quarantine")])
    )
    assert told(frame) == [("quarantine", "03-01", "03-01", "died")]


def test_before_the_first_move_the_animal_is_assumed_in_quarantine():
    frame = spells(rescue(intakes=[stay()], moves=[move("2025-03-05", "adoption")]))
    assert told(frame) == [("quarantine", "03-01", "03-05", "adoption"), ("adoption", "03-05", "", "in care")]
    assert frame["assumed"].tolist() == [True, False]


RULES = [
    ("bearded dragon", [], [("quarantine", "03-01", "03-31", "adoption"), ("adoption", "03-31", "", "in care")]),
    ("corn snake", [], [("quarantine", "03-01", "04-30", "adoption"), ("adoption", "04-30", "", "in care")]),
    (
        "bearded dragon",
        [ill("2025-03-02", "2025-03-20")],
        [("quarantine", "03-01", "03-31", "adoption"), ("adoption", "03-31", "", "in care")],
    ),
    (
        "bearded dragon",
        [ill("2025-03-02", "2025-05-05"), ill("2025-03-03", "2025-04-01")],
        [
            ("quarantine", "03-01", "03-31", "treatment"),
            ("treatment", "03-31", "05-05", "adoption"),
            ("adoption", "05-05", "", "in care"),
        ],
    ),
    (
        "bearded dragon",
        [ill("2025-03-02", None)],
        [("quarantine", "03-01", "03-31", "treatment"), ("treatment", "03-31", "", "in care")],
    ),
]


@pytest.mark.parametrize(("species", "conditions", "says"), RULES)
def test_without_moves_the_rules_say_the_zone(species, conditions, says):
    housing = [{"zone": "quarantine", "from_date": "2025-01-01", "places": 5}]
    more = {"conditions": conditions} if conditions else {}
    frame = spells(rescue(intakes=[stay(species=species)], housing=housing, **more))
    assert told(frame) == says and frame["assumed"].all()


def test_a_stay_that_ends_in_quarantine_goes_nowhere_else():
    frame = spells(
        rescue(intakes=[stay()], outcomes=[left("2025-03-10", "died")], conditions=[ill("2025-03-01", None)])
    )
    assert told(frame) == [("quarantine", "03-01", "03-10", "died")]


@pytest.mark.parametrize("more", [{}, {"conditions": [ill("2025-03-01", None)]}])
def test_where_no_zone_is_recorded_and_no_rule_stated_everything_is_one_zone(more):
    no_rule = {"dates.lost_after_days": 9999}
    frame = spells(
        rescue(settings=no_rule, intakes=[stay(), stay("S2")], outcomes=[left("2025-03-09")], **more)
    )
    assert told(frame) == [("in care", "03-01", "03-09", "live"), ("in care", "03-01", "", "in care")]
    assert not frame["assumed"].any()


def test_a_group_that_shares_a_place_takes_one_and_leaves_in_parts():
    records = rescue(
        intakes=[stay(group_size=30)],
        outcomes=[left("2025-04-01", "died", animals=10)],
        moves=[move("2025-03-01", "quarantine", place="tank 4")],
    )
    frame = spells(records)
    assert frame["animals"].tolist() == [10, 20] and frame["places"].tolist() == [0, 1]
    loose = spells(rescue(intakes=[stay(group_size=30)], moves=[move("2025-03-01", "quarantine")]))
    assert loose["places"].tolist() == [30]


def test_a_stay_split_from_a_group_goes_on_in_the_groups_zone():
    records = rescue(
        intakes=[stay(group_size=3), stay("S2", "2025-05-01", split_from="S1")],
        moves=[move("2025-03-01", "quarantine"), move("2025-04-01", "adoption")],
    )
    frame = spells(records)
    own = frame[frame["stay_id"] == "S2"]
    assert own["zone"].tolist() == ["adoption"] and own["from_date"].dt.strftime("%m-%d").tolist() == ["05-01"]
    assert frame.loc[frame["to_date"].isna(), "animals"].sum() == 3
    assert "split off" in frame["next"].tolist()


def test_what_is_after_the_as_of_date_is_unknown_and_the_dead_on_arrival_take_no_place():
    records = rescue(
        "2025-04-01",
        intakes=[stay(), stay("S2", dead_on_arrival=True)],
        outcomes=[left("2025-06-01")],
        moves=[move("2025-03-01", "quarantine"), move("2025-04-10", "treatment")],
    )
    assert told(spells(records)) == [("quarantine", "03-01", "", "in care")]


def test_places_of_a_zone_are_the_sum_of_its_latest_rows():
    rows = [
        ("quarantine", "arid", 5, "2025-01-01"),
        ("quarantine", "arid", 7, "2025-06-01"),
        ("quarantine", "wet", 2, "2025-01-01"),
        ("foster", None, None, "2025-01-01"),
    ]
    housing = [dict(zip(("zone", "housing_kind", "places", "from_date"), row, strict=True)) for row in rows]
    records = rescue(intakes=[stay()], housing=housing)
    for day, places in (("2025-05-31", 7), ("2025-06-01", 9)):
        found = places_on(records, pd.Timestamp(day))
        assert found["quarantine"] == places and pd.isna(found["foster"])
    assert zone_order(records, pd.Series(["pond", "adoption", "quarantine"])) == ("quarantine", "adoption", "pond")


def test_an_empty_rescue_has_no_spell():
    frame = spells(rescue(intakes=[stay()], as_of="2025-01-31"))
    assert frame.empty and list(frame.columns) == list(COLUMNS)


@pytest.mark.parametrize("seed", range(8))
def test_spells_of_all_zones_are_the_days_in_care(seed):
    """Second implementation: with any moves at all, the zones' census sums to the census of the stays."""
    rng = np.random.default_rng(seed)
    day = pd.Timestamp("2025-01-01")
    intakes, outcomes, moves = [], [], []
    for i in range(30):
        start = int(rng.integers(0, 200))
        intakes.append(stay(f"S{i}", str((day + pd.Timedelta(days=start)).date()), group_size=int(rng.integers(1, 4))))
        length = int(rng.integers(0, 120))
        if rng.random() < 0.7:
            outcomes.append(left(str((day + pd.Timedelta(days=start + length)).date()), stay_id=f"S{i}"))
        for at in rng.integers(-2, 130, rng.integers(0, 5)):
            when = str((day + pd.Timedelta(days=start + int(at))).date())
            moves.append(move(when, str(rng.choice(["quarantine", "treatment", "adoption"])), f"S{i}"))
    frame = spells(rescue(intakes=intakes, outcomes=outcomes, moves=moves))
    end = {o["stay_id"]: o["outcome_date"] for o in outcomes}
    since = [(pd.Timestamp(i["intake_date"]) - day).days for i in intakes]
    until = [(pd.Timestamp(end[i["stay_id"]]) - day).days if i["stay_id"] in end else np.nan for i in intakes]
    whole = census(since, until, 365, weight=[i["group_size"] for i in intakes])
    start, stop = ((frame[c] - day) / pd.Timedelta(days=1) for c in ("from_date", "to_date"))
    assert census(start, stop, 365, weight=frame["animals"]) == pytest.approx(whole)
    follows = frame.sort_values(["stay_id", "part", "from_date"]).groupby(["stay_id", "part"])
    assert (
        follows["from_date"].shift(-1).dropna()
        == frame["to_date"].reindex(follows["from_date"].shift(-1).dropna().index)
    ).all()


def test_a_stay_lost_track_of_ends_at_its_last_record():
    intakes = [stay("S1", "2024-01-01"), *[stay(f"T{i}", "2025-01-01") for i in range(25)]]
    outcomes = [left("2025-01-15", stay_id=f"T{i}") for i in range(25)]
    frame = spells(
        from_frames(
            as_of=AS_OF,
            records_start="2024-01-01",
            intakes=pd.DataFrame(intakes),
            outcomes=pd.DataFrame(outcomes),
            moves=pd.DataFrame([move("2024-02-01", "adoption")]),
        )
    )
    lost = frame[frame["stay_id"] == "S1"]
    assert lost["next"].tolist() == ["lost track of"] and lost["to_date"].notna().all()
