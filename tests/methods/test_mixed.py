"""The mixed model against lme4 and nlme, statsmodels, its own conventions, and simulated truth."""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
import pytest

from mendcurve.errors import InputError
from mendcurve.methods import mixed_predict as predict
from mendcurve.methods.mixed import fit, identifiable
from mendcurve.methods.mixed_deviance import evaluate
from mendcurve.methods.mixed_moments import moments
from reference.rows import cases, data, rows

TEXT = ("chick", "diet", "rat", "subject", "rail", "batch", "sex")


def _columns(frame, name, levels):
    if name in levels:
        return [(f"{name}{level}", (frame[name].astype(str) == level).to_numpy(float)) for level in levels[name][1:]]
    return [(name, frame[name].to_numpy(float))]


@cache
def _fitted(case):
    row = rows(section="10", case=case)[0]
    frame, options = data(row.data_file, text=TEXT), row.options
    levels = options.get("factor_levels", {})
    response, right = options["fixed"].split("~")
    x = [("(Intercept)", np.ones(len(frame)))]
    for name in (n for n in right.replace("*", "+").split("+") if n != "1"):
        x += _columns(frame, name, levels)
    if "*" in right:
        a, b = right.split("*")
        x += [(f"{n}:{m}", u * v) for n, u in _columns(frame, a, levels) for m, v in _columns(frame, b, levels)]
    slope, subject = options["random"].split(" | ")
    z = x[:1] + ([] if slope == "1" else _columns(frame, slope, levels))
    sums = moments(
        frame[subject],
        frame[response],
        np.column_stack([c for _, c in x]),
        np.column_stack([c for _, c in z]),
        names=[n for n, _ in x],
        random_names=[n for n, _ in z],
    )
    return fit(sums, reml=options["method"] == "REML"), sums


def _got(row):  # noqa: C901 - one line a quantity
    model, sums = _fitted(row.case)
    i = model.names.index(row.at) if row.at in model.names else 0
    j = model.random_names.index(row.at) if row.at in model.random_names else 0
    cov = model.random_cov
    variance = model.residual if row.at == "Residual" else cov[j, j]
    match row.quantity:
        case "fixed":
            return model.beta[i]
        case "fixed_se":
            return model.se[i]
        case "t_value":
            return model.beta[i] / model.se[i]
        case "variance":
            return variance
        case "sd":
            return np.sqrt(variance)
        case "covariance":
            return cov[0, 1]
        case "correlation":
            return cov[0, 1] / np.sqrt(cov[0, 0] * cov[1, 1])
        case "loglik":
            return model.log_likelihood
        case "reml_criterion":
            return -2 * model.log_likelihood
        case "df_satterthwaite":
            return predict.satterthwaite(model, sums)[i]
        case "df_containment":
            return predict.containment(sums)[i]
        case "blup":
            who, column = row.at.split(";")
            return model.effects[model.subjects.index(who.split("=")[1]), model.random_names.index(column)]
    raise AssertionError(row.quantity)


# lme4 1.1-31 and nlme 3.1-162, see reference/README.md: 300 rows, core and extra.
@pytest.mark.parametrize("row", cases(section="10"))
def test_reference_row(row):
    row.check(_got(row))


def _herd(rng, animals=40, rows=8, sd=(0.3, 0.02), rho=0.3, noise=0.05):
    subject = np.repeat(np.arange(animals), rows)
    time = np.tile(np.arange(rows) * 7.0, animals) + rng.integers(0, 3, animals * rows)
    cov = np.outer(sd, sd) * np.array([[1, rho], [rho, 1]])
    b = rng.multivariate_normal((0, 0), cov, animals)
    x = np.column_stack([np.ones(len(time)), time])
    y = x @ (4.0, 0.01) + b[subject, 0] + b[subject, 1] * time + noise * rng.standard_normal(len(time))
    return subject, y, x


# PITFALLS.md row 8 and its fixture table: 300 animals x 8, lme4 in 30-day units.
@pytest.mark.parametrize(("unit", "shift"), [(30, 0), (1, 0), (1 / 24, 0), (1, 738_000)])
def test_units_and_origin_of_time_do_not_change_the_fit(unit, shift):
    frame = data("data/pitfall_lmm.csv")
    time = frame["day"].to_numpy(float) / unit + shift
    x = np.column_stack([np.ones(len(time)), time])
    model = fit(moments(frame["id"], frame["y"], x, x))
    at_zero = np.array([[1.0, shift], [0.0, 1 / unit * 30]])
    cov = at_zero @ model.random_cov @ at_zero.T
    assert cov[1, 1] == pytest.approx(0.30773, rel=1e-4)
    assert cov[0, 0] == pytest.approx(0.10521, rel=1e-4)
    assert model.residual == pytest.approx(0.0023845, rel=1e-4)
    assert cov[0, 1] / np.sqrt(cov[0, 0] * cov[1, 1]) == pytest.approx(-0.039, abs=5e-4)


