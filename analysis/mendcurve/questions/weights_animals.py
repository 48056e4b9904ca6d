"""What is known about the weight of each animal in care, in one place for all questions about it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from mendcurve.methods.trend_noise import step_of
from mendcurve.questions.weights_data import (
    Usual,
    below_target,
    choose_noise,
    choose_usual,
    noise_of,
    targets,
    usable,
    usual_gains,
)
from mendcurve.questions.weights_pace import pace_of
from mendcurve.questions.weights_states import Animal
from mendcurve.records import Records
from mendcurve.timelines.stays import IN_CARE, stays
from mendcurve.timelines.weights import weights


def collect(records: Records) -> tuple[list[Animal], dict[tuple[str, ...], Usual]]:
    """Return the animals in care, and what animals like them gain."""
    here = stays(records)
    here = here[(here["end"] == IN_CARE) & ~here["dead_on_arrival"]].drop_duplicates("stay_id")
    every, use = weights(records), usable(records)
    pace, target = pace_of(below_target(use)), targets(records)
    noises = noise_of(use, pace)
    gains = usual_gains(use, noises, pace)
    steps = _steps(every, records)
    latest = use.groupby("stay_id")["segment"].transform("max")
    series = dict(list(use[use["segment"] == latest].groupby("stay_id")))
    seen = every[every["weight_g"] > 0].groupby("stay_id")
    last_on, grouped = seen["weighed_on"].max(), seen["why_not"].agg(lambda w: bool((w == "group weight").all()))
    out = []
    stay: Any
    for stay in here.itertuples():
        own = series.get(stay.stay_id)
        noise = choose_noise(noises, stay.species, stay.taxon)
        life_stage = "unknown" if pd.isna(stay.life_stage) else stay.life_stage
        # Readings rounded to a step scatter by step / sqrt(12).
        scale = steps[stay.stay_id] / np.sqrt(12) / float(own["weight_g"].iloc[-1]) if own is not None else 0.0
        plan = target.loc[stay.stay_id] if stay.stay_id in target.index else None
        out.append(
            Animal(
                stay_id=stay.stay_id,
                animal_id=stay.animal_id,
                species=stay.species,
                taxon=stay.taxon,
                life_stage=life_stage,
                group=bool(grouped.get(stay.stay_id, False)) or int(stay.animals) > 1,
                came=stay.intake_date,
                last_on=last_on.get(stay.stay_id, pd.NaT),
                series=own,
                noise=max(noise.sd, scale) if noise else float("nan"),
                tail=noise.tail if noise else 5.0,
                usual=choose_usual(gains, stay.species, life_stage, stay.taxon),
                any=gains.get(("any", stay.taxon)) or gains.get(("any",)),
                target_g=float(plan["target_g"]) if plan is not None else float("nan"),
                by_date=plan["by_date"] if plan is not None else pd.NaT,  # type: ignore[arg-type]
                every_days=_interval(plan, records),
                walk=noise.walk if noise else 0.0,
                pace=pace,
            )
        )
    return out, gains


def _steps(every: pd.DataFrame, records: Records) -> dict[str, float]:
    """Return the step of the scale (g) of each stay: as set by the rescue, else from the digits of its weighings.

    Where these are fewer than four, from those of all animals of a similar weight.
    """
    key = "weights.scale_step_g"
    frame = every[every["weight_g"] > 0]
    if key in records.settings.given:
        return dict.fromkeys(frame["stay_id"].unique(), float(records.settings[key]))
    grams = {str(stay): own.to_numpy() for stay, own in frame.groupby("stay_id")["weight_g"]}
    everyone = frame["weight_g"].to_numpy()
    out = {}
    for stay, own in grams.items():
        step = step_of(own)
        if np.isnan(step):
            step = step_of(everyone[(everyone > own[-1] / 2) & (everyone < 2 * own[-1])])
        out[stay] = float(records.settings[key]) if np.isnan(step) else step
    return out


def _interval(plan: pd.Series | None, records: Records) -> float:
    if plan is None or pd.isna(plan["weigh_every_days"]):
        return float(records.settings["watch.weigh_every_days"])
    return float(plan["weigh_every_days"])
