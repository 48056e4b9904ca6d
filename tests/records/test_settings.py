"""Settings: what is refused, and in which words."""

from __future__ import annotations

from datetime import date

import pytest

from mendcurve.errors import InputError
from mendcurve.records.settings import KEYS, KIND_WORDS, settings_from

REFUSALS = [
    ({"rescue": {"nme": "x"}}, r'"rescue.nme" is not a setting.*\n.*Did you mean "rescue.name"'),
    ({"rescue": {"name": 3}}, "must be text in quotes"),
    ({"dates": {"as_of": "2026-10-31"}}, "must be a date without quotes"),
    ({"watch": {"recheck_days": True}}, "must be a whole number"),
    ({"doses": {"misses_recorded": 1}}, "must be true or false"),
    ({"rescue": {"paper": "A3"}}, "must be one of 'A4', 'Letter'"),
    ({"name": "x"}, "is not a setting by itself"),
]


@pytest.mark.parametrize(("values", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(values, says):
    with pytest.raises(InputError, match=says):
        settings_from(values)


def test_every_kind_has_words_and_every_default_is_of_its_kind():
    for key in KEYS:
        kinds = key.kind if isinstance(key.kind, tuple) else (key.kind,)
        assert all(kind in KIND_WORDS for kind in kinds), key.path
        assert key.default is None or isinstance(key.default, kinds), key.path


def test_a_setting_is_the_rescues_or_the_default():
    chosen = settings_from({"dates": {"as_of": date(2026, 10, 31)}})
    assert chosen["dates.as_of"] == date(2026, 10, 31)
    assert chosen["rescue.paper"] == "A4"
    assert chosen.is_default("rescue.paper")
    assert not chosen.is_default("dates.as_of")
