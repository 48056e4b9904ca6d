"""Medical cost of an episode by condition, with intervals, beside the plain mean of closed cases."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.costs_episode import ALL, PerEpisode
from mendcurve.questions.wording import count, day


@style.drawing
def cost_bars(answer: PerEpisode) -> Picture:
    """Draw the mean cost by condition with its interval; a small upright mark is the plain mean of closed cases."""
    rows = answer.to_frame()
    rows = rows[rows["mean"].notna()]
    if not answer.recorded or not len(rows):
        return style.empty(name="cost-bars", title="Cost of an episode", why=answer.sentence())
    whole = rows[rows["condition"] == ALL].iloc[0]
    each = rows[rows["condition"] != ALL].sort_values(["mean", "condition"])
    figure, ax = style.new(height=max(1.6, 1.0 + 0.27 * len(each)))
    _draw(ax, each if len(each) else rows, float(whole["mean"]))
    ax.set_xlabel(f"medical cost of an episode to day {whole['to_day']:.0f} ({answer.currency})")
    return style.finish(
        figure, name="cost-bars", title=_title(each, whole, answer.currency),
        subtitle="Mean medical cost of an episode with 95 % interval, those still running included, to "
        f"{day(answer.as_of)}; {count(whole['episodes'], 'episode')} of {count(whole['animals'], 'animal')}. Upright "
        "mark: plain mean of closed cases. Dashed: all conditions. Conditions with too few animals are not drawn.",
        alt=answer.sentence(),
    )  # fmt: skip


def _draw(ax: Axes, rows: pd.DataFrame, whole: float) -> None:
    at = np.arange(len(rows))
    ax.axvline(whole, color=style.QUIET, linewidth=0.8, linestyle=(0, (4, 2)))
    ax.hlines(at, rows["low"], rows["high"], color=style.ACCENT, linewidth=1.6)
    ax.plot(rows["mean"], at, "o", color=style.ACCENT, markersize=5)
    ax.plot(rows["mean_of_closed"], at + 0.3, "|", color=style.CONTRAST, markersize=6, markeredgewidth=1.6)
    far = float(np.nanmax(rows[["mean", "high", "mean_of_closed"]].to_numpy())) or 1.0
    for y, n, run in zip(at, rows["episodes"], rows["running"], strict=True):
        still = f", {run:,} running" if run else ""
        ax.annotate(f"{n:,} {'episode' if n == 1 else 'episodes'}{still}", (1.04 * far, y), va="center", fontsize=8.5,
                    annotation_clip=False)  # fmt: skip
    ax.set_xlim(0, 1.02 * far)
    ax.set_ylim(-0.6, len(rows) - 0.3)
    ax.set_yticks(at, rows["condition"])
    style.names_on(ax, "y")


def _title(each: pd.DataFrame, whole: pd.Series, currency: str) -> str:
    text = f"An episode costs about {whole['mean']:,.0f} {currency} of medical care"
    if len(each) > 1 and each["low"].iloc[-1] > each["high"].iloc[0]:
        least, most = each.iloc[0], each.iloc[-1]
        between = f"from {least['mean']:,.0f} ({least['condition']}) to {most['mean']:,.0f} ({most['condition']})"
        return f"{text}, {between}"
    return f"{text}; conditions do not clearly differ" if len(each) > 1 else text
