"""Other origins: what is at risk from when, what never got there, and the same answer counted from each."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import recovery
from mendcurve.records import from_frames
from mendcurve.timelines.clocks import CLOCKS, on_clock
from mendcurve.timelines.episodes import episodes

START = pd.Timestamp("2025-01-01")


def on(day):
    return None if day is None else START + pd.Timedelta(days=day)


def records(rows, *, settings=None, start="2024-01-01"):
    """Build episodes of (day found, day vet seen, day of first dose, day cleared), all of stays begun on day 0."""
    n = range(len(rows))
    tables = {
        "intakes": pd.DataFrame({"stay_id": [f"S{i}" for i in n], "animal_id": [f"A{i}" for i in n],
                                 "species": "corn snake", "intake_date": START, "intake_type": "stray"}),
        "conditions": pd.DataFrame({
            "episode_id": [f"E{i}" for i in n], "stay_id": [f"S{i}" for i in n], "condition": "burns",
            "found_on": [on(r[0]) for r in rows], "vet_seen_on": [on(r[1]) for r in rows],
            "ended_on": [on(r[3]) for r in rows], "ended_as": ["cleared" if r[3] is not None else None for r in rows]}),
        "courses": pd.DataFrame({"course_id": [f"C{i}" for i in n if rows[i][2] is not None],
                                 "episode_id": [f"E{i}" for i in n if rows[i][2] is not None], "interval_hours": 24,
                                 "first_dose_at": [on(r[2]) for r in rows if r[2] is not None]}),
        "doses": pd.DataFrame({"course_id": [f"C{i}" for i in n if rows[i][2] is not None],
                               "given_at": [on(r[2]) for r in rows if r[2] is not None], "result": "given"}),
    }  # fmt: skip
    return from_frames(as_of="2025-04-30", records_start=start, settings=settings, **tables)


@pytest.mark.parametrize(
    ("clock", "expected"),
    [
        ("found", (-1, 20, True)),
        ("vet seen", (-1, 17, True)),
        ("first dose", (-1, 15, True)),
        ("intake", (9, 30, True)),
    ],
)
def test_days_are_counted_from_the_clock(clock, expected):
    given = records([(10, 13, 15, 30)])
    row = on_clock(given, episodes(given), clock).iloc[0]
    assert (row["entry"], row["exit"], row["used"]) == expected


def test_what_never_reached_the_clock_is_left_out_and_counted():
    given = records([(0, 5, None, 20), (0, None, None, 30), (0, 40, None, 30), (0, None, 8, None)])
    frame = on_clock(given, episodes(given), "vet seen")
    assert frame["reached"].tolist() == [True, False, False, False]
    answer = recovery.by_condition(given, clock="vet seen")
    assert any("3 animals whose episode ended, or is still open, without the day the vet saw it" in n
               for n in answer.notes())  # fmt: skip
    assert answer.to_frame()["animals"].sum() == 1


def test_records_that_start_late_delay_the_entry_on_every_clock():
    given = records([(0, 5, None, 60)], start="2025-01-31")
    frame = on_clock(given, episodes(given), "vet seen")
    assert frame[["entry", "exit"]].iloc[0].tolist() == [30 - 5 - 1, 55]


def test_the_rescue_chooses_once_and_the_words_follow():
    rows = [(5, 6 + i, None, 25 + i) for i in range(8)]
    found = recovery.by_condition(records(rows)).to_frame().iloc[0]
    answer = recovery.by_condition(records(rows, settings={"recovery.clock": "intake"}))
    row = answer.to_frame().iloc[0]
    assert row["median"] == found["median"] + 5
    assert answer.to_frame().attrs["units"]["median"] == "days since intake"
    assert "since intake" in answer.notes()[0]


def test_a_clock_nobody_knows_is_refused():
    with pytest.raises(InputError, match='not from "intakes"'):
        recovery.by_condition(records([(0, 1, 2, 3)]), clock="intakes")


def test_every_clock_of_the_demo(demo):
    answer = recovery.clocks(demo)
    frame = answer.to_frame()
    assert set(frame["clock"]) == set(CLOCKS)
    wide = frame.pivot(index="condition", columns="clock", values="median").dropna()
    assert (wide["vet seen"] <= wide["found"]).all()
    assert (wide["found"] <= wide["intake"]).all()
    plain = recovery.by_condition(demo).to_frame().query("cohort == 'all records'").set_index("condition")["median"]
    own = frame[frame["clock"] == "found"].set_index("condition")["median"]
    pd.testing.assert_series_equal(own, plain.reindex(own.index), check_names=False)
