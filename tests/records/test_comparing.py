"""Two snapshots of one register: what the newer says otherwise, and what is ordinary news."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records import from_frames, load
from mendcurve.records.comparing import (
    ASIDE,
    BACKDATED,
    CHANGED,
    COLUMNS,
    GONE,
    KINDS,
    NEWS,
    REOPENED,
    REUSED,
    compare,
)

INTAKES = pd.DataFrame(
    {
        "stay_id": [f"S-{i}" for i in range(1, 7)],
        "animal_id": [f"A-{i}" for i in range(1, 7)],
        "species": "corn snake",
        "intake_date": [f"2026-01-0{i}" for i in range(1, 7)],
        "intake_type": "stray",
    }
)
OUTCOMES = pd.DataFrame(
    {"stay_id": ["S-1", "S-2"], "outcome_date": ["2026-02-01", "2026-02-02"], "outcome_type": ["adopted", "died"]}
)
WEIGHINGS = pd.DataFrame(
    {"stay_id": ["S-1", "S-1", "S-3", "S-3"], "weighed_on": ["2026-01-05", "2026-01-05", "2026-01-09", "2026-02-20"],
     "weight": [100.0, 100.0, 50.0, 51.0]}
)  # fmt: skip


def snapshot(as_of="2026-03-01", **changed):
    tables = {"intakes": INTAKES, "outcomes": OUTCOMES, "weighings": WEIGHINGS, **changed}
    return from_frames(as_of=as_of, records_start="2026-01-01", **tables)


def kinds(new, old=None):
    frame = compare(new, old or snapshot()).frame
    return frame[["kind", "table", "record", "column", "older", "newer"]].to_numpy().tolist()


def with_cell(frame, row, column, value):
    return frame.assign(**{column: [value if i == row else v for i, v in enumerate(frame[column])]})


def test_the_same_records_differ_in_nothing():
    difference = compare(snapshot(), snapshot())
    assert difference.frame.empty
    assert list(difference.frame.columns) == list(COLUMNS)


def test_what_happened_since_is_news_and_no_difference():
    more = pd.concat([WEIGHINGS, pd.DataFrame({"stay_id": ["S-4"], "weighed_on": ["2026-03-20"], "weight": [9.0]})])
    left = pd.concat(
        [OUTCOMES, pd.DataFrame({"stay_id": ["S-3"], "outcome_date": ["2026-04-01"], "outcome_type": ["adopted"]})]
    )
    difference = compare(snapshot("2026-05-01", weighings=more, outcomes=left), snapshot())
    assert difference.frame.empty
    # The older records speak of nothing after 20 February, whatever their as-of date says.
    assert difference.until == pd.Timestamp("2026-02-20")
    assert difference.news == {"outcomes": 1, "weighings": 1}


def test_rows_of_the_last_day_are_news_only_where_the_older_does_not_hold_them():
    assert compare(snapshot(), snapshot()).news == {}
    again = pd.concat([WEIGHINGS, WEIGHINGS.tail(1), WEIGHINGS.tail(1).assign(stay_id="S-4")])
    assert compare(snapshot(weighings=again), snapshot()).news == {"weighings": 2}
    changed = compare(snapshot(weighings=with_cell(WEIGHINGS, 3, "weight", 60.0)), snapshot())
    assert (changed.news, changed.frame["kind"].tolist()) == ({}, [CHANGED])


def test_a_changed_cell_is_told_with_both_values():
    assert kinds(snapshot(intakes=with_cell(INTAKES, 4, "intake_date", "2026-01-15"))) == [
        [CHANGED, "intakes", "S-5", "intake_date", "2026-01-05", "2026-01-15"]
    ]
    assert kinds(snapshot(intakes=with_cell(INTAKES, 4, "species", "ball python"))) == [
        [CHANGED, "intakes", "S-5", "species", "corn snake", "ball python"]
    ]
    assert kinds(snapshot(outcomes=with_cell(OUTCOMES, 1, "outcome_type", "adopted"))) == [
        [CHANGED, "outcomes", "S-2", "outcome_type", "died", "adopted"]
    ]
    assert kinds(snapshot(outcomes=with_cell(OUTCOMES, 1, "outcome_date", "2026-02-03"))) == [
        [CHANGED, "outcomes", "S-2", "outcome_date", "2026-02-02", "2026-02-03"]
    ]


def test_an_id_given_to_another_animal_is_told_once():
    other = with_cell(with_cell(INTAKES, 4, "species", "ball python"), 4, "animal_id", "A-77")
    assert kinds(snapshot(intakes=other)) == [
        [REUSED, "intakes", "S-5", "", "corn snake, 2026-01-05, A-5", "ball python, 2026-01-05, A-77"]
    ]


def test_a_row_gone_a_row_come_and_a_stay_open_again():
    assert kinds(snapshot(intakes=INTAKES.drop(index=5))) == [
        [GONE, "intakes", "S-6", "", "corn snake, 2026-01-06, stray", ""]
    ]
    assert kinds(snapshot(outcomes=OUTCOMES.head(1))) == [
        [GONE, "outcomes", "S-2", "", "2026-02-02, died", ""],
        [REOPENED, "intakes", "S-2", "", "2026-02-02, died", "in care"],
    ]


def test_a_row_dated_before_the_older_end_was_written_in_afterwards():
    late = pd.concat([WEIGHINGS, pd.DataFrame({"stay_id": ["S-4"], "weighed_on": ["2026-02-10"], "weight": [9.0]})])
    difference = compare(snapshot("2026-05-01", weighings=late), snapshot())
    assert difference.frame[["kind", "record", "newer"]].to_numpy().tolist() == [[BACKDATED, "S-4", "9"]]


def test_rows_alike_in_everything_are_counted_not_merged():
    assert kinds(snapshot(weighings=WEIGHINGS.drop(index=1))) == [[GONE, "weighings", "S-1", "", "100", ""]]
    three = pd.concat([WEIGHINGS, WEIGHINGS.head(1)])
    assert [row[0] for row in kinds(snapshot(weighings=three))] == [BACKDATED]


def test_one_of_two_weights_of_a_day_changed_is_one_changed_cell():
    assert kinds(snapshot(weighings=with_cell(WEIGHINGS, 1, "weight", 105.0))) == [
        [CHANGED, "weighings", "S-1", "weight", "100", "105"]
    ]


def test_an_episode_that_ended_since_is_news():
    one = {"episode_id": ["E-1"], "stay_id": ["S-3"], "condition": ["mites"], "found_on": ["2026-01-10"]}
    open_then = pd.DataFrame(one)
    ended = open_then.assign(ended_on="2026-03-15", ended_as="cleared")
    old = snapshot(conditions=open_then)
    assert compare(snapshot("2026-04-01", conditions=ended), old).frame.empty
    earlier = snapshot("2026-04-01", conditions=ended.assign(ended_on="2026-02-01"))
    assert {row[3] for row in kinds(earlier, old)} == {"ended_on", "ended_as"}


def test_free_notes_are_never_shown():
    old, new = snapshot(intakes=INTAKES.assign(note="shy")), snapshot(intakes=INTAKES.assign(note="bold"))
    assert compare(new, old).frame.empty


def test_the_worst_come_first():
    other = with_cell(with_cell(INTAKES, 4, "species", "ball python"), 4, "animal_id", "A-77").drop(index=5)
    found = [row[0] for row in kinds(snapshot(intakes=with_cell(other, 0, "intake_type", "surrendered")))]
    assert found == [REUSED, GONE, CHANGED]
    assert KINDS[-1] == NEWS


def test_the_older_given_first_is_refused():
    with pytest.raises(
        InputError,
        match=r"reach at least as far as the older ones.\n  the newer end on 2026-02-01, the older on 2026-02-20",
    ):
        compare(snapshot("2026-02-01"), snapshot())


def test_a_row_set_aside_now_is_not_called_gone(tmp_path):
    toml = "[dates]\nas_of = 2026-03-01\nrecords_start = 2026-01-01\n"
    for name, day in (("old", "2026-01-06"), ("new", "someday")):
        folder = tmp_path / name
        folder.mkdir()
        text = INTAKES.assign(intake_date=[*INTAKES["intake_date"].head(5), day]).to_csv(index=False)
        (folder / "intakes.csv").write_text(text, encoding="utf-8")
        (folder / "records.toml").write_text(toml, encoding="utf-8")
    difference = compare(load(tmp_path / "new"), load(tmp_path / "old"))
    assert difference.frame[["kind", "record"]].to_numpy().tolist() == [[ASIDE, "S-6"]]
