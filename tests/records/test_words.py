"""Columns held once a distinct text, and ids looked up by number."""

from __future__ import annotations

import gc

import numpy as np
import pandas as pd
import pytest

from mendcurve.records import load, words
from mendcurve.records.accounting import count_records, count_text_records
from mendcurve.records.review import among, looked_up, positions, standing, without
from mendcurve.records.words import TEXT, coded, emptied, merged, numbered, one_text, text_array, words_of


def text(*values: str | None) -> pd.Series:
    return pd.Series(values, dtype=TEXT)


BY = {
    "whole": pd.Series([1, 2]),
    "number": pd.Series([1.5, np.nan]),
    "yes_no": pd.Series([True, False]),
    "text": text("p", None),
    "date": pd.Series(pd.to_datetime(["2020-01-01", None])).astype("datetime64[s]"),
    "count": pd.Series([1, None], dtype="Int64"),
}


@pytest.mark.parametrize("kind", BY)
@pytest.mark.parametrize("ids", [text("a", "b", None, "z", "a"), text("a", "b"), text()], ids=["gaps", "all", "none"])
def test_looking_up_by_number_is_what_reindexing_gives(kind, ids):
    by = BY[kind].set_axis(pd.Index(text("b", "a")))
    plain = pd.Series(by.reindex(ids.to_numpy(dtype=object)).array, index=ids.index)
    pd.testing.assert_series_equal(looked_up(ids, by), plain)


def test_an_id_that_stands_twice_cannot_be_looked_up():
    with pytest.raises(ValueError, match="must be there once"):
        looked_up(text("a"), pd.Series([1, 2], index=pd.Index(text("a", "a"))))


def test_positions_are_of_the_first_and_missing_is_no_text():
    assert positions(text("b", None, "c", "a"), text(None, "a", "b", "a")).tolist() == [2, -1, -1, 1]
    assert among(text("b", None, "c"), ["c", None]).tolist() == [False, False, True]
    assert among(text("b"), set()).tolist() == [False]


def test_rows_that_are_left_keep_their_numbers_and_ids_that_are_gone_are_not_found():
    frame = pd.DataFrame({"stay_id": text("a", "b", "a", "c")})
    numbered(frame["stay_id"])
    rest = without(frame, pd.Series([False, True, False, False]))
    places, known = numbered(rest["stay_id"])
    assert [known[p].as_py() for p in places] == ["a", "a", "c"]
    assert "b" in known.to_pylist()
    assert positions(text("b", "c"), rest["stay_id"]).tolist() == [-1, 2]


def test_numbers_are_forgotten_with_their_column():
    gc.collect()
    before = len(words._NUMBERED)
    column = text("a", "b")
    numbered(column)
    assert len(words._NUMBERED) == before + 1
    del column
    gc.collect()
    assert len(words._NUMBERED) == before


def test_categories_and_plain_text_have_the_same_words():
    plain = pd.Series(["x", "", "y", "x"], dtype=object)
    held = merged(np.array([0, 1, 2, 3]), ["x", "", "y", "x"]).series()
    for column in (plain, held):
        found = words_of(column)
        assert (found.words.tolist(), found.places.tolist()) == (["x", "", "y"], [0, 1, 2, 0])
    assert emptied(held, ["x"]).tolist() == ["", "", "y", ""]
    assert words_of(held.iloc[2:]).words.tolist() == ["y", "x"] or words_of(held.iloc[2:]).words.tolist() == ["x", "y"]


def test_missing_text_is_coded_and_comes_back():
    held = coded(text("a", None, "a"))
    assert pd.Series(text_array(held.places, held.words)).tolist()[0::2] == ["a", "a"]
    assert pd.Series(text_array(held.places, held.words)).isna().tolist() == [False, True, False]


@pytest.mark.parametrize("rows", [0, 1, 65536, 70000])
def test_one_text_fills_every_row(rows):
    column = pd.Series(one_text("x.csv", rows))
    assert len(column) == rows
    assert (column == "x.csv").all()


def test_places_are_file_sheet_and_row_together():
    frame = pd.DataFrame(
        {"source_file": text("a", "a", "b"), "source_sheet": text("", "s", ""), "source_row": [2, 2, 2]}
    )
    places = pd.DataFrame({"file": text("a", "b"), "sheet": text("s", "s"), "row": pd.Series([2, 2], dtype="Int64")})
    assert standing(frame, places).tolist() == [False, True, False]


@pytest.mark.parametrize("size", [1, 2, 3, 5, 1 << 24])
def test_the_quick_counter_counts_what_the_careful_one_does(monkeypatch, size):
    monkeypatch.setattr("mendcurve.records.accounting._BLOCK", size)
    for said in ('a,b\n"1\n2",3\n', 'a\n"é""\n"\n\n', "a\nb", '"a","b"\n"c","d"'):
        assert count_records(said) == count_text_records(said, ",")
    assert count_records('a\n5" tank\n') is None


def test_a_place_moved_to_is_kept(tmp_path):
    (tmp_path / "intakes.csv").write_text(
        "stay_id,species,intake_date,intake_type\nS-1,leopard gecko,2025-01-02,stray\n", encoding="utf-8"
    )
    (tmp_path / "moves.csv").write_text("stay_id,moved_on,zone,place\nS-1,2025-01-03,ward,tub 4\n", encoding="utf-8")
    assert load(tmp_path)["moves"]["place"].tolist() == ["tub 4"]
