"""Doses on time by condition, with intervals, and what became of the others."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import PercentFormatter

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.spans import from_to
from mendcurve.questions.treatment import Doses
from mendcurve.questions.wording import count, percent

REST = (("late", style.WASH, ""), ("missed", style.CONTRAST, ""), ("refused", style.PAPER, "////"))


@style.drawing
def doses(answer: Doses) -> Picture:
    """Draw the share of doses on time by condition with its interval; beside it late, missed and refused as shares."""
    rows = answer.by_condition()
    rows = rows[rows["doses_due"] > 0].sort_values(["doses_due", "condition"], ascending=[True, False])
    if not answer.recorded or not answer.misses_recorded or not len(rows):
        return style.empty(name="doses", title="Doses on time", why=answer.sentence())
    whole = answer.to_frame().iloc[0]
    figure, (left, right) = style.new(1, 2, height=max(1.6, 0.9 + 0.28 * len(rows)), sharey=True, width_ratios=(3, 2))
    _on_time(left, rows, float(whole["share_on_time"]))
    _others(right, rows)
    n = count(whole["doses_due"], "dose")
    return style.finish(
        figure, name="doses",
        title=f"{percent(whole['share_on_time'])} of {n} due were given on time",
        subtitle=f"Doses due {from_to(answer.period)} on {count(whole['courses'] - answer.unjudged, 'course')}, by "
        "condition. Left: share on time with 95 % interval (by course), number on time of number due; dashed: all "
        "doses. Right: the others, as shares of doses due.",
        alt=answer.sentence(),
    )  # fmt: skip


def _on_time(ax: Axes, rows: pd.DataFrame, whole: float) -> None:
    at = np.arange(len(rows))
    ax.axvline(whole, color=style.QUIET, linewidth=0.8, linestyle=(0, (4, 2)))
    ax.hlines(at, rows["low"], rows["high"], color=style.ACCENT, linewidth=1.6)
    ax.plot(rows["share_on_time"], at, "o", color=style.ACCENT, markersize=5)
    for y, k, n in zip(at, rows["on_time"], rows["doses_due"], strict=True):
        ax.annotate(f"{k:,} of {n:,}", (1.02, y), va="center", fontsize=8.5, annotation_clip=False)
    ax.set_xlim(0, 1)
    ax.set_ylim(-0.6, len(rows) - 0.4)
    ax.set_yticks(at, rows["condition"])
    style.names_on(ax, "y")
    ax.xaxis.set_major_formatter(PercentFormatter(1.0, decimals=0, symbol=" %"))
    ax.set_xlabel("doses given on time (share of doses due)")


def _others(ax: Axes, rows: pd.DataFrame) -> None:
    at, start = np.arange(len(rows)), np.zeros(len(rows))
    for state, colour, hatch in REST:
        share = (rows[state] / rows["doses_due"]).to_numpy()
        ax.barh(
            at,
            share,
            left=start,
            height=0.55,
            color=colour,
            hatch=hatch,
            edgecolor=style.INK,
            linewidth=0.5,
            label=state,
        )
        start = start + share
    ax.set_xlim(0, max(0.1, 1.15 * start.max()))
    ax.tick_params(axis="y", left=False, labelleft=False)
    style.names_on(ax, "y")
    ax.xaxis.set_major_formatter(PercentFormatter(1.0, decimals=0, symbol=" %"))
    ax.set_xlabel("late, missed, refused (share of doses due)")
    ax.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=3, borderaxespad=0.1, handlelength=1.2, columnspacing=1)
