"""Settings: what is refused, and in which words."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from mendcurve.errors import InputError
from mendcurve.records.setting_values import KIND_WORDS
from mendcurve.records.settings import KEYS, settings_by_path, settings_from

REFUSALS = [
    ({"rescue": {"nme": "x"}}, r'"rescue.nme" is not a setting.*\n.*Did you mean "rescue.name"'),
    ({"rescue": {"name": 3}}, "must be text in quotes"),
    ({"rescue": {"name": " "}}, "must be a text that is not blank"),
    ({"rescue": {"currency": "Euro"}}, r"must be three capital letters, such as EUR, but it is 'Euro'.\nThree-letter"),
    ({"dates": {"as_of": "2026-10-31"}}, "must be a date without quotes"),
    ({"dates": {"as_of": date(206, 10, 31)}}, "must lie from 1950-01-01 to 2150-12-31, but it is 0206-10-31"),
    ({"dates": {"starts": {"weighngs": date(2026, 1, 1)}}}, r'"dates.starts" has no "weighngs".\n.*mean "weighings"'),
    ({"dates": {"starts": {"weighings": "spring"}}}, '"dates.starts.weighings" must be a date'),
    ({"watch": {"recheck_days": True}}, "must be a whole number"),
    ({"watch": {"recheck_days": -3}}, r"must lie from 0 to 365, but it is -3.\nDays after a course's end"),
    ({"watch": {"drop_percent": float("nan")}}, "must lie from 0.5 to 90, but it is nan"),
    ({"watch": {"false_alarms_per_week": float("inf")}}, "but it is inf"),
    ({"watch": {"overdue_factor": float("-inf")}}, "but it is -inf"),
    ({"capacity": {"confidence": 95.0}}, r"must lie from 0.5 to 0.999, but it is 95.0. Write 0.95.\nShare of days"),
    ({"counts": {"animals": 0}}, r"must lie from 1 to 1000, but it is 0.\nFewest animals"),
    ({"public": {"smallest_cell": -1}}, "must lie from 0 to 100"),
    ({"zones": {"quarantine_days": {"snake": -60}}}, '"zones.quarantine_days.snake" must lie from 0 to 730'),
    ({"zones": {"quarantine_days": {"snake": "60"}}}, '"zones.quarantine_days.snake" must be a whole number'),
    ({"conditions": {"lifelong": [3]}}, '"conditions.lifelong" must be text in quotes'),
    ({"conditions": {"families": {"skin": "wound"}}}, '"conditions.families.skin" must be a list'),
    ({"conditions": {"families": {"skin": [1]}}}, '"conditions.families.skin" must be text in quotes'),
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


NUMBERS = [key for key in KEYS if key.kind in (int, float, (int, float), date)]


def test_every_number_and_date_has_bounds_that_hold_its_default():
    for key in NUMBERS:
        assert key.low is not None and key.low < key.high, key.path
        assert key.default is None or key.low <= key.default <= key.high, key.path


@pytest.mark.parametrize("key", NUMBERS, ids=lambda key: key.path)
def test_each_number_is_taken_at_its_bounds_and_refused_beyond(key):
    whole = key.kind is int
    for bound, step in ((key.low, -1), (key.high, 1)):
        given = float(bound) if key.kind is float else bound
        assert settings_by_path({key.path: given})[key.path] == given
        beyond = bound + (timedelta(step) if key.kind is date else step if whole else step * 1e-9)
        with pytest.raises(InputError, match=f'"{key.path}" must lie from') as refused:
            settings_by_path({key.path: beyond})
        assert refused.value.remedy == key.meaning


@pytest.mark.parametrize("key", [k for k in NUMBERS if k.kind in (float, (int, float))], ids=lambda key: key.path)
@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_refused(key, value):
    with pytest.raises(InputError, match="must lie from"):
        settings_by_path({key.path: value})


def test_values_of_sections_are_taken_at_their_bounds():
    for days in (0, 730):
        assert settings_by_path({"zones.quarantine_days": {"snake": days}})["zones.quarantine_days"]["snake"] == days
    for days in (-1, 731):
        with pytest.raises(InputError, match="must lie from 0 to 730"):
            settings_by_path({"zones.quarantine_days": {"snake": days}})
    assert settings_by_path({"dates.starts": {"outcomes": "2025-03-05"}})["dates.starts"]


def test_a_setting_is_the_rescues_or_the_default():
    chosen = settings_from({"dates": {"as_of": date(2026, 10, 31)}})
    assert chosen["dates.as_of"] == date(2026, 10, 31)
    assert chosen["rescue.paper"] == "A4"
    assert chosen.is_default("rescue.paper")
    assert not chosen.is_default("dates.as_of")
