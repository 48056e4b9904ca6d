"""Log-rank, Gray, hazard ratio, proportions, rates, adjusted p-values, clustered shares against R 4.2.2, row by row."""

from __future__ import annotations

import math

import pytest

from mendcurve.methods.clusters import cluster_share
from mendcurve.methods.comparing import gray, log_rank, pairwise
from mendcurve.methods.curves import cumulative_incidence
from mendcurve.methods.differences import hazard_ratio
from mendcurve.methods.intervals import benjamini_hochberg, exact, garwood, holm, newcombe, wilson
from mendcurve.methods.tally import Tally
from reference.rows import cases, data, rows

OURS = {
    "G-rho=1 (weight = left-continuous KM of pooled sample)": "left survival",
    None: "log-rank",
}
# hochberg, BY, bonferroni, Jeffreys and the like are variants we do not offer: one rule, one name
SHARES = rows(section="13", method="binomial proportion")
PROPORTIONS = [r for r in SHARES if r.options["interval"] in ("wilson", "clopper-pearson")]
# at 0 and n R's mid-p row puts the whole tail on one side; the mixture keeps half of it, as everywhere else
MIDP = [r for r in SHARES if r.options["interval"] == "mid-p" and 0 < r.options["x"] < r.options["n"]]
ADJUSTED = [r for r in rows(section="13", method="adjusted p-values") if r.options["method"] in ("holm", "BH")]
TWO = [r for r in rows(section="13", method="two proportions") if r.quantity.startswith("difference")]
RATES = rows(section="13", method="exact Poisson rate (Garwood)")

ONE_COVARIATE = [  # the others are the regression's own, in test_cox.py
    r
    for r in rows(section="06", case=("cox.leukemia.efron", "cox.gehan.efron"))
    if r.quantity in ("coef", "se", "hr_ci_lower", "hr_ci_upper")
]


def of(chosen):
    assert chosen
    return [pytest.param(r, id=r.id) for r in chosen]


def test_of(row):
    o = row.options
    frame = data(row.data_file, text=("stage", "trt", "group", "sex"))
    if "entry" in o:
        frame = frame[frame[o["entry"]] < frame[o["time"]]]
    if "strata" in o:
        frame = frame.dropna(subset=[o["strata"]])
    entry = frame[o["entry"]] if "entry" in o else None
    group, strata = frame[o["group"]].astype(str), None
    if "strata" in o:
        pair = list(zip(frame[o["strata"]].astype(str), group, strict=True))
        group = [f"{s}|{g}" for s, g in pair]
        strata = dict(zip(group, pair, strict=True))
    return Tally.from_arrays(entry, frame[o["time"]], frame[o["event"]], group=group), strata


test_of.__test__ = False


@pytest.mark.parametrize("row", cases(section="03", method=lambda m: not m.startswith("pairwise")))
def test_log_rank(row):
    tally, strata = test_of(row)
    weights = OURS.get(row.options.get("weights"), row.options.get("weights"))
    found = log_rank(tally, strata, weights=weights)
    if row.quantity.startswith("trend"):
        z = found.trend(row.options["scores"])[0]
        row.check(z if row.quantity == "trend_z" else z**2)
        return
    if row.quantity in ("observed", "expected", "variance_U"):
        g = found.groups.index(row.at)
        row.check(found.variance[g, g] if row.quantity == "variance_U" else getattr(found, row.quantity)[g])
        return
    row.check({"chisq": found.chisq, "df": found.df, "p_value": found.p}[row.quantity])


@pytest.mark.parametrize("row", cases(section="03", method=lambda m: m.startswith("pairwise")))
def test_pairwise(row):
    found = pairwise(test_of(row)[0])
    i = found.pairs.index(tuple(row.at.split(" vs ")))
    adjusted = found.adjusted if row.options.get("method") == "holm" else benjamini_hochberg(found.p)
    row.check(found.p[i] if row.quantity == "p_raw" else adjusted[i])


@pytest.mark.parametrize("row", cases(section="05"))
def test_gray(row):
    frame = data(row.data_file)
    o = row.options
    tally = Tally.from_arrays(None, frame[o["time"]], frame[o["event"]], group=frame[o["group"]], causes=("1", "2"))
    found = gray(tally, row.at_dict()["cause"])
    row.check({"chisq": found.chisq, "df": found.df, "p_value": found.p}[row.quantity])


@pytest.mark.parametrize("row", of(ONE_COVARIATE))
def test_hazard_ratio_is_cox_with_efron_ties(row):
    o = row.options
    frame = data(row.data_file)
    tally = Tally.from_arrays(None, frame[o["y"][0]], frame[o["y"][1]], group=frame[o["x"]])
    found = hazard_ratio(tally, "1", "0")
    got = {"coef": math.log(found.estimate), "se": found.se, "hr_ci_lower": found.low, "hr_ci_upper": found.high}
    row.check(got[row.quantity])


@pytest.mark.parametrize("row", of(PROPORTIONS))
def test_proportion(row):
    rule = wilson if row.options["interval"] == "wilson" else exact
    found = rule(row.options["x"], row.options["n"], confidence=row.options["conf"])
    row.check(found.low if row.quantity == "ci_lower" else found.high)


@pytest.mark.parametrize("row", of(MIDP))
def test_beta_product_limits_without_censoring_are_the_mid_p_limits_of_a_proportion(row):
    x, n = row.options["x"], row.options["n"]
    tally = Tally.from_arrays(None, [1.0] * n, [1] * x + [0] * (n - x))
    at = cumulative_incidence(tally, confidence=row.options["conf"]).at(1)
    row.check((at.low if row.quantity == "ci_lower" else at.high)[0, 0, 0])


@pytest.mark.parametrize("row", of(TWO))
def test_difference(row):
    found = newcombe(*(row.options[k] for k in ("x1", "n1", "x2", "n2")))
    got = {"difference": found.estimate, "difference_ci_lower": found.low, "difference_ci_upper": found.high}
    row.check(got[row.quantity])


@pytest.mark.parametrize("row", of(RATES))
def test_rate(row):
    found = garwood(row.options["x"], row.options["T"], confidence=row.options["conf"])
    row.check(found.low if row.quantity == "rate_ci_lower" else found.high)


@pytest.mark.parametrize("row", of(ADJUSTED))
def test_adjusted(row):
    adjust = holm if row.options["method"] == "holm" else benjamini_hochberg
    row.check(adjust(row.options["p"])[int(row.at) - 1])


@pytest.mark.parametrize("row", cases(section="18", method=lambda m: m.startswith("pooled proportion")))
def test_clustered_share(row):
    o = row.options
    frame = data(row.data_file)
    found = cluster_share(frame[o["successes"]], frame[o["trials"]], frame[o["cluster"]])
    row.check({
        "design_effect": found.design_effect,
        "proportion": found.estimate,
        "se_binomial": math.sqrt(found.estimate * (1 - found.estimate) / found.n),
        "se_cluster_ratio": found.se,
        "wilson_effective_n_lower": found.low,
        "wilson_effective_n_upper": found.high,
    }[row.quantity])  # fmt: skip


def test_the_number_of_rows_checked(capsys):
    counts = {section: len(rows(section=section)) for section in ("03", "05")}
    counts["06"] = len(ONE_COVARIATE)
    counts["13"] = sum(map(len, (PROPORTIONS, MIDP, TWO, ADJUSTED, RATES)))
    counts["18"] = len(rows(section="18", method=lambda m: m.startswith("pooled")))
    with capsys.disabled():
        print(f"\nrows checked against R: {counts}")
    assert counts == {"03": 123, "05": 18, "06": 8, "13": 96, "18": 6}
