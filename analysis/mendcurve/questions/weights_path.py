"""One animal's weighings, what was going on, and its target."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.methods.trend import Slope, theil_sen
from mendcurve.questions.answer import Answer
from mendcurve.questions.weights_data import percent_week, targets
from mendcurve.questions.wording import between, count, day, decimals
from mendcurve.records import Records
from mendcurve.timelines.weights import weights

UNITS = {"day": "days since intake", "weight_g": "g"}
COLUMNS = (
    "weighed_on",
    "day",
    "weight_g",
    "usable",
    "why_not",
    "segment",
    "circumstance",
    "in_course",
    "brumating",
    "gravid",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Path(Answer):
    """The weighings of one stay; ``slope`` is of the log weight a day since the last step, None below 4 weighings."""

    stay_id: str
    species: str
    frame: pd.DataFrame
    slope: Slope | None
    target_g: float
    target_on: pd.Timestamp
    as_of: pd.Timestamp

    def to_frame(self) -> pd.DataFrame:
        """Return one row a weighing, used or not."""
        return self.frame

    def sentence(self) -> str:
        """Return first and last weight, and the slope since the last step."""
        use = self.frame[self.frame["usable"]]
        if use.empty:
            kept = count(len(self.frame), "weighing")
            return f"{self.stay_id} ({self.species}) has {kept}, none of which can be used for a single animal."
        first, last = use.iloc[0], use.iloc[-1]
        words = (
            f"{self.stay_id} ({self.species}) weighed {grams(first['weight_g'])} on {day(first['weighed_on'])} and "
            f"{grams(last['weight_g'])} on {day(last['weighed_on'])} ({count(len(use), 'weighing')})"
        )
        if self.target_g > 0:
            words += f"; its target is {grams(self.target_g)}"
        if self.slope is None:
            return f"{words}; too few weighings to say more."
        low, high = (percent_week(v) for v in (self.slope.low, self.slope.high))
        estimate = percent_week(self.slope.estimate)
        digits = decimals(low, estimate, high)
        steps = " since its last step" if use["segment"].iloc[-1] else ""
        return (
            f"{words}; its weight changed by {estimate:+.{digits}f} % a week{steps} "
            f"(95 % interval {between(low, high, '%', decimals=digits)})."
        )

    def notes(self) -> tuple[str, ...]:
        """Return which weighings are shown but not used."""
        why = self.frame.loc[~self.frame["usable"], "why_not"].value_counts()
        return (
            *(f"{count(n, 'weighing')} shown and not used: {word}." for word, n in why.items()),
            "The slope is the median of all pairs of weighings (Theil-Sen); brumation and courses are shown, "
            "not left out.",
        )


def path(records: Records, stay_id: str) -> Path:
    """Return the weighings of one stay.

    Raises
    ------
    InputError
        If there is no such stay.
    """
    intakes = records["intakes"].drop_duplicates("stay_id").set_index("stay_id")
    if stay_id not in intakes.index:
        raise InputError(f'"{stay_id}" is not a stay of these records.', remedy=nearest(stay_id, intakes.index))
    frame = weights(records)
    frame = frame[frame["stay_id"] == stay_id].reset_index(drop=True)
    use = frame[frame["usable"] & (frame["segment"] == frame.loc[frame["usable"], "segment"].max())]
    plan: Any = targets(records)
    known = stay_id in plan.index
    out = frame.reindex(columns=list(COLUMNS))
    out.attrs = {"units": UNITS, "title": f"Weighings of {stay_id}"}
    return Path(
        stay_id=stay_id,
        species=str(intakes.loc[stay_id, "species"]),
        frame=out,
        slope=theil_sen(use["day"].astype("float64"), use["log_g"]) if len(use) >= 4 else None,
        target_g=float(plan["target_g"].to_dict()[stay_id]) if known else float("nan"),
        target_on=plan["set_on"].to_dict()[stay_id] if known else pd.NaT,  # type: ignore[arg-type]
        as_of=records.as_of,
    )


def grams(value: float) -> str:
    """Return grams to about three figures, as scales of that reach show them."""
    digits = 0 if float(value).is_integer() or value >= 100 else 2 if value < 5 else 1
    return f"{value:,.{digits}f} g"
