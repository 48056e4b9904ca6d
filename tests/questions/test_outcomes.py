"""Outcomes: five rates against a published check case, the balance, counts that add up, returns."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.questions import outcomes
from mendcurve.questions.outcomes_balance import prove
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

AS_OF = "2025-12-31"
YEAR = period("2025-01-01", "2025-12-31")


def records(intakes=(), out=(), *, start="2024-01-01", settings=None, **tables):
    given = {
        name: pd.DataFrame(list(rows))
        for name, rows in {"intakes": intakes, "outcomes": out, **tables}.items()
        if len(rows)
    }
    return from_frames(as_of=AS_OF, records_start=start, settings=settings, **given)


def came(stay_id, intake_date="2025-02-01", **more):
    return {"stay_id": stay_id, "species": "corn snake", "intake_type": "stray", "intake_date": intake_date, **more}


def left(stay_id, outcome_type="adopted", outcome_date="2025-06-01", **more):
    return {"stay_id": stay_id, "outcome_date": outcome_date, "outcome_type": outcome_type, **more}


# Check case by arithmetic (no outside authority): start 30, intake 60; adopted 40, transferred 5, returned to owner 1,
# died 3, lost 1, euthanised 4 of which 1 at the owner's request. The formulas are five published variants: live release
# without died or lost (Asilomar form, from memory), without owner-requested, of all outcomes, save rate, live of
# intakes.
CHECK = {
    "without died or missing": (46, 49),
    "without owner-requested euthanasia": (46, 53),
    "all outcomes": (46, 54),
    "of intakes, less non-live": (52, 60),
    "live outcomes per intake": (46, 60),
}
KINDS = {
    "adopted": 40,
    "transferred out": 5,
    "returned to owner": 1,
    "died": 3,
    "missing": 1,
    "euthanised": 3,
    "euthanised at owner's request": 1,
}


def check_case():
    intakes = [came(f"S{i}", "2024-11-01" if i < 30 else "2025-02-01") for i in range(90)]
    kinds = [kind for kind, n in KINDS.items() for _ in range(n)]
    return records(intakes, [left(f"S{i}", kind) for i, kind in enumerate(kinds)])


def test_the_five_rates_of_the_check_case():
    frame = outcomes.rates(check_case(), YEAR).to_frame().set_index("rate")
    assert {name: (int(r.numerator), int(r.denominator)) for name, r in frame.iterrows()} == CHECK
    assert frame["share"].round(3).to_dict() == {
        "without died or missing": 0.939,
        "without owner-requested euthanasia": 0.868,
        "all outcomes": 0.852,
        "of intakes, less non-live": 0.867,
        "live outcomes per intake": 0.767,
    }


def test_the_check_case_balances_to_36():
    row = outcomes.balance(check_case(), YEAR).to_frame().iloc[-1]
    assert row[["start", "came_in", "left", "end"]].tolist() == [30, 60, 54, 36]


# Wilson 95 % for 42 of 48: 75.3 to 94.1 % (by arithmetic).
def test_a_rate_of_outcomes_has_the_wilson_interval():
    kinds = ["adopted"] * 42 + ["died"] * 6
    table = records([came(f"S{i}") for i in range(48)], [left(f"S{i}", k) for i, k in enumerate(kinds)])
    row = outcomes.rates(table, YEAR).to_frame().set_index("rate").loc["all outcomes"]
    assert (round(row["low"], 3), round(row["high"], 3)) == (0.753, 0.941)


def test_a_group_that_left_together_is_the_evidence_of_one_animal():
    one = records([came("S1"), came("S2")], [left("S1"), left("S2", "died")])
    many = records([came("S1", group_size=30), came("S2", group_size=30)], [left("S1"), left("S2", "died")])
    narrow, wide = (outcomes.rates(t, YEAR).to_frame().set_index("rate").loc["all outcomes"] for t in (one, many))
    assert wide["denominator"] == 60
    assert (wide["low"], wide["high"]) == pytest.approx((narrow["low"], narrow["high"]))


def test_the_resampled_interval_is_seeded_and_about_as_wide_as_theory_says():
    frame = outcomes.rates(check_case(), YEAR).to_frame().set_index("rate")
    again = outcomes.rates(check_case(), YEAR).to_frame().set_index("rate")
    row = frame.loc["of intakes, less non-live"]
    assert (row["low"], row["high"]) == tuple(again.loc["of intakes, less non-live", ["low", "high"]])
    # 8 of 84 clusters with an event, over 60 of 84 with an intake: delta method of a ratio, independent here
    spread = np.sqrt((8 / 60) ** 2 * (1 / 8 - 1 / 84 + 1 / 60 - 1 / 84))
    assert row["high"] - row["low"] == pytest.approx(2 * 1.96 * spread, rel=0.35)


def test_the_headline_is_the_rescues_choice():
    table = check_case()
    chosen = records(table["intakes"].to_dict("records"), table["outcomes"].to_dict("records"),
                     settings={"outcomes.headline": "live outcomes per intake"})  # fmt: skip
    answer = outcomes.rates(chosen, YEAR)
    assert answer.frame.loc[answer.frame["headline"], "rate"].tolist() == ["live outcomes per intake"]
    assert "46 of 60" in answer.sentence()


def test_dead_on_arrival_and_not_recorded_are_told_apart():
    table = records([came("A", dead_on_arrival=True), came("B"), came("C")], [left("B"), left("C", "not recorded")])
    answer = outcomes.rates(table, YEAR)
    row = answer.to_frame().set_index("rate").loc["all outcomes"]
    assert (row["numerator"], row["denominator"], answer.dead_on_arrival, answer.unknown) == (1, 2, 1, 1)
    saved = answer.to_frame().set_index("rate").loc["of intakes, less non-live"]
    assert (saved["numerator"], saved["denominator"]) == (1, 2)
    counts = outcomes.summary(table, YEAR).to_frame().set_index("outcome")["animals"]
    assert counts[["adopted", "died", "not recorded", "all"]].tolist() == [1, 1, 1, 3]


def test_deaths_on_the_day_of_arrival_or_the_next_are_apart():
    table = records(
        [came("A", dead_on_arrival=True), came("B"), came("C"), came("D")],
        [left("B", "died", "2025-02-02"), left("C", "euthanised", "2025-02-01"), left("D", "died", "2025-02-03")],
    )
    early = outcomes.summary(table, YEAR).early.set_index("when")["animals"]
    assert early.tolist() == [1, 2, 1]


def test_a_difference_is_claimed_only_when_its_interval_leaves_out_0():
    def year(n_live, n_dead, date):
        kinds = ["adopted"] * n_live + ["died"] * n_dead
        ids = [f"{date}-{i}" for i in range(len(kinds))]
        return [came(s, date[:8] + "01") for s in ids], [left(s, k, date) for s, k in zip(ids, kinds, strict=True)]

    def says(now, then):
        (a, b), (c, d) = year(*now, "2025-06-15"), year(*then, "2024-06-15")
        frame = outcomes.rates(records(a + c, b + d), YEAR).comparisons()
        return frame[(frame["rate"] == "all outcomes") & (frame["compared_with"] == "the year before")].iloc[0]

    assert says((45, 5), (43, 7))["says"] == "no clear difference"
    clear = says((49, 1), (30, 20))
    assert clear["says"] == "38 percentage points higher now"
    assert clear["low"] > 0
    assert says((30, 20), (49, 1))["says"] == "38 percentage points lower now"


# Newcombe (1998), Statistics in Medicine 17:873-890, method 10: 56/70 - 48/80 = 0.2, 0.0524 to 0.3339 (from memory).
def test_a_difference_has_newcombes_interval():
    kinds = [("2025-06-15", 56, 14), ("2024-06-15", 48, 32)]
    intakes, out = [], []
    for date, live, dead in kinds:
        for i, kind in enumerate(["adopted"] * live + ["died"] * dead):
            intakes.append(came(f"{date}{i}", date))
            out.append(left(f"{date}{i}", kind, date))
    frame = outcomes.rates(records(intakes, out), YEAR).comparisons().set_index(["rate", "compared_with"])
    row = frame.loc[("all outcomes", "the year before")]
    assert (round(row["low"], 4), round(row["high"], 4)) == (0.0524, 0.3339)


def test_earlier_periods_are_compared_only_where_the_records_reach():
    table = check_case()
    assert outcomes.rates(table, period("2024-06-01", "2024-12-31")).comparisons().empty


def test_a_period_after_the_as_of_date_is_refused():
    with pytest.raises(InputError, match="on or before the as-of date"):
        outcomes.rates(check_case(), period("2025-01-01", "2026-01-31"))


def test_every_outcome_has_a_row_and_totals_add_up():
    table = records([came("A"), came("B") | {"species": "axolotl"}], [left("A"), left("B", "died")])
    frame = outcomes.by_group(table, YEAR).to_frame()
    assert frame["outcome"].tolist()[-2:] == ["not recorded", "all"]
    assert len(frame) == 10
    assert frame.set_index("outcome").loc["released"].tolist() == [0, 0, 0]
    assert frame.set_index("outcome").loc["all"].tolist() == [1, 1, 2]


def test_intakes_by_type_count_groups_in_animals_and_in_records_and_splits_not_at_all():
    table = records(
        [came("G", group_size=5), came("X", "2025-03-01", split_from="G"), came("Y", intake_type="born in care")]
    )
    answer = outcomes.intakes(table, YEAR)
    assert answer.to_frame().set_index("intake type").loc["all", "all"] == 6
    assert answer.in_records().set_index("intake type").loc["all", "all"] >= 2
    assert answer.to_frame().set_index("intake type").loc["confiscated", "all"] == 0


def random_records(seed, n=80):
    rng = np.random.default_rng(seed)
    day = pd.Timestamp("2024-03-01") + pd.to_timedelta(rng.integers(0, 600, n), "D")
    intakes = pd.DataFrame({
        "stay_id": [f"S{i}" for i in range(n)], "intake_date": day, "intake_type": "stray",
        "species": rng.choice(["corn snake", "axolotl", "bearded dragon", "no such animal"], n),
        "group_size": rng.choice([1, 1, 1, 4, 20], n), "dead_on_arrival": rng.random(n) < 0.05,
        "split_from": [f"S{rng.integers(0, n)}" if rng.random() < 0.2 else None for _ in range(n)],
    })  # fmt: skip
    pick = intakes.sample(n, replace=True, random_state=seed)
    out = pd.DataFrame({
        "stay_id": pick["stay_id"], "outcome_date": pick["intake_date"] + pd.to_timedelta(rng.integers(0, 250, n), "D"),
        "outcome_type": rng.choice(["adopted", "died", "missing", "not recorded"], n),
        "animals": pd.array(np.where(rng.random(n) < 0.5, 0, rng.integers(1, 5, n)), "Int64"),
    })  # fmt: skip
    out["animals"] = out["animals"].mask(out["animals"] == 0)
    return from_frames(as_of=AS_OF, records_start="2024-05-01", intakes=intakes, outcomes=out)


@pytest.mark.parametrize("seed", range(8))
def test_the_balance_holds_whatever_the_records(seed):
    table = random_records(seed)
    for span in (YEAR, period("2025-03-05", "2025-03-05"), period("2024-05-01", "2024-08-31"), None):
        frame = outcomes.balance(table, span).to_frame()
        moved = frame.get("renamed", 0)
        assert (frame["start"] + frame["came_in"] + moved == frame["left"] + frame["end"]).all()


@pytest.mark.parametrize("seed", range(3))
def test_two_periods_that_follow_each_other_join(seed):
    table = random_records(seed)
    first, second = (outcomes.balance(table, p).to_frame().set_index("taxon") for p in
                     (period("2025-01-01", "2025-06-30"), period("2025-07-01", "2025-12-31")))  # fmt: skip
    assert (first["end"] == second["start"]).all()


def test_a_balance_that_does_not_hold_is_refused():
    frame = pd.DataFrame({"start": [1, 1], "came_in": [2, 2], "left": [1, 1], "end": [1, 1], "renamed": [0, 0]},
                         index=["snake", "all"])  # fmt: skip
    with pytest.raises(InputError, match=r"does not for:\n  snake: 3 and 2"):
        prove(frame)


def test_a_split_to_another_taxon_is_shown_and_the_balance_holds():
    split = came("X", "2025-03-01", split_from="G") | {"species": "axolotl"}
    table = records([came("G", group_size=3), split, came("Z")], [left("Z")])
    frame = outcomes.balance(table, YEAR).to_frame().set_index("taxon")
    assert frame["renamed"].to_dict() == {"salamander": 1, "snake": -1, "all": 0}


def test_months_without_an_event_are_there_and_part_months_marked():
    table = records([came("A", "2025-01-20"), came("B", "2025-04-02")], [left("A", outcome_date="2025-04-02")])
    frame = outcomes.monthly(table, period("2025-01-15", "2025-04-30")).to_frame()
    assert frame["came_in"].tolist() == [1, 0, 0, 1]
    assert frame["left"].tolist() == [0, 0, 0, 1]
    assert frame["in_care_at_end"].tolist() == [1, 1, 1, 1]
    assert frame["whole"].tolist() == [False, True, True, True]


def adoptions(n, back=(), died=()):
    intakes = [came(f"S{i}", "2025-01-01", animal_id=f"A{i}") for i in range(n)]
    out = [left(f"S{i}", outcome_date="2025-02-01") for i in range(n)]
    intakes += [came(f"R{i}", date, animal_id=f"A{i}", intake_type="returned") for i, date in back]
    news = [{"stay_id": f"S{i}", "seen_on": date, "status": "died"} for i, date in died]
    return records(intakes, out, followups=news)


def test_returns_are_counted_since_adoption():
    answer = outcomes.returns(adoptions(20, back=[(0, "2025-02-11"), (1, "2025-03-23"), (2, "2025-02-01")]))
    frame = answer.to_frame().set_index("day")
    assert (answer.adopted, answer.returned) == (20, 3)
    assert frame["share"].round(3).loc[[30, 60, 90]].tolist() == [0.1, 0.15, 0.15]


def test_an_animal_heard_to_have_died_cannot_come_back():
    answer = outcomes.returns(adoptions(20, back=[(0, "2025-03-13")], died=[(i, "2025-02-11") for i in range(1, 11)]))
    assert answer.to_frame().set_index("day").loc[90, "share"] == pytest.approx(0.05)


def test_returns_without_an_animal_id_are_not_recorded():
    answer = outcomes.returns(records([came("A")], [left("A")]))
    assert not answer.recorded
    assert "not recorded" in answer.sentence()
    assert answer.to_frame().empty


def test_few_adoptions_are_too_few_to_say():
    answer = outcomes.returns(adoptions(3, back=[(0, "2025-03-01")]))
    assert (
        answer.sentence()
        == "Of 3 adopted animals, 1 came back so far; that is too few to say how this grows with time."
    )


ALL = [outcomes.summary, outcomes.balance, outcomes.rates, outcomes.by_group, outcomes.intakes, outcomes.monthly,
       lambda r, p=None: outcomes.returns(r)]  # fmt: skip


@pytest.mark.parametrize("ask", ALL)
@pytest.mark.parametrize("table", [from_frames(as_of=AS_OF), records([came("A")]), records([came("A")], [left("A")])])
def test_little_or_nothing_is_answered_in_words(ask, table):
    html = ask(table)._repr_html_()
    assert "nan" not in html
    assert "inf" not in html.replace("information", "")


@pytest.mark.parametrize("ask", ALL)
def test_the_demo_is_answered(ask, demo):
    answer = ask(demo, period("2025-11-01", "2026-10-31"))
    assert len(answer.to_frame())
    assert "nan" not in answer._repr_html_()
