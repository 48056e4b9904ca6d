"""Text read by columns is what the csv module reads row by row, whatever its quotes, blanks and lengths of rows."""

from __future__ import annotations

import random

import pytest

from mendcurve.errors import InputError
from mendcurve.records import reading
from mendcurve.records.delimited import read_columns
from mendcurve.records.sheets import Sheet
from mendcurve.records.words import Words, repeats, words_from

BITS = (
    *("a", "b", ",", ",", '"', '"', " ", '","', '"\n', '\n"', "\n", "\n", "\r\n", "é", '5" tank', '";"'),
    *("a,b\n", "a,b\n", "x,y\n", "total,1\n", "a,b,c\n", "name,b\n"),
)


def text_of(seed: int) -> str:
    rng = random.Random(seed)
    return rng.choice(["a,b\n", "a,b\n", ""]) + "".join(rng.choice(BITS) for _ in range(rng.randint(1, 14)))


def told(read: Sheet) -> tuple:
    cells = read.cells.astype(object).to_dict("list")
    return (cells, read.row.tolist(), read.people, read.twin.tolist(), read.longer.tolist(), read.counted, read.blank,
            read.headings, read.totals, read.letters)  # fmt: skip


def outcome(read) -> tuple:
    try:
        return told(read())
    except InputError as error:
        return (str(error),)


@pytest.mark.parametrize("block", range(20))
def test_columns_and_rows_agree_on_any_text(tmp_path, block):
    path = tmp_path / "a.csv"
    for seed in range(block * 25, block * 25 + 25):
        path.write_text(text_of(seed), encoding="utf-8", newline="")
        row = [None, None, 1, 2][seed % 4]
        by_columns = outcome(lambda row=row: reading.read_text_file(path, heading_row=row))
        by_rows = outcome(lambda row=row: reading.read_text_grid(path).sheet(row))
        assert by_columns == by_rows, repr(text_of(seed))


def columns(text: str) -> dict[int, list[str]]:
    below = read_columns(text, ",", lambda records, rows: 0, 0)
    return {at: list(c.words[c.places]) for at, c in enumerate(below.body.columns)}


def test_rows_of_other_lengths_keep_their_place_and_number():
    below = read_columns('a,b\n1,2\n3\n\n4,5,6\n"7\n8",9\n', ",", lambda records, rows: 0, 0)
    assert below.body.rows.tolist() == [2, 3, 4, 5, 6]
    assert [list(c.words[c.places]) for c in below.body.columns] == [
        ["1", "3", "", "4", "7\n8"],
        ["2", "", "", "5", "9"],
        ["", "", "", "6", ""],
    ]


def test_numbers_of_rows_hold_over_many_blocks(monkeypatch):
    monkeypatch.setattr("mendcurve.records.delimited._BLOCK", 64)
    lines = [f"{n},x" if n % 7 else str(n) for n in range(500)]
    assert columns("a,b\n" + "\n".join(lines))[0] == [str(n) for n in range(500)]


@pytest.mark.parametrize("text", ['a,b\n1,"2\n', 'a,b\n1,2\n"', 'a,b\n5" x,1\n1,"2\n'])
def test_a_quotation_mark_never_closed_is_left_to_the_reading_row_by_row(text):
    assert read_columns(text, ",", lambda records, rows: 0, 0) is None


@pytest.mark.parametrize("seed", range(20))
def test_repeats_are_the_rows_a_dictionary_would_find(seed):
    rng = random.Random(seed)
    rows = [tuple(rng.choice("abc") for _ in range(3)) for _ in range(40)]
    first: dict[tuple[str, ...], int] = {}
    expected = [
        (place, earlier) for place, row in enumerate(rows) if (earlier := first.setdefault(row, place)) != place
    ]
    again, earlier = repeats([words_from(column) for column in zip(*rows, strict=True)])
    assert list(zip(again.tolist(), earlier.tolist(), strict=True)) == expected


def test_repeats_are_found_where_the_words_of_all_columns_are_too_many_for_one_number():
    import numpy as np

    many = [Words(np.array([0, 5, 9, 5]), np.array([str(n) for n in range(100_000)], dtype=object)) for _ in range(5)]
    again, earlier = repeats(many)
    assert (again.tolist(), earlier.tolist()) == ([3], [1])
