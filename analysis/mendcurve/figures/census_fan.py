"""The census of the last half year and the fan ahead, by zone, against places."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.capacity_forecast import Forecast
from mendcurve.questions.wording import count

TOTAL = "all zones"
MOST_PANELS = 4
# Widest first: the narrower bands lie on it, darker.
BANDS = (("95", 0.35), ("80", 0.6), ("50", 1.0))


@style.drawing
def census_fan(answer: Forecast) -> Picture:
    """Draw one panel a zone: places taken in the past, the fan ahead, places."""
    zones = chosen(answer)
    if not zones or not (answer.past["places_taken"].any() or answer.frame["mean"].any()):
        return style.empty(
            name="census-fan",
            title="Census ahead",
            why="No animal was in care in the last half year, and none is expected.",
        )
    across = min(len(zones), 2)
    down = -(-len(zones) // across)
    figure, axes = style.new(down, across, height=0.6 + 2.3 * down, squeeze=False, sharex=True)
    for ax, zone in zip(axes.ravel(), zones, strict=False):
        _panel(ax, zone, answer)
    for ax in axes.ravel()[len(zones) :]:
        ax.set_visible(False)
    figure.supylabel("places taken", fontsize=9)
    figure.supxlabel("day", fontsize=9)
    past = answer.past["day"].nunique() // 7
    return style.finish(
        figure,
        name="census-fan",
        title=_title(answer),
        subtitle=f"Places taken at the end of each day: the last {past} weeks as they were, the next {answer.weeks} as "
        f"forecast from {answer.as_of.day} {answer.as_of:%B %Y}. Bands: 50, 80 and 95 % of what may come; "
        "line: the middle.",
        alt=answer.sentence(),
    )


def chosen(answer: Forecast) -> list[str]:
    """Return the zones to draw: those with places, busiest first kept in order, then the total; at most four."""
    table = answer.zones
    held = table[table["zone"] != TOTAL]
    held = held[(held["mean"] >= 0.5) | (len(held) == 1)]
    with_places = held[held["places"].notna() & (held["share_of_days_over"].notna())]
    busiest = (with_places if len(with_places) else held).nlargest(MOST_PANELS - 1, "mean")["zone"].tolist()
    zones = [z for z in table["zone"] if z in busiest]
    return [*zones, TOTAL] if TOTAL in set(table["zone"]) else zones


def _panel(ax: Axes, zone: str, answer: Forecast) -> None:
    fan = answer.frame[answer.frame["zone"] == zone]
    past = answer.past[answer.past["zone"] == zone]
    ax.plot(past["day"], past["places_taken"], color=style.INK, linewidth=1.2, drawstyle="steps-post")
    for level, strength in BANDS:
        ax.fill_between(
            fan["day"],
            fan[f"low{level}"],
            fan[f"high{level}"],
            color=style.ACCENT,
            alpha=0.28 * strength,
            linewidth=0,
            step="post",
        )
    ax.plot(fan["day"], fan["median"], color=style.ACCENT, linewidth=1.4)
    ax.axvline(date2num(answer.as_of), color=style.QUIET, linewidth=0.6)
    ax.annotate(
        "today",
        (answer.as_of, 0),
        xytext=(-3, 3),
        textcoords="offset points",
        ha="right",
        va="bottom",
        color=style.QUIET,
        fontsize=8,
    )
    _places(ax, past, fan)
    ax.set_title(zone, loc="left", fontsize=9.5)
    top = pd.concat([fan["high95"], fan["places"], past["places_taken"], past["places"]]).max()
    ax.set_ylim(0, top * 1.14 + 1)
    ax.set_xlim(past["day"].min(), fan["day"].max())
    locator = AutoDateLocator(minticks=3, maxticks=6)
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDateFormatter(locator))


def _places(ax: Axes, past: pd.DataFrame, fan: pd.DataFrame) -> None:
    held = pd.concat([past[["day", "places"]], fan[["day", "places"]]])
    if held["places"].notna().sum() == 0:
        return
    ax.plot(held["day"], held["places"], color=style.CONTRAST, linewidth=1.2, linestyle=(0, (4, 2)))
    last = held["places"].iloc[-1]
    ax.annotate(
        f"{last:.0f} places",
        (past["day"].iloc[0], held["places"].iloc[0]),
        xytext=(3, 2),
        textcoords="offset points",
        color=style.CONTRAST,
        fontsize=8,
        va="bottom",
    )


def _title(answer: Forecast) -> str:
    known = answer.zones[answer.zones["places"].notna() & answer.zones["any_day_over"].notna()]
    likely = known[known["any_day_over"] >= 0.5]["zone"].tolist()
    if known.empty:
        last = answer.frame.iloc[-1]
        taken = count(last["mean"], "place")
        return f"In {answer.weeks} weeks about {taken} taken, {last['low80']} to {last['high80']} likely"
    if not likely:
        worst = known.iloc[int(known["any_day_over"].to_numpy().argmax())]
        return f"No zone is likely to run short; {worst['zone']} comes nearest"
    return f"{' and '.join(likely).capitalize()} will more likely than not run short on some day"
