from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd
import pytest

from mendcurve.records.connecting.dates_evidence import date_order

TODAY = pd.Timestamp("2026-06-20")
SHAPES = {
    ("dmy", 4): "{d:02d}/{m:02d}/{y}",
    ("mdy", 4): "{m:02d}/{d:02d}/{y}",
    ("dmy", 2): "{d}.{m}.{s:02d}",
    ("mdy", 2): "{m}/{d}/{s:02d}",
}


def column(*words):
    return pd.Series(list(words), dtype=object)


def decide(texts, others=None, **more):
    texts = {name: words if isinstance(words, pd.Series) else column(*words) for name, words in texts.items()}
    rows = range(2, 2 + len(next(iter(texts.values()))))
    return date_order(texts, others or {}, rows, **more)


def test_a_day_above_12_proves_the_order_and_is_counted():
    day = decide({"Date in": ["02/03/2024", "13/03/2024", "28/04/2024", "01/05/2024"]})
    assert day.value == "dmy"
    assert day.doubts == ()
    assert day.reasons == (
        '2 of 4 dates in "Date in" have a first number above 12, which can only be a day: the day first.',
    )
    month = decide({"Date in": ["02/03/2024", "3/13/2024", "01/05/2024"]})
    assert month.value == "mdy"
    assert month.reasons[0].startswith('1 of 3 dates in "Date in" has a second number above 12')


def test_a_column_without_proof_is_read_as_the_one_beside_it():
    found = decide({"In": ["02/03/2024", "13/03/2024"], "Out": ["05/03/2024", ""]})
    assert found.value == "dmy"
    assert 'No date in "Out" proves an order (1 could be either)' in found.reasons[1]


def test_both_orders_in_one_column_decide_nothing_and_name_rows():
    found = decide({"Date in": ["02/03/2024", "13/03/2024", "03/13/2024"]})
    assert found.value == ""
    assert 'Day first: row 3 "13/03/2024". Month first: row 4 "03/13/2024". 1 more could be either' in found.doubts[0]


def test_two_columns_of_different_orders_decide_nothing():
    found = decide({"In": ["13/03/2024", "02/03/2024"], "Out": ["03/28/2024", ""]})
    assert found.value == ""
    assert "written in different orders" in found.doubts[0]
    assert '"In"' in found.doubts[0]
    assert '"Out"' in found.doubts[0]


@pytest.mark.parametrize("dates", [["2024-03-02", "2024-04-05"], ["3 Mar 2024", "April 5, 2024"], ["03/03/2024", ""]])
def test_dates_that_need_no_order_get_none_and_no_doubt(dates):
    found = decide({"Date in": dates})
    assert found.value == ""
    assert found.doubts == ()


def test_dates_that_could_be_either_are_a_question_with_examples():
    found = decide({"Date in": ["02/03/2024", "2024-05-05", "04/05/2024"]})
    assert found.value == ""
    assert '2 in "Date in" (row 2 "02/03/2024", row 4 "04/05/2024")' in found.doubts[0]
    assert 'date_order = "dmy" (day first) or "mdy" (month first)' in found.doubts[0]


def test_a_heading_tells_the_order_and_dates_may_contradict_it():
    assert decide({"Date in (dd/mm/yy)": ["02/03/24", "04/05/24"]}).value == "dmy"
    assert decide({"Date in (MM/DD/YYYY)": ["02/03/2024", "04/05/2024"]}).value == "mdy"
    both = decide({"Date in (dd/mm/yy)": ["02/03/24", "04/25/24"]})
    assert both.value == ""
    assert 'The heading "Date in (dd/mm/yy)" says the day first, but the dates prove the month first' in both.doubts[0]
    assert decide({"Date in (dd/mm/yy)": ["02/03/24", ""], "Out (m/d/y)": ["", "03/04/24"]}).value == ""


def test_stays_that_would_end_before_they_begin_decide_when_there_are_three():
    into, out = ["05/11/2024", "06/11/2024", "07/11/2024"], ["02/12/2024", "03/12/2024", "04/12/2024"]
    for count, value in ((3, "dmy"), (2, "")):
        found = decide({"In": into[:count], "Out": out[:count]}, pairs=[("In", "Out")])
        assert found.value == value
        assert (
            f'"Out" would lie before "In" in {count} of {count} rows with the month first, in 0 with the day first.'
            in found.reasons
        )
    assert decide({"In": into, "Out": out}).value == ""
    swapped = {"In": ["11/05/2024", "11/06/2024", "11/07/2024"], "Out": ["12/02/2024", "12/03/2024", "12/04/2024"]}
    assert decide(swapped, pairs=[("In", "Out")]).value == "mdy"


