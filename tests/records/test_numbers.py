from __future__ import annotations

from decimal import Decimal

import pandas as pd
import pytest

from mendcurve.records.numbers import decimal_sign, parse_counts, parse_money, parse_numbers, parse_weights


def text(*words):
    return pd.Series(words, dtype=object)


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("43", 43, ""),
        ("43g", 43, "g"),
        ("43 G.", 43, "g"),
        ("0.043 kg", 0.043, "kg"),
        ("0,043 kg", 0.043, "kg"),
        ("1,234.5", 1234.5, ""),
        ("1.234,5", 1234.5, ""),
        ("1 lb 3 oz", 1.1875, "lb"),
        ("2 lbs, 8oz", 2.5, "lb"),
        (".5 oz", 0.5, "oz"),
        ("1 234 g", 1234, "g"),
        ("+12", 12, ""),
    ],
)
def test_weights_as_people_type_them(typed, value, unit):
    parsed = parse_weights(text(typed))
    assert parsed.found[0] == (pytest.approx(value), unit)
    assert parsed.troubles[0] is None


@pytest.mark.parametrize("typed", ["-61", "0", "light", "43 stone", "<1", "1-12", "45-40", "40-45 stone", "1.2.3"])
def test_what_is_no_weight_is_unreadable(typed):
    parsed = parse_weights(text(typed))
    assert parsed.found[0] is None
    assert parsed.troubles[0].effect == "unreadable"


@pytest.mark.parametrize(
    ("typed", "value"),
    [("~43 g", (43, "g")), ("43?", (43, "")), ("40-45 g", (42.5, "g")), ("0,4 kg to 0,5kg", (0.45, "kg"))],
)
def test_what_is_about_right_and_a_range_are_kept_and_doubtful(typed, value):
    parsed = parse_weights(text(typed))
    assert parsed.found[0] == (pytest.approx(value[0]), value[1])
    assert parsed.troubles[0].effect == "kept, doubtful"


@pytest.mark.parametrize("typed", ["NA", "n/a", " - ", "?", "unknown"])
def test_a_word_for_nothing_is_an_empty_cell_in_numbers(typed):
    for parse in (parse_weights, parse_numbers, parse_counts, parse_money):
        parsed = parse(text(typed))
        assert (parsed.found[0], parsed.troubles[0].effect) == (None, "blank")


def test_kilograms_and_grams_are_added_as_pounds_and_ounces_are():
    assert parse_weights(text("1 kg 200 g")).found[0] == (pytest.approx(1.2), "kg")


def test_a_comma_before_three_digits_is_not_guessed():
    parsed = parse_numbers(text("1,234"))
    assert parsed.found[0] is None
    assert "two ways" in parsed.troubles[0].rule
    assert parse_numbers(text("1,234"), decimal=".").found[0] == 1234
    assert parse_numbers(text("1,234"), decimal=",").found[0] == pytest.approx(1.234)


def test_another_cell_of_the_column_proves_the_sign():
    assert decimal_sign(text("1,234", "12.5")) == "."
    assert decimal_sign(text("1,234", "12,5")) == ","
    assert decimal_sign(text("1,5", "12.5")) == ""
    assert decimal_sign(text("1,234")) == ""
    assert list(parse_numbers(text("1,234", "12.5")).found) == [1234, 12.5]


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("q", "hours", None),
        ("12 h", "hours", 12),
        ("2 days", "hours", 48),
        ("14 cm", "mm", 140),
        ("1.2 kg", "g", 1200),
        ("30 min", "minutes", 30),
    ],
)
def test_a_unit_in_the_cell_is_converted(typed, unit, value):
    found = parse_numbers(text(typed), unit=unit).found[0]
    assert found is None if value is None else found == pytest.approx(value)


def test_a_number_below_its_bound_is_refused():
    assert parse_numbers(text("0.1"), low=0.5).found[0] is None
    assert parse_counts(text("0"), low=1).found[0] is None


def test_a_number_above_its_bound_is_refused_however_large():
    for typed in ("10001", "1" + "0" * 23, "9" * 400):
        parsed = parse_counts(text(typed), high=10_000)
        assert parsed.found[0] is None
        assert "10,000 or less" in parsed.troubles[0].rule
    assert parse_numbers(text("8785"), high=8784).found[0] is None


def test_a_count_of_about_or_between_is_the_smaller_number_and_doubtful():
    parsed = parse_counts(text("2-3", "~4", "5?", "6 animals", "1,234"), unit="animals")
    assert list(parsed.found) == [2, 4, 5, 6, 1234]
    assert [t.effect if t else "" for t in parsed.troubles] == ["kept, doubtful"] * 3 + ["", ""]


@pytest.mark.parametrize("typed", ["2003-02-01", "01-Feb-03", "2-Mar", "1/2/2003"])
def test_a_count_that_became_a_date_says_so(typed):
    parsed = parse_counts(text(typed), unit="animals")
    assert parsed.found[0] is None
    assert "turned it into a date" in parsed.troubles[0].rule


# males.females.unknown, a fourth number eggs, which are no animals: TRADE.md 7
@pytest.mark.parametrize(
    ("typed", "animals"), [("1.2.3", 6), ("0.1", 1), ("1.0", 1), ("1.2", 3), ("1.2.3.10", 6), ("7", 7)]
)
def test_groups_written_by_sex_are_counted(typed, animals):
    assert parse_counts(text(typed), unit="animals").found[0] == animals


def test_elsewhere_a_point_is_a_decimal_and_no_whole_number():
    assert parse_counts(text("1.2"), unit="days").found[0] is None
    assert parse_counts(text("3.0"), unit="days").found[0] == 3


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("62.50", "62.50"),
        ("€ 1.234,50", "1234.50"),
        ("$1,234.50", "1234.50"),
        ("1,234", "1234"),
        ("(12.00)", "-12.00"),
        ("-12", "-12"),
        ("12-", "-12"),
        ("12.50 EUR", "12.50"),
        ("0.1", "0.1"),
        ("1 234,56", "1234.56"),
        ("0,10", "0.10"),
    ],
)
def test_money_is_exact(typed, amount):
    found = parse_money(text(typed)).found[0]
    assert isinstance(found, Decimal)
    assert found == Decimal(amount)


@pytest.mark.parametrize("typed", ["free", "about 12", "12 or so", ""])
def test_what_is_no_money_gives_none(typed):
    assert parse_money(text(typed)).found[0] is None


def test_thousands_of_figures_are_no_number():
    for typed in ("9" * 5000, "9" * 5000 + " lb 3 oz"):
        for parse in (parse_counts, parse_weights, parse_numbers, parse_money):
            assert parse(text(typed)).found[0] is None
            assert parse(text(typed)).troubles[0] is not None


@pytest.mark.parametrize("typed", ["412 55", "312.4 01632 960771", "4 1 2", "12 34", "1234 567"])
def test_a_space_sets_thousands_apart_and_joins_no_two_numbers(typed):
    for parse in (parse_weights, parse_numbers, parse_money):
        assert parse(text(typed)).found[0] is None
    assert "one number" in parse_weights(text(typed)).troubles[0].rule
    assert parse_weights(text("1 234.5", "1 234 567,5", "1'234 g")).found[0] == (1234.5, "")
