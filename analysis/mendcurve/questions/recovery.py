"""How long do animals take to recover from each condition?"""

from __future__ import annotations

from mendcurve.questions.recovery_adjusted import Adjusted, adjusted
from mendcurve.questions.recovery_backtest import OpenBacktest, open_backtest
from mendcurve.questions.recovery_by import Recovery, by_condition
from mendcurve.questions.recovery_checked import Checked, checked
from mendcurve.questions.recovery_clocks import Clocks, clocks
from mendcurve.questions.recovery_compare import Comparison, compare
from mendcurve.questions.recovery_counts import Conditions, conditions
from mendcurve.questions.recovery_curves import RecoveryCurves, curves
from mendcurve.questions.recovery_open import OpenNow, open_now
from mendcurve.questions.recovery_pooled import Pooled, pooled
from mendcurve.questions.recovery_several import Several, several

__all__ = [
    "Adjusted",
    "Checked",
    "Clocks",
    "Comparison",
    "Conditions",
    "OpenBacktest",
    "OpenNow",
    "Pooled",
    "Recovery",
    "RecoveryCurves",
    "Several",
    "adjusted",
    "by_condition",
    "checked",
    "clocks",
    "compare",
    "conditions",
    "curves",
    "open_backtest",
    "open_now",
    "pooled",
    "several",
]
