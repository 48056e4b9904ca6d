"""Why not the simple mean? The simple figures beside the right ones; used for no other number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import told
from mendcurve.questions.recovery_cohort import cohort
from mendcurve.questions.stay_length import length
from mendcurve.questions.wording import count, percent
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import episodes

DAY = 90
CLEARED = 1
COLUMNS = ("condition", "animals", "mean_of_cleared", "half_cleared_by", "simple_share", "share", "low", "high")


@dataclass(frozen=True, kw_only=True, eq=False)
class Simple(Answer):
    """By condition: mean days of the cleared and naive share, beside median and cumulative incidence."""

    frame: pd.DataFrame
    leavers_mean: float
    stay_median: float
    still_here: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row a condition with enough animals for a curve."""
        return self.frame

    def sentence(self) -> str:
        """Return what the simple mean of stays leaves out, and by how much the naive curve is highest."""
        parts = []
        if np.isfinite(self.leavers_mean) and np.isfinite(self.stay_median):
            parts.append(
                f"The animals that left had stayed {self.leavers_mean:.0f} days on average, which leaves out the "
                f"{count(self.still_here, 'animal')} still here; half of all had left by day {self.stay_median:.0f}."
            )
        gap = self.frame["simple_share"] - self.frame["share"]
        if gap.notna().any() and gap.max() > 0:
            row = self.frame.iloc[int(gap.fillna(-1).to_numpy().argmax())]
            simple, share, low, high = (percent(row[name]) for name in ("simple_share", "share", "low", "high"))
            parts.append(
                f"For {row['condition']} the simple curve has {simple} cleared by day {DAY}, where {share} were (95 % "
                f"interval {low} to {high}): it takes animals that died or left as if they might still recover here."
            )
        return " ".join(parts) or "There are too few animals in the records to show the difference."

    def notes(self) -> tuple[str, ...]:
        """Return what each column is."""
        return (
            "Mean of cleared: days from found to cleared of those that were cleared; it leaves out all others. Half "
            "cleared by: the first day by which half of all were cleared; a dash where that is not reached. Simple "
            f"share: one less Kaplan-Meier at day {DAY}, every other end taken as cut off. Share: cumulative incidence "
            f"at day {DAY}, every other end competing. A dash: too few are followed that long.",
        )


def means(records: Records) -> Simple:
    """Set the simple figures of recovery and stay beside those that leave nobody out."""
    rows = cohort(episodes(records)).rows
    right = {one.group: one for one in told(rows, "condition", _causes(rows), records.settings)}
    only = rows.assign(cause=rows["cause"].where(rows["cause"] == CLEARED, 0))
    naive = {one.group: one for one in told(only, "condition", ("cleared",), records.settings)}
    done = rows[rows["cause"] == CLEARED]
    days, animals = (done["exit"] * done["animals"], done["animals"])
    mean = days.groupby(done["condition"]).sum() / animals.groupby(done["condition"]).sum()
    table = [
        (name, one.animals, mean.get(name, np.nan), one.median("cleared")[0], naive[name].by(DAY, "cleared")[0],
         *one.by(DAY, "cleared"))
        for name, one in right.items()
        if one.enough
    ]  # fmt: skip
    frame = pd.DataFrame(table, columns=list(COLUMNS))
    frame.attrs.update(
        title=f"The simple figures beside the right ones, recovery to day {DAY}",
        units={"animals": "animals", "mean_of_cleared": "days", "half_cleared_by": "days since found",
               "simple_share": "proportion", "share": "proportion", "low": "proportion", "high": "proportion"},
    )  # fmt: skip
    whole = length(records).to_frame().iloc[:1]
    first = whole.iloc[0] if len(whole) else {"leavers_mean": np.nan, "median": np.nan, "still_here": 0}
    return Simple(
        frame=frame, leavers_mean=float(first["leavers_mean"]), stay_median=float(first["median"]),
        still_here=int(first["still_here"]),
    )  # fmt: skip


def _causes(rows: pd.DataFrame) -> tuple[str, ...]:
    names = ["cleared", *(f"end {c}" for c in range(2, int(rows["cause"].max() if len(rows) else 1) + 1))]
    return tuple(names)
