"""Weight: how animals regain it, which have stopped, when they reach target, and one animal's path."""

from mendcurve.questions.weights_backtest import TargetBacktest, targets_backtest
from mendcurve.questions.weights_curves import Curves, curves
from mendcurve.questions.weights_path import Path, path
from mendcurve.questions.weights_plan import Plan, plan
from mendcurve.questions.weights_screen import Screen, screen
from mendcurve.questions.weights_targets import Targets, target_days

__all__ = [
    "Curves",
    "Path",
    "Plan",
    "Screen",
    "TargetBacktest",
    "Targets",
    "curves",
    "path",
    "plan",
    "screen",
    "target_days",
    "targets_backtest",
]
