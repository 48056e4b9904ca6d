"""Ratios or differences of groups with their intervals, one line a group, those told apart in full colour."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.recovery import Adjusted, Comparison
from mendcurve.questions.wording import count

MOST_LINES = 24
"""Longer lists are cut to those with most animals, and say so."""


@style.drawing
def adjusted_forest(answer: Adjusted) -> Picture:
    """Draw the ratio of the pace of clearing for each level of each term."""
    rows = answer.to_frame()
    rows = rows[rows["ratio"].notna()]
    if not len(rows):
        return style.empty(name="adjusted-forest", title="What goes with quicker clearing", why=answer.sentence())
    labels = [f"{r['level']}, against {r['against']}" for _, r in rows.iterrows()]
    figure, ax = style.new(height=1.2 + 0.27 * len(rows))
    told = (rows["steady"] & ((rows["low"] > 1) | (rows["high"] < 1))).to_numpy()
    _lines(ax, rows[["ratio", "low", "high"]], labels, rows["animals"], told)
    ax.set_xscale("log")
    _ratio_ticks(ax)
    ax.axvline(1, color=style.QUIET, linewidth=0.8)
    ax.set_xlabel("times as fast (1: no difference; right: sooner cleared)")
    names = [f"{r['level']} against {r['against']}" for _, r in rows[told].iterrows()]
    title = f"Told apart: {'; '.join(names)}" if names else "Nothing is told apart by the records so far"
    return style.finish(
        figure, name="adjusted-forest", title=title,
        subtitle=f"Ratio of the pace of clearing, the other terms held and each condition within itself, with 95 % "
        f"interval; {count(answer.cleared, 'animal')} cleared of {answer.animals:,}, {answer.when}. Not assigned at "
        "random.", alt=answer.sentence(),
    )  # fmt: skip


@style.drawing
def comparison_forest(answer: Comparison) -> Picture:
    """Draw the difference in the share cleared for each pair of groups."""
    rows = answer.to_frame()
    if not len(rows):
        return style.empty(name="comparison-forest", title="Do groups differ?", why=answer.sentence())
    every = len(rows)
    rows = rows.assign(both=rows["animals"] + rows["animals_against"])
    rows = rows.loc[rows.nlargest(MOST_LINES, "both", keep="first").index.sort_values()]
    labels = [f"{r['condition']}: {r['group']} against {r['against']}" for _, r in rows.iterrows()]
    told = (rows["told_apart"] & ((rows["difference_low"] > 0) | (rows["difference_high"] < 0))).to_numpy()
    figure, ax = style.new(height=1.2 + 0.27 * len(rows))
    values = 100 * rows[["difference", "difference_low", "difference_high"]]
    _lines(ax, values, labels, rows["both"], told)
    ax.axvline(0, color=style.QUIET, linewidth=0.8)
    ax.set_xlabel("difference in the share cleared (percentage points; right: more were cleared)")
    cut = f" The {len(rows)} of {every} pairs with most animals." if len(rows) < every else ""
    n = int(told.sum())
    title = (
        f"{count(n, 'pair')} of {every} {'is' if n == 1 else 'are'} told apart"
        if n else "No pair of groups is told apart by the share cleared"
    )  # fmt: skip
    return style.finish(
        figure, name="comparison-forest", title=title,
        subtitle=f"Share cleared by day {rows['day'].min():.0f} to {rows['day'].max():.0f} since found, difference "
        f"with 95 % interval, {answer.when}; p after Holm's rule decides.{cut} Not assigned at random.",
        alt=answer.sentence(),
    )  # fmt: skip


def _lines(ax: Axes, values: pd.DataFrame, labels: list[str], animals: pd.Series, told: np.ndarray) -> None:
    at = np.arange(len(values))[::-1]
    middle, low, high = values.to_numpy().T
    for which, colour in ((told, style.ACCENT), (~told, style.QUIET)):
        ax.hlines(at[which], low[which], high[which], color=colour, linewidth=1.8 if colour == style.ACCENT else 1.2)
        ax.plot(middle[which], at[which], "o" if colour == style.ACCENT else "D", color=colour,
                markersize=5 if colour == style.ACCENT else 3.5)  # fmt: skip
    ax.set_yticks(at, labels)
    style.names_on(ax, "y")
    ax.set_ylim(-0.7, len(values) - 0.3)
    for y, n in zip(at, animals, strict=True):
        ax.annotate(f"{count(n, 'animal')}", (1.02, y), xycoords=("axes fraction", "data"), va="center", fontsize=8.5,
                    annotation_clip=False)  # fmt: skip


def _ratio_ticks(ax: Axes) -> None:
    low, high = ax.get_xlim()
    ticks = [t for t in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20) if low <= t <= high]
    ax.set_xticks(ticks, [f"{t:g}" for t in ticks])
    ax.minorticks_off()
