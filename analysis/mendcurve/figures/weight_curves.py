"""Weight regained: one small panel for each group, percent of intake weight with its bands."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from mendcurve.figures import style
from mendcurve.questions.weights_curves import BEGINS, NONE, WHEN, Curves
from mendcurve.questions.wording import count

COLUMNS, MOST = 3, 12
# Fewer of the group's most animals than this: dashed.
THIN = 0.1


@style.drawing
def weight_curves(answer: Curves) -> style.Picture:
    """Return the mean curves of the largest groups, at most twelve, on shared axes."""
    drawn = answer.groups[answer.groups["last_day"].notna()].sort_values("animals", ascending=False, kind="stable")
    if not len(drawn):
        return style.empty(name=_name(answer), title="Weight regained", why=answer.sentence())
    groups = drawn.head(MOST)
    columns = min(COLUMNS, len(groups))
    rows = math.ceil(len(groups) / columns)
    figure, axes = style.new(rows, columns, height=0.6 + 1.9 * rows, sharex=True, sharey=True, squeeze=False)
    frame = answer.to_frame()
    kept = frame[frame["group"].isin(groups["group"])]
    end = 7 * math.ceil(kept["day"].astype("float64").max() / 7)
    ticks = list(range(0, end + 1, 28 * max(1, round(end / 140))))
    row: Any
    for place, (axis, row) in enumerate(zip(axes.flat, groups.itertuples(), strict=False)):
        curve = frame[frame["group"] == row.group]
        _panel(axis, curve, str(row.group), int(row.animals), ticks, first=place % columns == 0)
    for axis in axes.flat[len(groups) :]:
        axis.set_visible(False)
    low = kept["new_low"].astype("float64").quantile(0.02)
    high = kept["new_high"].astype("float64").quantile(0.97)
    axes.flat[0].set_ylim(min(90.0, low - 2), max(115.0, high + 4))
    axes.flat[0].set_xlim(0, end)
    figure.supxlabel(f"days since {BEGINS[answer.part]}; animals still weighed below each panel", fontsize=9)
    figure.supylabel(f"weight (% of weight {WHEN[answer.part]})", fontsize=9)
    left = len(answer.groups) - len(groups)
    rest = f"; {count(left, 'other group')} not drawn" if left else ""
    return style.finish(
        figure,
        name=_name(answer),
        title=_title(frame, groups, answer),
        subtitle=f"Mean of animals like those still weighed, with its 95 % band; thin lines hold 90 % of new animals; "
        f"{count(groups['animals'].sum(), 'animal')}, {count(groups['weighings'].sum(), 'weighing')}; below each panel "
        f"the animals still weighed{rest}",
        alt=_alt(frame, groups, answer.part),
    )


def _panel(axis: Axes, curve: pd.DataFrame, name: str, animals: int, ticks: list[int], *, first: bool) -> None:
    curve = curve.astype({c: "float64" for c in curve.columns if c != "group"})
    day, thin = curve["day"], curve["animals"] < THIN * animals
    axis.axhline(100, color=style.QUIET, linewidth=0.6, zorder=0)
    axis.fill_between(day, curve["low"], curve["high"], color=style.WASH, linewidth=0, zorder=0)
    later = curve[day > 0]  # at intake an animal is its own measure
    for edge in ("new_low", "new_high"):
        axis.plot(later["day"], later[edge], color=style.QUIET, linewidth=0.7, linestyle=(0, (4, 2)))
    solid = curve[~thin]
    axis.plot(solid["day"], solid["percent"], color=style.ACCENT, gid="mean")
    if thin.any():
        tail = curve[curve["day"] >= solid["day"].max()] if len(solid) else curve
        axis.plot(tail["day"], tail["percent"], color=style.ACCENT, linestyle=(0, (2, 2)), gid="mean, few")
    text = "no recorded condition" if name == NONE else name.replace("_", " ")
    axis.set_title(f"{text[:1].upper()}{text[1:]}, n = {animals:,}", fontsize=8.5)
    axis.tick_params(labelbottom=True)
    axis.set_xticks(ticks)
    _still_weighed(axis, curve, ticks, first=first)


def _still_weighed(axis: Axes, curve: pd.DataFrame, ticks: list[int], *, first: bool) -> None:
    """Write below the ticks how many animals were still weighed."""
    look: dict[str, Any] = {
        "xytext": (0, -20),
        "textcoords": "offset points",
        "va": "top",
        "fontsize": 7.5,
        "color": style.QUIET,
        "annotation_clip": False,
    }
    for row in curve[curve["day"].isin(ticks)].itertuples():
        axis.annotate(f"{row.animals:.0f}", (row.day, 0), xycoords=("data", "axes fraction"), ha="center", **look)
    if first:
        axis.annotate("animals", (0, 0), xycoords="axes fraction", ha="right", **{**look, "xytext": (-12, -20)})


def _half(frame: pd.DataFrame, row: Any) -> pd.Series:
    """Return the last whole week in which half of the group's animals were still weighed."""
    curve = frame[frame["group"] == row.group]
    return curve[(curve["animals"] >= row.animals / 2) & (curve["day"] % 7 == 0)].iloc[-1]


def _title(frame: pd.DataFrame, groups: pd.DataFrame, answer: Curves) -> str:
    top = next(groups.itertuples())
    at = _half(frame, top)
    who = {"condition": f"Animals with {top.group}", "taxon": f"The {top.group} group", "life_stage": f"{top.group}s"}[
        answer.by
    ]
    if top.group == NONE:
        who = "Animals without a recorded condition"
    weeks = count(at["day"] // 7, "week")
    return (
        f"{who[:1].upper()}{who[1:]} stood at {at['percent']:.0f} % of their weight {WHEN[answer.part]} after {weeks}"
    )


def _alt(frame: pd.DataFrame, groups: pd.DataFrame, part: str) -> str:
    words = []
    row: Any
    for row in groups.itertuples():
        at = _half(frame, row)
        words.append(f"{row.group}: {at['percent']:.0f} % ({at['low']:.0f} to {at['high']:.0f}) after "
                     f"{count(at['day'] // 7, 'week')}, {count(row.animals, 'animal')}")  # fmt: skip
    return f"Mean weight as percent of the weight {WHEN[part]}. " + "; ".join(words) + "."


def _name(answer: Curves) -> str:
    part = "" if answer.part == "stay" else f"-{answer.part}"
    return f"weight-curves-{answer.by.replace('_', '-')}{part}"
