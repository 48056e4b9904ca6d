"""How animals below target go on: what animals like them gained, how their slopes lasted, how fast they leave."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zlib import crc32

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.methods.growing import Growing, ahead, fit
from mendcurve.methods.trend_noise import Noise
from mendcurve.questions.weights_data import FEWEST_ANIMALS, choose_noise, targets
from mendcurve.questions.weights_states import Animal
from mendcurve.records import Records
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.stays import stays

DRAWS, SEED, HORIZON = 4000, 20_240_503, 365
# Degrees of freedom of the mean, and the weeks that enough animals must span for them.
SPANS = ((3, 12), (2, 6), (1, 0))
# Leavings of the whole rescue that a taxon group's own are put beside.
BESIDE = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Likes:
    """The animals below target: models made when asked for, by species and life stage, else taxon group."""

    rows: pd.DataFrame
    fewest: int
    leaving: Mapping[str, tuple[float, float]]
    made: dict[tuple[str, ...], Growing | None]

    def of(self, animal: Animal) -> tuple[tuple[str, ...], Growing] | None:
        """Return the group an animal is held against and its model, or None where too few are like it."""
        for key in ((animal.species, animal.life_stage), (animal.taxon,)):
            if key not in self.made:
                self.made[key] = self._fit(key)
            model = self.made[key]
            if model is not None:
                return key, model
        return None

    def _fit(self, key: tuple[str, ...]) -> Growing | None:
        columns = ("species", "life_stage") if len(key) == 2 else ("taxon",)
        rows = self.rows
        for column, word in zip(columns, key, strict=True):
            rows = rows[rows[column] == word]
        rows = rows[rows.groupby("series")["day"].transform("size") > 1]
        if rows["stay_id"].nunique() < FEWEST_ANIMALS:
            return None
        try:
            return fit(rows["series"], rows["day"], rows["log_g"], rows["noise"], _knots(rows, self.fewest))
        except InputError:
            return None  # the animals are held against the taxon group, or against none


def alike(use: pd.DataFrame, noises: dict[str, Noise], records: Records) -> Likes:
    """Return what is known of the animals below target, up to the weighing that first reached it.

    That weighing belongs to it: leaving it out would leave out what reached the target.
    """
    rows = use[use["target_g"].notna()]
    reached = (rows["log_g"] >= np.log(rows["target_g"])).groupby(rows["stay_id"]).cummax()
    before = reached.groupby(rows["stay_id"]).shift(fill_value=False)
    leaving = _leaving(rows, reached, records)
    rows = rows[~before.astype(bool)]
    pairs = rows[["species", "taxon"]].drop_duplicates()
    known = {(s, t): choose_noise(noises, s, t) for s, t in zip(pairs["species"], pairs["taxon"], strict=True)}
    sds = [known[pair].sd if known[pair] else np.nan for pair in zip(rows["species"], rows["taxon"], strict=True)]  # type: ignore[union-attr]
    step = float(records.settings["weights.scale_step_g"]) / rows["weight_g"]
    rows = rows.assign(noise=np.maximum(np.array(sds, dtype=float), step.to_numpy()))
    return Likes(rows=rows[rows["noise"] > 0], fewest=int(records.settings["counts.animals"]), leaving=leaving, made={})


def reaching(animal: Animal, model: Growing, leaving: tuple[float, float] | None, as_of: pd.Timestamp) -> np.ndarray:
    """Return days from the as-of date to the first scheduled weighing at or above target, in each of 4,000 futures.

    Infinite where it is not reached within 365 days, or the animal leaves before. ``leaving`` holds animals that left
    below target and the days they were.
    """
    own = animal.series
    assert own is not None
    rng = np.random.default_rng((SEED, crc32(animal.stay_id.encode())))
    last = float(own["day"].iloc[-1])
    since = int((as_of - animal.came).days - last)
    every = max(round(animal.every_days), 1)
    steps = np.arange(every, HORIZON + since + 1, every)
    steps = steps[steps > since]
    noise = np.full(len(own), animal.noise)
    readings = ahead(model, own["day"], own["log_g"], noise, last + steps, draws=DRAWS, rng=rng)
    hit = readings >= np.log(animal.target_g)
    first = np.where(hit.any(axis=0), (steps - since)[np.argmax(hit, axis=0)], np.inf)
    if leaving is not None:
        rate = np.clip(rng.gamma(leaving[0], 1 / leaving[1], DRAWS), 1e-12, 0.99)
        first = np.where(first <= rng.geometric(rate), first, np.inf)
    return np.asarray(first, dtype=float)


def _knots(rows: pd.DataFrame, fewest: int) -> np.ndarray:
    """Return knots up to the day to which enough animals were weighed; as many as their weeks allow."""
    last = rows.groupby("stay_id")["day"].max()
    end = max(float(np.sort(last.to_numpy())[-fewest]), 1.0)
    df = next(d for d, weeks in SPANS if (last >= 7 * weeks).sum() >= fewest)
    inner = np.quantile(rows.loc[rows["day"] <= end, "day"], np.linspace(0, 1, df + 1))[1:-1]
    return np.unique(np.concatenate([[0.0], inner, [end]]))


def _leaving(rows: pd.DataFrame, reached: pd.Series, records: Records) -> dict[str, tuple[float, float]]:
    """Return animals that left below target, and days they were below it, by taxon group, each beside all of them."""
    frame = stays(records)
    frame = frame[frame["used"] & ~frame["permanent"] & (frame["animals"] == 1)].drop_duplicates("stay_id")
    frame = frame[frame["stay_id"].isin(targets(records).index)]
    first = rows["day"].where(reached).groupby(rows["stay_id"]).min()
    at = look_up(frame["stay_id"], first).astype("float64")
    end = frame["exit"].astype("float64")
    left = frame["end"].isin(("live", "died", "missing")) & ~(at <= end)
    until = end.where(end < at.fillna(np.inf), at)
    days = (until - frame["entry"].astype("float64")).clip(lower=0)
    total, whole = float(left.sum()), float(days.sum())
    if total <= 0 or whole <= 0:
        return {}
    return {
        str(taxon): (float(left[own].sum()) + BESIDE, float(days[own].sum()) + BESIDE * whole / total)
        for taxon in frame["taxon"].unique()
        for own in [frame["taxon"] == taxon]
    }
