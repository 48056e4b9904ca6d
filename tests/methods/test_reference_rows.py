"""The reference loader: every row can be read, has a tolerance, a source and a data file that is here."""

from __future__ import annotations

import math

import pytest

from reference.rows import HERE, data, rows


def test_every_row_has_a_source_a_tolerance_and_its_data():
    every = rows()
    assert len(every) == len({r.id for r in every}) > 2000
    for r in every:
        assert r.source and r.rtol >= 0 and r.atol >= 0
        assert not r.data_file or (HERE / r.data_file).is_file(), r.id


def test_a_wrong_value_is_refused_and_a_missing_one_must_be_missing():
    row = next(r for r in rows(section="01", quantity="survival") if 0 < r.expected < 1)
    row.check(row.expected)
    with pytest.raises(AssertionError, match="expected"):
        row.check(row.expected * (1 + 3 * row.rtol) + 2 * row.atol)
    missing = next(r for r in rows(section="01") if math.isnan(r.expected))
    missing.check(math.nan)
    with pytest.raises(AssertionError, match="not reached"):
        missing.check(3.0)


def test_a_filter_that_finds_nothing_fails():
    with pytest.raises(LookupError, match="no reference row"):
        rows(section="99")


def test_data_is_a_fresh_copy():
    frame = data("leukemia.csv")
    frame["time"] = 0
    assert data("data/leukemia.csv")["time"].max() > 0
