from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records.dates import EPOCH_1904, order_of, parse_dates


def read(*texts, order="dmy", **more):
    return parse_dates(pd.Series(texts, dtype=object), order, **more)


def one(text, order="dmy", **more):
    parsed = read(text, order=order, **more)
    return parsed.found[0], parsed.troubles[0]


def order(*texts, declared=""):
    return order_of({"d": (pd.Series(texts, dtype=object), pd.Series(np.arange(2, 2 + len(texts))))}, declared, "a.csv")


@pytest.mark.parametrize("way", ["dmy", "mdy"])
@pytest.mark.parametrize(
    "text",
    [
        "2024-03-02",
        "2024/03/02",
        "2024-3-2",
        "20240302",
        "2 March 2024",
        "2 Mar 2024",
        "Mar 2, 2024",
        "2nd of March 2024",
        "02-Mar-24",
        "Saturday 2 March 2024",
    ],
)
def test_what_can_be_read_in_one_way_is_read_in_it_whatever_the_order(text, way):
    value, trouble = one(text, way)
    assert value == (datetime(2024, 3, 2), False)
    assert trouble is None


@pytest.mark.parametrize(("way", "day"), [("dmy", datetime(2024, 3, 2)), ("mdy", datetime(2024, 2, 3))])
@pytest.mark.parametrize("text", ["02/03/2024", "2.3.2024", "2-3-24", "02 03 2024"])
def test_numeric_dates_follow_the_order(text, way, day):
    assert one(text, way)[0] == (day, False)


def test_two_digit_years_first_are_read_only_when_declared():
    assert one("24/03/02", "ymd")[0] == (datetime(2024, 3, 2), False)


# A canary: readers that guess row by row give 3 February for the first and 13 March for the second.
def test_a_day_above_twelve_proves_the_order_of_the_whole_column():
    assert order("02/03/2024", "13/03/2024") == "dmy"
    assert order("02/03/2024", "03/13/2024") == "mdy"


def test_a_sheet_without_numeric_dates_has_nothing_to_prove():
    assert order("2024-02-03", "3 March 2024", "03/03/2024") == "dmy"


def test_an_order_nobody_declared_or_proved_is_asked_for():
    with pytest.raises(InputError, match=r"day/month order unknown.*\n.*row 2.*02/03/2024(.|\n)*date_order"):
        order("02/03/2024", "04/05/2024")
    assert order("02/03/2024", "04/05/2024", declared="mdy") == "mdy"


def test_both_orders_in_one_file_name_both_rows():
    with pytest.raises(InputError, match=r"(?s)row 2, .*13/03/2024.*row 3, .*03/13/2024"):
        order("13/03/2024", "03/13/2024")


def test_once_declared_the_row_of_the_other_order_is_unreadable_and_says_why():
    value, trouble = one("03/13/2024", "dmy", order_shown="day first")
    assert value is None
    assert "day first" in trouble.rule


@pytest.mark.parametrize(
    "text",
    [
        "2024-02-30",
        "31/04/2024",
        "2024-13-01",
        "2024",
        "13/2024",
        "Smarch 2024",
        "yesterday",
        "0000-00-00",
        "12345678",
        "2224-01-01",
        "2024-03-02 25:10",
        "2024-03-02 10:75",
    ],
)
def test_what_is_no_day_is_unreadable(text):
    value, trouble = one(text)
    assert value is None
    assert trouble.effect == "unreadable"


@pytest.mark.parametrize(
    "text", ["March 2024", "2024-03", "03/2024", "Mar 2024", "2024 Mar", "March, 2024", "mar-2024"]
)
def test_a_month_alone_is_its_middle_and_doubtful(text):
    value, trouble = one(text)
    assert value == (datetime(2024, 3, 15), False)
    assert trouble.effect == "kept, doubtful"
    assert "2024-03-15" in trouble.rule


@pytest.mark.parametrize("text", ["Mar-24", "Mar 24", "March '24"])
def test_a_month_and_two_digits_are_not_guessed(text):
    value, trouble = one(text)
    assert value is None
    assert "24 may be the day or the year" in trouble.rule


