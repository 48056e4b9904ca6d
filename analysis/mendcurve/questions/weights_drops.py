"""Drops from the highest weight: weigh again today, and how often reading noise alone would show one."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pandas as pd

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
        by_noise, mean, sd = from_noise(len(own), animal.noise, limit) if animal.noise > 0 else (np.nan,) * 3
        again = (
            len(own) > top + 2
            and own["day"].iloc[-1] - own["day"].iloc[-2] <= AGAIN_WITHIN
            and 100 * (1 - grams[-2] / grams[top]) >= limit
        )
        large = np.log(grams[top] / grams[-1]) > mean + BEYOND * sd
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
