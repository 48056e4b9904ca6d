"""Where did they come from, and where did they go?"""

from __future__ import annotations

from mendcurve.questions.outcomes_balance import Balance, balance
from mendcurve.questions.outcomes_counts import Intakes, Outcomes, Summary, by_group, intakes, summary
from mendcurve.questions.outcomes_monthly import Monthly, monthly
from mendcurve.questions.outcomes_rates import Rates, rates
from mendcurve.questions.outcomes_returns import Returns, returns

__all__ = [
    "Balance",
    "Intakes",
    "Monthly",
    "Outcomes",
    "Rates",
    "Returns",
    "Summary",
    "balance",
    "by_group",
    "intakes",
    "monthly",
    "rates",
    "returns",
    "summary",
]
