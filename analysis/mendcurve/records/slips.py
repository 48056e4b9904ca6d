"""Checks of weights: units and decimals that slipped, by the animal's own neighbours and the species' wide bounds."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.review import Review, looked_up, worded

# Factor of weight to its neighbours -> what probably happened.
SLIPS = {
    10.0: "a decimal point may be missing",
    0.1: "a decimal point may have slipped",
    1000.0: "the number may be grams and its unit kilograms",
    0.001: "the number may be kilograms and its unit grams",
    1 / 28.349523125: "the number may be ounces and its unit grams",
    28.349523125: "the number may be grams and its unit ounces",
    1 / 453.59237: "the number may be pounds and its unit grams",
    453.59237: "the number may be grams and its unit pounds",
}
# How near a factor must be, on the log scale: animals change by a seventh between weighings, units by far more.
NEAR = 0.15
# More than this from both neighbours within NEIGHBOUR_DAYS is doubtful whatever the factor.
JUMP = 2.0
JUMP_DAYS = 14
NEIGHBOUR_DAYS = 120


def check_weights(review: Review) -> None:
    """Doubt weights that look like another unit, or lie outside the species' bounds; none is changed."""
    frame = review.tables["weighings"]
    factor, why, other = suspects(frame)
    bad = why != ""
    rule = worded(
        "the weight is {factor} times this animal's weighings around it ({other} g): {why}",
        bad,
        factor=factor.round(3),
        other=other.round(1),
        why=why,
    )
    review.doubt("weighings", bad, "weight", rule, "Look at the paper record, and correct the weight or its unit.")
    intakes = review.tables["intakes"].drop_duplicates("stay_id").set_index("stay_id")
    species = looked_up(frame["stay_id"], intakes["species"])
    bounds = review.species.drop_duplicates("name").set_index("name")
    animals = looked_up(frame["stay_id"], intakes["group_size"]).where(frame["is_group_weight"], 1).astype("float64")
    low, high = looked_up(species, bounds["low_g"]), looked_up(species, bounds["high_g"])
    out = ((frame["weight_g"] < low * animals) | (frame["weight_g"] > high * animals)).fillna(False).astype(bool)
    rule = worded(
        "the weight, {weight} g, is outside anything a {species} can weigh ({low} to {high} g)",
        out & ~bad,
        weight=frame["weight_g"].round(1),
        species=species,
        low=low,
        high=high,
    )
    review.doubt("weighings", out & ~bad, "weight", rule, "Correct the weight, its unit, or the species.")


def suspects(weighings: pd.DataFrame) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Return, for each weighing, its factor to its neighbours, what probably happened ("" for nothing), and theirs (g).

    Notes
    -----
    Neighbours are the weighings before and after; at an end, the two next to it. Both must be told apart by the same
    factor: a lasting change (a litter laid, a new level) differs from one neighbour only. A stay of two weighings
    cannot say which of them is wrong, and is left to the bounds. Group weights are compared with nothing.
    """
    use = weighings[~weighings["is_group_weight"] & (weighings["weight_g"] > 0)]
    use = use.sort_values(["stay_id", "weighed_on", "source_row"], kind="stable")
    log, day, by = np.log(use["weight_g"]), use["weighed_on"], use["stay_id"]
    around = {n: (log.groupby(by).shift(n), (day.groupby(by).shift(n) - day).dt.days.abs()) for n in (-2, -1, 1, 2)}
    first = around[1][0].where(around[1][0].notna(), around[-2][0])
    second = around[-1][0].where(around[-1][0].notna(), around[2][0])
    near = np.fmin(around[1][1].astype("float64"), around[-1][1].astype("float64"))
    one, two = log - first, log - second
    why = pd.Series("", index=use.index, dtype=object)
    for factor, text in SLIPS.items():
        hit = ((one - np.log(factor)).abs() < NEAR) & ((two - np.log(factor)).abs() < NEAR) & (near <= NEIGHBOUR_DAYS)
        why = why.mask(hit, text)
    both = (np.sign(one) == np.sign(two)) & (np.minimum(one.abs(), two.abs()) > np.log(JUMP))
    why = why.mask((why == "") & both & (near <= JUMP_DAYS), "it may belong to another animal, or be a slip")
    other = (first + second) / 2
    index = weighings.index
    return (np.exp(log - other).reindex(index), why.reindex(index, fill_value=""), np.exp(other).reindex(index))
