"""Time until something ends: the curves and what is read off them, in one place for the next layer."""

from mendcurve.methods.curves import Curve, Hazard, Incidence, cumulative_incidence, kaplan_meier, nelson_aalen
from mendcurve.methods.quantiles import (
    Days,
    Quantile,
    Remaining,
    days_lost,
    quantile,
    remaining_time,
    restricted_mean,
)
from mendcurve.methods.tally import first_day_with, last_day_with

__all__ = [
    "Curve",
    "Days",
    "Hazard",
    "Incidence",
    "Quantile",
    "Remaining",
    "cumulative_incidence",
    "days_lost",
    "first_day_with",
    "kaplan_meier",
    "last_day_with",
    "nelson_aalen",
    "quantile",
    "remaining_time",
    "restricted_mean",
]
