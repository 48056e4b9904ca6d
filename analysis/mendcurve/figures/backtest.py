"""Past forecasts against what came, and against simple rules."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, PercentFormatter

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.capacity_backtest import LEVELS, RULES, Backtest

NAMES = {
    "score": "this forecast",
    "last_value": "last value",
    "same_time_last_year": "same time last year",
    "littles_law": "Little's law",
}
LINES = {
    "score": "-",
    "last_value": (0, (5, 2)),
    "same_time_last_year": (0, (1, 1.5)),
    "littles_law": (0, (5, 1.5, 1, 1.5)),
}
SIGNS = dict(zip(LEVELS, (("s", "■"), ("o", "●"), ("^", "▲")), strict=True))


@style.drawing
def backtest(answer: Backtest) -> Picture:
    """Draw the mean score by days ahead, ours and the simple rules', and how often each band held what came."""
    if answer.frame.empty:
        return style.empty(name="backtest", title="Past forecasts", why=answer.sentence())
    zone = answer.frame["zone"].iloc[-1]
    table = answer.summary[answer.summary["zone"] == zone]
    figure, (left, right) = style.new(1, 2, height=3.1)
    _scores(left, table)
    _coverage(right, table)
    return style.finish(
        figure,
        name="backtest",
        title=_title(table),
        subtitle=f"{answer.origins} past forecasts of {zone}, each made from the records as they then were. Left: mean "
        "error (continuous ranked probability score). Right: how often each band held what came; dashed: how often it "
        "should.",
        alt=answer.sentence(),
    )


def _scores(ax: Axes, table: pd.DataFrame) -> None:
    names = [n for n in ("score", *RULES) if table[n].notna().any()]
    ends = {n: table[n].dropna().iloc[-1] for n in names}
    top = max(table[n].max() for n in names)
    places = style.spread([ends[n] for n in names], 0.075 * top)
    for n, y in zip(names, places, strict=True):
        ours = n == "score"
        ax.plot(
            table["days_ahead"],
            table[n],
            linestyle=LINES[n],
            color=style.ACCENT if ours else style.QUIET,
            linewidth=2 if ours else 1.2,
            marker="o",
            markersize=3.5 if ours else 2.5,
        )
        style.label_line(ax, table["days_ahead"].iloc[-1], y, NAMES[n], color=style.ACCENT if ours else style.INK)
    ax.set_xlim(0, table["days_ahead"].max() * 1.5)
    ax.set_xticks(table["days_ahead"])
    ax.set_ylim(0, top * 1.12)
    ax.yaxis.set_major_locator(MaxNLocator(5))
    ax.set_xlabel("days ahead")
    ax.set_ylabel("mean error (places)")


def _coverage(ax: Axes, table: pd.DataFrame) -> None:
    at = np.arange(len(table))
    for level in LEVELS:
        held = table[f"held_{100 * level:.0f}"]
        ax.axhline(level, color=style.QUIET, linewidth=0.7, linestyle=(0, (4, 2)))
        ax.plot(at, held, SIGNS[level][0], color=style.ACCENT, markersize=5.5)
        style.label_line(ax, at[-1] + 0.35, level, f"{SIGNS[level][1]} {100 * level:.0f} % band", color=style.INK)
    ax.set_xlim(-0.5, len(at) - 0.6)
    ax.set_ylim(0, 1.05)
    ax.set_xticks(at, [f"{d}" for d in table["days_ahead"]])
    ax.yaxis.set_major_formatter(PercentFormatter(1.0, symbol=" %"))
    ax.set_xlabel("days ahead")
    ax.set_ylabel("forecasts that held what came")


def _title(table: pd.DataFrame) -> str:
    rules = [r for r in RULES if table[r].notna().all()]
    if not rules:
        return "How past forecasts did"
    far = table.loc[table["days_ahead"] == table["days_ahead"].max()].iloc[0]
    best = min(rules, key=lambda r: far[r])
    word = "larger" if far["score"] > far[best] else "smaller"
    return f"At {far['days_ahead']:.0f} days ahead the mean error was {word} than that of {NAMES[best]}"
