"""Where animals are by day since intake: the share in each zone, stacked."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import PercentFormatter

from mendcurve.figures import style
from mendcurve.questions.stay_zones import KEPT, LEFT, Zones
from mendcurve.questions.wording import count, day, listing

# Below this share at its widest an area is too thin to see: it is drawn with the others of its kind.
THIN = 0.02
OTHERS = "other zones"
# Neighbours differ in lightness and in hatching, so that they are told apart in grey.
LOOKS = (
    (style.ACCENT, None),
    (style.WASH, None),
    (style.CONTRAST, None),
    (style.WASH_CONTRAST, None),
    (style.ACCENT, "....."),
    (style.CONTRAST, "....."),
)
# What a name and its days take of the axes, of their width and height: in two lines, in three.
WIDE, NARROW = (0.20, 0.11), (0.10, 0.16)


@style.drawing
def zone_days(answer: Zones) -> style.Picture:
    """Return stacked areas of the share in each zone by day since intake, each named where it is."""
    if not answer.recorded or not answer.enough:
        return style.empty(name="zone-days", title="Days in each zone", why=answer.sentence())
    stack = stacked(answer)
    figure, axis = style.new(height=3.6)
    edge = np.vstack([np.zeros(len(stack)), stack.cumsum(axis=1).to_numpy().T])
    for i, name in enumerate(stack.columns):
        color, hatch = _look(str(name), i)
        axis.fill_between(
            stack.index, edge[i], edge[i + 1], step="post", facecolor=style.PAPER if hatch else color,
            edgecolor=color if hatch else style.PAPER, hatch=hatch, linewidth=0.6,
        )  # fmt: skip
    _named(axis, stack, edge, answer)
    axis.set_xlim(0, answer.horizon)
    axis.set_ylim(0, 1)
    axis.set_xticks(list(range(0, answer.horizon + 1, 30 if answer.horizon > 60 else 10)))
    axis.yaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    axis.set_xlabel("days since intake")
    axis.set_ylabel("share of animals")
    rows = answer.frame[~answer.frame["zone"].isin([LEFT, KEPT])]
    inside = float(rows["days"].sum())
    subtitle = (
        f"Share of animals in each zone at the end of each day, {count(answer.animals, 'animal')} in care up to "
        f"{day(answer.as_of)}; with each name the days expected in it, with 95 % interval"
    )
    title = f"Of the first {answer.horizon} days, an animal spends about {inside:.0f} in care"
    return style.finish(figure, name="zone-days", title=title, subtitle=subtitle, alt=answer.sentence())


def stacked(answer: Zones) -> pd.DataFrame:
    """Return the shares as drawn: a row a day, a column an area from below; thin zones as one."""
    table = answer.shares.pivot(index="day", columns="zone", values="share")[answer.frame["zone"].tolist()]
    zones = [z for z in table.columns if z not in (LEFT, KEPT)]
    thin = [z for z in zones if table[z].max() < THIN]
    if len(thin) > 1:
        table = table.assign(**{OTHERS: table[thin].sum(axis=1)}).drop(columns=thin)
        zones = [*(z for z in zones if z not in thin), OTHERS]
    return table[[*zones, *(z for z in (KEPT, LEFT) if z in table.columns)]]


def _look(name: str, place: int) -> tuple[str, str | None]:
    if name == LEFT:
        return style.PAPER, None
    return (style.QUIET, "/////") if name == KEPT else LOOKS[place % len(LOOKS)]


def _named(axis: Axes, stack: pd.DataFrame, edge: np.ndarray, answer: Zones) -> None:
    """Write each name inside its area where it fits, else above the areas with a line to where its own is widest."""
    days = stack.index.to_numpy(dtype=float)
    above = 0
    for i, name in enumerate(stack.columns):
        words = _words(str(name), answer)
        color, hatch = _look(str(name), i)
        inside = _inside(words, days, edge[i], edge[i + 1], answer.horizon)
        if inside is not None:
            x, y, text = inside
            dark = color in (style.ACCENT, style.CONTRAST) and not hatch
            axis.text(x, y, text, ha="center", va="center", fontsize=8.5, color=style.PAPER if dark else style.INK,
                      bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 1.5} if hatch else None)  # fmt: skip
            continue
        widest = int(np.argmax(edge[i + 1] - edge[i]))
        above += 1
        axis.annotate(
            words, (days[widest], (edge[i, widest] + edge[i + 1, widest]) / 2), fontsize=8.5, va="center",
            xytext=(0.56, 1.0 - 0.12 * (above - 0.5)), textcoords="axes fraction",
            bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 1.0},
            arrowprops={"arrowstyle": "-", "color": style.INK, "linewidth": 0.7, "relpos": (0, 0.5), "shrinkB": 0},
        )  # fmt: skip
        axis.plot(
            days[widest], (edge[i, widest] + edge[i + 1, widest]) / 2, marker="o", markersize=2.5, color=style.INK
        )


def _inside(
    words: str, days: np.ndarray, low: np.ndarray, high: np.ndarray, horizon: int
) -> tuple[float, float, str] | None:
    """Return where between two edges the words fit, wide or narrow, and their lines; None where they do not."""
    for text, (width, height) in ((words, WIDE), (words.replace(" (", "\n("), NARROW)):
        x, y, room = _roomiest(days, low, high, width * horizon / 2)
        if room >= height:
            return x, y, text
    return None


def _roomiest(days: np.ndarray, low: np.ndarray, high: np.ndarray, half: float) -> tuple[float, float, float]:
    """Return where a text of this half width has most height between two edges: its middle, and that height."""
    best = (0.0, 0.0, 0.0)
    for x in days[(days >= half) & (days <= days[-1] - half)]:
        there = (days >= x - half) & (days <= x + half)
        floor, roof = low[there].max(), high[there].min()
        if roof - floor > best[2]:
            best = (float(x), float(floor + roof) / 2, float(roof - floor))
    return best


def _words(name: str, answer: Zones) -> str:
    rows = answer.frame.set_index("zone")
    if name == OTHERS:
        thin = [str(z) for z in rows.index if z not in (LEFT, KEPT) and z not in stacked(answer).columns]
        return f"{listing(thin)}\n{rows.loc[thin, 'days'].sum():,.1f} days"
    row = rows.loc[name]
    places = 0 if row["days_high"] >= 10 else 1
    days, low, high = (f"{row[c]:,.{places}f}" for c in ("days", "days_low", "days_high"))
    return f"{name}\n{days} days ({low} to {high})"
