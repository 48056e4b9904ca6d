"""One call from a seed to all clean tables of the invented rescue."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.demo import arrivals, comings, groups, growth, health, housing, illness, outside, truth
from mendcurve.demo.arrivals import Stay
from mendcurve.demo.dating import dates, plain_dates
from mendcurve.records.schemas import TABLES

SEED = 20261056
_PARTS = (
    "arrivals",
    "illness",
    "returns",
    "vet",
    "housing",
    "paths",
    "stalls",
    "intakes",
    "treatment",
    "weights",
    "followups",
    "requests",
    "money",
)


def streams(seed: int) -> dict[str, np.random.Generator]:
    """Return one stream of random numbers for each part, so that a change in one leaves the others as they were."""
    return {name: np.random.default_rng([seed, k]) for k, name in enumerate(_PARTS)}


def _live(rng: dict[str, np.random.Generator], stays: list[Stay]) -> list[Stay]:
    """Let every animal fall ill, leave and perhaps come back, until nobody does before the as-of date."""
    done, waiting = [], stays
    key = len(stays) + 1000
    while waiting:
        for stay in waiting:
            illness.fall_ill(rng["illness"], stay)
            illness.end_stay(rng["illness"], stay)
        done += waiting
        back = []
        for stay in waiting:
            again = arrivals.come_back(rng["returns"], stay, key)
            key += 1
            if again is not None and again.day <= truth.LAST_DAY:
                back.append(again)
        waiting = back
    return done


def true_stays(rng: dict[str, np.random.Generator], scale: float = 1.0) -> list[Stay]:
    """Return every stay as it is in truth, beyond the as-of date too; ``rng`` as from :func:`streams`."""
    stays = _live(rng, arrivals.arrive(rng["arrivals"], scale))
    for stay in stays:
        illness.see_vet(rng["vet"], stay)
    stays += groups.by_hand(10**8)
    stays = [s for s in stays if s.out >= 0]
    stays.sort(key=lambda s: (s.day, s.key))
    comings.name_all(stays)
    return stays


def generate_known(seed: int = SEED, *, scale: float = 1.0) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Generate all tables, and what is known of each animal's true weight path.

    Parameters
    ----------
    seed : int
        The same seed gives the same records, to the byte.
    scale : float
        Arrivals are multiplied by this; the places of the rescue are not.

    Returns
    -------
    tables : dict of str to DataFrame
        Clean tables with the columns of ``records.schemas.TABLES``.
    known : DataFrame
        One row a stay: stay_id, start and target (g), rate (log grams a day in the first phase), stall_from, stall_to
        (dates, missing for none or not over yet), stall_percent_week.
    """
    rng = streams(seed)
    stays = true_stays(rng, scale)
    lasting: dict[str, dict] = {
        "foster": housing.foster_some(rng["housing"], stays),
        "brumating": housing.brumations(stays),
        "gravid": housing.gravidities(rng["housing"], stays),
    }
    paths = [growth.path(rng["paths"], s) for s in stays]
    growth.plant_stalls(rng["stalls"], stays, paths)
    out = {
        "intakes": comings.intakes(rng["intakes"], stays),
        "outcomes": comings.outcomes(stays),
        "conditions": health.conditions(stays),
    }
    out |= health.treatment(rng["treatment"], stays, paths)
    out |= health.weights(rng["weights"], stays, paths, lasting)
    out |= comings.places(stays, lasting)
    out["requests"] = outside.requests(rng["requests"], stays, scale)
    out["followups"] = outside.followups(rng["followups"], stays)
    out |= outside.ledger(rng["money"], stays, out, scale)
    ordered = {name: out[name][list(TABLES[name].names)].reset_index(drop=True) for name in TABLES}
    return ordered, _known(paths, stays)


def _known(paths: list[growth.Growth], stays: list[Stay]) -> pd.DataFrame:
    stalled = [g.stall_from is not None for g in paths]
    return pd.DataFrame(
        {
            "stay_id": [s.id for s in stays],
            "ruling": [growth.ruling(s) for s in stays],
            "stage": [s.stage for s in stays],
            "start": [g.start for g in paths],
            "target": [g.target if g.has_target else np.nan for g in paths],
            "rate": [g.rate for g in paths],
            "stall_from": plain_dates([np.nan if g.stall_from is None else g.stall_from for g in paths]),
            "stall_to": dates([g.stall_to if there else np.nan for g, there in zip(paths, stalled, strict=True)]),
            "stall_percent_week": [100 * float(np.expm1(7 * g.stall_rate)) for g in paths],
        }
    )


def generate(seed: int = SEED, *, scale: float = 1.0) -> dict[str, pd.DataFrame]:
    """Generate all clean tables; see :func:`generate_known`."""
    return generate_known(seed, scale=scale)[0]
