"""One animal's weighings, with target, steps, courses and brumation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from mendcurve.figures import style
from mendcurve.questions.weights_path import Path, grams
from mendcurve.questions.wording import count, day

SHADES = (("in_course", "treatment course", style.WASH), ("brumating", "brumating", style.WASH_CONTRAST))


@style.drawing
def weight_path(answer: Path) -> style.Picture:
    """Return the weighings of one stay; those not used are open marks with the reason."""
    frame = answer.to_frame()
    frame = frame[(frame["weight_g"] > 0) & frame["day"].notna()].astype({"day": "float64"})
    name = f"weight-path-{answer.stay_id.lower()}"
    if not len(frame):
        return style.empty(name=name, title=f"Weight of {answer.stay_id}", why=f"{answer.stay_id} was not weighed.")
    figure, axis = style.new(height=3.0)
    use, left = frame[frame["usable"]], frame[~frame["usable"]]
    for flag, word, color in SHADES:
        _shade(axis, frame, flag, word, color)
    for _, part in use.groupby("segment"):
        axis.plot(
            part["day"], part["weight_g"], color=style.ACCENT, marker="o", markersize=3.5, linewidth=1.0, gid="used"
        )
    axis.plot(left["day"], left["weight_g"], color=style.QUIET, marker="o", markersize=4, linestyle="none",
              markerfacecolor="none", gid="not used")  # fmt: skip
    _trend(axis, answer, use)
    _steps(axis, frame)
    if answer.target_g > 0:
        axis.axhline(answer.target_g, color=style.CONTRAST, linestyle=(0, (5, 2)), linewidth=1.0, gid="target")
        style.label_line(
            axis, axis.get_xlim()[1], answer.target_g, f"target\n{grams(answer.target_g)}", color=style.CONTRAST
        )
    axis.set_xlabel("days since intake")
    axis.set_ylabel("weight (g)")
    axis.yaxis.set_major_formatter(
        FuncFormatter(lambda v, _: f"{v:,.0f}" if v >= 20 else f"{v:,.1f}" if v >= 5 else f"{v:,.2f}")
    )
    open_ = (
        f"; open marks: {count(len(left), 'weighing')} not used ({', '.join(sorted(set(left['why_not'])))})"
        if len(left)
        else ""
    )
    first, last = frame.iloc[0], frame.iloc[-1]
    slope = "; dashed: slope since the last step" if answer.slope is not None else ""
    return style.finish(
        figure,
        name=name,
        title=f"{answer.stay_id}, {answer.species}: {grams(first['weight_g'])} at first, {grams(last['weight_g'])} "
        "at last",
        subtitle=f"{count(len(frame), 'weighing')} from {day(first['weighed_on'])} to {day(last['weighed_on'])}"
        f"{slope}{open_}",
        alt=answer.sentence(),
    )


def _shade(axis: Axes, frame: pd.DataFrame, flag: str, word: str, color: str) -> None:
    """Shade the runs of weighings for which ``flag`` holds, half a gap to each side; name the first."""
    days, flags = frame["day"].to_numpy(), frame[flag].to_numpy(bool)
    starts = np.flatnonzero(flags & ~np.concatenate([[False], flags[:-1]]))
    ends = np.flatnonzero(flags & ~np.concatenate([flags[1:], [False]]))
    for k, (a, b) in enumerate(zip(starts, ends, strict=True)):
        low = days[a] if a == 0 else (days[a - 1] + days[a]) / 2
        high = days[b] if b == len(days) - 1 else (days[b] + days[b + 1]) / 2
        axis.axvspan(low, max(high, low + 1), color=color, linewidth=0, zorder=0)
        if k == 0:
            up = (2, 2 if flag == "in_course" else 11)
            axis.annotate(word, (low, 1), xycoords=("data", "axes fraction"), xytext=up, textcoords="offset points",
                          va="bottom", fontsize=7.5, color=style.QUIET)  # fmt: skip


def _trend(axis: Axes, answer: Path, use: pd.DataFrame) -> None:
    if answer.slope is None:
        return
    days = use.loc[use["segment"] == use["segment"].max(), "day"]
    at = np.linspace(days.min(), days.max(), 50)
    axis.plot(at, np.exp(answer.slope.intercept + answer.slope.estimate * at), color=style.INK, linewidth=1.0,
              linestyle=(0, (3, 2)), gid="slope")  # fmt: skip


def _steps(axis: Axes, frame: pd.DataFrame) -> None:
    changed = frame[frame["segment"].diff().fillna(0) > 0]
    row: Any
    for row in changed.itertuples():
        axis.axvline(row.day, color=style.QUIET, linewidth=0.8, linestyle=(0, (1, 2)))
        axis.annotate(row.circumstance, (row.day, 0), xycoords=("data", "axes fraction"), xytext=(2, 3),
                      textcoords="offset points", fontsize=7.5, color=style.QUIET)  # fmt: skip
