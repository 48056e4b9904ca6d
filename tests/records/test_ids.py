from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.records.ids import parse_ids


def ids(*texts):
    parsed = parse_ids(pd.Series(texts, dtype=object))
    return list(parsed.found), [t.effect if t else "" for t in parsed.troubles]


# PITFALLS.md row 23: ids are text, and come back as they were typed.
def test_ids_are_kept_as_typed():
    typed = ["007", "1E5", "S-1", "0.10", "12", "SNK-12", "12-abc", "1.2.3", "Ä7", "sum"]
    assert ids(*typed[:2], " S-1 ", *typed[3:]) == (typed, [""] * 10)


@pytest.mark.parametrize("word", ["NA", "n/a", "null", "unknown"])
def test_an_id_like_none_is_kept_and_doubtful(word):
    assert ids(word, "S-1") == ([word, "S-1"], ["kept, doubtful", ""])


@pytest.mark.parametrize("word", ["-", "?", "--", "..."])
def test_a_sign_alone_is_no_id(word):
    assert ids(word, "S-1") == ([None, "S-1"], ["blank", ""])


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("1.00E+05", "into a number"),
        ("1E+05", "into a number"),
        ("2003-02-01", "into a date"),
        ("2003-02-01 00:00:00", "into a date"),
        ("01-Feb-03", "into a date"),
        ("3-Mar", "into a date"),
        ("Mar-03", "into a date"),
        ("2/5/2003", "into a date"),
    ],
)
def test_what_a_spreadsheet_made_of_an_id_is_kept_and_said(word, says):
    parsed = parse_ids(pd.Series([word, "S-1"], dtype=object))
    assert parsed.found[0] == word
    assert says in parsed.troubles[0].rule
    assert parsed.troubles[0].effect == "kept, doubtful"


def test_ids_that_are_all_dates_are_meant_so():
    assert ids("2024-03-02", "2024-03-03")[1] == ["", ""]


def test_decimals_added_to_every_id_are_left_out_and_to_some_are_doubtful():
    assert ids("12.0", "13.0", "") == (["12", "13", None], ["changed", "changed", ""])
    assert ids("12.0", "S-13") == (["12.0", "S-13"], ["kept, doubtful", ""])


def test_characters_nobody_sees_are_no_part_of_an_id():
    assert ids("S-1\u200b", "\ufeff S-2", "S\u00ad-3")[0] == ["S-1", "S-2", "S-3"]