@pytest.mark.parametrize("seed", range(8))
def test_agrees_with_statsmodels_where_that_converges(seed):
    from statsmodels.regression.mixed_linear_model import MixedLM

    subject, y, x = _herd(np.random.default_rng(seed), animals=30)
    time = (x[:, 1] - x[:, 1].mean()) / 20  # MixedLM misfits in other units (LIBRARY_TRAPS.md)
    x = np.column_stack([x[:, 0], time])
    ours = fit(moments(subject, y, x, x))
    best = None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for method in ("lbfgs", "bfgs", "powell"):
            theirs = MixedLM(y, x, subject, exog_re=x).fit(method=method)
            best = theirs if best is None or theirs.llf > best.llf else best
    assert ours.log_likelihood >= best.llf - 1e-4
    if ours.log_likelihood - best.llf < 1e-3:
        assert ours.beta == pytest.approx(np.asarray(best.fe_params), rel=1e-3, abs=1e-4)
        assert ours.residual == pytest.approx(best.scale, rel=1e-2)
        assert ours.random_cov == pytest.approx(np.asarray(best.cov_re), rel=0.05, abs=2e-3)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("q", [1, 2])
def test_gradient_is_that_of_the_deviance(reml, q):
    subject, y, x = _herd(np.random.default_rng(3), animals=12)
    sums = moments(subject, y, x, x[:, :q])
    theta = np.array([1.3]) if q == 1 else np.array([1.3, -0.4, 0.7])
    for k, step in enumerate(1e-6 * np.eye(len(theta))):
        up, down = (evaluate(sums, theta + s * step, reml=reml).deviance for s in (1, -1))
        assert evaluate(sums, theta, reml=reml).gradient[k] == pytest.approx((up - down) / 2e-6, rel=1e-5, abs=1e-5)


def test_likelihood_is_that_of_the_marginal_normal():
    from scipy.stats import multivariate_normal

    subject, y, x = _herd(np.random.default_rng(5), animals=6, rows=5)
    model = fit(moments(subject, y, x, x), reml=False)
    total = 0.0
    for s in np.unique(subject):
        rows = x[subject == s]
        v = rows @ model.random_cov @ rows.T + model.residual * np.eye(len(rows))
        total += multivariate_normal(rows @ model.beta, v).logpdf(y[subject == s])
    assert model.log_likelihood == pytest.approx(total, abs=1e-6)


def test_moments_of_two_halves_add_even_when_an_animal_is_in_both():
    subject, y, x = _herd(np.random.default_rng(6))
    whole = fit(moments(subject, y, x, x))
    first = np.arange(len(y)) % 2 == 0
    added = fit(
        moments(subject[first], y[first], x[first], x[first])
        + moments(subject[~first], y[~first], x[~first], x[~first])
    )
    assert added.log_likelihood == pytest.approx(whole.log_likelihood, abs=1e-6)
    assert added.beta == pytest.approx(whole.beta, rel=1e-6)
    assert added.effects == pytest.approx(whole.effects, rel=1e-4, abs=1e-6)


def test_one_weighing_each_is_stepped_down_with_the_reason():
    rng = np.random.default_rng(7)
    x = np.column_stack([np.ones(30), rng.uniform(0, 60, 30)])
    sums = moments(np.arange(30), rng.standard_normal(30), x, x)
    model = fit(sums)
    assert model.model == "plain"
    assert "measured once" in " ".join(model.words)
    assert model.random_cov.shape == (0, 0)
    line = np.linalg.lstsq(x, np.zeros(30), rcond=None)
    assert line[0] == pytest.approx([0, 0])
    with pytest.raises(InputError, match="measured once, so differences"):
        fit(sums, step_down=False)


def test_two_weighings_each_carry_an_intercept_but_no_slope():
    subject, y, x = _herd(np.random.default_rng(8), rows=2)
    model = fit(moments(subject, y, x, x))
    assert model.model == "random intercept"
    assert "more than twice" in model.words[0]


def test_plain_fit_is_least_squares():
    subject, y, x = _herd(np.random.default_rng(9), rows=1)
    model = fit(moments(subject, y, x, x))
    beta, squares, *_ = np.linalg.lstsq(x, y, rcond=None)
    assert model.beta == pytest.approx(beta)
    assert model.residual == pytest.approx(squares[0] / (len(y) - 2))


def test_no_slope_variation_is_said_to_be_singular_not_invented():
    zero = 0
    for seed in range(10):  # PITFALLS.md row 8: 30 x 4, statsmodels printed 0.036 for a true 0
        subject, y, x = _herd(np.random.default_rng(seed), animals=30, rows=4, sd=(0.3, 0.0))
        model = fit(moments(subject, y, x, x))
        assert np.sqrt(model.random_cov[1, 1]) * 28 < 0.1
        assert model.singular == bool(model.words)
        zero += model.singular
    assert zero >= 3


def test_a_group_of_two_cannot_carry_a_random_intercept():
    subject, y, x = _herd(np.random.default_rng(1), animals=2)
    q, words = identifiable(moments(subject, y, x, x))
    assert q == 0
    assert "2 subjects" in words[-1]


