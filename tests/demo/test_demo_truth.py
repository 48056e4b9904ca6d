"""The generator follows its own truth: what is drawn many times comes out as the tables of truth say."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from mendcurve.demo import generating, recovering, truth
from mendcurve.demo.arrivals import NEVER, event_days
from mendcurve.demo.illness import draw_episode


@pytest.fixture(scope="module")
def many():
    """Single animals of a rescue fifteen times as large, followed to their end."""
    stays = generating.true_stays(generating.streams(4), 15.0)
    return [s for s in stays if s.day >= 0 and s.key < 10**8]


@pytest.fixture(scope="module")
def large():
    return generating.generate_known(7, scale=3.0)


def test_clearance_follows_the_exact_curve_with_deaths_and_departures_competing(many):
    off = []
    print()
    for name in truth.NAMES:
        first = [e for s in many for e in s.episodes if e.condition == name and not e.relapse]
        length = np.array([e.end - e.found if e.end is not None and e.how == "cleared" else NEVER for e in first])
        for day in (14, 30, 60, 90, 180):
            expected, seen = truth.cleared_by(name, day), float(np.mean(length <= day))
            error = max(np.sqrt(expected * (1 - expected) / len(first)), 1e-9)
            off.append((seen - expected) / error if expected > 0 else float(seen > 0) * 99)
            print(f"{name:28s} n={len(first):5d} day {day:3d} truth {expected:.3f} drawn {seen:.3f}")
    assert np.max(np.abs(off)) < 4.0
    assert 0.6 < np.sqrt(np.mean(np.square(off))) < 1.5


def test_leaving_out_what_competes_would_be_seen(many):
    """The check above can fail: with deaths and departures left out the curve is far off."""
    own = sum(w * recovering.end_chances("soft bones", k) for k, w in enumerate((0.35, 0.45, 0.20)))
    first = [e for s in many for e in s.episodes if e.condition == "soft bones" and not e.relapse]
    seen = np.mean([e.end is not None and e.how == "cleared" and e.end - e.found <= 90 for e in first])
    error = np.sqrt(seen * (1 - seen) / len(first))
    assert abs(own[:91].sum() * (1 - 0.12 - 0.01) - seen) > 5 * error


def test_curve_begins_at_zero_rises_and_stays_below_one():
    for name in truth.NAMES:
        curve = truth.cleared_by(name, np.arange(recovering.DAYS))
        assert curve[0] == 0 and (np.diff(curve) >= 0).all() and curve[-1] < 1
    assert truth.cleared_by("persistent viral infection", 400) == 0


def test_an_unknown_condition_is_refused():
    with pytest.raises(KeyError, match="hiccups"):
        truth.cleared_by("hiccups", 30)


def test_ends_have_the_drawn_median_and_share_of_managed():
    rng = np.random.default_rng(11)
    drawn = [draw_episode(rng, "soft bones", 0, True) for _ in range(6000)]
    moderate = np.array([e.ends for e in drawn if e.severity == 1])
    # SE of a median of a log-normal: 1.2533 * spread * median / sqrt(n)
    assert abs(np.median(moderate) - 80) < 4 * 1.2533 * 0.45 * 80 / np.sqrt(len(moderate))
    managed = np.mean([e.how == "managed" for e in drawn])
    assert abs(managed - 0.12) < 4 * np.sqrt(0.12 * 0.88 / len(drawn))


def test_events_arrive_at_the_stated_rate_with_its_season_and_trend():
    days = [event_days(np.random.default_rng([3, k]), 1.0) for k in range(150)]
    weeks = np.arange(truth.FIRST_DAY, truth.LAST_DAY + 1, 7)[:-1]
    counts = np.array([np.histogram(d, bins=[*weeks, weeks[-1] + 7])[0] for d in days])
    expected = truth.event_rate(weeks + 3)
    variance = expected + expected**2 / truth.OVERDISPERSION
    z = (counts.mean(axis=0) - expected) / np.sqrt(variance / len(days))
    assert np.abs(z).max() < 4.5
    assert abs(np.mean(z**2) - 1) < 4 * np.sqrt(2 / len(z))
    total = counts.sum(axis=1).mean()
    assert abs(total - expected.sum()) < 4 * np.sqrt(variance.sum() / len(days))
    assert counts.var(axis=0, ddof=1).mean() > expected.mean() * 1.1  # more than Poisson


def test_rate_at_a_date_peaks_in_late_summer_and_rises_over_the_years():
    summer, winter = truth.arrivals_per_week(date(2025, 8, 25)), truth.arrivals_per_week(date(2025, 2, 24))
    assert summer / winter == pytest.approx(
        1.28 * (1 + 0.16 * 481 / 365.25) / (0.72 * (1 + 0.16 * 299 / 365.25)), rel=0.01
    )
    assert truth.arrivals_per_week(date(2026, 8, 25)) > summer


def test_weekdays_follow_their_shares():
    days = np.concatenate([event_days(np.random.default_rng([5, k]), 1.0) for k in range(60)])
    weekday = np.array([(truth.RECORDS_START + timedelta(days=int(d))).weekday() for d in days])
    share = np.bincount(weekday, minlength=7) / len(days)
    assert share == pytest.approx(truth.WEEKDAY, abs=4 * np.sqrt(0.19 * 0.81 / len(days)))


def _plain(tables, known, ruling, stage):
    """Plain weighings of the first five weeks of stays of one kind, with the day since intake."""
    stays = known[(known["ruling"] == ruling) & (known["stage"] == stage) & known["stall_from"].isna()]
    intakes = tables["intakes"][["stay_id", "species", "intake_date"]]
    rows = tables["weighings"].merge(stays, on="stay_id").merge(intakes)
    rows = rows[(rows["circumstance"] == "") & ~rows["is_group_weight"]]
    rows = rows.assign(day=(rows["weighed_on"] - rows["intake_date"]).dt.days, log_g=np.log(rows["weight"]))
    rows = rows[rows["day"] <= 35]
    return rows[rows.groupby("stay_id")["day"].transform("count") >= 4]


@pytest.mark.parametrize(
    ("ruling", "stage"), [("underweight", "adult"), ("intestinal parasites", "adult"), ("underweight", "juvenile")]
)
def test_weights_grow_at_the_stated_rate(large, ruling, stage):
    rows = _plain(*large, ruling, stage)
    centred = rows["day"] - rows.groupby("stay_id")["day"].transform("mean")
    by_stay = (centred * rows["log_g"]).groupby(rows["stay_id"]).sum() / (centred**2).groupby(rows["stay_id"]).sum()
    error = by_stay.std(ddof=1) / np.sqrt(len(by_stay))
    assert len(by_stay) > 25
    assert abs(by_stay.mean() - np.log1p(truth.growth_percent_week(ruling, stage) / 100) / 7) < 4 * error
    assert abs(by_stay.mean()) > 4 * error or ruling != "underweight"


def test_readings_scatter_by_taxon_as_stated(large):
    rows = pd.concat([_plain(*large, r, "adult") for r in ("underweight", "intestinal parasites", "stuck shed")])
    taxon = rows["species"].map({s.name: s.taxon for s in truth.SPECIES})
    for name, few in (("lizard", 100), ("snake", 100)):
        squares, degrees = 0.0, 0
        for _, part in rows[taxon == name].groupby("stay_id"):
            X = np.column_stack([np.ones(len(part)), part["day"]])
            residual = part["log_g"] - X @ np.linalg.lstsq(X, part["log_g"], rcond=None)[0]
            squares, degrees = squares + float((residual**2).sum()), degrees + len(part) - 2
        assert degrees > few
        assert np.sqrt(squares / degrees) == pytest.approx(truth.NOISE[name], rel=4 / np.sqrt(2 * degrees) + 0.05)


def test_growth_is_halved_after_the_first_phase():
    assert truth.growth_percent_week("underweight", "adult", 41) == 2.2
    assert truth.growth_percent_week("underweight", "adult", 42) == 1.1


def test_doses_are_kept_as_often_as_stated(large):
    doses = large[0]["doses"]
    share = doses["result"].value_counts(normalize=True)
    for result, expected in truth.dose_shares().items():
        # A dose that would fall after the course was stopped is not written: a little fewer late ones.
        assert abs(share[result] - expected) < 4 * np.sqrt(expected * (1 - expected) / len(doses))


def test_adopted_animals_come_back_as_often_as_stated(many):
    adopted = [s for s in many if s.ends[-1][1] == "adopted" and s.ends[-1][0] < truth.LAST_DAY - 400]
    back = {s.animal for s in many if s.how == "returned"}
    once = {s.animal: 0 for s in adopted}
    share = len(back & set(once)) / len(once)
    assert abs(share - truth.RETURN_CHANCE) < 4 * np.sqrt(0.08 * 0.92 / len(once)) + 0.01


def test_nobody_leaves_quarantine_early(many):
    for stay in many:
        later = [since for since, zone in stay.zones if zone != "quarantine"]
        assert all(since - stay.day >= truth.QUARANTINE_DAYS[stay.taxon] for since in later)
