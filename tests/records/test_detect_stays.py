"""Planted errors between tables (PITFALLS 36): rows after death or the end, full zones, open stays."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.records.chronology import check_inside_stay, check_overlaps
from mendcurve.records.course_ends import check_doses
from mendcurve.records.crowding import check_zones
from mendcurve.records.patterns import check_forgotten
from records.planting import AS_OF, Planted, clean, measured, replaced, review_of, said

SEEDS = (1, 2)
DAY = np.timedelta64(1, "D")


def doses_of_the_dead(records, rng):
    """Doses dated 5 to 60 days after the animal died: up to 30 of those of animals that died."""
    doses = records["doses"]
    episode = doses["course_id"].map(records["courses"].set_index("course_id")["episode_id"])
    stay = episode.map(records["conditions"].set_index("episode_id")["stay_id"])
    died = records["outcomes"].query("outcome_type == 'died'").drop_duplicates("stay_id").set_index("stay_id")
    size = records["intakes"].set_index("stay_id")["group_size"]
    end = stay.map(died["outcome_date"]).where(stay.map(size) == 1)
    at = np.sort(rng.permutation(np.flatnonzero(end.notna()))[:30])
    new = end.to_numpy()[at] + rng.integers(5, 60, len(at)) * DAY
    rows = {int(r) for r in doses["source_row"].to_numpy()[at]}
    return Planted({"doses": replaced(doses, at, "given_at", new.astype("datetime64[s]"))}, "doses", rows, {})


def weighed_dead(records, rng):
    """Weighings dated 5 to 60 days after the animal died: 30."""
    frame = records["weighings"]
    died = records["outcomes"].query("outcome_type == 'died'").drop_duplicates("stay_id").set_index("stay_id")
    size = records["intakes"].set_index("stay_id")["group_size"]
    end = frame["stay_id"].map(died["outcome_date"]).where(frame["stay_id"].map(size) == 1)
    at = np.sort(rng.permutation(np.flatnonzero(end.notna()))[:30])
    new = end.to_numpy()[at] + rng.integers(5, 60, len(at)) * DAY
    rows = {int(r) for r in frame["source_row"].to_numpy()[at]}
    return Planted({"weighings": replaced(frame, at, "weighed_on", new.astype("datetime64[s]"))}, "weighings", rows, {})


def after_stop(records, rng):
    """Courses stopped five days before their last dose: 30 courses of six doses and more."""
    doses, courses = records["doses"], records["courses"]
    day = doses["given_at"].dt.floor("D")
    last = day.groupby(doses["course_id"]).max()
    n = doses.groupby("course_id").size()
    ids = rng.permutation(n.index[n >= 6].to_numpy(dtype=object))[:30]
    at = np.flatnonzero(courses["course_id"].isin(set(ids)))
    stop = courses["course_id"].map(last).to_numpy()[at] - 5 * DAY
    changed = replaced(courses, at, "stopped_at", stop.astype("datetime64[s]"))
    stopped = doses["course_id"].map(changed.iloc[at].set_index("course_id")["stopped_at"])
    rows = {int(r) for r in doses.loc[day > stopped, "source_row"]}
    return Planted({"courses": changed}, "doses", rows, {})


def beyond_plan(records, rng):
    """Two doses fewer planned than were given: 30 courses."""
    doses, courses = records["doses"], records["courses"]
    given = doses[doses["result"] == "given"].sort_values(["given_at", "source_row"])
    n = given.groupby("course_id").size()
    ids = rng.permutation(n.index[n >= 4].to_numpy(dtype=object))[:30]
    at = np.flatnonzero(courses["course_id"].isin(set(ids)))
    planned = courses["doses_planned"].astype("float64").to_numpy().copy()
    planned[at] = courses["course_id"].map(n).to_numpy()[at] - 2
    changed = courses.assign(doses_planned=pd.Series(planned, index=courses.index).astype("Int64"))
    mine = given[given["course_id"].isin(set(ids))]
    rows = {int(r) for r in mine.groupby("course_id").tail(2)["source_row"]}
    return Planted({"courses": changed}, "doses", rows, {})


def stays_and_doses(review):
    check_inside_stay(review, AS_OF)
    check_doses(review)


# Measured on both seeds: found 1.00, false flags 0, everywhere.
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("plant", [doses_of_the_dead, weighed_dead, after_stop, beyond_plan])
def test_planted_rows_after_the_end_are_found_and_others_left(seed, plant):
    got = measured(plant(clean(seed), np.random.default_rng(seed)), stays_and_doses, seed)
    print(plant.__name__, seed, {k: round(v, 3) for k, v in got.items()})
    assert got["planted"] >= 8
    assert got["found"] == 1
    assert got["false"] == 0


def test_a_dose_after_the_end_names_the_course_and_its_row():
    records = clean(1)
    planted = after_stop(records, np.random.default_rng(1))
    review = review_of(records, **planted.tables)
    check_doses(review)
    line = review.ledger.lines().iloc[0]
    course = records["doses"].set_index("source_row").loc[line["row"], "course_id"]
    row = records["courses"].set_index("course_id").loc[course, "source_row"]
    assert f"no later than the day {course} was stopped" in line["rule"]
    assert f"(courses, row {row})" in line["rule"]


# -- zones


def zone(moves: pd.DataFrame, places: int = 2, rooms: str | None = "Room 1"):
    """Records of five animals and one room, in place of the demo's."""
    records = clean(1)
    alone = records["intakes"].query("group_size == 1").head(5).reset_index(drop=True)
    came = pd.Timestamp("2026-03-01")
    stays = alone.assign(
        stay_id=pd.Series([f"S-{k}" for k in range(5)], dtype=alone["stay_id"].dtype),
        intake_date=pd.Series(came, index=alone.index).astype("datetime64[s]"),
        split_from=pd.Series(None, index=alone.index, dtype=alone["split_from"].dtype),
    )
    text = alone["stay_id"].dtype
    moved = pd.DataFrame(
        {
            "stay_id": moves["stay_id"].astype(text),
            "moved_on": pd.to_datetime(moves["moved_on"]).astype("datetime64[s]"),
            "zone": moves["zone"].astype(text),
            "room": pd.Series(rooms, index=moves.index, dtype=text),
            "place": pd.Series(None, index=moves.index, dtype=text),
            "animals": pd.array([pd.NA] * len(moves), dtype="Int64"),
            "source_sheet": "",
            "source_row": np.arange(2, 2 + len(moves)),
        }
    )
    housing = records["housing"].head(1).assign(zone="quarantine", places=places, source_row=2)
    housing = housing.assign(room=pd.Series([rooms], dtype=text), from_date=pd.Timestamp("2026-01-01"))
    housing = housing.astype({"from_date": "datetime64[s]", "places": "Int64"})
    out = records["outcomes"].head(0)
    return review_of(records, intakes=stays, moves=moved, housing=housing, outcomes=out)


