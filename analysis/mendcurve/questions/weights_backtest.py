"""Did animals reach their targets when it was said? Past days looked at with what was known then."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.past_days import held, past_days, span_of, verdict
from mendcurve.questions.weights_data import usable
from mendcurve.questions.weights_targets import AHEAD, target_days
from mendcurve.questions.wording import count, percent
from mendcurve.records import Records
from mendcurve.timelines.stays import IN_CARE, stays

EVERY_DAYS, LOOKS = 56, 8
LOOK_COLUMNS = (
    "origin",
    "stay_id",
    "species",
    "last_below",
    "reached",
    "ended",
    "pit_low",
    "pit_high",
    "said_not_in_90",
    "not_in_90",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class TargetBacktest(Answer):
    """How often the ranges of days to target held on past days.

    Attributes
    ----------
    frame : DataFrame
        level (proportion the range should hold), held, low, high (95 % interval by stay), looks.
    looks : DataFrame
        One row an animal and past day: last_below and reached (days from that day between which it reached its target;
        reached is missing where it did not), ended (False: still below when last weighed), pit_low and pit_high (the
        predicted chance of both days), said_not_in_90 (chance) and not_in_90 (1, 0, or missing where not yet known).
    silent : int
        Looks at animals below target for which no day was said.
    """

    frame: pd.DataFrame
    looks: pd.DataFrame
    silent: int
    origins: tuple[pd.Timestamp, ...]
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each level."""
        return self.frame

    def sentence(self) -> str:
        """Return how often the 80 % range held."""
        if not self.recorded or not len(self.looks):
            return "There is too little past to say whether the days to target were right."
        animals = count(self.looks["stay_id"].nunique(), "animal")
        return (
            f"On {count(len(self.origins), 'past day')} {span_of(self.origins)}, {animals} below target: "
            f"{verdict(self.frame, count(len(self.looks), 'look'))}"
        )

    def notes(self) -> tuple[str, ...]:
        """Return how it was tested."""
        known = self.looks.dropna(subset="not_in_90")
        said, saw = (known[c].astype("float64").mean() for c in ("said_not_in_90", "not_in_90"))
        return (
            "Each past day was seen with the records as they were known then. A target is reached somewhere between "
            "the last weighing below it and the first at or above it; an animal that left before never reached it; one "
            "still below counts as later than its last weighing (Kaplan-Meier on the place in the distribution said). "
            "A weighing a day or two off counts as the scheduled one nearest to it.",
            *([f"Not within 90 days: said {percent(said)}, seen {percent(saw)}, of {count(len(known), 'look')} that "
               "are old enough."] if len(known) else []),
            f"For {count(self.silent, 'more look')} no day was said (losing, stalled, too few weighings or animals).",
        )  # fmt: skip


def targets_backtest(records: Records, *, every: int = EVERY_DAYS, looks: int = LOOKS) -> TargetBacktest:
    """Say the days to target on past days from the records of that day, and score what became of it.

    Parameters
    ----------
    records : Records
    every : int
        Days between the past days.
    looks : int
        At most so many past days, the last ``every`` days before the as-of date.
    """
    use = usable(records)
    gone = stays(records).drop_duplicates("stay_id").set_index("stay_id")["end"] != IN_CARE
    parts, origins, silent = [], [], 0
    for origin in past_days(records, every=every, looks=looks):
        told = target_days(records.cut(origin))
        silent += len(told.frame) - len(told.futures)
        frame = told.frame[told.frame["stay_id"].isin(list(told.futures))]
        days_on = (records.as_of - origin).days
        parts += [
            _look(row, told.futures[row["stay_id"]], use, bool(gone[row["stay_id"]]), origin, days_on)
            for _, row in frame.iterrows()
        ]
        origins += [origin] if len(frame) else []
    table = pd.DataFrame(parts, columns=list(LOOK_COLUMNS))
    frame = held(table, "stay_id", "How often the range of days to target held")
    return TargetBacktest(
        frame=frame, looks=table, silent=silent, origins=tuple(origins), recorded=len(records["targets"]) > 0
    )


def _look(
    said: pd.Series, futures: np.ndarray, use: pd.DataFrame, gone: bool, origin: pd.Timestamp, days_on: int
) -> dict[str, object]:
    """Return what became of one animal, and where it lay in what had been said."""
    later = use[(use["stay_id"] == said["stay_id"]) & (use["weighed_on"] > origin)]
    on = (later["weighed_on"] - origin).dt.days.to_numpy(dtype=float)
    hit = later["log_g"].to_numpy() >= np.log(said["target_g"])
    first = int(np.argmax(hit)) if hit.any() else len(on)
    last_below = float(on[first - 1]) if first else 0.0
    reached = float(on[first]) if hit.any() else np.nan
    left = bool(gone and not hit.any())
    low, high = _chances(futures, last_below, reached, left, round(said["every_days"]) / 2)
    known = hit.any() or left or days_on >= AHEAD
    return {
        "origin": origin,
        "stay_id": said["stay_id"],
        "species": said["species"],
        "last_below": last_below,
        "reached": reached,
        "ended": bool(hit.any() or left),
        "pit_low": low,
        "pit_high": high,
        "said_not_in_90": said["not_in_90_percent"] / 100,
        "not_in_90": float(not reached <= AHEAD) if known else np.nan,
    }


def _chances(futures: np.ndarray, below: float, reached: float, left: bool, half: float) -> tuple[float, float]:
    """Return the predicted chance of a target reached by the last weighing below it, and by the first at it.

    A weighing counts as the scheduled one nearest to it, within ``half`` of the days between two.
    """
    if left:  # later than every day it could have been reached on
        return float(np.isfinite(futures).mean()), 1.0
    low = float((futures <= below + half).mean()) if below > 0 else 0.0
    if not np.isfinite(reached):
        return low, 1.0
    return min(low, float((futures < reached - half).mean())), float((futures <= reached + half).mean())
