"""Census, kernel, laws and paths: against R, against slow second implementations and against each other."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from mendcurve.errors import InputError
from mendcurve.methods import occupancy as oc
from mendcurve.methods import occupancy_changes as changes
from mendcurve.methods import occupancy_house as oh
from mendcurve.methods import occupancy_open as open_house
from mendcurve.methods.occupancy_law import Stream, census_law, poisson_binomial
from mendcurve.methods.scores import law_quantile
from mendcurve.methods.survival import kaplan_meier
from mendcurve.methods.tally import Tally
from reference.rows import cases, data


def curve_of(row) -> tuple[np.ndarray, np.ndarray]:
    frame = data(row.data_file)
    if row.options.get("subset") == "type == 1":
        frame = frame[frame["type"] == 1]
    time = frame[row.options["time"]].to_numpy(float)
    event = np.ones_like(time) if row.options["event"] == "all 1" else frame[row.options["event"]].to_numpy()
    curve = kaplan_meier(Tally.from_arrays(np.full(time.shape, -1.0), time, event.astype(int)))
    return curve.day, curve.share[0]


# R 4.2.2, survfit and exact convolution; source beside each row in tests/reference/reference.csv
@pytest.mark.parametrize("row", cases(section="15", case=lambda c: c.startswith("forecast")))
def test_open_house_forecast_agrees_with_r(row):
    day, share = curve_of(row)
    h, at = row.options["horizon_days"], row.at_dict()
    rates = np.atleast_1d(row.options["arrival_rate_per_day"])
    rates = np.repeat(rates, h) if rates.size == 1 else rates[:h]
    new = open_house.new_present(day, share, rates)
    stay = open_house.still_here(day, share, np.array(row.options["resident_days_so_far"]), h)
    law = open_house.open_house_law(new, stay)
    got = {
        "mean_new_arrivals_present": lambda: new,
        "mean_residents_remaining": lambda: stay.sum(),
        "mean_occupancy": lambda: law @ np.arange(law.size),
        "variance_occupancy": lambda: law @ np.arange(law.size) ** 2 - (law @ np.arange(law.size)) ** 2,
        "occupancy_quantile": lambda: law_quantile(law, float(at["p"])),
        "p_occupancy_exceeds": lambda: law[int(at["cap"]) + 1 :].sum(),
    }
    row.check(got[row.quantity]())


@pytest.mark.parametrize("row", cases(section="15", case=lambda c: c.startswith("residual")))
def test_remaining_stay_agrees_with_r(row):
    day, share = curve_of(row)
    already = row.options["already"]
    if row.quantity == "p_still_here_after":
        row.check(open_house.still_here(day, share, already, float(row.at.split("=")[1])))
    else:
        row.check(open_house.remaining_mean(day, share, already, float(row.at.split()[1])))


@pytest.mark.parametrize("row", cases(section="15", case="census.jasa"))
def test_census_agrees_with_r(row):
    frame = data(row.data_file)
    first = pd.Timestamp("1967-01-01")
    start, end = ((pd.to_datetime(frame[c]) - first).dt.days.to_numpy() for c in ("accept", "end"))
    counts = oc.census(start, end, 4000)[0]
    if row.quantity == "census":
        row.check(counts[(pd.Timestamp(row.at) - first).days])
        return
    a, b = ((pd.Timestamp(d) - first).days for d in row.at.split(".."))
    got = {
        "animal_days": counts[a:b].sum(),
        "mean_occupancy": counts[a:b].mean(),
        "max_census": counts[a:b].max(),
        "intakes": ((start >= a) & (start < b)).sum(),
        "outcomes": ((end >= a) & (end < b)).sum(),
        "little_law_rate_times_mean_days_in_window": np.clip(np.minimum(end, b) - np.maximum(start, a), 0, None).sum()
        / (b - a),
    }  # fmt: skip
    row.check(got[row.quantity])


@pytest.mark.parametrize("seed", range(20))
def test_census_is_the_count_of_those_there(seed):
    rng = np.random.default_rng(seed)
    n = 60
    start = rng.integers(-20, 50, n).astype(float)
    end = np.where(rng.random(n) < 0.3, np.nan, start + rng.integers(0, 30, n))
    weight, zone = rng.integers(1, 5, n), rng.integers(0, 3, n)
    got = oc.census(start, end, 40, weight=weight, group=zone, groups=3)
    for z, d in product(range(3), range(40)):
        there = (zone == z) & (start <= d) & ~(end <= d)
        assert got[z, d] == weight[there].sum()


def test_in_on_the_day_of_coming_out_on_the_day_of_leaving_and_never_on_one_day():
    assert oc.census([1, 2], [3, 2], 5)[0].tolist() == [0, 1, 1, 0, 0]


def geometric(*rows: list[float]) -> oc.Kernel:
    """A kernel with constant hazards from day 1: rows are zones, columns where to."""
    h = np.zeros((1, len(rows), 3, len(rows) + 1))
    h[0, :, 1:] = np.array(rows)[:, None, :]
    return oc.Kernel(hazard=h, last_day=np.ones(len(rows), int), exits=np.ones(len(rows), int))


def test_kernel_is_events_over_at_risk_by_hand():
    # Zone 0: exits on day 1 (to 1), day 2 (out), day 2 censored, one seen only from day 2 on and out on day 2.
    k = oc.kernel([0, 0, 0, 0, 1], [-1, -1, -1, 1, -1], [1, 2, 2, 2, 4], [1, 2, -1, 2, 2], zones=2, at_risk=1)
    assert k.hazard[0, 0, 1].tolist() == [0, 1 / 3, 0]  # the late one is not at risk on day 1
    assert k.hazard[0, 0, 2].tolist() == [0, 0, 2 / 3]  # the censored one is at risk on its day
    assert k.last_day.tolist() == [2, 4] and k.exits.tolist() == [3, 1]


@pytest.mark.parametrize("seed", range(10))
def test_kernel_gives_the_curve_of_kaplan_and_meier(seed):
    rng = np.random.default_rng(seed)
    n = 80
    entry = rng.integers(-1, 4, n)
    exit_ = entry + 1 + rng.integers(0, 25, n)
    to = np.where(rng.random(n) < 0.3, -1, 1)
    k = oc.kernel(np.zeros(n, int), entry, exit_, to, zones=1, at_risk=1)
    curve = kaplan_meier(Tally.from_arrays(entry, exit_, (to == 1).astype(int)))
    stay = np.cumprod(1 - k.hazard[0, 0].sum(axis=-1))
    for day, share in zip(curve.day.astype(int), curve.share[0], strict=True):
        if 0 <= day <= k.last_day[0]:
            assert stay[day] == pytest.approx(share, abs=1e-12)


def test_beyond_the_last_day_with_five_at_risk_the_hazard_is_that_of_the_last_third_of_exits():
    exit_ = np.arange(1, 21)
    k = oc.kernel(np.zeros(20, int), np.full(20, -1), exit_, np.ones(20, int), zones=1)
    assert k.last_day[0] == 16  # 5 left at risk
    # Exits on days 1..16; the last third are those on days 11..16: 6 exits, at risk 10 + 9 + ... + 5.
    assert k.hazard[0, 0, -1, 0] == 0
    assert k.hazard[0, 0, -1, 1] == pytest.approx(6 / (10 + 9 + 8 + 7 + 6 + 5))


def test_weights_of_two_are_two_rows_and_clusters_move_together():
    zone, entry, exit_, to = np.zeros(4, int), np.full(4, -1), np.array([1, 2, 3, 4]), np.array([1, -1, 1, 1])
    twice = oc.kernel(zone, entry, exit_, to, zones=1, weights=[[2, 1, 1, 2]], at_risk=1)
    rows = np.repeat(np.arange(4), [2, 1, 1, 2])
    plain = oc.kernel(zone[rows], entry[rows], exit_[rows], to[rows], zones=1, at_risk=1)
    assert twice.hazard == pytest.approx(plain.hazard)
    w = oc.bootstrap_weights(["a", "b", "a"], 50, np.random.default_rng(1))
    assert (w[:, 0] == w[:, 2]).all() and (w[:, 0] != w[:, 1]).all()
    assert w.mean() == pytest.approx(1, abs=0.3)


def test_a_stay_without_memory_has_the_same_future_at_every_age():
    k = geometric([0, 0.05])
    where = oc.from_today(k, [0, 0, 0], [0, 5, 40], 30)
    assert where[0, 1, :, 0] == pytest.approx(where[0, 0, :, 0])
    assert where[0, 2, :, 0] == pytest.approx(0.95 ** np.arange(1, 31))


def slow_where(k: oc.Kernel, zone: int, age: int, ahead: int) -> np.ndarray:
    """Where one is, day by day over all (zone, age) states."""
    z, length = k.zones, k.hazard.shape[2]
    state, out = {(zone, age): 1.0}, np.zeros((ahead, z))
    for h in range(ahead):
        new: dict[tuple[int, int], float] = {}
        for (at, old), p in state.items():
            hazard = k.hazard[0, at, min(old + 1, length - 1)]
            new[at, old + 1] = new.get((at, old + 1), 0) + p * (1 - hazard.sum())
            for to in range(z):
                stays_the_day = 1 - k.hazard[0, to, 0, -1]
                new[to, 0] = new.get((to, 0), 0) + p * hazard[to] * stays_the_day
        state = new
        for (at, _), p in state.items():
            out[h, at] += p
    return out


@pytest.mark.parametrize("seed", range(6))
def test_where_one_will_be_agrees_with_a_day_by_day_walk_over_states(seed):
    rng = np.random.default_rng(seed)
    h = rng.dirichlet([1, 1, 1, 1, 12], (1, 3, 9))[..., :4]
    h[:, :, 0, :3] = 0
    h[:, np.arange(3), :, np.arange(3)] = 0
    k = oc.Kernel(hazard=h, last_day=np.full(3, 8), exits=np.ones(3, int))
    got = oc.from_today(k, [0, 1, 2], [0, 3, 30], 15)
    for i, (zone, age) in enumerate([(0, 0), (1, 3), (2, 30)]):
        assert got[0, i] == pytest.approx(slow_where(k, zone, age, 15))
    new = oc.from_new(k, 15)
    assert new[0, 1, 0] == pytest.approx([0, 1 - h[0, 1, 0, 3], 0])
    assert new[0, 1, 1:] == pytest.approx(slow_where(k, 1, 0, 15) * (1 - h[0, 1, 0, 3]))


def test_kinds_of_one_zone_add_up_to_the_zone():
    rng = np.random.default_rng(7)
    made = house(rng)
    one = oh.House(
        kernel=made.kernel,
        zone=made.zone,
        age=made.age,
        weight=made.weight,
        streams=made.streams,
        share=made.share,
        entry=made.entry,
        belongs=np.array([0, 0]),
    )
    assert one.zones == 1 and made.zones == 2
    each, both = oh.where(made, 10), oh.where(one, 10)
    for a, b in zip(each, both, strict=True):
        assert a.sum(axis=-1, keepdims=True) == pytest.approx(b)
    assert oh.laws(one, 10).law[0] == pytest.approx(oh.laws(made, 10).law[2], abs=1e-12)
    assert (oh.paths(one, 10, 50, 3)[:, 0] == oh.paths(made, 10, 50, 3).sum(axis=1)).all()


def test_mean_days_are_those_of_a_geometric_stay():
    assert oc.mean_days(geometric([0, 0.1]))[0, 0] == pytest.approx(10)
    assert oc.mean_days(geometric([0, 0.0]))[0, 0] == np.inf


def test_faster_raises_the_hazard_and_shorter_takes_off_days():
    k = geometric([0, 0.1])
    fast = changes.faster(k, 0.2)
    assert fast.hazard[0, 0, 1, 1] == pytest.approx(1 - 0.9**1.2)
    stays = np.array([0, 1, 3, 6, 6, 9, 12])
    k = oc.kernel(np.zeros(7, int), np.full(7, -1), stays, np.ones(7, int), zones=1, at_risk=1)
    short = changes.shorter(k, 4, zone=0)
    left = np.cumprod(1 - short.hazard[0, 0].sum(axis=-1))
    new = np.where(stays == 0, 0, np.maximum(stays - 4, 1))
    assert left[:9] == pytest.approx([(new > d).mean() for d in range(9)])
    assert changes.shorter(k, 0, zone=0).hazard is k.hazard


@pytest.mark.parametrize("seed", range(10))
def test_the_law_of_yes_or_no_items_is_the_sum_over_all_outcomes(seed):
    rng = np.random.default_rng(seed)
    p, w = rng.random(6), rng.integers(0, 4, 6)
    slow = np.zeros(w.sum() + 1)
    for outcome in product([0, 1], repeat=6):
        o = np.array(outcome)
        slow[(o * w).sum()] += np.prod(np.where(o, p, 1 - p))
    assert poisson_binomial(p[:, None], w)[:, 0] == pytest.approx(slow)


def stream(mean: float, size: float, batches: dict[tuple[int, ...], float], weeks: int = 4) -> Stream:
    return Stream(mean=np.full((1, weeks), mean), size=np.full(1, size), batches=tuple(batches),
                  chance=np.array([list(batches.values())]))  # fmt: skip


SHARE = np.array([0.4, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1])


def test_without_residents_and_single_poisson_arrivals_the_census_is_poisson():
    present = 0.9 ** np.arange(28)[None]
    law = census_law(np.zeros((1, 0, 28)), [], present, [stream(5, np.inf, {(1,): 1.0})], SHARE, counts=128)
    for t in (0, 6, 27):
        mean = sum(5 * SHARE[d % 7] * 0.9 ** (t - d) for d in range(t + 1))
        assert law[0, t, :60] == pytest.approx(stats.poisson.pmf(np.arange(60), mean), abs=1e-12)


def test_everyone_stays_a_week_is_a_negative_binomial_count_of_batches():
    s = stream(3, 2.0, {(1,): 0.5, (2, 1): 0.5}, weeks=1)
    law = census_law(np.zeros((1, 0, 7)), [], np.ones((1, 7)), [s], SHARE, counts=512)
    events = stats.nbinom.pmf(np.arange(120), 2.0, 2 / 5)
    slow = np.zeros(512)
    for n, p in enumerate(events):
        ks = np.arange(n + 1)
        slow[ks * 3 + (n - ks)] += p * stats.binom.pmf(ks, n, 0.5)
    assert law[0, 6, :200] == pytest.approx(slow[:200], abs=1e-10)


def house(rng: np.random.Generator, draws: int = 3) -> oh.House:
    h = rng.dirichlet([1, 1, 1.5, 20], (draws, 2, 12))[..., :3]
    h[:, :, 0, :2] = 0
    h[:, np.arange(2), :, np.arange(2)] = 0
    k = oc.Kernel(hazard=h, last_day=np.full(2, 11), exits=np.ones(2, int))
    usual = Stream(mean=rng.gamma(20, 0.1, (draws, 3)), size=np.full(draws, 3.0), batches=((1,), (1, 1, 2), (4,)),
                   chance=np.tile([0.7, 0.2, 0.1], (draws, 1)))  # fmt: skip
    rare = Stream(
        mean=np.full((draws, 3), 0.1), size=np.full(draws, np.inf), batches=((1,) * 9,), chance=np.ones((draws, 1))
    )
    return oh.House(kernel=k, zone=rng.integers(0, 2, 12), age=rng.integers(0, 30, 12), weight=rng.integers(1, 4, 12),
                    streams=(usual, rare), share=SHARE, entry=np.tile([0.8, 0.2], (draws, 1)))  # fmt: skip


def test_laws_means_and_paths_tell_one_story():
    made = house(np.random.default_rng(2))
    law = oh.laws(made, 21)
    mean = oh.mean_census(made, 21).mean(axis=0)
    path = oh.paths(made, 21, 30_000, 5)
    for j, walked in enumerate([path[:, 0], path[:, 1], path.sum(axis=1)]):
        counts = np.arange(law.law[j].shape[1])
        assert law.law[j] @ counts == pytest.approx(mean[j] if j < 2 else mean.sum(axis=0), rel=1e-6)
        for t in (0, 8, 20):
            seen = np.bincount(walked[:, t].astype(int), minlength=counts.size)[: counts.size] / len(walked)
            assert np.abs(seen.cumsum() - law.law[j][t].cumsum()).max() < 0.015
    assert law.error[0].max() < 0.2 and law.enough[2].shape[0] == 3


def test_a_law_on_chosen_days_is_the_law_on_all_days():
    made = house(np.random.default_rng(4))
    every, some = oh.laws(made, 21), oh.laws(made, 21, days=(3, 21))
    for a, b in zip(every.law, some.law, strict=True):
        assert a[[2, 20]] == pytest.approx(b, abs=1e-12)


def test_the_same_seed_gives_each_animal_the_same_luck_whatever_the_house():
    made = house(np.random.default_rng(3))
    base = oh.paths(made, 21, 300, 9)
    assert (oh.paths(made, 21, 300, 9) == base).all()
    assert (oh.paths(made, 21, 300, 10) != base).any()
    fewer = oh.paths(made, 21, 300, 9, thin=0.4)
    more = oh.paths(made, 21, 300, 9, seizure=5)
    assert (fewer <= base).all() and (fewer < base).any()
    assert (more >= base).all() and (more.sum(axis=1)[:, 0] - base.sum(axis=1)[:, 0]).max() <= 5


def test_a_zone_four_fifths_full_on_average_has_days_over():
    # Mean 16 in 20 places: the mean alone hides the full days.
    k = geometric([0, 0.1])
    made = oh.House(kernel=k, zone=np.zeros(16, int), age=np.ones(16, int), weight=np.ones(16, int),
                    streams=(stream(11.2, np.inf, {(1,): 1.0}, weeks=13),), share=np.full(7, 1 / 7),
                    entry=np.ones((1, 1)))  # fmt: skip
    law = oh.laws(made, 91).law[0]
    assert law[-1] @ np.arange(law.shape[1]) == pytest.approx(16, abs=0.1)
    assert 0.05 < law[-1, 21:].sum() < 0.2


REFUSALS = [
    (lambda: oc.census([1], [0], 5), "No one can leave before coming"),
    (lambda: oc.census([1], [2], 0), "at least one day"),
    (lambda: oc.census([np.nan], [2], 4), "day of coming, but one is missing"),
    (lambda: oc.kernel([2], [-1], [3], [1], zones=2), "numbered 0 to 1"),
    (lambda: oc.kernel([0], [4], [3], [1], zones=1), "must not end before it began"),
    (lambda: oc.kernel([0], [-1], [3], [5], zones=1), "found 5 to 5"),
    (lambda: oc.kernel([0], [-1], [0], [1], zones=2), "first day in another zone"),
    (lambda: changes.faster(geometric([0, 0.1]), -1.5), "0.1 is 10 %"),
    (lambda: changes.shorter(geometric([0, 0.1]), -2, zone=0), "five days shorter"),
    (lambda: poisson_binomial([[1.2]]), "between 0 and 1"),
    (lambda: poisson_binomial([[0.2]], [-1]), "at least 0"),
    (lambda: stream(-1, 1, {(1,): 1.0}), "at least 0"),
    (lambda: stream(1, 1, {(1,): 0.5}), "sum to 1"),
    (lambda: census_law(np.zeros((1, 0, 7)), [], np.ones((2, 7)), [], SHARE), "same draws and days"),
    (lambda: census_law(np.zeros((1, 0, 7)), [], np.ones((1, 7)), [], SHARE * 2), "7 numbers that sum to 1"),
    (lambda: census_law(np.zeros((1, 9, 7)), np.ones(9), np.ones((1, 7)), [], SHARE, counts=8), "cannot hold 9"),
    (lambda: oh.paths(house(np.random.default_rng(1)), 7, 2, 1, thin=1.0), "from 0 to below 1"),
    (lambda: open_house.still_here([3.0], [0.0], 4, 1), "beyond our data"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(call, says):
    with pytest.raises(InputError, match=says):
        call()
