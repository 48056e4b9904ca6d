"""Cages: the census, the next quarter, the places that would be enough, what would change it, and how sure we are."""

from mendcurve.questions.capacity_backtest import Backtest, backtest
from mendcurve.questions.capacity_census import census, flow, requests, today
from mendcurve.questions.capacity_forecast import Forecast, forecast
from mendcurve.questions.capacity_places import PlacesNeeded, places_needed
from mendcurve.questions.capacity_what_if import Scenario, WhatIf, usual, what_if

__all__ = [
    "Backtest",
    "Forecast",
    "PlacesNeeded",
    "Scenario",
    "WhatIf",
    "backtest",
    "census",
    "flow",
    "forecast",
    "places_needed",
    "requests",
    "today",
    "usual",
    "what_if",
]