REFUSALS = [
    (lambda s, y, x: (s, y, np.column_stack([x, 2 * x[:, 1] + 1]), x[:, :1]), "x2 is a combination"),
    (lambda s, y, x: (s, y, np.column_stack([x, 0 * x[:, 1]]), x[:, :1]), "zero in every row"),
    (lambda s, y, x: (s, np.where(s == 3, np.nan, y), x, x), "8 of 320 rows"),
    (lambda s, y, x: (s[:5], y, x, x), "lengths 5, 320"),
    (lambda s, y, x: (s, y, x, np.column_stack([x, x[:, 1] ** 2])), "3 given"),
    (lambda s, y, x: (s[:2], y[:2], x[:2], x[:2]), "2 rows, 2 columns"),
    (lambda s, y, x: (s, x @ (1.0, 2.0), x, x), "no noise"),
    (lambda s, y, x: (np.arange(len(y)), x @ (1.0, 2.0), x, x), "no noise"),
]


@pytest.mark.parametrize(("change", "says"), REFUSALS)
def test_refuses_and_says_what_it_found(change, says):
    with pytest.raises(InputError, match=says):
        fit(moments(*change(*_herd(np.random.default_rng(0)))))


def test_an_unknown_animal_is_answered_with_the_nearest():
    subject, y, x = _herd(np.random.default_rng(0))
    model = fit(moments([f"S-{s:03d}" for s in subject], y, x, x))
    with pytest.raises(InputError, match=r'"S-0011".*40 subjects'):
        predict.this_subject(model, "S-0011", x[:1], x[:1])


def test_each_interval_holds_what_it_names():
    """The mean, a reading of a known animal, a reading of a new animal: 90 % of each, over simulated herds."""
    hits = {"mean": [], "this": [], "new": [], "level": []}
    later = np.array([[1.0, 63.0]])
    for seed in range(200):
        rng = np.random.default_rng(1000 + seed)
        animals = 25
        b = rng.multivariate_normal((0, 0), [[0.09, 0.001], [0.001, 0.0001]], animals + 1)
        subject = np.repeat(np.arange(animals), 6)
        x = np.column_stack([np.ones(len(subject)), np.tile(np.arange(6) * 7.0, animals)])
        y = x @ (4, 0.01) + (x * b[subject]).sum(1) + 0.05 * rng.standard_normal(len(subject))
        model = fit(moments(subject, y, x, x))
        truth = 4 + 63 * 0.01
        known, new = truth + later[0] @ b[0], truth + later[0] @ b[-1]
        noise = 0.05 * rng.standard_normal(2)
        for name, value, got in (
            ("mean", truth, predict.mean(model, later, confidence=0.9)),
            ("this", known + noise[0], predict.this_subject(model, "0", later, later, confidence=0.9)),
            ("level", known, predict.this_subject(model, "0", later, later, confidence=0.9, reading=False)),
            ("new", new + noise[1], predict.new_subject(model, later, later, confidence=0.9)),
        ):
            hits[name].append(got.low[0] <= value <= got.high[0])
    share = {name: float(np.mean(h)) for name, h in hits.items()}
    print(share)
    assert all(0.84 <= s <= 0.96 for s in share.values()), share


def test_a_thousand_animals_take_no_loop():
    subject, y, x = _herd(np.random.default_rng(2), animals=20_000)
    model = fit(moments(subject, y, x, x))
    assert model.random_cov[1, 1] == pytest.approx(0.0004, rel=0.05)
    assert model.residual == pytest.approx(0.0025, rel=0.02)


def test_a_reading_is_wider_than_the_subject_itself_by_the_noise():
    subject, y, x = _herd(np.random.default_rng(4))
    model = fit(moments(subject, y, x, x))
    at = np.array([[1.0, 30.0]])
    for with_noise, without in (
        (predict.this_subject(model, "3", at, at), predict.this_subject(model, "3", at, at, reading=False)),
        (predict.new_subject(model, at, at), predict.new_subject(model, at, at, reading=False)),
    ):
        assert with_noise.se[0] ** 2 - without.se[0] ** 2 == pytest.approx(model.residual)
        assert with_noise.estimate == without.estimate
        assert "reading" in with_noise.of


def test_a_likelihood_that_rises_for_ever_ends_in_words():
    """Each subject lies all but exactly on its own line: no ratio of spread to noise is large enough."""
    rng = np.random.default_rng(8)
    subject = np.repeat(np.arange(6), 3)
    time = np.tile([0.0, 1.0, 2.0], 6)
    y = np.repeat(rng.normal(size=6), 3) * 1e6 + time * np.repeat(rng.normal(size=6), 3) * 1e6
    y = y + rng.normal(size=18) * 1e-3
    try:
        model = fit(moments(subject, y, np.column_stack([np.ones(18), time]), np.column_stack([np.ones(18), time])))
    except InputError as error:
        assert "mixed model" in str(error) or "exactly" in str(error)
    else:
        assert np.isfinite(model.theta).all()
