from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records.codes import parse_codes, parse_lists, parse_yes_no, words_for
from mendcurve.records.folding import folded, heading
from mendcurve.records.schemas import TABLES

OUTCOME = TABLES["outcomes"].column("outcome_type")
CIRCUMSTANCE = TABLES["weighings"].column("circumstance")


def text(*words):
    return pd.Series(words, dtype=object)


# Four spellings, one with a no-break space, one outcome: PITFALLS.md row 24.
def test_labels_that_look_the_same_are_the_same():
    parsed = parse_codes(
        text("Adopted ", "adopted", "ADOPTED", "\u00a0adopted\u2009"), OUTCOME, words_for(OUTCOME, {}, "")
    )
    assert list(parsed.found) == ["adopted"] * 4
    assert folded("owner\u2019s  re\u2010quest") == "owner's re-quest"
    assert heading("Outcome_Date ") == heading("outcome date")


def test_an_unknown_code_says_which_are_known_and_which_is_nearest():
    parsed = parse_codes(text("adoptd"), OUTCOME, words_for(OUTCOME, {}, ""))
    assert parsed.found[0] is None
    assert 'Did you mean "adopted"?' in parsed.troubles[0].what_to_do
    assert "released" in parsed.troubles[0].rule


def test_the_rescues_own_word_wins_over_a_synonym():
    words = words_for(OUTCOME, {"PTS": "euthanised at owner's request", "hold": "", "void": "set aside"}, "")
    parsed = parse_codes(text("pts", "Hold", "void"), OUTCOME, words)
    assert parsed.found[0] == "euthanised at owner's request"
    assert [t.effect for t in parsed.troubles[1:]] == ["nothing here", "set aside"]


def test_a_code_list_that_names_no_code_is_refused():
    with pytest.raises(InputError, match=r'"adoptd".*no code of outcome_type'):
        words_for(OUTCOME, {"home": "adoptd"}, "records.toml")


def test_lists_are_split_sorted_and_what_is_unknown_is_reported():
    words = words_for(CIRCUMSTANCE, {}, "")
    parsed = parse_lists(text("Shed, fed", "in shed and gravid", "fed; flew", "fed+fed"), CIRCUMSTANCE, words)
    assert list(parsed.found) == ["fed; shed", "gravid; shed", "fed", "fed"]
    assert [t is None for t in parsed.troubles] == [True, True, False, True]
    assert parsed.troubles[2].effect == "changed"


def test_yes_and_no():
    parsed = parse_yes_no(text("Yes", "x", "TRUE", "no", "0", "maybe", ""), {})
    assert list(parsed.found) == [True, True, True, False, False, None, None]
    assert parsed.troubles[5] is not None
