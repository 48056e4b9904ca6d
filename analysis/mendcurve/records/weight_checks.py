"""All checks of weights: swapped, slipped, beyond bounds, grown impossibly, carried forward. None is changed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.carried import carried, same_day
from mendcurve.records.growth import impossible
from mendcurve.records.review import Review, among, by_id, looked_up, worded
from mendcurve.records.slips import fitting, likely_by_bounds, likely_by_factor, slipped, spread, undecided
from mendcurve.records.swaps import swapped
from mendcurve.records.weighed import Weighed, in_order

_PAPER = "Look at the paper record, and correct the weight or its unit."
# Two weights of one day agree when the heavier is at most this much above the lighter (as the weight curves take it).
SAME_DAY = 0.03


def check_weights(review: Review) -> None:
    """Doubt weights that look like another unit or animal, or that no animal has; none is changed."""
    frame = review.tables["weighings"]
    if not len(frame):
        return
    intakes = by_id(review.tables["intakes"], "stay_id")
    size = looked_up(frame["stay_id"], intakes["group_size"]).astype("float64")
    series = in_order(frame, size > 1)
    told = _swaps(review, series)
    told = told | _slips(review, series, told)
    told = told | _bounds(review, frame, told, intakes, size)
    told = told | _undecided(review, series, told)
    told = told | _two_of_a_day(review, frame, told)
    left = series.only(~told.to_numpy()[series.place])
    _growth(review, left, intakes)
    _carried(review, left)


def _swaps(review: Review, series: Weighed) -> pd.Series:
    frame = review.tables["weighings"]
    other = swapped(series)
    where = np.where(other >= 0, series.place[other], -1)
    partner = series.spread(where, -1, frame.index)
    bad = partner >= 0
    mate = frame.iloc[partner[bad].to_numpy()].set_axis(frame.index[bad])
    rule = worded(
        "the weight does not fit this animal's weighings around it, but those of {stay} weighed the same day "
        "(row {row}, {grams} g), whose weight fits here",
        bad,
        stay=mate["stay_id"],
        row=mate["source_row"],
        grams=mate["weight_g"].round(1),
    )
    likely = worded("{grams} g, if the two weights were swapped", bad, grams=mate["weight_g"].round(1))
    review.doubt("weighings", bad, "weight", rule, "Look at the paper record; the two may be swapped.", likely)
    return bad


def _slips(review: Review, series: Weighed, told: pd.Series) -> pd.Series:
    frame = review.tables["weighings"]
    rest = series.only(~told.to_numpy()[series.place])
    factor, why, other = spread(rest, *slipped(rest), frame.index)
    bad = why != ""
    why = fitting(why, frame["unit"])
    rule = worded(
        "the weight is {factor} times this animal's weighings around it ({other} g): {why}",
        bad,
        factor=factor.round(3),
        other=other.round(1),
        why=why,
    )
    likely = likely_by_factor(why, frame["weight_g"])
    review.doubt("weighings", bad, "weight", rule, _PAPER, likely)
    return bad


def _undecided(review: Review, series: Weighed, told: pd.Series) -> pd.Series:
    frame = review.tables["weighings"]
    rest = series.only(~told.to_numpy()[series.place])
    two = undecided(rest)
    where = np.where(two >= 0, rest.place[two], -1)
    partner = rest.spread(where, -1, frame.index)
    pair = partner >= 0
    mate = frame.iloc[partner[pair].to_numpy()].set_axis(frame.index[pair])
    rule = worded(
        "the stay's two weighings, {grams} g here and {mate} g in row {row}, differ as two units do: one is wrong",
        pair,
        grams=frame["weight_g"].round(1),
        mate=mate["weight_g"].round(1),
        row=mate["source_row"],
    )
    review.doubt("weighings", pair, "weight", rule, _PAPER)
    return pair


def _bounds(review: Review, frame: pd.DataFrame, told: pd.Series, intakes: pd.DataFrame, size: pd.Series) -> pd.Series:
    bounds = review.species.drop_duplicates("name").set_index("name")
    animals = size.where(frame["is_group_weight"], 1.0)
    # By stay first: there are many weighings of one.
    low, high = (
        looked_up(frame["stay_id"], looked_up(intakes["species"], bounds[name])) for name in ("low_g", "high_g")
    )
    grams = frame["weight_g"]
    out = ((grams < low) | (grams > high * animals)).fillna(False).astype(bool)
    bad = out & ~told
    rule = worded(
        "the weight, {weight} g, is outside anything a {species} can weigh ({low} to {high} g)",
        bad,
        weight=grams.round(1),
        species=looked_up(frame.loc[bad, "stay_id"], intakes["species"]),
        low=low,
        high=high,
    )
    here = among(frame["stay_id"], frame.loc[bad, "stay_id"]) & ~frame["is_group_weight"]
    own = grams[here].where(~out & ~told).groupby(frame.loc[here, "stay_id"]).transform("median").reindex(frame.index)
    likely = pd.Series("", index=frame.index, dtype=object)
    likely.loc[bad] = likely_by_bounds(grams[bad], low[bad], (high * animals)[bad], own[bad], frame.loc[bad, "unit"])
    review.doubt("weighings", bad, "weight", rule, "Correct the weight, its unit, or the species.", likely)
    return out


def _two_of_a_day(review: Review, frame: pd.DataFrame, told: pd.Series) -> pd.Series:
    first = same_day(frame, SAME_DAY, ~told)
    bad = first.notna()
    text = "two weights of one day should agree; row {row} has another for this day"
    rule = worded(text, bad, row=first.astype("Int64"))
    review.doubt("weighings", bad, "weight", rule, "Keep the right one of the two.")
    return bad


def _growth(review: Review, series: Weighed, intakes: pd.DataFrame) -> None:
    frame = review.tables["weighings"]
    if not len(series.log):
        return
    # By stay first: there are many weighings of one.
    _, one, of_stay = np.unique(series.stay, return_index=True, return_inverse=True)
    stay = frame["stay_id"].iloc[series.place[one]]
    stage = looked_up(stay, intakes["life_stage"]).fillna("unknown").to_numpy(dtype=object)
    taxon = review.species.drop_duplicates("name").set_index("name")["taxon"]
    snake = (looked_up(looked_up(stay, intakes["species"]), taxon) == "snake").to_numpy(dtype=bool)
    hit = impossible(series, stage[of_stay], snake[of_stay])
    if not hit.any():
        return
    way = series.spread(hit, 0, frame.index)
    before = series.spread(np.r_[0, series.place[:-1]], 0, frame.index)
    words = frame.loc[way < 0, "circumstance"].fillna("")
    # What takes weight at once is no loss of growth.
    eased = words.str.contains("laid eggs|gave birth|tail lost|bladder emptied", regex=True).fillna(False).astype(bool)
    bad = (way != 0) & ~eased.reindex(frame.index, fill_value=False)
    mate = frame.iloc[before[bad].to_numpy()].set_axis(frame.index[bad])
    rule = worded(
        "from {before} g on {day} (row {row}) to {grams} g is more than an animal {does} in {days} days",
        bad,
        before=mate["weight_g"].round(1),
        day=mate["weighed_on"],
        row=mate["source_row"],
        grams=frame["weight_g"].round(1),
        does=way[bad].map({1: "grows", -1: "loses"}),
        days=(frame.loc[bad, "weighed_on"] - mate["weighed_on"]).dt.days,
    )
    do = "Look at the paper record: one of the two weights, or the animal, may be another."
    review.doubt("weighings", bad, "weight", rule, do, "another animal's weight")


def _carried(review: Review, series: Weighed) -> None:
    frame = review.tables["weighings"]
    times, first, copied = carried(series, frame["weight"].to_numpy(dtype="float64")[series.place])
    many = series.spread(times, 0, frame.index)
    begin = series.spread(series.place[first] if len(first) else first, 0, frame.index)
    bad = many > 0
    mate = frame.iloc[begin[bad].to_numpy()].set_axis(frame.index[bad])
    rule = worded(
        "{times} weighings in a row have the same weight as row {row} of {day}: it may have been carried forward",
        bad,
        times=many,
        row=mate["source_row"],
        day=mate["weighed_on"],
    )
    do = "Look at the paper record, and delete weights that were not read from the scale."
    review.doubt("weighings", bad, "weight", rule, do, "not weighed; carried forward")
    day = series.spread(copied, False, frame.index)
    text = "nearly all animals weighed this day have exactly their weight of the time before: the column may be copied"
    review.doubt("weighings", day, "weight", text, do, "not weighed; copied from the time before")