def test_a_date_with_a_question_mark_is_doubtful():
    value, trouble = one("2024-03-02 ?")
    assert value == (datetime(2024, 3, 2), False)
    assert trouble.effect == "kept, doubtful"
    assert one("whenever?")[0] is None


@pytest.mark.parametrize("text", ["NA", "n/a", "-", "?", "unknown"])
def test_a_word_for_nothing_is_an_empty_cell(text):
    value, trouble = one(text)
    assert value is None
    assert trouble.effect == "blank"


def test_another_column_of_the_sheet_proves_the_order_where_the_dates_themselves_do_not():
    def beside(*texts):
        rows = pd.Series(np.arange(2, 2 + len(texts)))
        own = {"d": (pd.Series(["02/03/2024"] * len(texts), dtype=object), rows)}
        return order_of(own, "", "a.csv", {"left": (pd.Series(texts, dtype=object), rows)})

    assert beside("13/03/2024", "x") == "dmy"
    assert beside("", "03/13/2024") == "mdy"
    # A group of 13 males, 2 females and 10 eggs is no date; and two orders prove none.
    for texts in (("13.2.10", ""), ("13/03/2024", "03/13/2024")):
        with pytest.raises(InputError, match="order unknown"):
            beside(*texts)


def test_a_day_number_is_converted_by_the_epoch_of_its_book_and_reported():
    # 45353 is 2 March 2024 in a 1900 book (spreadsheets' own documentation, from memory); 1904 books are 1462 days on.
    value, trouble = one("45353")
    assert value == (datetime(2024, 3, 2), False)
    assert trouble.effect == "changed"
    assert one(str(45353 - 1462), epoch=EPOCH_1904)[0] == (datetime(2024, 3, 2), False)
    assert one("45353.75")[0] == (datetime(2024, 3, 2, 18, 0), True)


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("2024-03-02 08:30", (8, 30)),
        ("2024-03-02T08:30:15", (8, 30)),
        ("02/03/2024 8:30 pm", (20, 30)),
        ("2/3/2024 12:05 am", (0, 5)),
        ("2024-03-02 00:00", (0, 0)),
        ("2 March 2024, 8pm", (20, 0)),
        ("2024-03-02 8.30 hrs", (8, 30)),
    ],
)
def test_an_hour_that_is_written_down_is_kept_and_known(text, hour):
    value, trouble = one(text)
    assert (value[0].hour, value[0].minute) == hour
    assert value[1] is True
    assert trouble is None


def test_a_time_zone_is_passed_over_and_reported():
    for zone in ("Z", "+02:00", " GMT", " CEST"):
        value, trouble = one(f"2024-03-02T08:30:00{zone}")
        assert value == (datetime(2024, 3, 2, 8, 30), True)
        assert trouble.effect == "changed"


def test_two_digit_years_turn_at_69():
    assert one("01/02/69")[0][0].year == 2069
    assert one("01/02/70")[0][0].year == 1970


@pytest.mark.parametrize("seed", range(20))
def test_agrees_with_strptime_on_random_days(seed):
    rng = np.random.default_rng(seed)
    days = pd.to_datetime(rng.integers(0, 20000, 50), unit="D")
    for pattern, way in (("%d/%m/%Y", "dmy"), ("%m/%d/%Y", "mdy"), ("%d.%m.%Y", "dmy"), ("%d %B %Y", "mdy")):
        parsed = read(*days.strftime(pattern), order=way)
        assert [v[0] for v in parsed.found] == list(days.to_pydatetime())


def test_empty_is_nothing_and_no_trouble():
    assert one("  ") == (None, None)


def test_typographic_dashes_and_characters_nobody_sees_do_not_count():
    found = parse_dates(
        pd.Series(["2024–03–01", "2024-03-01\u200b", "\u200e1/3/2024", "1\u00a0March\u00a02024"]), "dmy"
    ).found
    assert [day for day, _ in found] == [datetime(2024, 3, 1)] * 4
