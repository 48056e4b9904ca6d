"""Medical spending held against the days of the episodes: what counts to one, and where all the rest went."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.methods.money import exact_sum
from mendcurve.records.records import Records

HORIZON = 180
COUNTED = "in the days of an episode: counted"
BEFORE = "before its episode was found"
AFTER = "after its episode ended or was last heard of"
LATE = f"after day {HORIZON} of its episode"
LEFT_OUT = "of an episode that is left out"
SEVERAL = "of a stay with several conditions, which one is not said"
NO_CONDITION = "of a stay with no condition"
NOBODY = "tied to no animal"
PLACES = (COUNTED, BEFORE, AFTER, LATE, LEFT_OUT, SEVERAL, NO_CONDITION, NOBODY)
# What has an episode and yet lies outside its days: listed entry by entry.
OUTSIDE = (BEFORE, AFTER, LATE)
# What cannot be said to be of any one episode.
UNTOLD = (SEVERAL, NO_CONDITION, NOBODY)
TOTAL = "all medical spending"
OUTSIDE_COLUMNS = ("spent_on", "stay_id", "episode_id", "condition", "found_on", "last_day_on", "amount", "why")


def placed(rows: pd.DataFrame, spells: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Give each entry its episode, its day since that was found, and its place.

    Parameters
    ----------
    rows : DataFrame
        Medical spending, as ``costs_ledger.spent`` returns it.
    spells : DataFrame
        One row an episode that is followed: episode_id, condition, found_on, time (days to its last day).
    records : Records

    Returns
    -------
    DataFrame
        ``rows`` with ``episode_id`` (missing: none can be named), ``condition``, ``found_on``, ``last_day_on``,
        ``day`` (days since found; missing where the episode is not followed) and ``place``, one of ``PLACES``.

    Notes
    -----
    An entry that names a stay with one episode is that episode's. It counts from the day found to the day the episode
    ended, both included, and to day 180 at the most.
    """
    known = records["conditions"].drop_duplicates("episode_id")
    by_stay = known.groupby("stay_id")["episode_id"]
    number = rows["stay"].map(by_stay.size()).fillna(0)
    episode = rows["episode_id"].where(rows["episode_id"].isin(known["episode_id"]))
    episode = episode.where(episode.notna(), rows["stay"].where(number == 1).map(by_stay.first()))
    # The last of each is for entries without an episode that is followed.
    at = pd.Index(spells["episode_id"]).get_indexer(pd.Index(episode))
    time = np.append(pd.to_numeric(spells["time"]).to_numpy("float64"), np.nan)
    begun = np.append(spells["found_on"].to_numpy("datetime64[s]"), np.datetime64("NaT"))
    found, last = pd.Series(begun[at], index=rows.index), pd.Series(time[at], index=rows.index)
    day = (rows["spent_on"] - found).dt.days
    place = pd.Series(COUNTED, index=rows.index)
    place = place.mask(day > HORIZON, LATE).mask((day > last) & (last <= HORIZON), AFTER)
    place = place.mask(day < 0, BEFORE).mask(found.isna(), LEFT_OUT)
    place = place.mask(episode.isna(), SEVERAL).mask(episode.isna() & (number == 0), NO_CONDITION)
    place = place.mask(episode.isna() & rows["cluster"].isna(), NOBODY)
    return rows.assign(
        episode_id=episode,
        condition=spells["condition"].reindex(pd.Index(np.where(at < 0, -1, at))).to_numpy(),
        found_on=found,
        last_day_on=(found + pd.to_timedelta(last, unit="D")).astype("datetime64[s]"),
        day=day.astype("float64"),
        place=place.astype("str"),
    )


def parts(rows: pd.DataFrame, total: Decimal, currency: str) -> pd.DataFrame:
    """Return where all medical spending went, a row a place that has any and one of all; refuses a sum that differs.

    Raises
    ------
    InputError
        If the places do not add up to ``total``, to the cent.
    """
    by = rows.groupby("place")["amount"]
    names = [place for place in PLACES if place in by.groups]
    amounts = [exact_sum(by.get_group(place)) for place in names]
    if sum(amounts, Decimal(0)) != total:
        raise InputError(
            f"The books must add up: medical spending by place sums to {sum(amounts, Decimal(0))}, the ledger to "
            f"{total}.",
            remedy="Please report this: it is a mistake of Mendcurve.",
        )
    frame = pd.DataFrame({
        "medical_spending": [*names, TOTAL], "entries": [*(len(by.get_group(place)) for place in names), len(rows)],
        "amount": [*amounts, total],
    })  # fmt: skip
    frame.attrs.update(
        title="Where medical spending went", units={"entries": "entries", "amount": currency},
        definition="Every entry of medical spending once; the parts add up to the total to the cent.",
    )  # fmt: skip
    return frame


def outside(rows: pd.DataFrame, currency: str) -> pd.DataFrame:
    """List the entries that have an episode but lie outside its days, the earliest first."""
    some = rows[rows["place"].isin(OUTSIDE)].sort_values(["spent_on", "episode_id"], kind="stable", ignore_index=True)
    frame = some.assign(stay_id=some["stay"], why=some["place"])[list(OUTSIDE_COLUMNS)]
    frame.attrs.update(title="Medical spending outside the days of its episode", units={"amount": currency})
    return frame


def by_interval(rows: pd.DataFrame, spells: pd.DataFrame, cuts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return what each episode cost by 30 days as floats, shape (n, 6), and its exact sum, from what is counted."""
    rows = rows[rows["place"] == COUNTED]
    number = pd.Series(np.arange(len(spells)), index=spells["episode_id"])
    at = rows["episode_id"].map(number).to_numpy("int64")
    interval = np.maximum(np.ceil(rows["day"].to_numpy() / 30).astype(int) - 1, 0)
    cost = np.zeros((len(spells), len(cuts) - 1))
    np.add.at(cost, (at, interval), rows["amount"].astype("float64").to_numpy())
    exact = np.full(len(spells), Decimal(0), dtype=object)
    np.add.at(exact, at, rows["amount"].to_numpy())
    return cost, exact
