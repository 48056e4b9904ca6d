"""Recovery by condition: one small panel each, cleared with its band, died and left beside it."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import PercentFormatter

from mendcurve.figures import style
from mendcurve.questions.recovery_by import since
from mendcurve.questions.recovery_curves import RecoveryCurves
from mendcurve.questions.wording import count

COLUMNS = 3
MOST = 9
# Line style says which end it is, colour only helps.
ENDS: dict[str, dict[str, Any]] = {
    "cleared": {"color": style.ACCENT, "linestyle": "-", "linewidth": 1.8},
    "died": {"color": style.CONTRAST, "linestyle": (0, (1, 1)), "linewidth": 1.2},
    "left uncleared": {"color": style.QUIET, "linestyle": (0, (6, 2)), "linewidth": 1.2},
}
SHORT = {"cleared": "cleared", "died": "died", "left uncleared": "left"}


@style.drawing
def recovery_curves(answer: RecoveryCurves) -> style.Picture:
    """Return the curves of the largest conditions, at most nine, on shared axes."""
    groups = answer.groups[answer.groups["enough"]].head(MOST)
    if not len(groups):
        return style.empty(name="recovery-curves", title="Recovery by condition", why=answer.sentence())
    columns = min(COLUMNS, len(groups))
    rows = math.ceil(len(groups) / columns)
    figure, axes = style.new(rows, columns, height=0.55 + 2.25 * rows, sharex=True, sharey=True, squeeze=False)
    for place, (axis, row) in enumerate(zip(axes.flat, groups.to_dict("records"), strict=False)):
        _panel(axis, answer, row["condition"], row["animals"], first=place % columns == 0)
    for axis in axes.flat[len(groups) :]:
        axis.set_visible(False)
    figure.supylabel("share of animals", fontsize=9)
    figure.supxlabel(f"{since(answer.cohort.clock)}; at risk below each panel", fontsize=9)
    more = len(answer.groups) - len(groups)
    rest = f"; {count(more, 'other condition')} not drawn" if more else ""
    return style.finish(
        figure,
        name="recovery-curves",
        title=_title(groups),
        subtitle=f"Cumulative incidence since the day found, 95 % band; {count(groups['animals'].sum(), 'episode')} "
        f"{answer.when}; dashed below a tenth of the most at risk{rest}",
        alt=" ".join(groups["says"]),
    )


def _panel(axis: Axes, answer: RecoveryCurves, condition: str, animals: int, *, first: bool) -> None:
    steps = answer.steps[answer.steps["condition"] == condition]
    last: dict[str, tuple[float, float]] = {}
    for end in ENDS:
        rows = steps[steps["end"] == end]
        draw_steps(axis, rows, **ENDS[end])
        last[end] = (float(rows["day"].iloc[-1]), float(rows["share"].iloc[-1]))
    cleared = steps[steps["end"] == "cleared"]
    axis.fill_between(
        cleared["day"], cleared["low"], cleared["high"], step="post", color=style.WASH, linewidth=0, zorder=0
    )
    for end, height in zip(last, style.spread([max(y, 0.045) for _, y in last.values()], 0.11), strict=True):
        style.label_line(axis, last[end][0], height, SHORT[end], color=ENDS[end]["color"])
    axis.set_title(f"{condition[:1].upper()}{condition[1:]}, n = {animals:,}", fontsize=8.5)
    axis.set_xlim(0, answer.horizon)
    axis.set_ylim(0, 1)
    axis.set_yticks([0, 0.5, 1])
    axis.set_xticks(answer.risk["day"].unique())
    axis.yaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    axis.tick_params(labelbottom=True)
    _at_risk(axis, answer.risk[answer.risk["condition"] == condition], first=first)


def _at_risk(axis: Axes, risk: pd.DataFrame, *, first: bool) -> None:
    for row in risk.itertuples():
        below(axis, row.day, f"{row.at_risk:,}")
    if first:
        below(axis, 0, "at risk", across=-12, ha="right")


def below(axis: Axes, at: Any, text: str, *, across: float = 0, ha: str = "center") -> None:
    """Write a small number below the axis, such as how many are at risk on that day."""
    axis.annotate(
        text, (at, 0), xytext=(across, -20), textcoords="offset points", ha=ha, va="top", fontsize=7.5,
        color=style.QUIET, annotation_clip=False,
    )  # fmt: skip


def draw_steps(axis: Axes, rows: pd.DataFrame, **look: Any) -> None:
    """Draw a step curve, its dashed part thinner and dotted apart from its solid one."""
    solid, thin = rows[~rows["dashed"]], rows[rows["dashed"]]
    axis.step(solid["day"], solid["share"], where="post", **look)
    if len(thin):
        joined = pd.concat([solid.tail(1), thin])
        axis.step(joined["day"], joined["share"], where="post", **{**look, "linestyle": (0, (2, 2)), "linewidth": 1.0})


def _title(groups: pd.DataFrame) -> str:
    reached = groups.dropna(subset=["median"]).sort_values("median")
    if len(reached) > 1:
        quick, slow = reached.iloc[0], reached.iloc[-1]
        return (
            f"Half were cleared by day {quick['median']:.0f} for {quick['condition']}, by day {slow['median']:.0f} for "
            f"{slow['condition']}"
        )
    if len(reached) == 1:
        return f"Half were cleared by day {reached.iloc[0]['median']:.0f} for {reached.iloc[0]['condition']}"
    return f"Fewer than half were cleared in {count(len(groups), 'condition')}"
