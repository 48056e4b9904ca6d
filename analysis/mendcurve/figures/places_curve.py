"""What each further place buys: the share of days on which so many places are enough."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, PercentFormatter

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.capacity_places import PlacesNeeded

TOTAL = "all zones"
MOST_PANELS = 4


@style.drawing
def places_curve(answer: PlacesNeeded) -> Picture:
    """Draw one panel a zone: places against the share of days they are enough, with today's and the needed places."""
    zones = _chosen(answer)
    if not zones:
        return style.empty(
            name="places-curve", title="Places and days", why="In no zone would more than two places be needed."
        )
    across = 2 if len(zones) == 4 else len(zones)
    down = -(-len(zones) // across)
    figure, axes = style.new(down, across, height=0.6 + 2.2 * down, squeeze=False, sharey=True)
    for ax, zone in zip(axes.ravel(), zones, strict=False):
        _panel(ax, zone, answer)
    for ax in axes.ravel()[len(zones) :]:
        ax.set_visible(False)
    figure.supxlabel("places", fontsize=9)
    figure.supylabel("days on which so many are enough", fontsize=9)
    return style.finish(
        figure,
        name="places-curve",
        title=_title(answer, zones),
        subtitle=f"Share of the days of the next {answer.weeks} weeks with room for all, by number of places. "
        f"Dashed: the "
        f"places there are. Thin line: {100 * answer.confidence:.0f} % of days.",
        alt=answer.sentence(),
    )


def _chosen(answer: PlacesNeeded) -> list[str]:
    table = answer.zones
    held = table[(table["zone"] != TOTAL) & (table["needed"] > 2)]
    held = held[held["places"].notna()] if held["places"].notna().any() else held
    busiest = set(held.nlargest(MOST_PANELS, "needed")["zone"])
    return [z for z in table["zone"] if z in busiest]


def _panel(ax: Axes, zone: str, answer: PlacesNeeded) -> None:
    curve = answer.curve[answer.curve["zone"] == zone]
    row = answer.zones[answer.zones["zone"] == zone].iloc[0]
    share, error = curve["share_of_days"], curve["error"]
    ax.fill_between(
        curve["places"],
        (share - 2 * error).clip(0),
        (share + 2 * error).clip(upper=1),
        color=style.WASH,
        linewidth=0,
        step="post",
    )
    ax.plot(curve["places"], share, color=style.ACCENT, drawstyle="steps-post", linewidth=1.5)
    ax.axhline(answer.confidence, color=style.QUIET, linewidth=0.7)
    ax.plot([row["needed"]], [row["enough_at_needed"]], "o", color=style.ACCENT, markersize=5)
    ax.annotate(
        f"{row['needed']:.0f} needed",
        (row["needed"], row["enough_at_needed"]),
        xytext=(-4, 4),
        textcoords="offset points",
        ha="right",
        fontsize=8,
        color=style.ACCENT,
    )
    held = row["places"]
    if pd.notna(held):
        ax.axvline(row["places"], color=style.CONTRAST, linewidth=1.2, linestyle=(0, (4, 2)))
        right = held > curve["places"].max() * 0.6
        ax.annotate(
            f"{held:.0f} now",
            (held, 0.06),
            xytext=(-4 if right else 4, 0),
            textcoords="offset points",
            ha="right" if right else "left",
            fontsize=8,
            color=style.CONTRAST,
        )
    ax.set_title(zone, loc="left", fontsize=9.5)
    ax.set_xlim(0, max(curve["places"].max(), held if pd.notna(held) else 0) * 1.04)
    ax.set_ylim(0, 1.09)
    ax.set_yticks([0, 0.25, 0.5, 0.75, 1])
    ax.yaxis.set_major_formatter(PercentFormatter(1.0, symbol=" %"))
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))


def _title(answer: PlacesNeeded, zones: list[str]) -> str:
    table = answer.zones[answer.zones["zone"].isin(zones)]
    known = table[table["places"].notna()]
    short = known[known["places"] < known["needed"]]
    if known.empty:
        first = table.iloc[0]
        return f"{first['needed']:.0f} places would be enough on {100 * answer.confidence:.0f} % of days"
    if short.empty:
        return f"The places there are would be enough on {100 * answer.confidence:.0f} % of days in every zone"
    lack = [f"{zone} lacks {n:.0f}" for zone, n in zip(short["zone"], short["needed"] - short["places"], strict=True)]
    return f"For {100 * answer.confidence:.0f} % of days, {' and '.join(lack)}"
