"""Cages: census, forecast, places, what if and back-test, on small made rescues and on the demo."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.methods import occupancy_house as oh
from mendcurve.methods.occupancy import Kernel
from mendcurve.methods.occupancy_law import Stream
from mendcurve.methods.scores import covered, crps_law, randomised_pit
from mendcurve.questions import capacity
from mendcurve.questions.capacity_census import daily
from mendcurve.questions.capacity_house import TOTAL, setup
from mendcurve.records import from_frames
from mendcurve.timelines.period import period
from mendcurve.timelines.places import spells

DAY = pd.Timestamp("2024-01-01")
LONGEST = 400


def made_up(seed: int, days: int, ahead: int = 0, *, rate: float = 2.0, size: float = 4.0):
    """Simulate a steady rescue of two zones from 500 days before records start to ``ahead`` days after as-of."""
    rng = np.random.default_rng(seed)
    weeks = -(-(500 + days + ahead) // 7)
    events = rng.poisson(rng.gamma(size, rate / size, weeks))
    came = np.repeat(np.arange(weeks) * 7, events) - 500 + rng.integers(0, 7, events.sum())
    many = rng.choice([1, 3], came.size, p=[0.8, 0.2])
    event = np.repeat(np.arange(came.size), many)
    came = np.repeat(came, many)
    first = 20 + rng.geometric(0.1, came.size)
    lives = rng.random(came.size) < 0.85
    second = np.where(lives, rng.geometric(1 / 25, came.size), 0)
    keep = (came < days + ahead) & (came + first + second >= 0)
    return came[keep], first[keep], second[keep], event[keep]


def records_of(seed: int, days: int, housing: dict[str, int] | None = None, **more):
    came, first, second, event = made_up(seed, days, **more)
    seen = came < days
    came, first, second, event = came[seen], first[seen], second[seen], event[seen]
    date = [DAY + pd.to_timedelta(x, unit="D") for x in (came, came + first, came + first + second)]
    ids = [f"S{i}" for i in range(came.size)]
    frame = pd.DataFrame(
        {
            "stay_id": ids,
            "species": "corn snake",
            "intake_date": date[0],
            "intake_type": "stray",
            "arrival_id": [f"V{e}" for e in event],
        }
    )
    end = DAY + pd.Timedelta(days=days - 1)
    outcome = pd.DataFrame(
        {"stay_id": ids, "outcome_date": date[2], "outcome_type": np.where(second > 0, "adopted", "died")}
    )
    to = [
        pd.DataFrame({"stay_id": ids, "moved_on": d, "zone": z})
        for d, z in ((date[0], "quarantine"), (date[1], "adoption"))
    ]
    moves = pd.concat([to[0], to[1][second > 0]])
    tables = {"intakes": frame, "outcomes": outcome[date[2] <= end], "moves": moves[moves["moved_on"] <= end]}
    if housing:
        tables["housing"] = pd.DataFrame({"zone": list(housing), "places": list(housing.values()), "from_date": DAY})
    return from_frames(as_of=end, records_start=DAY, **tables)


@pytest.fixture(scope="module")
def steady():
    return records_of(3, 400, {"quarantine": 14, "adoption": 12})


@pytest.fixture(scope="module")
def fan(steady):
    return capacity.forecast(steady, weeks=6, draws=20)


def tiny(**tables):
    return from_frames(as_of="2024-03-31", records_start=DAY, **tables)


def test_census_counts_zones_and_places_day_by_day():
    records = tiny(
        intakes=pd.DataFrame(
            [
                {"stay_id": "S1", "species": "corn snake", "intake_date": "2024-01-02", "intake_type": "stray"},
                {
                    "stay_id": "S2",
                    "species": "corn snake",
                    "intake_date": "2024-01-03",
                    "intake_type": "stray",
                    "group_size": 4,
                },
            ]
        ),
        moves=pd.DataFrame(
            [
                {"stay_id": "S1", "moved_on": "2024-01-02", "zone": "quarantine"},
                {"stay_id": "S1", "moved_on": "2024-01-05", "zone": "adoption"},
                {"stay_id": "S2", "moved_on": "2024-01-03", "zone": "quarantine", "place": "tank 1"},
            ]
        ),
        housing=pd.DataFrame(
            [
                {"zone": "quarantine", "places": 5, "from_date": "2024-01-01"},
                {"zone": "quarantine", "places": 7, "from_date": "2024-01-04"},
            ]
        ),
    )
    answer = capacity.census(records)
    frame = answer.to_frame().set_index(["zone", "day"]).sort_index()

    def at(zone, day):
        return frame.loc[(zone, pd.Timestamp(day)), ["animals", "places_taken", "places"]].tolist()

    assert at("quarantine", "2024-01-02") == [1, 1, 5]
    assert at("quarantine", "2024-01-04") == [5, 2, 7]
    assert at("quarantine", "2024-01-05") == [4, 1, 7] and at("adoption", "2024-01-05")[:2] == [1, 1]
    assert at(TOTAL, "2024-01-05")[:2] == [5, 2]
    assert "5 animals were in care" in answer.sentence()
    assert answer.to_frame().attrs["units"]["places_taken"] == "places"


def test_today_says_what_is_free_and_when_the_next_place_will_be(steady):
    answer = capacity.today(steady)
    frame = answer.to_frame().set_index("zone")
    now = spells(steady)
    now = now[now["to_date"].isna()]
    assert frame.loc["quarantine", "animals"] == (now["zone"] == "quarantine").sum()
    assert frame.loc["adoption", "free"] == 12 - (now["zone"] == "adoption").sum()
    assert (frame["next_free_by"].dropna() > steady.as_of).all() and frame["next_free_by"].notna().any()
    assert f"{len(now)} animals were in care" in answer.sentence()


def test_flow_counts_by_month_against_the_year_before(steady):
    frame = capacity.flow(steady).to_frame()
    came = steady["intakes"]["intake_date"]
    month = came[(came >= DAY) & (came.dt.to_period("M") == pd.Period("2024-05"))]
    assert frame.set_index("month").loc[pd.Timestamp("2024-05-01"), "animals"] == len(month)
    assert frame["year_before"].iloc[12] == frame["animals"].iloc[0]
    assert not frame["whole_month"].iloc[-1] and frame["whole_month"].iloc[0]


def test_requests_turned_away_are_counted_or_said_not_to_be_recorded(steady):
    assert capacity.requests(steady).sentence() == "Requests turned away are not recorded."
    assert capacity.requests(steady).to_frame().columns.tolist() == ["answer", "requests", "animals"]
    asked = pd.DataFrame(
        {
            "asked_on": ["2024-01-05", "2024-02-05", "2024-02-06"],
            "animals": [2, 3, 1],
            "answer": ["no room", "no room", "taken in"],
        }
    )
    records = tiny(
        requests=asked, intakes=steady["intakes"].head(0)[["stay_id", "species", "intake_date", "intake_type"]]
    )
    answer = capacity.requests(records, period("2024-02-01", "2024-02-28"))
    assert answer.to_frame().set_index("answer")["animals"].to_dict() == {"no room": 3, "taken in": 1}
    assert "asked to take 4 animals; for 3 of them" in answer.sentence()


def test_forecast_starts_from_today_and_its_bands_are_in_order(fan, steady):
    frame = fan.to_frame()
    assert frame.groupby("zone", sort=False).size().to_dict() == {"quarantine": 42, "adoption": 42, TOTAL: 42}
    assert (frame["low95"] <= frame["low80"]).all() and (frame["low80"] <= frame["low50"]).all()
    assert (frame["low50"] <= frame["median"]).all() and (frame["median"] <= frame["high50"]).all()
    assert (frame["high50"] <= frame["high80"]).all() and (frame["high80"] <= frame["high95"]).all()
    mean = frame.pivot(index="day", columns="zone", values="mean")
    assert (mean["quarantine"] + mean["adoption"]).to_numpy() == pytest.approx(mean[TOTAL].to_numpy(), abs=1e-6)
    here = capacity.census(steady).to_frame().groupby("zone")["animals"].last()
    assert mean.iloc[0].to_dict() == pytest.approx(here.to_dict(), abs=1.5)
    assert mean.index[0] == steady.as_of + pd.Timedelta(days=1)


def test_the_chance_of_a_day_over_is_at_least_that_of_the_worst_day_and_zones_do_not_add(fan):
    zones = fan.zones_frame().set_index("zone")
    held = zones.loc[["quarantine", "adoption"]]
    assert (held["any_day_over"] >= held["worst_day_over"] - 0.05).all() and (held["share_of_days_over"] <= 1).all()
    assert np.isnan(zones.loc[TOTAL, "any_day_over"])
    last = fan.to_frame().groupby("zone")["high95"].last()
    assert last[TOTAL] < last["quarantine"] + last["adoption"]
    assert "Requests turned away are not recorded" in " ".join(fan.notes())
    assert fan.sentence().startswith("In 6 weeks, on ")


def test_the_same_records_and_seed_give_the_same_forecast(steady, fan):
    again = capacity.forecast(steady, weeks=6, draws=20)
    pd.testing.assert_frame_equal(fan.to_frame(), again.to_frame())
    other = capacity.forecast(steady, weeks=6, draws=20, seed=5)
    assert not other.to_frame()["mean"].equals(fan.to_frame()["mean"])


def test_permanent_residents_never_leave_and_are_counted_apart():
    base = records_of(3, 200)
    first = base["intakes"].assign(group_size=1)
    stay = pd.DataFrame(
        {
            "stay_id": ["P1"],
            "species": ["Hermann's tortoise"],
            "intake_date": ["2024-01-01"],
            "intake_type": ["surrendered"],
        }
    )
    keep = ["stay_id", "species", "intake_date", "intake_type", "arrival_id"]
    lasting = pd.DataFrame({"stay_id": ["P1"], "what": ["permanent resident"], "from_date": ["2024-01-01"]})
    tables = {
        "outcomes": base["outcomes"][["stay_id", "outcome_date", "outcome_type"]],
        "moves": base["moves"][["stay_id", "moved_on", "zone"]],
        "periods": lasting,
    }
    more = from_frames(as_of=base.as_of, records_start=DAY, intakes=pd.concat([first[keep], stay]), **tables)
    made = setup(more, weeks=2, draws=5)
    assert made.fixed.tolist() == [0, 1, 1]  # by rule: out of quarantine, waiting in adoption
    assert made.house.zone.size == setup(base, weeks=2, draws=5).house.zone.size
    assert any("permanent resident" in n for n in made.notes)


def test_places_needed_is_the_smallest_number_enough_on_so_many_days(steady):
    answer = capacity.places_needed(steady, weeks=6, draws=20)
    curves = answer.curve_frame()
    for zone, row in answer.to_frame().set_index("zone").iterrows():
        curve = curves[curves["zone"] == zone].set_index("places")["share_of_days"]
        assert curve[row["needed"]] >= 0.95 > curve.get(row["needed"] - 1, 0)
        assert row["needed_low"] <= row["needed"] <= row["needed_high"] + 1
        assert curve.is_monotonic_increasing
    assert answer.sentence().startswith(f"{answer.to_frame()['needed'].iloc[0]} places in quarantine (now 14)")
    less = capacity.places_needed(steady, weeks=6, draws=20, confidence=0.8).to_frame()
    assert (less["needed"] < answer.to_frame()["needed"]).all()
    with pytest.raises(InputError, match=r"Write 0\.95"):
        capacity.places_needed(steady, confidence=95)


def test_littles_law_beside_the_forecast_is_the_truth_of_a_steady_rescue():
    # 2 events a week of 1.4 animals, 30 days in quarantine; 85 % of them 25 days in adoption.
    rate = 2 * 1.4 / 7
    answer = capacity.places_needed(records_of(8, 1400), weeks=2, draws=10).to_frame().set_index("zone")["steady_mean"]
    assert answer["quarantine"] == pytest.approx(rate * 30, rel=0.2)
    assert answer["adoption"] == pytest.approx(rate * 0.85 * 25, rel=0.2)


def test_what_if_moves_each_number_the_way_it_must(steady):
    answer = capacity.what_if(steady, weeks=6, draws=20)
    frame = answer.to_frame().set_index(["scenario", "zone"])
    now = frame.loc["as now"]
    assert (now["difference"] == 0).all() and (now["days_over_change"].dropna() == 0).all()
    fewer = frame.loc["20 % less intake"]
    assert (fewer["difference"] < 0).all() and (fewer["high"] <= 0).all() and (fewer["needed_change"] <= 0).all()
    many = frame.loc["a seizure of 30 animals tomorrow"]
    assert 15 < many.loc[TOTAL, "difference"] <= 30 and many.loc["quarantine", "days_over_change"] > 0
    more = next(s for s in frame.index.get_level_values(0) if s.startswith("5 more places"))
    assert (frame.loc[more, "difference"] == 0).all() and frame.loc[more, "days_over_change"].min() < 0
    shorter = frame.loc["7 days shorter in quarantine"]
    assert shorter.loc["quarantine", "difference"] < 0 < shorter.loc["adoption", "difference"]
    assert answer.sentence().startswith("If nothing else changed, ")


def test_a_scenario_of_ones_own(steady):
    none = capacity.Scenario(name="nothing at all")
    frame = capacity.what_if(steady, weeks=4, draws=10, scenarios=(none,)).to_frame()
    assert frame["scenario"].unique().tolist() == ["as now", "nothing at all"] and (frame["difference"] == 0).all()


def test_backtest_scores_what_came_from_records_as_they_were():
    records = records_of(5, 540)
    answer = capacity.backtest(records, every_weeks=12, draws=8, days_ahead=(7, 28))
    frame = answer.to_frame()
    seen = capacity.census(records).to_frame().set_index(["zone", "day"])["places_taken"]
    for row in frame.head(20).itertuples():
        assert row.seen == seen[row.zone, row.origin + pd.Timedelta(days=row.days_ahead)]
    assert frame["origin"].min() >= DAY + pd.Timedelta(weeks=39) and frame["pit"].between(0, 1).all()
    first = frame[frame["days_ahead"] == 7].groupby("zone")["score"].mean()
    assert (first < frame[frame["days_ahead"] == 28].groupby("zone")["score"].mean()).all()
    assert answer.summary_frame()["forecasts"].sum() == len(frame)
    assert "past forecasts" in answer.sentence()
    # Nothing after an origin may reach the forecast made there.
    made = setup(records.cut(frame["origin"].min()), weeks=1, draws=8)
    ahead = oh.laws(made.house, 7, days=(7,)).law[0][0]
    assert frame["mean"].iloc[0] == pytest.approx(ahead @ np.arange(ahead.size))


def test_records_too_short_or_empty_give_answers_in_words_and_no_error():
    none = tiny(intakes=pd.DataFrame({"stay_id": [], "species": [], "intake_date": [], "intake_type": []}))
    for name in ("census", "today", "flow", "forecast", "places_needed", "what_if", "backtest", "requests"):
        answer = getattr(capacity, name)(none)
        assert answer.sentence() and answer._repr_html_() and isinstance(answer.notes(), tuple), name
    gone = {"stay_id": ["S1"], "outcome_date": ["2024-03-02"], "outcome_type": ["adopted"]}
    came = {"stay_id": ["S1"], "species": "dog", "intake_date": ["2024-03-01"], "intake_type": "stray"}
    short = tiny(intakes=pd.DataFrame(came), outcomes=pd.DataFrame(gone))
    assert "too short" in capacity.backtest(short).sentence()


def test_one_zone_where_no_zone_is_recorded():
    came = pd.date_range(DAY, "2024-03-30", freq="D").repeat(3)
    intakes = pd.DataFrame(
        {"stay_id": [f"S{i}" for i in range(len(came))], "species": "dog", "intake_date": came, "intake_type": "stray"}
    )
    outcomes = pd.DataFrame(
        {"stay_id": intakes["stay_id"], "outcome_date": came + pd.Timedelta(days=9), "outcome_type": "adopted"}
    ).query("outcome_date <= '2024-03-31'")
    answer = capacity.forecast(tiny(intakes=intakes, outcomes=outcomes), weeks=2, draws=10)
    assert answer.to_frame()["zone"].unique().tolist() == ["in care"]
    assert answer.to_frame()["mean"].iloc[-1] == pytest.approx(27, abs=3)
    assert "number of places is not recorded" in answer.sentence()


def truth_of(made, weeks: int):
    """The house as one who knows the parameters would write it."""
    h = np.zeros((1, 2, LONGEST, 3))
    h[0, 0, 21:, 1], h[0, 0, 21:, 2], h[0, 1, 1:, 2] = 0.1 * 0.85, 0.1 * 0.15, 1 / 25
    kernel = Kernel(hazard=h, last_day=np.full(2, LONGEST - 1), exits=np.ones(2, int))
    stream = Stream(
        mean=np.full((1, weeks), 2.0), size=np.array([4.0]), batches=((1,), (1, 1, 1)), chance=np.array([[0.8, 0.2]])
    )
    return oh.House(
        kernel=kernel,
        zone=made.house.to_zone[made.house.zone],
        age=made.house.age,
        weight=made.house.weight,
        streams=(stream,),
        share=np.full(7, 1 / 7),
        entry=np.array([[1.0, 0.0]]),
    )


@pytest.mark.slow
def test_against_the_forecaster_who_knows_the_parameters():
    """Steady rescues of known truth, a year and a half of records: coverage, and score against knowing it all."""
    rng = np.random.default_rng(1)
    ahead, days, rows = (7, 28, 91), 546, []
    for seed in range(40):
        made = setup(records_of(seed, days, ahead=91), weeks=13, draws=25)
        came, first, second, _ = made_up(seed, days, 91)
        start = np.concatenate([came, came + first])
        end = np.concatenate([came + first, came + first + second])
        zone = np.repeat([0, 1], came.size)
        ours, theirs = (oh.laws(h, 91, days=ahead).law for h in (made.house, truth_of(made, 13)))
        for k, d in enumerate(ahead):
            day = days - 1 + d
            there = [int(((zone == z) & (start <= day) & (end > day)).sum()) for z in (0, 1)]
            for j, seen in enumerate([*there, sum(there)]):
                law, known = ours[j][k], theirs[j][k]
                rows.append(
                    (d, float(randomised_pit(law, seen, rng)), float(crps_law(law, seen)), float(crps_law(known, seen)))
                )
    frame = pd.DataFrame(rows, columns=["ahead", "pit", "ours", "known"])
    print("\ndays ahead     n   50 %   80 %   95 %   score over that of knowing the parameters")
    for d, own in frame.groupby("ahead"):
        held = [covered(own["pit"], level).mean() for level in (0.5, 0.8, 0.95)]
        ratio = own["ours"].mean() / own["known"].mean()
        print(f"{d:10d} {len(own):5d}  " + "  ".join(f"{100 * h:5.1f}" for h in held) + f"   {ratio:.3f}")
        # 120 scores of 40 rescues, three to a rescue: three standard errors are about 13 points at 80 %.
        assert 0.67 <= held[1] <= 0.93 and held[2] >= 0.85
        assert ratio <= 1.15


def test_daily_census_of_the_demo_is_whole(demo):
    moved = spells(demo)
    zones = tuple(moved["zone"].unique())
    counts = daily(moved, zones, demo.records_start, 300, "animals")
    assert (counts >= 0).all() and counts[-1] == pytest.approx(counts[:-1].sum(axis=0))


def test_the_demo_is_forecast_in_words_a_board_reads_aloud(demo):
    answer = capacity.forecast(demo, weeks=13, draws=12)
    assert answer.sentence().startswith("In 13 weeks, on 30 January 2027, we expect about ")
    assert "quarantine" in set(answer.to_frame()["zone"]) and len(answer.past_frame()["day"].unique()) == 182