def test_stays_are_measured_against_dates_that_need_no_order():
    found = decide(
        {"In": ["2024-03-20", "21 March 2024", "2024-03-22"], "Out": ["02/04/2024", "03/04/2024", "01/04/2024"]},
        pairs=[("In", "Out")],
    )
    assert found.value == "dmy"


def test_stays_that_speak_for_both_orders_decide_nothing():
    into = ["05/11/2024", "06/11/2024", "07/11/2024", "11/05/2024", "11/06/2024", "11/07/2024"]
    out = ["02/12/2024", "03/12/2024", "04/12/2024", "12/02/2024", "12/03/2024", "12/04/2024"]
    found = decide({"In": into, "Out": out}, pairs=[("In", "Out")])
    assert found.value == ""
    assert "speaks for both orders" in found.doubts[0]


def test_one_slip_does_not_undo_what_the_others_say():
    into = ["05/11/2024", "06/11/2024", "07/11/2024", "08/11/2024", "11/05/2024"]
    out = ["02/12/2024", "03/12/2024", "04/12/2024", "01/12/2024", "12/02/2024"]
    assert decide({"In": into, "Out": out}, pairs=[("In", "Out")]).value == "dmy"
    # Two of four are no slips any more.
    into, out = [*into, "11/06/2024"], [*out, "12/03/2024"]
    assert decide({"In": into, "Out": out}, pairs=[("In", "Out")]).value == ""


def test_pairs_that_speak_for_different_orders_decide_nothing():
    one = {"In": ["05/11/2024", "06/11/2024", "07/11/2024"], "Out": ["02/12/2024", "03/12/2024", "04/12/2024"]}
    other = {"Found": ["11/05/2024", "11/06/2024", "11/07/2024"], "Ended": ["12/02/2024", "12/03/2024", "12/04/2024"]}
    assert decide(one | other, pairs=[("In", "Out")]).value == "dmy"
    both = decide(one | other, pairs=[("In", "Out"), ("Found", "Ended")])
    assert both.value == ""
    assert "speaks for both orders" in both.doubts[0]


def test_a_stay_of_a_day_is_no_stay_before_its_beginning():
    same = ["05/11/2024", "06/11/2024", "07/11/2024"]
    found = decide({"In": same, "Out": same}, pairs=[("In", "Out")])
    assert found.value == ""
    assert "in 0 of 3 rows with the month first, in 0 with the day first" in found.reasons[0]


@pytest.mark.parametrize(
    ("heading", "told"),
    [
        ("Month", ["Apr", "May", "june 24"]),
        ("Month", ["4", "5", "6"]),
        ("Period", ["2024-04", "05/2024", "2024-06"]),
        ("Day", ["Tues", "Thursday", "sun."]),
    ],
)
def test_a_column_of_months_or_weekdays_decides(heading, told):
    # 2 April 2024 was a Tuesday, 2 May a Thursday, 2 June a Sunday.
    found = decide({"Date in": ["02/04/2024", "02/05/2024", "02/06/2024"]}, {heading: column(*told)})
    assert found.value == "dmy"
    assert f'3 of 3 dates in "Date in" agree with the column "{heading}" with the day first, 0' in found.reasons[0]


def test_numbers_under_another_heading_are_no_months():
    assert (
        decide({"Date in": ["02/03/2024", "02/04/2024", "02/05/2024"]}, {"Animals": column("3", "4", "5")}).value == ""
    )


def test_months_of_something_else_say_nothing():
    assert (
        decide({"Date in": ["02/03/2024", "02/04/2024", "02/05/2024"]}, {"Month": column("Mar", "Sep", "Oct")}).value
        == ""
    )


def test_rows_without_a_month_are_not_asked():
    found = decide(
        {"Date in": ["02/04/2024", "02/05/2024", "02/06/2024", "05/06/2024", "2024-07-07"]},
        {"Month": column("Apr", "May", "Jun", "", "Jul")},
    )
    assert found.value == "dmy"
    assert found.reasons[0].startswith("3 of 3 dates")


def test_the_name_of_a_sheet_tells_the_month():
    dates = {"Date in": ["03/01/2024", "03/02/2024", "03/04/2024", "03/05/2024"]}
    assert decide(dates, sheet="March 2024").value == "mdy"
    assert decide(dates, sheet="2024-03").value == "mdy"
    assert decide(dates, sheet="2024").value == ""
    assert decide(dates, sheet="Marching list").value == ""


