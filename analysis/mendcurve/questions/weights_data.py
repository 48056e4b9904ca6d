"""What every question about weights starts from: usable weighings, their noise, and what animals like these gain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.methods.mixed import MixedFit, fit
from mendcurve.methods.mixed_moments import moments
from mendcurve.methods.trend_noise import Noise, pooled, residuals, walk_of
from mendcurve.questions.weights_pace import Pace
from mendcurve.records import Records
from mendcurve.records.building import TEXT
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.stays import taxon_of
from mendcurve.timelines.weights import weights

UNKNOWN = "unknown"
# Readings a species' own noise, and animals a usual gain, are estimated from at least.
FEWEST_READINGS, FEWEST_ANIMALS = 30, 10
# Days between the two neighbours of a reading beyond which it says nothing about noise.
REACH = 35


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """What animals gain: of which group, how many, slope, its spread (log grams a day), wander (per root of a day).

    ``first`` and ``first_spread``: the same slopes a day at the first pace (``weights_pace``).
    """

    of: str
    animals: int
    gain: float
    spread: float
    wander: float
    fit: MixedFit
    first: float
    first_spread: float


def percent_week(slope: float | np.ndarray | pd.Series) -> float:
    """Return a slope of log weight a day as percent a week: 100 (exp(7 b) - 1)."""
    return 100 * np.expm1(7 * slope)  # type: ignore[return-value]


def usable(records: Records) -> pd.DataFrame:
    """Return the usable weighings with species, taxon, life_stage, target_g of their stay, and series (stay, level)."""
    frame = weights(records)
    frame = frame[frame["usable"]].sort_values(["stay_id", "day"], ignore_index=True)
    intakes = records["intakes"].drop_duplicates("stay_id").set_index("stay_id")
    frame["species"] = look_up(frame["stay_id"], intakes["species"])
    frame["taxon"] = taxon_of(frame["species"], records)
    frame["life_stage"] = look_up(frame["stay_id"], intakes["life_stage"]).fillna(UNKNOWN)
    frame["target_g"] = look_up(frame["stay_id"], targets(records)["target_g"]).astype("float64")
    frame["series"] = frame["stay_id"].astype(TEXT) + "/" + frame["segment"].astype(TEXT)
    frame["day"] = frame["day"].astype("float64")
    return frame


def targets(records: Records) -> pd.DataFrame:
    """Return the latest target of each stay set by the as-of date, by stay_id."""
    frame = records["targets"]
    frame = frame[(frame["set_on"] <= records.as_of) & (frame["target_g"] > 0)]
    return frame.sort_values("set_on", kind="stable").drop_duplicates("stay_id", keep="last").set_index("stay_id")


def main_condition(records: Records) -> pd.Series:
    """Return the main condition of each stay: the one marked primary, else the first found."""
    frame = records["conditions"]
    frame = frame[(frame["found_on"] <= records.as_of) & frame["ended_as"].fillna("").ne("misdiagnosed")]
    frame = frame.sort_values(["primary", "found_on"], ascending=[False, True], kind="stable")
    return frame.drop_duplicates("stay_id").set_index("stay_id")["condition"]


def below_target(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the weighings of stays with a target up to the first at or above it.

    That one belongs to them: without it the last weighings kept would be those that happened to read low, and the gain
    would look slower than it is.
    """
    target = frame[frame["target_g"].notna()]
    reached = (target["log_g"] >= np.log(target["target_g"])).groupby(target["stay_id"]).cummax()
    return target[~reached.groupby(target["stay_id"]).shift(1, fill_value=False)]


def noise_of(frame: pd.DataFrame, pace: Pace | None = None) -> dict[str, Noise]:
    """Return the noise of one reading by species, by "taxon:..." and for "all", where enough readings tell it.

    Tail and walk are those of all species together, each divided by its own noise; what a walk adds to the scatter of
    readings about their neighbours is taken off the noise again. The walk is that about paths at the ``pace`` given.
    """
    off = pd.Series(residuals(frame["series"], frame["day"], frame["log_g"], reach=REACH), index=frame.index)
    keys = pd.concat([frame["species"], "taxon:" + frame["taxon"], pd.Series("all", index=frame.index)])
    every = pd.DataFrame({"key": keys, "off": pd.concat([off, off, off])}).dropna()
    found = {
        str(key): pooled(group["off"].to_numpy())
        for key, group in every.groupby("key")
        if len(group) >= FEWEST_READINGS and group["off"].abs().median() > 0
    }
    own = frame["species"].map({key: noise.sd for key, noise in found.items()}).astype("float64")
    alike = (off / own).dropna()
    if len(alike) < FEWEST_READINGS:
        return {key: Noise(sd=noise.sd, tail=5.0, n=noise.n) for key, noise in found.items()}
    known = frame[own.notna()]
    scaled = known["log_g"] / own[own.notna()]
    days = pd.Series((pace or Pace()).days(known["day"]), index=known.index)
    walk = walk_of(known["series"], days, scaled, reach=REACH)
    # Between neighbours a gap off on either side a walk adds w^2 gap / 3 to the square of a reading's noise.
    gap = float(days.groupby(known["series"]).diff().median())
    left = np.sqrt(max(1 - walk**2 * gap / 3, 0.25))
    tail = pooled(alike.to_numpy()).tail
    return {key: Noise(sd=noise.sd * left, tail=tail, n=noise.n, walk=walk * noise.sd) for key, noise in found.items()}


