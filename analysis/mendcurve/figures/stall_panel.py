"""The animals that seem to have stopped gaining or to be losing weight, one small panel each."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from mendcurve.figures import style
from mendcurve.questions.weights_screen import Screen
from mendcurve.questions.wording import count, day, pace

COLUMNS, MOST = 3, 12
WEEKS_SHOWN = 26


@style.drawing
def stall_panel(answer: Screen) -> style.Picture:
    """Return the listed animals' weighings with their slope since the onset and the gain that was needed."""
    listed = answer.to_frame()
    listed = listed[listed["listed"].astype(bool)]
    if not len(listed):
        return style.empty(name="stall-panel", title="Weight stalled or lost", why=answer.sentence())
    shown = listed.head(MOST)
    columns = min(COLUMNS, len(shown))
    rows = math.ceil(len(shown) / columns)
    figure, axes = style.new(rows, columns, height=0.6 + 2.05 * rows, sharex=True, squeeze=False)
    paths = answer.weighings()
    with_gain = shown.loc[shown["needed_percent_week"] > 0, "stay_id"].head(1)
    for axis, row in zip(axes.flat, shown.itertuples(), strict=False):
        own = paths[paths["stay_id"] == row.stay_id]
        _panel(axis, own, row, answer.as_of, named=row.stay_id in set(with_gain))
    for axis in axes.flat[len(shown) :]:
        axis.set_visible(False)
    figure.supxlabel(f"weeks before {day(answer.as_of)}", fontsize=9)
    figure.supylabel("weight (g)", fontsize=9)
    states = listed["state"].value_counts()
    more = len(listed) - len(shown)
    return style.finish(
        figure,
        name="stall-panel",
        title=_title(int(states.get("stalled", 0)), int(states.get("losing", 0))),
        subtitle=f"Weighings since the last step, the last {WEEKS_SHOWN} weeks of them; solid: slope since about when "
        "it changed; dashed: the gain needed since then; bar below: the days on which it may have changed; "
        "shaded: treatment course. "
        f"{count(answer.screened, 'animal')} screened, about {answer.expected:.2g} listed by chance alone"
        + (f"; {count(more, 'more')} not drawn" if more else ""),
        alt=" ".join(_words(row) for row in shown.itertuples()),
    )


def _panel(axis: Axes, path: pd.DataFrame, row: Any, as_of: pd.Timestamp, *, named: bool) -> None:
    weeks = (path["weighed_on"] - as_of).dt.days / 7
    path = path.assign(weeks=weeks)[weeks >= -WEEKS_SHOWN]
    for a, b, on in zip(path["weeks"][:-1], path["weeks"][1:], path["in_course"][1:], strict=True):
        if on:
            axis.axvspan(a, b, color=style.WASH, linewidth=0, zorder=0)
    axis.plot(
        path["weeks"], path["weight_g"], color=style.ACCENT, marker="o", markersize=3, linewidth=0.6, gid="weighings"
    )
    axis.plot(path["weeks"], path["fitted_g"], color=style.INK, linewidth=1.5, gid="slope")
    if pd.notna(row.since_first):
        first, last = ((on - as_of).days / 7 for on in (row.since_first, row.since_last))
        axis.plot(
            [max(first, -WEEKS_SHOWN), last],
            [0.03, 0.03],
            transform=axis.get_xaxis_transform(),
            color=style.QUIET,
            linewidth=3,
            solid_capstyle="butt",
            gid="since",
        )
    gains = row.needed_percent_week > 0
    if gains:
        axis.plot(
            path["weeks"], path["needed_g"], color=style.CONTRAST, linestyle=(0, (4, 2)), linewidth=1.2, gid="needed"
        )
        end = path.iloc[-1]
        if named:
            axis.annotate("needed", (end["weeks"], end["needed_g"]), xytext=(0, 4), textcoords="offset points",
                          ha="right", fontsize=7.5, color=style.CONTRAST)  # fmt: skip
    axis.set_title(f"{row.stay_id}, {row.species}", fontsize=8.5, pad=15)
    digits = 1 if row.high - row.low >= 0.2 else 2
    low, high = (f"{v:+.{digits}f}".replace("-", "−") for v in (row.low, row.high))
    axis.annotate(f"{row.state}, {low} to {high} % a week", (0, 1), xycoords="axes fraction", xytext=(0, 3),
                  textcoords="offset points", fontsize=7.5, color=style.QUIET)  # fmt: skip
    axis.margins(y=0.22)
    axis.set_xlim(right=0.6)
    axis.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=5))
    axis.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{abs(v):.0f}"))
    axis.yaxis.set_major_locator(MaxNLocator(nbins=4))
    axis.tick_params(labelbottom=True)


def _title(stalled: int, losing: int) -> str:
    found = (
        [f"{count(stalled, 'animal')} {'seems' if stalled == 1 else 'seem'} to have stopped gaining"] if stalled else []
    )
    found += [f"{count(losing, 'animal')} {'seems' if losing == 1 else 'seem'} to be losing weight"] if losing else []
    return "; ".join(found)


def _words(row: Any) -> str:
    middle, low, high = pace(row.slope_percent_week, row.low, row.high)
    return f"{row.stay_id} ({row.species}) {row.state}: {middle} % a week ({low} to {high}), {row.why}."