def test_the_order_of_rows_decides():
    days = pd.date_range("2024-01-01", "2024-12-12", freq="17D")
    days = days[days.day <= 12]
    up = [f"{d:%d/%m/%Y}" for d in days]
    assert len(up) >= 8
    for dates, word in ((up, "up"), (up[::-1], "down")):
        found = decide({"Date in": dates})
        assert found.value == "dmy"
        assert (
            f'"Date in" runs {word} the rows in order of time with the day first ({len(up) - 1} of' in found.reasons[0]
        )
    assert decide({"Date in": up[:5]}).value == ""


def test_rows_in_order_of_time_either_way_say_nothing():
    # All of March: the days go up, and read month first the months do.
    assert decide({"Date in": [f"{d}/3/2024" for d in (1, 2, 4, 5, 6, 7, 8, 9, 10, 11, 12)]}).value == ""


def test_rows_in_no_order_say_nothing():
    days = pd.date_range("2024-01-01", "2024-12-12", freq="17D")
    days = days[days.day <= 12]
    mixed = [f"{d:%d/%m/%Y}" for d in days[[5, 2, 7, 0, 3, 6, 1, 4]]]
    assert decide({"Date in": mixed}).value == ""


# Day first sorted by its letters is month first in order of time.
def test_text_sorted_as_text_says_nothing():
    days = pd.date_range("2024-01-01", "2024-12-12", freq="17D")
    letters = sorted(f"{d:%d/%m/%Y}" for d in days[days.day <= 12])
    assert decide({"Date in": letters}).value == ""


def test_dates_after_today_speak_against_an_order():
    late = {"Date in": ["08/02/2026", "09/03/2026", "10/04/2026", "12/05/2026"]}
    found = decide(late, today=TODAY)
    assert found.value == "dmy"
    assert "4 of 4 dates" in found.reasons[0]
    assert "would lie after 20 June 2026 with the month first, 0 with the day first" in found.reasons[0]
    assert decide(late).value == ""
    assert decide({"Date in": late["Date in"][:3]}, today=TODAY).value == ""
    # Today itself is not after today: 2 August with the month first, 8 February with the day first.
    assert decide({"Date in": ["08/02/2026"] * 4}, today=pd.Timestamp("2026-08-02")).reasons == ()


def test_other_sheets_are_weaker():
    dates = {"Date in": ["02/03/2024", "04/05/2024"]}
    assert decide(dates, elsewhere={"Out": "dmy"}).value == ""
    both = decide(dates, elsewhere={"Out": "dmy", "Weights": "dmy"})
    assert both.value == "dmy"
    assert "Only other sheets" in both.doubts[0]
    assert decide(dates, elsewhere={"Out": "dmy", "Weights": "dmy", "Vet": "mdy"}).value == ""


def test_proof_that_the_rest_contradicts_is_doubted():
    into = ["13/01/2024", "11/05/2024", "11/06/2024", "11/07/2024", "11/08/2024"]
    out = ["", "12/02/2024", "12/03/2024", "12/04/2024", "12/05/2024"]
    found = decide({"In": into, "Out": out}, pairs=[("In", "Out")])
    assert found.value == ""
    assert any("4 of 4 rows" in d or "in 4 with the day first" in d for d in found.doubts)


def test_real_dates_that_a_program_swapped_are_doubted():
    real = [f"2024-0{m}-0{d}" for m, d in ((1, 2), (3, 4), (5, 6), (7, 8))]
    found = decide({"Date in": [*real, "13/01/2024", "25/02/2024", "30/03/2024", "28/04/2024"]})
    assert found.value == "dmy"
    assert "may have swapped day and month" in found.doubts[0]
    sound = decide({"Date in": [*real[:3], "2024-05-13", "13/01/2024", "25/02/2024", "30/03/2024"]})
    assert sound.doubts == ()


def test_a_column_without_any_day_above_12_is_doubted_unless_it_is_a_habit():
    odd = [f"0{d}/0{m}/2024" for d, m in ((1, 2), (2, 9), (3, 4), (4, 5), (9, 6), (6, 1), (7, 8), (8, 3))]
    proved = {"In": ["13/03/2024"] * len(odd)}
    assert "which is unusual" in decide(proved | {"Out": odd}).doubts[0]
    firsts = [f"01/{m:02d}/2024" for m in range(1, 13)]
    assert decide({"In": ["13/03/2024"] * 12, "Out": firsts}).doubts == ()