def moves(*rows):
    return pd.DataFrame(rows, columns=["stay_id", "moved_on", "zone"])


FULL = moves(
    ("S-0", "2026-03-01", "quarantine"), ("S-1", "2026-03-04", "quarantine"), ("S-2", "2026-03-06", "quarantine")
)


def test_a_zone_over_its_places_is_noted_with_its_day_and_number():
    review = zone(pd.concat([FULL, moves(("S-0", "2026-03-09", "adoption"))], ignore_index=True))
    check_zones(review, AS_OF)
    line = review.ledger.lines().iloc[0]
    assert (line["table"], line["row"], line["effect"]) == ("housing", 2, "note")
    assert "quarantine, Room 1 had 3 in 2 places on 6 March 2026" in line["rule"]
    assert "on 3 days" in line["rule"]


@pytest.mark.parametrize("rooms", ["Room 1", None])
def test_a_zone_is_counted_with_or_without_rooms(rooms):
    review = zone(FULL, rooms=rooms)
    check_zones(review, AS_OF)
    assert len(review.ledger.lines()) == 1
    enough = zone(FULL, places=3, rooms=rooms)
    check_zones(enough, AS_OF)
    assert not len(enough.ledger.lines())


def test_leaving_and_coming_on_one_day_take_one_place():
    review = zone(pd.concat([FULL, moves(("S-0", "2026-03-06", "adoption"))], ignore_index=True))
    check_zones(review, AS_OF)
    assert not len(review.ledger.lines())


