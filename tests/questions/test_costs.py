"""The ledger to the cent, the roll-forward of a grant, cost per episode and per adoption."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import costs
from mendcurve.timelines.period import period
from questions.bills import bill, rescue

YEAR = period("2025-01-01", "2025-12-31")


GRANT = {
    "grant_id": "G-1",
    "funder": "Invented Fund",
    "amount": "3000",
    "awarded_on": "2024-12-01",
    "starts_on": "2025-01-01",
    "ends_on": "2025-12-31",
    "restricted_to": "medical",
    "opening_balance": "1200",
    "goal_animals": 3,
}
RECEIVED = pd.DataFrame([{"grant_id": "G-1", "received_on": "2025-03-01", "amount": "3000"}])


# TRADE.md 4, derived there: opening 1,200 + received 3,000 - qualifying spend 2,650 = closing 1,550.
def test_the_roll_forward_check():
    records = rescue(
        [bill("2025-04-01", 2650, grant_id="G-1", stay_id="S-1"), bill("2025-04-02", 99, stay_id="S-2")],
        grants=pd.DataFrame([GRANT]),
        receipts=RECEIVED,
    )
    answer = costs.grant(records, "G-1", YEAR)
    amounts = dict(zip(answer.to_frame()["line"], answer.to_frame()["amount"], strict=True))
    assert amounts == {
        "opening": 1200,
        "received": 3000,
        "qualifying spending": 2650,
        "paid by unrestricted money": 0,
        "closing": 1550,
    }
    assert "closed with 1,550.00 EUR. It ended on 31 December 2025." in answer.sentence()
    assert (
        "1 animal of the 2 that anyone paid for in the period, and 1 so far against a goal of 3." in answer.sentence()
    )


def test_overspending_falls_on_unrestricted_money_and_the_balance_never_goes_below_zero():
    records = rescue([bill("2025-02-01", 5000, grant_id="G-1")], grants=pd.DataFrame([GRANT]), receipts=RECEIVED)
    answer = costs.grant(records, "G-1", YEAR)
    assert answer.line("closing") == 0
    assert answer.line("paid by unrestricted money") == 800
    later = costs.grant(records, "G-1", period("2025-06-01", "2025-12-31"))
    assert later.line("opening") == 0


def test_the_opening_balance_is_rolled_forward_to_the_day_before_the_period():
    records = rescue(
        [bill("2025-02-01", 200, grant_id="G-1"), bill("2025-06-01", 50, grant_id="G-1")],
        grants=pd.DataFrame([GRANT]),
        receipts=RECEIVED,
    )
    answer = costs.grant(records, "G-1", period("2025-03-01", "2025-12-31"))
    assert [answer.line(x) for x in ("opening", "received", "qualifying spending", "closing")] == [1000, 3000, 50, 3950]


@pytest.mark.parametrize(
    ("entry", "why"),
    [
        (bill("2025-05-01", 10, "running", grant_id="G-1"), "not medical"),
        (bill("2025-05-01", 10, grant_id="G-1", in_kind="yes"), "a gift in kind"),
        (bill("2025-11-30", 10, grant_id="G-1"), "after the grant's last day"),
        (bill("2025-01-02", 10, grant_id="G-1"), "before the grant's first day"),
    ],
)
def test_what_does_not_qualify_is_listed_and_not_charged(entry, why):
    dates = {"starts_on": "2025-02-01", "ends_on": "2025-10-31"}
    answer = costs.grant(rescue([entry], grants=pd.DataFrame([GRANT | dates]), receipts=RECEIVED), "G-1", YEAR)
    assert answer.not_qualifying()["why"].tolist() == [why]
    assert answer.line("closing") == 4200


def test_an_animal_paid_by_two_is_one_animal_helped():
    two = pd.DataFrame([GRANT, GRANT | {"grant_id": "G-2"}])
    records = rescue(
        [
            bill("2025-04-01", 10, grant_id="G-1", stay_id="S-1"),
            bill("2025-04-01", 10, grant_id="G-2", episode_id="E-1"),
            bill("2025-04-01", 10, grant_id="G-2", stay_id="S-2"),
        ],
        grants=two,
        receipts=RECEIVED,
    )
    row = costs.grant(records, "G-1", YEAR).animals().iloc[0]
    assert row.tolist() == ["in the period", 1, 1, 2]
    assert costs.grant(records, "G-2", YEAR).animals().iloc[0]["funded_animals"] == 2


def test_an_unknown_grant_is_refused_with_the_nearest():
    with pytest.raises(InputError, match='Did you mean "G-1"'):
        costs.grant(rescue(grants=pd.DataFrame([GRANT])), "G1", YEAR)


def test_nothing_recorded_says_so():
    records = rescue()
    for answer in (
        costs.ledger(records, YEAR),
        costs.untied(records, YEAR),
        costs.per_episode(records, draws=20),
        costs.per_adoption(records, YEAR),
    ):
        assert answer.sentence() == "Spending is not recorded."
        answer._repr_html_()
    assert costs.grant(records, "G-1", YEAR).sentence() == "Grants are not recorded."


@pytest.mark.parametrize("seed", range(5))
def test_the_ledger_reconciles_to_the_cent_on_random_entries(seed):
    rng = np.random.default_rng(seed)
    rows = [
        bill(
            str(pd.Timestamp("2025-01-01") + pd.Timedelta(days=int(rng.integers(0, 365))))[:10],
            Decimal(int(rng.integers(1, 100_000))) / 100,
            rng.choice(["medical", "running", "other"]),
            stay_id=rng.choice(["S-1", "S-2", "S-99", None]),
            episode_id=rng.choice(["E-3", None]),
            in_kind=rng.choice(["yes", None]),
        )
        for _ in range(200)
    ]
    records = rescue(rows)
    total = sum(Decimal(r["amount"]) for r in rows)
    answer, loose = costs.ledger(records, YEAR), costs.untied(records, YEAR)
    assert sum(answer.to_frame()["amount"]) == total == answer.total
    assert answer.by_animal()["amount"].sum() == total
    assert answer.tied + loose.total == total
    assert answer.to_frame()["entries"].sum() == 200
    halves = [
        costs.ledger(records, p).total for p in (period("2025-01-01", "2025-06-30"), period("2025-07-01", "2025-12-31"))
    ]
    assert sum(halves) == total


def test_an_entry_without_a_category_is_kept_as_not_recorded():
    answer = costs.ledger(rescue([bill("2025-04-01", "0.10", None), bill("2025-04-01", "0.20")]), YEAR)
    assert answer.to_frame()["category"].tolist() == ["medical", "not recorded"]
    assert answer.total == Decimal("0.30")


def test_a_ledger_that_does_not_add_up_is_refused(monkeypatch):
    from mendcurve.questions import costs_ledger

    monkeypatch.setattr(costs_ledger, "spent", lambda r, p, whole=costs_ledger.spent: whole(r, p).iloc[1:])
    with pytest.raises(InputError, match="The books must add up"):
        costs.ledger(rescue([bill("2025-04-01", 1), bill("2025-04-02", 2)]), YEAR)


def test_what_is_tied_to_no_animal_is_listed_with_the_reason():
    answer = costs.untied(rescue([bill("2025-04-01", 5, stay_id="S-77"), bill("2025-04-02", 7)]), YEAR)
    assert answer.to_frame()["why"].tolist() == [
        "names no animal",
        "names a stay or episode that is not in the records",
    ]
    assert answer.sentence().startswith("12.00 EUR in 2 entries from 1 January 2025")


def test_full_cost_per_adoption_includes_those_that_died_or_are_still_here():
    gone = pd.DataFrame(
        [
            {"stay_id": "S-1", "outcome_date": "2025-02-11", "outcome_type": "adopted"},
            {"stay_id": "S-2", "outcome_date": "2025-02-21", "outcome_type": "adopted"},
            {"stay_id": "S-3", "outcome_date": "2025-02-02", "outcome_type": "died"},
        ]
    )
    records = rescue(
        [bill("2025-03-01", 100, stay_id="S-3"), bill("2025-03-01", "200.01", "running")],
        outcomes=gone,
        as_of="2025-03-02",
    )
    row = costs.per_adoption(records, period("2025-02-01", "2025-03-02")).to_frame().iloc[0]
    assert row["per_adoption"] == Decimal("150.01")
    assert row["care_days"] == 10 + 20 + 1 + 30
    assert row["per_care_day"] == Decimal("4.92")


def test_money_received_for_another_grant_is_not_this_ones():
    two = pd.DataFrame([GRANT, GRANT | {"grant_id": "G-2"}])
    answer = costs.grant(rescue(grants=two, receipts=RECEIVED), "G-2", YEAR)
    assert answer.line("received") == 0


def test_care_days_count_animals_and_begin_with_the_period():
    came = pd.DataFrame(
        [
            {
                "stay_id": "S-1",
                "species": "corn snake",
                "intake_date": "2025-02-01",
                "intake_type": "stray",
                "group_size": 3,
            },
            {
                "stay_id": "S-2",
                "species": "corn snake",
                "intake_date": "2025-02-01",
                "intake_type": "stray",
                "group_size": 1,
            },
        ]
    )
    left = pd.DataFrame({"stay_id": ["S-2"], "outcome_date": ["2025-02-05"], "outcome_type": ["adopted"]})
    records = rescue(
        [bill("2025-03-05", 30)],
        intakes=came,
        outcomes=left,
        as_of="2025-03-31",
        conditions=pd.DataFrame(columns=["episode_id", "stay_id", "condition", "found_on"]),
    )
    row = costs.per_adoption(records, period("2025-03-01", "2025-03-10")).to_frame().iloc[0]
    assert row["care_days"] == 30
    assert row["per_care_day"] == 1