def choose_noise(found: dict[str, Noise], species: str, taxon: str) -> Noise | None:
    """Return the species' noise, else its taxon group's, else that of all; None where no readings tell."""
    return found.get(species) or found.get(f"taxon:{taxon}") or found.get("all")


def usual_gains(
    frame: pd.DataFrame, noises: dict[str, Noise], pace: Pace | None = None
) -> dict[tuple[str, ...], Usual]:
    """Return what animals gain, from 10 animals up.

    By (species, life stage) and by (taxon,): of animals below target, up to the weighing that first reached it.
    By ("any", taxon) and ("any",): of all weighings. The gain is the median of the animals' own slopes in a mixed model
    of the log weight on days, the spread the model's standard deviation of slopes. Wander is what the model's residuals
    vary more than readings do, as a random walk: one that lasts T days leaves, about its own line, w^2 T / 15.
    """
    below = below_target(frame)
    out: dict[tuple[str, ...], Usual] = {}
    for rows, by, mark in (
        (below, ["species", "life_stage"], ()),
        (below, ["taxon"], ()),
        (frame, ["taxon"], ("any",)),
        (frame.assign(rescue=0), ["rescue"], ("any",)),
    ):
        span = _span(rows)
        for key, group in rows[span > 0].groupby(by):
            if group["stay_id"].nunique() >= FEWEST_ANIMALS:
                words = tuple(k for k in key if isinstance(k, str))
                try:
                    out[(*mark, *words)] = _usual(group, " ".join(words[::-1]), noises, pace or Pace())
                except InputError:
                    continue  # no model fits these: the animals are compared with the taxon group, or with none
    return out


def choose_usual(found: dict[tuple[str, ...], Usual], species: str, life_stage: str, taxon: str) -> Usual | None:
    """Return the usual gain below target of the species and life stage, else of the taxon group, else None."""
    return found.get((species, life_stage)) or found.get((taxon,))


def _usual(group: pd.DataFrame, name: str, noises: dict[str, Noise], pace: Pace) -> Usual:
    x = np.column_stack([np.ones(len(group)), group["day"]])
    model = fit(moments(group["series"], group["log_g"], x, x, names=("level", "day"), random_names=("level", "day")))
    if model.random_cov.shape[0] == 2:
        slopes, spread = model.beta[1] + model.effects[:, 1], float(np.sqrt(model.random_cov[1, 1]))
        gain = float(np.median(slopes))
    else:
        gain, spread = float(model.beta[1]), float(model.se[1])
        slopes = np.full(len(model.subjects), gain)
    quicker = _quicker(group, pace).reindex(list(model.subjects)).to_numpy()
    pairs = group.groupby(["species", "taxon"]).size()
    index = pairs.index
    names = zip(index.get_level_values(0), index.get_level_values(1), pairs, strict=True)
    known = [(n, choose_noise(noises, str(s), str(t))) for s, t, n in names]
    reading = sum(n * noise.sd**2 for n, noise in known if noise) / max(sum(n for n, noise in known if noise), 1)
    excess = max(model.residual - reading, 0.0) if reading else 0.0
    span = float(_span(group).mean())
    return Usual(
        of=name,
        animals=group["stay_id"].nunique(),
        gain=gain,
        spread=max(spread, 1e-9),
        wander=float(np.sqrt(15 * excess / span)),
        fit=model,
        first=float(np.median(slopes * quicker)),
        first_spread=max(spread * float(np.median(quicker)), 1e-9),
    )


def _quicker(group: pd.DataFrame, pace: Pace) -> pd.Series:
    """Return, for each series, by how much its slope a day at the first pace is larger than a day of its stay."""
    ends = group.groupby("series")["day"].agg(["min", "max"])
    return (ends["max"] - ends["min"]) / (pace.days(ends["max"]) - pace.days(ends["min"]))


def _span(frame: pd.DataFrame) -> pd.Series:
    """Return, for each weighing, the days its series lasts."""
    days = frame.groupby("series")["day"]
    return days.transform("max") - days.transform("min")