def test_three_times_its_places_is_doubtful():
    review = zone(FULL, places=1)
    check_zones(review, AS_OF)
    assert review.ledger.lines()["effect"].tolist() == ["kept, doubtful"]


# -- stays of one animal, and stays nobody ended


def test_a_row_in_another_stay_of_its_animal_says_so():
    records = clean(1)
    frame = records["intakes"]
    twice = frame[frame["animal_id"].duplicated(keep=False) & frame["animal_id"].notna()].sort_values(
        ["animal_id", "intake_date"]
    )
    end = records["outcomes"].drop_duplicates("stay_id").set_index("stay_id")["outcome_date"]
    one, two = twice.iloc[0], twice.iloc[1]
    assert one["animal_id"] == two["animal_id"] and end[one["stay_id"]] < two["intake_date"]
    weighings = records["weighings"]
    at = np.flatnonzero(weighings["stay_id"] == one["stay_id"])[:1]
    review = review_of(records, weighings=replaced(weighings, at, "weighed_on", np.datetime64(two["intake_date"], "s")))
    check_inside_stay(review, AS_OF)
    line = review.ledger.lines().iloc[0]
    assert line["likely"] == f"it belongs to {two['stay_id']} (intakes, row {two['source_row']})"
    assert f"{said(end[one['stay_id']])}" in line["rule"] and "outcomes, row" in line["rule"]


def test_two_stays_at_once_say_what_probably_happened():
    records = clean(1)
    frame = records["intakes"]
    twice = frame[frame["animal_id"].duplicated(keep=False) & frame["animal_id"].notna()].sort_values(
        ["animal_id", "intake_date"]
    )
    pair = twice.iloc[:2].reset_index(drop=True)
    review = review_of(records, intakes=pair, outcomes=records["outcomes"].head(0))
    check_overlaps(review)
    line = review.ledger.lines().iloc[0]
    assert line["likely"] == "the outcome of the earlier stay was not written down"
    same = pair.assign(intake_date=pair["intake_date"].iloc[0])
    review = review_of(records, intakes=same, outcomes=records["outcomes"].head(0))
    check_overlaps(review)
    assert review.ledger.lines()["likely"].iloc[0] == "one stay written twice, or two animals with one animal_id"


def test_a_stay_is_not_lost_track_of_where_stays_last_for_years_and_nothing_is_written_between():
    records = clean(1)
    n = 60
    came = pd.Timestamp("2015-01-01") + pd.to_timedelta(np.arange(n) * 30, unit="D")
    stays = records["intakes"].head(n).assign(intake_date=pd.Series(came).astype("datetime64[s]"))
    stays = stays.assign(split_from=pd.Series(None, index=stays.index, dtype=stays["split_from"].dtype), group_size=1)
    out = (
        records["outcomes"]
        .head(n - 10)
        .assign(
            stay_id=stays["stay_id"].head(n - 10),
            outcome_date=pd.Series(came[: n - 10] + pd.Timedelta(days=900)).astype("datetime64[s]"),
            animals=pd.array([pd.NA] * (n - 10), dtype="Int64"),
        )
    )
    none = {name: records[name].head(0) for name in ("weighings", "moves", "checks", "doses", "conditions", "periods")}
    as_of = pd.Timestamp("2021-01-01")
    review = review_of(records, intakes=stays, outcomes=out, **none)
    check_forgotten(review, as_of)
    assert not len(review.ledger.lines())
    short = out.assign(outcome_date=(stays["intake_date"].head(n - 10) + pd.Timedelta(days=40)).astype("datetime64[s]"))
    review = review_of(records, intakes=stays, outcomes=short, **none)
    check_forgotten(review, as_of)
    lines = review.ledger.lines()
    assert len(lines) == int((as_of - stays["intake_date"].tail(10)).dt.days.gt(365).sum()) > 0
    assert set(lines["likely"]) == {"its outcome was not written down"}
