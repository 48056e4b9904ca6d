"""Length of stay: how many are still in care by day, by taxon group, open stays included."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import PercentFormatter

from mendcurve.figures import style
from mendcurve.figures.recovery_curves import below, draw_steps
from mendcurve.questions.stay_length import STILL, Length
from mendcurve.questions.wording import count

COLUMNS = 3
MOST = 6
TICKS = (0, 90, 180, 270, 360)


@style.drawing
def stay_curves(answer: Length) -> style.Picture:
    """Return one panel for all animals and one for each of the largest groups; the mean of leavers marked as such."""
    frame = answer.frame[(answer.frame["cohort"] == answer.cohort) & answer.frame["enough"]].head(MOST)
    if not len(frame):
        return style.empty(name="stay-curves", title="Length of stay", why=answer.sentence())
    columns = min(COLUMNS, len(frame))
    rows = math.ceil(len(frame) / columns)
    figure, axes = style.new(rows, columns, height=0.55 + 2.2 * rows, sharex=True, sharey=True, squeeze=False)
    steps = answer.steps[(answer.steps["cohort"] == answer.cohort) & (answer.steps["end"] == STILL)]
    for place, (axis, row) in enumerate(zip(axes.flat, frame.to_dict("records"), strict=False)):
        _panel(axis, steps[steps["group"] == row["group"]], row, first=place % columns == 0)
    for axis in axes.flat[len(frame) :]:
        axis.set_visible(False)
    figure.supylabel("share still in care", fontsize=9)
    figure.supxlabel("days since intake; at risk below each panel", fontsize=9)
    whole = frame.iloc[0]
    title = "Fewer than half had left by the last day the records reach" if math.isnan(whole["median"]) else (
        f"Half of all animals had left by day {whole['median']:.0f}")  # fmt: skip
    which = ", " if answer.cohort == "all records" else f" that {answer.cohort}, "
    subtitle = (
        "Share still in care since intake, stays still open included, 95 % band; "
        f"{count(whole['animals'], 'animal')}{which}{whole['still_here']:,} still here; point: half had left, with its "
        "interval; dashed below a tenth of the most at risk"
    )
    return style.finish(figure, name="stay-curves", title=title, subtitle=subtitle, alt=answer.sentence())


def _panel(axis: Axes, rows: pd.DataFrame, row: dict[Any, Any], *, first: bool) -> None:
    axis.fill_between(rows["day"], rows["low"], rows["high"], step="post", color=style.WASH, linewidth=0)
    draw_steps(axis, rows, color=style.ACCENT, linestyle="-", linewidth=1.8)
    median, low, high = (float(row[c]) for c in ("median", "median_low", "median_high"))
    if not math.isnan(median):
        end = high if not math.isnan(high) else TICKS[-1]
        axis.plot([low, end], [0.5, 0.5], color=style.CONTRAST, linewidth=1.2, linestyle="-")
        axis.plot(median, 0.5, marker="o", markersize=5, color=style.CONTRAST, linestyle="none")
        axis.annotate(
            f"day {median:.0f}", (max(median, end), 0.5), xytext=(6, 0), textcoords="offset points", va="center",
            color=style.CONTRAST, fontsize=8.5,
        )  # fmt: skip
    name = "All animals" if row["group"] == "all" else f"{str(row['group'])[:1].upper()}{str(row['group'])[1:]}"
    axis.set_title(f"{name}, n = {row['animals']:,}", fontsize=9)
    axis.set_xlim(0, 365)
    axis.set_ylim(0, 1)
    axis.set_yticks([0, 0.5, 1])
    axis.set_xticks(TICKS)
    axis.yaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    axis.tick_params(labelbottom=True)
    for tick in TICKS:
        known = rows[rows["day"] >= tick]
        n = f"{known['at_risk'].iloc[0]:,.0f}" if len(known) else ""
        below(axis, tick, n)
    if first:
        below(axis, 0, "at risk", across=-14, ha="right")
