"""The ledger to the cent, the roll-forward of a grant, cost per episode and per adoption."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import costs
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

YEAR = period("2025-01-01", "2025-12-31")


def rescue(spending=None, *, n=4, as_of="2025-12-31", **tables):
    ids = [f"S-{i}" for i in range(1, n + 1)]
    base = {
        "intakes": pd.DataFrame(
            {"stay_id": ids, "species": "corn snake", "intake_date": "2025-02-01", "intake_type": "stray"}
        ),
        "conditions": pd.DataFrame(
            {
                "episode_id": [f"E-{i}" for i in range(1, n + 1)],
                "stay_id": ids,
                "condition": "burn",
                "found_on": "2025-02-01",
            }
        ),
    }
    if spending is not None:
        base["spending"] = pd.DataFrame(spending)
    return from_frames(as_of=as_of, records_start="2025-01-01", **base | tables)


def bill(on, amount, category="medical", **more):
    return {"spent_on": on, "amount": str(amount), "category": category, **more}


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


def ended(n, days):
    return pd.DataFrame(
        {
            "episode_id": [f"E-{i}" for i in range(1, n + 1)],
            "stay_id": [f"S-{i}" for i in range(1, n + 1)],
            "condition": "burn",
            "found_on": "2025-02-01",
            "ended_on": [
                None if d is None else str(pd.Timestamp("2025-02-01") + pd.Timedelta(days=d))[:10] for d in days
            ],
            "ended_as": [None if d is None else "cleared" for d in days],
        }
    )


def test_cost_per_episode_is_the_plain_mean_when_all_have_ended():
    records = rescue(
        [
            bill("2025-02-01", 10, episode_id="E-1"),
            bill("2025-03-20", 30, episode_id="E-2"),
            bill("2025-02-10", 20, stay_id="S-3"),
            bill("2025-02-10", 500, "running", stay_id="S-3"),
        ],
        n=6,
        conditions=ended(6, [5, 60, 20, 30, 40, 50]),
    )
    row = costs.per_episode(records, draws=50).to_frame().iloc[0]
    assert row["mean"] == pytest.approx(10)
    assert row["spent"] == 60
    assert (row["running"], row["ended_or_full"]) == (0, 6)


def test_those_still_running_count_for_as_long_as_they_were_seen():
    days = [10, 10, 10, 10, None, None]
    records = rescue(
        [bill("2025-02-05", 10, episode_id=f"E-{i}") for i in range(1, 7)],
        n=6,
        conditions=ended(6, days),
        as_of="2025-03-31",
    )
    row = costs.per_episode(records, draws=50).to_frame().iloc[0]
    assert row["running"] == 2
    # Nobody was followed past day 58, so costs are known to day 30; there all six are complete.
    assert row["to_day"] == 30
    assert row["mean"] == pytest.approx(10)
    assert row["mean_of_closed"] == pytest.approx(10)


def test_an_episode_found_before_the_records_start_is_left_out_and_counted():
    conditions = ended(6, [10] * 6)
    conditions.loc[0, "found_on"] = "2024-12-20"
    came = pd.DataFrame(
        {
            "stay_id": [f"S-{i}" for i in range(1, 7)],
            "species": "corn snake",
            "intake_date": ["2024-12-20"] + ["2025-02-01"] * 5,
            "intake_type": "stray",
        }
    )
    answer = costs.per_episode(
        rescue([bill("2025-02-05", 10, episode_id="E-2")], n=6, conditions=conditions, intakes=came), draws=20
    )
    assert answer.entered_late == 1
    assert answer.to_frame()["episodes"].iloc[0] == 5


def test_medical_spending_of_a_stay_with_two_episodes_is_nobodys():
    conditions = ended(6, [10] * 6)
    conditions.loc[1, "stay_id"] = "S-1"
    answer = costs.per_episode(rescue([bill("2025-02-05", 10, stay_id="S-1")], n=6, conditions=conditions), draws=20)
    assert answer.unattributed == 10
    assert any("cannot be tied to one episode" in note for note in answer.notes())


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


def test_money_before_an_episode_or_after_its_end_or_after_day_180_is_in_no_mean_and_listed():
    bills = [
        bill("2025-01-05", 900, stay_id="S-3"),
        bill("2025-02-05", 10, episode_id="E-1"),
        bill("2025-02-11", 10, episode_id="E-1"),
        bill("2025-02-12", 60, episode_id="E-1"),
        bill("2025-07-31", 20, episode_id="E-2"),
        bill("2025-09-20", 70, episode_id="E-2"),
    ]
    answer = costs.per_episode(rescue(bills, n=6, conditions=ended(6, [10, 300, 10, 10, 10, 10])), draws=20)
    row = answer.to_frame().iloc[0]
    assert row["spent"] == 40
    assert row["mean"] == pytest.approx(40 / 6)
    assert answer.outside()[["amount", "why"]].to_numpy().tolist() == [
        [900, "before its episode was found"],
        [60, "after its episode ended or was last heard of"],
        [70, "after day 180 of its episode"],
    ]
    assert answer.parts()["amount"].tolist() == [40, 900, 60, 70, 1070]
    assert any("1,030.00 EUR in 3 entries lies outside" in note for note in answer.notes())


@pytest.mark.parametrize("seed", range(5))
def test_medical_spending_reconciles_to_the_cent_whatever_it_names(seed):
    rng = np.random.default_rng(seed)
    conditions = ended(6, [10, 300, None, 0, 40, 10])
    conditions.loc[5, ["stay_id", "condition"]] = ["S-1", "mites"]  # S-1 has two, S-6 none
    conditions.loc[4, "found_on"] = "2024-12-01"
    rows = [
        bill(
            str(pd.Timestamp("2025-01-01") + pd.Timedelta(days=int(rng.integers(0, 365))))[:10],
            Decimal(int(rng.integers(1, 100_000))) / 100,
            rng.choice(["medical", "running"]),
            stay_id=rng.choice([*(f"S-{i}" for i in range(1, 7)), None]),
        )
        for _ in range(200)
    ]
    answer = costs.per_episode(rescue(rows, n=6, conditions=conditions), draws=20)
    total = sum(Decimal(r["amount"]) for r in rows if r["category"] == "medical")
    parts = answer.parts()
    assert parts["amount"].iloc[-1] == total == sum(parts["amount"].iloc[:-1])
    assert len(parts) == 9
    assert answer.to_frame()["spent"].iloc[0] == parts["amount"].iloc[0]
    listed = parts.set_index("medical_spending")["amount"].iloc[1:4].sum()
    assert answer.outside()["amount"].sum() == listed


def test_medical_spending_that_does_not_add_up_is_refused():
    from mendcurve.questions.costs_windows import parts

    rows = pd.DataFrame({"place": ["tied to no animal"], "amount": [Decimal(5)]})
    with pytest.raises(InputError, match="must add up"):
        parts(rows, Decimal(6), "EUR")


def test_day_30_belongs_to_the_first_30_days():
    # E-6 is cut off on day 35: it is complete in the first 30 days only, so a cost on day 30 counts once for all six.
    conditions = ended(6, [60, 60, 60, 60, 60, None])
    came = pd.DataFrame(
        {
            "stay_id": [f"S-{i}" for i in range(1, 7)],
            "species": "corn snake",
            "intake_date": ["2025-02-01"] * 5 + ["2025-02-26"],
            "intake_type": "stray",
        }
    )
    conditions.loc[5, "found_on"] = "2025-02-26"
    bills = [bill("2025-03-03", 30, episode_id=f"E-{i}") for i in range(1, 6)] + [
        bill("2025-03-28", 90, episode_id="E-6")
    ]
    row = (
        costs.per_episode(rescue(bills, n=6, conditions=conditions, intakes=came, as_of="2025-04-02"), draws=20)
        .to_frame()
        .iloc[0]
    )
    assert row["mean"] == pytest.approx(40)


def test_a_later_episode_of_a_condition_in_the_stay_is_left_out_and_counted():
    conditions = ended(6, [10] * 6)
    conditions.loc[1, ["stay_id", "found_on", "ended_on"]] = ["S-1", "2025-03-01", "2025-03-20"]
    answer = costs.per_episode(rescue([bill("2025-02-05", 10, episode_id="E-1")], n=6, conditions=conditions), draws=20)
    assert answer.relapses == 1
    assert answer.to_frame()["episodes"].iloc[0] == 5
