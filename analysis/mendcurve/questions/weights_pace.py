"""How gaining slows over a stay: days of a stay turned into days at the first pace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from mendcurve.errors import InputError
from mendcurve.methods.mixed import fit
from mendcurve.methods.mixed_moments import moments

# Days since intake at which the pace may change (our choice), and animals a pace is estimated from at least.
KNOTS = (28.0, 56.0, 84.0)
FEWEST_ANIMALS = 30
# A pace is never taken as slower than this share of the first, so that a stop can still be told from it.
SLOWEST = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Gain of animals below target by day of stay, in shares of their gain in the first four weeks.

    Attributes
    ----------
    shares : tuple of float
        Of the days from intake to the first knot, from knot to knot, and after the last; never rising.
    animals : int
        Stays it was estimated from; 0 where an even pace is assumed.
    """

    shares: tuple[float, ...] = (1.0,) * (len(KNOTS) + 1)
    animals: int = 0

    def days(self, day: ArrayLike) -> NDArray[np.float64]:
        """Return days at the first pace that give the same gain as ``day`` days since intake."""
        day = np.asarray(day, float)
        edges = np.array([0.0, *KNOTS])
        spent = np.clip(day[..., None] - edges, 0, np.append(np.diff(edges), np.inf))
        # Weighings before intake are not usable; a day below 0 goes on at the first pace.
        return np.asarray(spent @ np.array(self.shares) + np.minimum(day, 0))

    def at(self, day: float) -> float:
        """Return the share that holds on a day."""
        return self.shares[int(np.searchsorted(KNOTS, day, side="right"))]


def pace_of(frame: pd.DataFrame) -> Pace:
    """Return the pace of stays below target from their usable weighings (series, stay_id, day, log_g).

    Notes
    -----
    From a mixed model (random level and slope of each series) whose mean is a line that may bend at 4, 8 and 12 weeks:
    bends are told within animals, so those that leave early do not make the others look slow. Shares are held to
    never rise, and to at least a quarter. With fewer than 30 stays, or no gain in the first weeks, the pace is even.
    """
    animals = frame["stay_id"].nunique()
    if animals < FEWEST_ANIMALS:
        return Pace()
    day = frame["day"].to_numpy(float)
    bends = [np.maximum(day - knot, 0) for knot in KNOTS if (day > knot + 7).sum() >= FEWEST_ANIMALS]
    x = np.column_stack([np.ones(len(day)), day, *bends])
    names = ("level", "day", *(f"bend {k + 1}" for k in range(len(bends))))
    try:
        beta = fit(moments(frame["series"], frame["log_g"], x, x[:, :2], names=names, random_names=names[:2])).beta
    except InputError:
        return Pace()  # no model fits these: an even pace, as before
    rates = np.cumsum(np.append(beta[1:], np.zeros(len(KNOTS) - len(bends))))
    if not rates[0] > 0:
        return Pace()
    shares = np.maximum(np.minimum.accumulate(rates / rates[0]), SLOWEST)
    return Pace(shares=tuple(float(s) for s in shares), animals=int(animals))
