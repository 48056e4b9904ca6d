"""Kaplan-Meier, restricted means, cumulative incidence against R 4.2.2 (survival 3.5.3, cmprsk 2.2.11), row by row."""

from __future__ import annotations

import math

import pytest

from mendcurve.methods.differences import difference_in_restricted_mean
from mendcurve.methods.survival import cumulative_incidence, days_lost, kaplan_meier, quantile, restricted_mean
from mendcurve.methods.tally import Tally
from reference.rows import cases, data

KM_LIMITS = {"ci_lower": "low", "ci_upper": "high"}
VARIANCE = {
    "infinitesimal jackknife (survfit)": "greenwood",
    "Greenwood-type (Aalen-Johansen recursive, binomial increments)": "greenwood",
    "cmprsk::cuminc (Aalen-type delta)": "aalen",
}


def tally_of(row, causes=("1",), group=None):
    o = row.options
    frame = data(row.data_file)
    if "entry" in o:
        frame = frame[frame[o["entry"]] < frame[o["time"]]]
    if "level" in o:
        frame = frame[frame[o["group"]].astype(str) == o["level"]]
    entry = frame[o["entry"]] if "entry" in o else None
    names = None if group is None else frame[group]
    return Tally.from_arrays(entry, frame[o["time"]], frame[o["event"]], causes=causes, group=names)


@pytest.mark.parametrize("row", cases(section="01"))
def test_kaplan_meier(row):
    tally = tally_of(row)
    if "conditional_on_surviving_to" in row.options:
        tally = tally.starting_at(row.options["conditional_on_surviving_to"])
    curve = kaplan_meier(tally, limits=row.options.get("conf_type", "plain"))
    if row.quantity.startswith("quantile"):
        found = quantile(curve, float(row.at.removeprefix("p=")), plateau="midpoint")
        which = {"quantile": "estimate", "quantile_ci_lower": "low", "quantile_ci_upper": "high"}[row.quantity]
        row.check(getattr(found, which)[0])
        return
    if row.quantity == "n_at_risk":
        # R's summary() gives between two days of exit the risk set of the later one; ours is that of the day itself
        exits = tally.day[(tally.events.sum(axis=(0, 1)) + tally.censored.sum(axis=0)) > 0]
        later = exits[exits >= float(row.at)]
        row.check(tally.at_risk([later[0] if len(later) else float(row.at)])[0, 0])
        return
    at = curve.at(float(row.at))
    name = {"survival": "share", "se_greenwood": "se", **KM_LIMITS}[row.quantity]
    row.check(getattr(at, name)[0, 0])


@pytest.mark.parametrize("row", cases(section="02"))
def test_restricted_mean(row):
    tau = row.options["tau"]
    tally = tally_of(row, group=row.options["group"])
    which, _ = row.at.split(";tau=")
    if row.quantity in ("rmst", "rmst_se"):
        found = restricted_mean(kaplan_meier(tally), tau)
        g = tally.group_index(which)
        row.check((found.estimate if row.quantity == "rmst" else found.se)[g])
        return
    # levels may themselves hold a hyphen (6-MP)
    one, two = tally.groups[1], tally.groups[0]
    assert which == f"{one}-{two}"
    found = difference_in_restricted_mean(tally, one, two, tau)
    mean = restricted_mean(kaplan_meier(tally), tau).estimate
    got = {
        "rmst_difference": found.estimate,
        "rmst_difference_se": found.se,
        "rmst_difference_p": found.p,
        "rmst_difference_ci_lower": found.low,
        "rmst_difference_ci_upper": found.high,
        "rmst_ratio": mean[1] / mean[0],
    }
    row.check(got[row.quantity])


@pytest.mark.parametrize("row", cases(section="04"))
def test_cumulative_incidence(row):
    tally = tally_of(row, causes=("1", "2"))
    where = row.at_dict()
    variance = VARIANCE.get(row.options.get("variance", ""), "greenwood")
    curve = cumulative_incidence(tally, variance=variance, limits=row.options.get("conf_type", "plain"))
    if row.quantity.startswith("time_lost"):
        found = days_lost(curve, float(where["tau"]))
        c = curve.cause(where["cause"])
        row.check((found.se if row.quantity.endswith("_se") else found.estimate)[0, c])
        return
    at = curve.at(float(where["t"]))
    if row.quantity == "event_free":
        row.check(at.free[0, 0])
        return
    name = {"cif": "share", "cif_se": "se", "cif_ci_lower": "low", "cif_ci_upper": "high"}[row.quantity]
    row.check(getattr(at, name)[0, curve.cause(where["cause"]), 0])


def test_every_row_of_these_sections_is_checked(capsys):
    counts = {s: len(cases(section=s)) for s in ("01", "02", "04")}
    with capsys.disabled():
        print(f"\nrows checked against R: {counts}")
    assert counts == {"01": 622, "02": 50, "04": 381}
    assert math.isclose(sum(counts.values()), 1053)
