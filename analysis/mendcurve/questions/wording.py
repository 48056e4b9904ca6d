"""Numbers, dates and counts as words: every sentence of every answer is made with these."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

import pandas as pd

NOT_RECORDED = "not recorded"


def count(n: float, one: str, many: str = "") -> str:
    """Return '1 animal', '2 animals', 'no animals'."""
    n = round(n)
    word = one if n == 1 else (many or f"{one}s")
    return f"{'no' if n == 0 else f'{n:,}'} {word}"


def without_outcomes(what: str) -> str:
    """Return that outcomes are not recorded, and what is therefore not known."""
    return f"Outcomes are not recorded, so {what} is not known."


def were(n: float) -> str:
    """Return 'was' or 'were'."""
    return "was" if round(n) == 1 else "were"


def day(value: pd.Timestamp | date) -> str:
    """Return '4 March 2025'."""
    return f"{value.day} {value:%B %Y}"


def percent(share: float) -> str:
    """Return a whole percent, without claiming 0 % or 100 % for what is neither."""
    if math.isnan(share):
        return NOT_RECORDED
    if 0 < share < 0.005:
        return "under 1 %"
    if 0.995 < share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def points(difference: float) -> str:
    """Return a difference of two shares in whole percentage points, with its sign: '+12 points', '-1 point'."""
    if math.isnan(difference):
        return NOT_RECORDED
    whole = round(100 * difference)
    return f"{'+' if whole > 0 else ''}{whole} point{'' if abs(whole) == 1 else 's'}".replace("-", "\u2212")


def share_of(k: float, n: float, low: float, high: float, *, level: str = "95 %") -> str:
    """Return '23 of 41 (56 %, plausibly 41 % to 70 %)'; the level is the interval's."""
    if n == 0:
        return "0 of 0"
    return f"{k:,.0f} of {n:,.0f} ({percent(k / n)}, {level} interval {percent(low)} to {percent(high)})"


def between(low: float, high: float, unit: str = "", *, decimals: int = 0) -> str:
    """Return 'between 12 and 31 days'; an end never reached is said in words."""
    tail = f" {unit}" if unit else ""
    if not math.isfinite(high):
        return f"at least {low:,.{decimals}f}{tail}"
    return f"between {low:,.{decimals}f} and {high:,.{decimals}f}{tail}"


def decimals(*values: float, most: int = 3) -> int:
    """Return the decimals, 1 to ``most``, at which values that differ look different and the largest has two digits.

    Two ends of an interval print as -0.24 to -0.16, not as -0.2 to -0.2.
    """
    known = [v for v in values if math.isfinite(v)]
    sizes = [abs(v) for v in known if v]
    if not sizes:
        return 1
    wanted = min(max(1 - math.floor(math.log10(max(sizes))), 1), most)
    while wanted < most and len({round(v, wanted) for v in known}) < len(set(known)):
        wanted += 1
    return wanted


def pace(value: float, low: float, high: float) -> tuple[str, str, str]:
    """Return a change and the ends of its interval, signed, with as many decimals as tell the ends apart."""
    places = decimals(value, low, high)
    return tuple(f"{x:+.{places}f}" for x in (value, low, high))  # type: ignore[return-value]


def money(amount: Decimal, currency: str) -> str:
    """Return '1,234.50 EUR'."""
    return f"{amount:,.2f} {currency}"


def listing(words: Sequence[str], *, joint: str = "and") -> str:
    """Return 'a, b and c'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joint} {words[-1]}"


def cell(value: object) -> str:
    """Return one table cell as text: missing as an empty dash, dates written out, numbers without false decimals."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (pd.Timestamp, datetime)):
        return f"{day(value)}, {value:%H:%M}" if (value.hour or value.minute) else day(value)
    if isinstance(value, date):
        return day(value)
    if isinstance(value, Decimal):
        return f"{value:,.2f}"
    if isinstance(value, float):
        return f"{value:,.0f}" if value.is_integer() else f"{value:,.3g}" if abs(value) < 100 else f"{value:,.0f}"
    if hasattr(value, "item") and not isinstance(value, str):
        return cell(value.item())
    return f"{value:,}" if isinstance(value, int) else str(value)
