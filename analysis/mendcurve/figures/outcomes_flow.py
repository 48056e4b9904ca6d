"""Where animals went, by taxon group: one bar an outcome, one small panel a group."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from mendcurve.figures import style
from mendcurve.questions.outcomes_counts import TOTAL, Outcomes
from mendcurve.questions.spans import from_to
from mendcurve.records.schemas import DEATHS, LIVE_OUTCOMES

COLUMNS = 3
SHORT = {"euthanised at owner's request": "euthanised, owner's request", "not recorded": "left, not recorded how"}


@style.drawing
def outcomes_flow(answer: Outcomes) -> style.Picture:
    """Return counts by outcome for all animals and for each taxon group that had any."""
    frame = answer.animals.set_index("outcome")
    sums: dict[Any, int] = frame.loc[TOTAL].to_dict()
    total = sums[TOTAL]
    if not total:
        return style.empty(name="outcomes-flow", title="Outcomes", why=answer.sentence())
    taxa = sorted((c for c, n in sums.items() if c != TOTAL and n > 0), key=lambda c: -sums[c])
    groups = [TOTAL, *taxa] if len(taxa) > 1 else taxa
    rows_shown = [o for o, n in frame[TOTAL].items() if o != TOTAL and n > 0][::-1]
    columns = min(COLUMNS, len(groups))
    rows = math.ceil(len(groups) / columns)
    figure, axes = style.new(
        rows, columns, height=0.5 + rows * (0.55 + 0.19 * len(rows_shown)), sharey=True, squeeze=False
    )
    for axis, group in zip(axes.flat, groups, strict=False):
        shown = frame[group].loc[rows_shown]
        most = shown.max() if group == TOTAL else frame.loc[rows_shown, taxa].max(axis=None)
        _bars(axis, shown, str(group), float(most))  # type: ignore[arg-type]
    for axis in axes.flat[len(groups) :]:
        axis.set_visible(False)
    figure.supxlabel("animals", fontsize=9)
    live = int(frame.loc[list(LIVE_OUTCOMES), TOTAL].sum())
    adopted = frame[TOTAL].to_dict()["adopted"]
    return style.finish(
        figure,
        name="outcomes-flow",
        title=f"{adopted:,} of {total:,} animals that left were adopted, {live:,} had a live outcome",
        subtitle=f"Outcomes by taxon group {from_to(answer.period)}, in animals; deaths hatched; the taxon groups "
        "share one scale",
        alt=_alt(answer, frame),
    )


def _bars(axis: Axes, counts: pd.Series, group: str, most: float) -> None:
    for place, (outcome, n) in enumerate(counts.items()):
        dead = outcome in DEATHS
        live = outcome in LIVE_OUTCOMES
        color = style.ACCENT if live else style.CONTRAST if dead else style.QUIET
        axis.barh(place, n, height=0.68, color=color if live else style.PAPER, edgecolor=color,
                  hatch="/////" if dead else None)  # fmt: skip
        axis.annotate(f"{n:,}", (n, place), xytext=(3, 0), textcoords="offset points", va="center", fontsize=8)
    axis.set_yticks(range(len(counts)), [SHORT.get(str(o), str(o)) for o in counts.index])
    style.names_on(axis, "y")
    axis.set_xlim(0, max(1.0, most) * 1.18)
    axis.xaxis.set_major_locator(MaxNLocator(3, integer=True, min_n_ticks=1))
    axis.tick_params(axis="y", length=0)
    name = "All animals" if group == TOTAL else f"{group[:1].upper()}{group[1:]}"
    axis.set_title(f"{name}, n = {int(counts.sum()):,}", fontsize=9)


def _alt(answer: Outcomes, frame: pd.DataFrame) -> str:
    parts = [f"{int(n):,} {outcome}" for outcome, n in frame[TOTAL].items() if outcome != TOTAL and n]
    return f"{answer.sentence()} Of all: {', '.join(parts)}."
