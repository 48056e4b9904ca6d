"""Layer 5: one picture a module; each takes an answer and draws it."""

from mendcurve.figures.backtest import backtest
from mendcurve.figures.case_path import case_path
from mendcurve.figures.census_fan import census_fan
from mendcurve.figures.census_today import census_today
from mendcurve.figures.cost_bars import cost_bars
from mendcurve.figures.doses import doses
from mendcurve.figures.forest import adjusted_forest, comparison_forest
from mendcurve.figures.grant_flow import grant_flow
from mendcurve.figures.outcomes_flow import outcomes_flow
from mendcurve.figures.phases import phases
from mendcurve.figures.places_curve import places_curve
from mendcurve.figures.rates import rates
from mendcurve.figures.recovery_curves import recovery_curves
from mendcurve.figures.returns_curve import returns_curve
from mendcurve.figures.stall_panel import stall_panel
from mendcurve.figures.stay_curves import stay_curves
from mendcurve.figures.style import Picture
from mendcurve.figures.weight_curves import weight_curves
from mendcurve.figures.weight_path import weight_path
from mendcurve.figures.zone_days import zone_days

__all__ = [
    "Picture",
    "adjusted_forest",
    "backtest",
    "case_path",
    "census_fan",
    "census_today",
    "comparison_forest",
    "cost_bars",
    "doses",
    "grant_flow",
    "outcomes_flow",
    "phases",
    "places_curve",
    "rates",
    "recovery_curves",
    "returns_curve",
    "stall_panel",
    "stay_curves",
    "weight_curves",
    "weight_path",
    "zone_days",
]
