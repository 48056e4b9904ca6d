"""One animal's path on one picture: zones as bands, conditions, courses with doses as ticks, weight, milestones."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.casefile import Path
from mendcurve.questions.rows import each

GIVEN = ("on time", "late", "extra", "given as recorded")
SHADES = (style.WASH, style.WASH_CONTRAST, "#e7e3dc", "#c6d8db", "#ecd9bf")


@style.drawing
def case_path(answer: Path) -> Picture:
    """Draw the tracks of one stay above its weight, over days since intake."""
    if not answer.may_be_told or not len(answer.to_frame()):
        return style.empty(name="case-path", title="One animal's path", why=answer.sentence())
    weighed = answer.track("weight")
    strips = _strips(answer)
    rows = 2 if len(weighed) > 1 else 1
    tall = 0.9 + 0.3 * len(strips)
    figure, axes = style.new(rows, 1, height=tall + (2.0 if rows == 2 else 0.3), sharex=True, squeeze=False,
                             height_ratios=(tall, 2.0)[:rows])  # fmt: skip
    top, bottom = axes[0, 0], axes[-1, 0]
    _tracks(top, answer, strips)
    if rows == 2:
        _weight(bottom, answer)
    last = max(1, answer.days)
    bottom.set_xlim(-0.02 * last, 1.02 * last)
    bottom.set_xlabel("days since intake")
    _milestones(top, axes[:, 0], answer)
    return style.finish(
        figure, name="case-path", title=_title(answer),
        subtitle="Zones, conditions, treatment courses with their doses (filled: given; cross: missed or refused)"
        + (f" and weight (n = {len(weighed)}; dashed: target)" if rows == 2 else "") + ", from intake "
        + ("to the end of the stay." if answer.ended else "so far."),
        alt=answer.sentence(),
    )  # fmt: skip


def _strips(answer: Path) -> list[tuple[str, str]]:
    """Return the strips from top to bottom: (track, what)."""
    conditions = answer.track("condition")["what"].drop_duplicates()
    treated = answer.track("course")["what"].drop_duplicates()
    return [("zone", "zone"), *(("condition", c) for c in conditions), *(("course", c) for c in treated)]


def _tracks(ax: Axes, answer: Path, strips: list[tuple[str, str]]) -> None:
    names = []
    for y, (track, what) in enumerate(strips):
        rows = answer.track(track)
        rows = rows if track == "zone" else rows[rows["what"] == what]
        if track == "zone":
            _zones(ax, rows, y, answer.days)
        else:
            _bars(ax, rows, y, answer.days, filled=track == "condition")
        if track == "course":
            _doses(ax, answer.track("dose"), what, y)
        names.append({"zone": "zone", "condition": what, "course": f"doses for\n{what}"}[track])
    ax.set_ylim(len(strips) - 0.4, -0.6)
    ax.set_yticks(range(len(strips)), names)
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    style.names_on(ax, "y")
    ax.label_outer()


def _zones(ax: Axes, rows: pd.DataFrame, y: int, last: int) -> None:
    shade = {zone: SHADES[i % len(SHADES)] for i, zone in enumerate(rows["what"].drop_duplicates())}
    for row in each(rows):
        start, end = int(row.from_day), last if pd.isna(row.to_day) else int(row.to_day)
        ax.barh(y, end - start, left=start, height=0.62, color=shade[row.what], edgecolor=style.PAPER, linewidth=1.2)
        if end - start > 0.018 * max(last, 1) * len(row.what):
            ax.text((start + end) / 2, y, row.what, ha="center", va="center", fontsize=8.5)
        elif end > start:
            ax.text(start, y + 0.34, row.what, ha="left", va="top", fontsize=7.5)


def _bars(ax: Axes, rows: pd.DataFrame, y: int, last: int, *, filled: bool) -> None:
    for row in each(rows):
        start, end = int(row.from_day), last if pd.isna(row.to_day) else int(row.to_day)
        length = max(end - start, 0.004 * last)
        if not filled:
            ax.plot([start, start + length], [y, y], color=style.QUIET, linewidth=0.8)
            continue
        ax.barh(y, length, left=start, height=0.5, color=style.CONTRAST)
        inside = length > 0.013 * last * (len(row.state) + 2)
        ax.annotate(row.state, (start + length, y), xytext=(-4 if inside else 4, 0), textcoords="offset points",
                    ha="right" if inside else "left", va="center_baseline", fontsize=8,
                    color=style.PAPER if inside else style.INK)  # fmt: skip


def _doses(ax: Axes, rows: pd.DataFrame, what: str, y: int) -> None:
    rows = rows[rows["what"] == what]
    given = rows["state"].isin(GIVEN)
    for these, sign, colour, size in ((given, "|", style.ACCENT, 9), (~given, "x", style.CONTRAST, 5)):
        days = rows.loc[these, "from_day"].astype(float)
        ax.plot(days, [y] * len(days), sign, color=colour, markersize=size, markeredgewidth=1.4)


def _weight(ax: Axes, answer: Path) -> None:
    rows = answer.track("weight")
    usable = rows["state"] == "usable"
    days = rows["from_day"].astype(float)
    ax.plot(days[usable], rows.loc[usable, "value"], color=style.ACCENT, marker="o", markersize=3)
    ax.plot(
        days[~usable], rows.loc[~usable, "value"], "o", color=style.QUIET, markersize=3.5, markerfacecolor=style.PAPER
    )
    for row in each(answer.track("target")):
        ax.plot(
            [row.from_day, max(answer.days, 1)], [row.value] * 2, color=style.QUIET, linestyle=(0, (4, 2)), linewidth=1
        )
        style.label_line(ax, max(answer.days, 1), row.value, "target", color=style.INK)
    ax.set_ylabel("weight (g)")


def _milestones(top: Axes, axes: object, answer: Path) -> None:
    rows = answer.track("milestone")
    last = max(1, answer.days)
    days = rows["from_day"].astype(float).tolist()
    for ax in axes:  # type: ignore[attr-defined]
        for at in days:
            ax.axvline(at, color=style.QUIET, linewidth=0.5, alpha=0.6, zorder=0)
    level = _levels(days, rows["what"].tolist(), last)
    line = {"arrowstyle": "-", "color": style.QUIET, "linewidth": 0.5, "shrinkA": 0, "shrinkB": 0}
    for at, what, up in zip(days, rows["what"], level, strict=True):
        right = at > 0.8 * last
        top.annotate(f"{what}, day {at:.0f}", (at, 1), xycoords=("data", "axes fraction"), xytext=(0, 4 + 12 * up),
                     textcoords="offset points", ha="right" if right else "left", va="bottom", fontsize=8,
                     arrowprops=line | {"relpos": (1.0 if right else 0.0, 0.0)})  # fmt: skip


def _levels(days: list[float], names: list[str], last: float) -> list[int]:
    """Return the height of each label, so that none runs into another."""
    taken: list[list[tuple[float, float]]] = []
    out = [0] * len(days)
    # Labels to the right of their line are placed from the last on, those to the left from the first, so that the line
    # of one never runs through the words of another.
    left = [i for i, at in enumerate(days) if at > 0.8 * last]
    for i in [*[i for i in reversed(range(len(days))) if i not in left], *left]:
        width = 0.0125 * last * (len(names[i]) + 9)
        start, end = (days[i] - width, days[i]) if i in left else (days[i], days[i] + width)
        level = next((n for n, row in enumerate(taken) if all(start > b or end < a for a, b in row)), len(taken))
        taken += [[]] if level == len(taken) else []
        taken[level].append((start, end))
        out[i] = level
    return out


def _title(answer: Path) -> str:
    name = answer.species[0].upper() + answer.species[1:]
    last = answer.track("milestone")["what"].iloc[-1]
    return (
        f"{name}: from intake to {last} in {answer.days} days"
        if answer.ended
        else f"{name}: {answer.days} days in care so far"
    )
