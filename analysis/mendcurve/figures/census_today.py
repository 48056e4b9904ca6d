"""Those in care today, by zone, against places."""

from __future__ import annotations

import pandas as pd
from matplotlib.ticker import MaxNLocator

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.capacity_census import Shown


@style.drawing
def census_today(answer: Shown) -> Picture:
    """Draw a bar a zone, places taken, with a mark at the places there are."""
    frame = answer.to_frame()
    frame = frame[(frame["places_taken"] > 0) | frame["places"].notna()]
    if frame.empty:
        return style.empty(name="census-today", title="In care today", why="No animal is in care.")
    figure, ax = style.new(height=0.75 + 0.42 * len(frame))
    y = list(range(len(frame)))[::-1]
    ax.barh(y, frame["places_taken"], height=0.55, color=style.ACCENT, linewidth=0)
    for at, taken, held in zip(y, frame["places_taken"], frame["places"], strict=True):
        if pd.notna(held):
            ax.plot([held] * 2, [at - 0.38, at + 0.38], color=style.CONTRAST, linewidth=2.2)
        text = f"{taken:.0f} of {held:.0f}" if pd.notna(held) else f"{taken:.0f}"
        ax.annotate(
            text,
            (taken if pd.isna(held) else max(taken, held), at),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            fontsize=8.5,
        )
    ax.set_yticks(y, frame["zone"])
    style.names_on(ax, "y")
    top = max(frame["places_taken"].max(), frame["places"].max() if frame["places"].notna().any() else 0)
    ax.set_xlim(0, top * 1.15 + 1)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlabel("places taken (bar) and places there are (upright mark)")
    return style.finish(
        figure,
        name="census-today",
        title=_title(frame),
        subtitle=f"{frame.attrs['title']}, by zone: {frame['animals'].sum():.0f} animals.",
        alt=answer.sentence(),
    )


def _title(frame: pd.DataFrame) -> str:
    known = frame[frame["places"].notna() & (frame["places"] > 0)]
    if known.empty:
        return f"{frame['animals'].sum():.0f} animals in care today"
    full = known.loc[known["free"] <= 0, "zone"].tolist()
    if full:
        return f"{' and '.join(full).capitalize()} {'is' if len(full) == 1 else 'are'} full"
    used = known.assign(use=known["places_taken"] / known["places"])
    most = used.iloc[int(used["use"].to_numpy().argmax())]
    taken = f"{most['places_taken']:.0f} of {most['places']:.0f}"
    return f"Every zone has room; fullest is {most['zone']}, with {taken} places taken"
