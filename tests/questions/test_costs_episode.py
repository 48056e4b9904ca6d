"""Medical cost of an episode: what counts, what is left out, what reconciles."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import costs
from questions.bills import bill, rescue


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