def test_two_digit_years_in_front():
    found = decide({"Date in": ["24-03-31", "24-04-05", "24-11-12", "23-12-28"]})
    assert found.value == "ymd"
    assert "run from 23 to 24, the last from 5 to 31" in found.reasons[0]
    assert decide({"Date in": ["31/03/24", "05/04/24", "12/11/24", "28/12/23"]}).value == "dmy"
    assert decide({"Date in": ["03/31/24", "04/05/24"]}).value == "mdy"
    assert decide({"Date in (yy-mm-dd)": ["24-03-02"]}).value == "ymd"
    unclear = decide({"Date in": ["22-03-21", "20-04-23", "21-11-22"]})
    assert unclear.value == ""
    assert "Years have two digits" in unclear.doubts[0]
    # A year after today is none: 28 March 2024, not 24 March 2028.
    assert decide({"Date in": ["28-03-24", "30-04-23", "29-11-22"]}, today=TODAY).value == "dmy"


def test_missing_columns_and_blank_cells_do_no_harm():
    found = decide({"In": ["", " ", "soon"], "Out": ["", "", ""]}, pairs=[("In", "Out"), ("In", "Gone")], today=TODAY)
    assert (found.value, found.reasons, found.doubts) == ("", (), ())


def register(rng, rows, *, low, slip=0.02):
    """Intakes in order (one in twenty entered late) and outcomes 0-200 days on; one date in fifty has a slip."""
    many = rows * 60 if low else rows
    into = TODAY - pd.to_timedelta(rng.integers(0, 730, many), unit="D")
    out = into + pd.to_timedelta(np.floor(rng.gamma(1.2, 45, many)), unit="D")
    keep = np.flatnonzero((not low) | ((into.day <= 12) & ((out.day <= 12) | (out > TODAY))))[:rows]
    into, out = into[keep], out[keep]
    key = np.where(rng.random(len(into)) < 0.05, rng.permutation(into.asi8), into.asi8)
    order = np.argsort(key, kind="stable")
    pair = []
    for days in (into[order], out[order]):
        days = pd.Series(days)
        slipped = [d.replace(day=min(d.day, 28), month=int(rng.integers(1, 13))) for d in days]
        pair.append(days.where(rng.random(len(days)) >= slip, pd.Series(slipped, index=days.index)))
    return pair[0], pair[1].where(pair[1] <= TODAY)


def typed(days, shape):
    return column(*("" if pd.isna(d) else shape.format(d=d.day, m=d.month, y=d.year, s=d.year % 100) for d in days))


def simulate(rng, rows, clues, *, low, truth, years):
    into, out = register(rng, rows, low=low)
    shape = SHAPES[truth, years]
    into_text = typed(into, shape)
    if "rows" not in clues:
        order = rng.permutation(len(into))
        into, out, into_text = into.iloc[order], out.iloc[order], into_text.iloc[order].reset_index(drop=True)
    texts = {"Date in": into_text, "Date out": typed(out, shape)}
    others = {"Month": column(*into.dt.strftime("%b"))} if "month" in clues else {}
    pairs = [("Date in", "Date out")] if "stays" in clues else []
    return decide(texts, others, pairs=pairs, today=TODAY if "future" in clues else None).value


CLUES = [(), ("stays",), ("month",), ("rows",), ("future",), ("stays", "future"), ("stays", "month", "rows", "future")]


@pytest.mark.slow
def test_a_decision_is_right_and_what_is_not_clear_stays_open():
    """Share decided right, left open and decided wrong, with and without each clue, with days above 12 and without."""
    rng = np.random.default_rng(20260620)
    every, each = Counter(), 150
    print(f"\n{'days':>8} {'clues':>28} {'rows':>5} {'right':>7} {'open':>7} {'wrong':>7}")
    shares = {}
    for low in (False, True):
        for clues in CLUES:
            for rows in (5, 20, 60):
                found = Counter()
                for turn in range(each):
                    truth, years = ("dmy", "mdy")[turn % 2], (2, 4)[turn // 2 % 2]
                    value = simulate(rng, rows, clues, low=low, truth=truth, years=years)
                    found["right" if value == truth else "open" if not value else "wrong"] += 1
                every += found
                share = {k: found[k] / each for k in ("right", "open", "wrong")}
                shares[low, clues, rows] = share
                told = "  ".join(f"{v:6.1%}" for v in share.values())
                print(f"{'1-12' if low else '1-31':>8} {'+'.join(clues) or 'none':>28} {rows:>5} {told}")
    print(f"wrong in all: {every['wrong']} of {every.total()}")
    assert every["wrong"] <= 0.005 * every.total()
    assert shares[False, (), 5]["right"] > 0.95
    assert shares[True, (), 20]["open"] > 0.85
    assert shares[True, ("stays",), 20]["right"] > 0.8
    assert shares[True, ("month",), 5]["right"] > 0.95
    assert shares[True, ("rows",), 20]["right"] > 0.8
    assert shares[True, ("stays", "month", "rows", "future"), 60]["right"] > 0.95
