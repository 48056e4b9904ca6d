"""Small counts stay hidden from a reader who can subtract."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from mendcurve.documents.small_cells import HIDDEN, bounds, hide, protect

TABLE = pd.DataFrame(
    {
        "taxon": ["lizard", "snake", "frog"],
        "surrendered": [40, 22, 3],
        "stray": [12, 7, 9],
        "confiscated": [30, 0, 8],
    }
)
COUNTS = ["surrendered", "stray", "confiscated"]


def test_a_small_count_is_hidden_and_a_zero_is_not_by_itself():
    shown = protect(TABLE, by="taxon", counts=COUNTS, smallest=5).set_index("taxon")
    assert shown.loc["frog", "surrendered"] == HIDDEN
    assert shown.loc["lizard", "surrendered"] == "40" or shown.loc["snake", "surrendered"] == HIDDEN
    assert (shown == HIDDEN).to_numpy().sum() >= 4  # one alone in its row and column needs a rectangle


def test_totals_stay_and_are_right():
    shown = protect(TABLE, by="taxon", counts=COUNTS, smallest=5).set_index("taxon")
    assert list(shown["total"]) == ["82", "29", "20", "131"]
    assert list(shown.loc["total", COUNTS]) == ["65", "28", "38"]


def test_nothing_is_hidden_where_no_count_is_small():
    shown = protect(TABLE, by="taxon", counts=COUNTS, smallest=1)
    assert not (shown == HIDDEN).to_numpy().any()


def test_smallest_cell_itself_is_printed():
    value = np.array([[5.0, 9.0], [9.0, 9.0]])
    assert not hide(value, 5)[0].any()
    assert hide(value, 6)[0][0, 0]


def _possible(value, hidden, rows_shown, columns_shown):
    """Second way to the bounds: try every table of counts, for small ones."""
    at = np.argwhere(hidden)
    top = int(value[hidden].sum())
    seen = []
    for guess in itertools.product(range(top + 1), repeat=len(at)):
        trial = value.copy()
        trial[hidden] = guess
        same_rows = (trial.sum(axis=1) == value.sum(axis=1))[rows_shown].all()
        same_columns = (trial.sum(axis=0) == value.sum(axis=0))[columns_shown].all()
        if same_rows and same_columns and trial.sum() == value.sum():
            seen.append(guess)
    return np.min(seen, axis=0), np.max(seen, axis=0)


@pytest.mark.parametrize("seed", range(12))
def test_bounds_agree_with_trying_every_table(seed):
    random = np.random.default_rng(seed)
    value = random.integers(0, 4, size=(2, 3)).astype(float)
    hidden = np.zeros(value.shape, dtype=bool)
    hidden.flat[random.choice(6, size=4, replace=False)] = True
    rows, columns = random.random(2) < 0.7, random.random(3) < 0.7
    least, most = bounds(value, hidden, rows, columns)
    least_tried, most_tried = _possible(value, hidden, rows, columns)
    assert least == pytest.approx(least_tried)
    assert most == pytest.approx(most_tried)


@pytest.mark.parametrize("seed", range(40))
def test_no_hidden_count_can_be_recovered_from_what_is_printed(seed):
    random = np.random.default_rng(seed)
    shape = tuple(random.integers(1, 6, size=2))
    value = random.poisson(random.choice([1, 3, 12]), size=shape).astype(float)
    hidden, rows, columns = hide(value, 5)
    assert hidden[(value > 0) & (value < 5)].all()
    if hidden.any():
        least, most = bounds(value, hidden, rows, columns)
        assert (most - least >= 1).all()


def test_one_column_alone_keeps_its_total_and_hides_a_second_count():
    shown = protect(TABLE[["taxon", "surrendered"]], by="taxon", counts=["surrendered"], smallest=5)
    assert list(shown["surrendered"]) == ["40", HIDDEN, HIDDEN, "65"]
