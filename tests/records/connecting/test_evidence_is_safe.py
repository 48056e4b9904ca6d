from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mendcurve.records.connecting.codes_evidence import code_lists, species_words, spellings
from mendcurve.records.connecting.dates_evidence import date_order
from mendcurve.records.connecting.signs_evidence import currency_of, decimal_sign_of, missing_words
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.connecting.units_evidence import scale_step, weight_unit
from mendcurve.records.connecting.vocabulary import load_vocabulary
from mendcurve.records.schemas import TABLES
from mendcurve.records.species import reference

WORDS, SPECIES = load_vocabulary(), reference()
CODED = [(t.name, c.name) for t in TABLES.values() for c in t.columns if c.codes or c.kind == "yes_no"]

number = st.integers(-3, 400)
dated = st.builds(
    lambda a, b, c, sign: sign.join(map(str, (a, b, c))), number, number, st.integers(0, 9999), st.sampled_from("/-. ")
)
cell = st.one_of(
    st.text(max_size=12),
    dated,
    st.builds("{:02d}/{:02d}/{:02d}".format, st.integers(0, 31), st.integers(0, 31), st.integers(0, 99)),
    st.sampled_from(["", " ", "n/a", "?", "1 lb 3 oz", "0,043 kg", "1.234,5", "=1+1", "2024-03-02", "29/02/2023", "$"]),
    st.sampled_from(["Mar", "Monday", "corn snake", "beardie", "PTS", "#REF!", "٣", "1e400", "\x00", "-", "m & f"]),
)


@st.composite
def columns(draw, most=4):
    rows = draw(st.integers(0, 12))
    names = draw(st.lists(st.text(max_size=10), min_size=1, max_size=most, unique=True))
    return {n: pd.Series(draw(st.lists(cell, min_size=rows, max_size=rows)), dtype=object) for n in names}


def said(*decisions):
    for decision in decisions:
        assert all(isinstance(sentence, str) and sentence for sentence in (*decision.reasons, *decision.doubts))
    return True


@settings(max_examples=60, deadline=None)
@given(columns(), columns(), st.text(max_size=12))
def test_any_cells_get_a_decision(texts, others, sheet):
    rows = range(len(next(iter(texts.values()))))
    beside = {n: s.reindex(rows, fill_value="") for n, s in others.items()}
    pairs = [(a, b) for a in texts for b in texts if a != b]
    order = date_order(texts, beside, rows, pairs=pairs, sheet=sheet, today=pd.Timestamp("2026-06-20"))
    assert order.value in ("", "dmy", "mdy", "ymd")
    first, last = next(iter(texts.values())), list(texts.values())[-1]
    unit = weight_unit(first, last, SPECIES, heading=sheet)
    assert unit.value in ("", "g", "kg", "oz", "lb")
    assert decimal_sign_of(texts).value in ("", ".", ",")
    assert said(order, unit, scale_step(first, "g"), decimal_sign_of(texts), currency_of(texts), missing_words(texts))


@settings(max_examples=60, deadline=None)
@given(st.lists(cell, max_size=12), st.sampled_from(CODED))
def test_any_words_are_counted_once(words, place):
    text = pd.Series(words, dtype=object)
    found = code_lists(*place, text, WORDS)
    filled = sum(bool(word.strip()) for word in words)
    if TABLES[place[0]].column(place[1]).kind != "list":
        assert sum(g.count for g in found) == filled
    for guess in (*found, *species_words(text, SPECIES), *spellings(text)):
        assert 0 <= guess.score <= 1
        assert guess.question
        assert not (guess.ours and guess.nothing)


@given(st.text(max_size=30))
def test_any_heading_is_taken_apart(text):
    parts = split_heading(text)
    assert parts.plain == split_heading(parts.plain).whole
    assert bool(parts.plain) or not parts.whole


@pytest.mark.parametrize("place", CODED)
def test_an_order_of_rows_changes_nothing_but_order(place):
    words = ["PTS", "Rehomed", "still here", "blorp", "adoptd", "?"]
    one = code_lists(*place, pd.Series(words, dtype=object), WORDS)
    assert one == code_lists(*place, pd.Series(words[::-1], dtype=object), WORDS)
