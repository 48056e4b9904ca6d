"""Drops from the highest weight: weigh again today, and how often reading noise alone would show one."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mendcurve.questions.weights_states import Animal
from mendcurve.records import Records

DROP_COLUMNS = (
    "stay_id",
    "species",
    "weighed_on",
    "weight_g",
    "highest_g",
    "highest_on",
    "drop_percent",
    "noise_percent",
    "expected_percent",
    "confirmed",
)
DROP_UNITS = {
    "weight_g": "g",
    "highest_g": "g",
    "drop_percent": "%",
    "noise_percent": "% of a reading",
    "expected_percent": "% of steady animals weighed as often that show one now",
}
AGAIN_WITHIN = 7
# The highest weight is looked for among the weighings of so many days.
RECENT = 90
BEYOND = 2.5
# Weighings from which a loss over all of them is told of.
LONG = 12
DRAWS, SEED = 20_000, 20_240_502


def drops(records: Records, animals: Sequence[Animal]) -> pd.DataFrame:
    """Return the animals whose last weighing is ``watch.drop_percent`` or more below the highest of 90 days
    (since the last step, if that is later).

    Notes
    -----
    ``expected_percent``: share of animals of steady weight that would show such a drop at the last of as many weighings
    from noise alone (with 5 % noise a third at the twelfth). ``confirmed`` says in words why the drop counts as more
    than noise: the weighing before it, within 7 days, was as low too; or it is more than 2.5 standard deviations beyond
    the mean of what the last of as many steady weighings lies below the highest by noise alone.
    """
    limit = float(records.settings["watch.drop_percent"])
    rows = []
    for animal in animals:
        if animal.group or animal.series is None or len(animal.series) < 2:
            continue
        own = animal.series[animal.series["day"] >= animal.series["day"].iloc[-1] - RECENT]
        grams = np.exp(own["log_g"].to_numpy())
        top = int(np.argmax(grams))
        drop = 100 * (1 - grams[-1] / grams[top])
        if drop < limit:
            continue
        by_noise = from_noise(len(own), animal.noise, limit)[0] if animal.noise > 0 else np.nan
        days, readings = own["day"].to_numpy(), own["log_g"].to_numpy()[None, :]
        again, large = (bool(flag[0]) for flag in confirmed_drop(days, readings, animal.noise, limit))
        words = f"dropped {drop:.0f} % from its highest weight" + (
            ", seen at two weighings" if again else ", more than the noise of weighing explains"
        )
        rows.append(
            (
                animal.stay_id,
                animal.species,
                own["weighed_on"].iloc[-1],
                grams[-1],
                grams[top],
                own["weighed_on"].iloc[top],
                drop,
                100 * animal.noise,
                100 * by_noise,
                words if again or large else "",
            )
        )
    return pd.DataFrame(rows, columns=list(DROP_COLUMNS)).sort_values("stay_id", ignore_index=True)


def confirmed_drop(
    time: NDArray[np.float64], y: NDArray[np.float64], noise: float, limit: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which series (rows of ``y``, log grams) end in a drop of ``limit`` % seen twice, and in one beyond noise.

    Notes
    -----
    From the highest of 90 days. Seen twice: the weighing before, within 7 days and after the highest, was as low too.
    Beyond noise: more than 2.5 standard deviations beyond the mean of what the last of as many steady weighings lies
    below the highest.
    """
    recent = time >= time[-1] - RECENT
    y, time = y[:, recent], time[recent]
    n = len(time)
    nothing = np.zeros(len(y), dtype=bool)
    if n < 2 or not noise > 0:
        return nothing, nothing
    top = y.max(axis=1)
    fall = -np.log1p(-limit / 100) - 1e-12
    low = top - y[:, -1] >= fall
    again = nothing
    if n > 2 and time[-1] - time[-2] <= AGAIN_WITHIN:
        again = low & (top - y[:, -2] >= fall) & (y.argmax(axis=1) < n - 2)
    _, mean, sd = from_noise(n, round(noise, 4), limit)
    return again, low & (top - y[:, -1] > mean + BEYOND * sd)


def long_loss(
    time: NDArray[np.float64], y: NDArray[np.float64], noise: float, limit: float
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Return which series have surely fallen by ``limit`` % over 12 weighings or more, and by how much (log grams).

    Surely: the upper 95 % limit of the least-squares line, noise known, falls by as much.
    """
    if len(time) < LONG:
        return np.zeros(len(y), dtype=bool), np.zeros(len(y))
    x = time - time.mean()
    squares, span = float((x**2).sum()), float(np.ptp(time))
    slope = y @ x / squares
    high = slope + 1.959964 * noise / np.sqrt(squares)
    return -np.expm1(high * span) >= limit / 100, slope * span


@lru_cache(maxsize=512)
def from_noise(weighings: int, noise: float, limit: float) -> tuple[float, float, float]:
    """Return, for steady weight and normal noise: share with a drop of ``limit`` % or more at the last of as
    many weighings; mean and SD of that drop.

    Seeded simulation of 20,000 series; the drop is in log grams below the highest so far.
    """
    draws = noise * np.random.default_rng((SEED, weighings)).standard_normal((DRAWS, weighings))
    below = np.maximum.accumulate(draws, axis=1) - draws
    last = below[:, -1]
    return float((last >= -np.log1p(-limit / 100)).mean()), float(last.mean()), float(last.std())
