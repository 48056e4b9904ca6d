"""Where no outcomes are recorded nothing speaks as if nobody left: each answer says so, and has no rows."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve import figures as draw
from mendcurve.documents.tables import table
from mendcurve.questions import capacity, costs, outcomes, stay, summary
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

YEAR = period("2025-01-01", "2025-12-31")


@pytest.fixture(scope="module")
def records():
    came = pd.date_range("2024-07-01", "2025-12-01", periods=40).normalize()
    ids = [f"S-{i}" for i in range(40)]
    return from_frames(
        as_of="2025-12-31",
        records_start="2024-07-01",
        intakes=pd.DataFrame(
            {"stay_id": ids, "animal_id": ids, "species": "corn snake", "intake_date": came, "intake_type": "stray"}
        ),
        moves=pd.DataFrame({"stay_id": ids, "moved_on": came, "zone": "quarantine"}),
        housing=pd.DataFrame({"from_date": ["2024-07-01"], "zone": "quarantine", "places": 60}),
    )


ANSWERS = {
    "counts": lambda r: outcomes.summary(r, YEAR),
    "by group": lambda r: outcomes.by_group(r, YEAR),
    "rates": lambda r: outcomes.rates(r, YEAR),
    "returns": outcomes.returns,
    "length": lambda r: stay.length(r, YEAR),
    "fate": stay.fate,
    "longest": stay.longest,
    "phases": stay.phases,
    "zones": stay.zones,
    "today": capacity.today,
    "forecast": lambda r: capacity.forecast(r, 2, draws=10),
    "places": lambda r: capacity.places_needed(r, 2, draws=10),
    "what if": lambda r: capacity.what_if(r, 2, draws=10),
    "backtest": lambda r: capacity.backtest(r, most_origins=1, days_ahead=(7,), draws=10),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_every_answer_about_leaving_says_that_it_is_not_known_and_shows_no_rows(records, name):
    answer = ANSWERS[name](records)
    assert "Outcomes are not recorded, so " in answer.sentence()
    assert "none left" not in answer.sentence()
    assert answer.to_frame().empty
    assert answer.notes() == ()
    table(answer)._repr_html_()


def test_there_is_no_cost_of_an_adoption_or_of_a_day_of_care():
    came = pd.DataFrame(
        {"stay_id": ["S"], "species": "corn snake", "intake_date": "2025-02-01", "intake_type": "stray"}
    )
    bill = pd.DataFrame({"spent_on": ["2025-03-01"], "amount": ["5"], "category": "running"})
    answer = costs.per_adoption(
        from_frames(as_of="2025-12-31", records_start="2025-01-01", intakes=came, spending=bill)
    )
    assert answer.sentence().startswith("Outcomes are not recorded, so the cost of an adoption")
    assert answer.to_frame().empty
    assert answer.notes() == ()


@pytest.mark.parametrize(
    ("figure", "name"),
    [
        ("rates", "rates"),
        ("outcomes_flow", "by group"),
        ("returns_curve", "returns"),
        ("stay_curves", "length"),
        ("phases", "phases"),
        ("zone_days", "zones"),
        ("census_today", "today"),
        ("census_fan", "forecast"),
        ("places_curve", "places"),
        ("backtest", "backtest"),
    ],
)
def test_no_picture_is_drawn_of_what_is_not_known(records, figure, name):
    picture = getattr(draw, figure)(ANSWERS[name](records))
    assert picture.alt.startswith("No picture: Outcomes are not recorded")


def test_the_balance_and_the_months_keep_what_came_in_only(records):
    balance, months = outcomes.balance(records, YEAR), outcomes.monthly(records, YEAR)
    assert list(balance.to_frame().columns) == ["taxon", "came_in"]
    assert "how many left, and how many were in care, is not known" in balance.sentence()
    assert balance.notes() == ()
    assert list(months.to_frame().columns) == ["month", "whole", "came_in"]
    assert months.sentence().endswith("so how many left is not known.")


def test_the_summary_tells_neither_who_was_here_nor_who_left(records):
    told = summary.what_happened(records, YEAR)
    came = int(outcomes.intakes(records, YEAR).to_frame()["all"].iloc[-1])
    assert f"{came} animals came in. Outcomes are not recorded, so how many left" in told.sentence()
    assert "cared for" not in told.sentence()
    assert told.to_frame()["what"].tolist() == ["came in", "with an open condition"]
