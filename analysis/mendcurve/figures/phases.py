"""Where the days of a stay go."""

from __future__ import annotations

import math
from typing import Any

from mendcurve.figures import style
from mendcurve.questions.stay_phases import VET, Phases
from mendcurve.questions.wording import count, day, percent


@style.drawing
def phases(answer: Phases) -> style.Picture:
    """Return animal-days by phase as bars, with the usual length of each phase written beside them."""
    frame = answer.frame[answer.frame["animal_days"] > 0].iloc[::-1].reset_index(drop=True)
    if not answer.recorded or not len(frame):
        return style.empty(name="phases", title="Where the days go", why=answer.sentence())
    figure, axis = style.new(height=0.75 + 0.42 * len(frame))
    for place, row in enumerate(frame.to_dict("records")):
        within = row["phase"] == VET
        axis.barh(place, row["animal_days"], height=0.6, color=style.PAPER if within else style.ACCENT,
                  edgecolor=style.CONTRAST if within else style.ACCENT, hatch="/////" if within else None)  # fmt: skip
        axis.annotate(_beside(row), (row["animal_days"], place), xytext=(5, 0), textcoords="offset points", va="center",
                      fontsize=8.5, annotation_clip=False)  # fmt: skip
    axis.set_yticks(range(len(frame)), [str(p) for p in frame["phase"]])
    style.names_on(axis, "y")
    axis.set_xlim(0, frame["animal_days"].max() * 1.75)
    ticks = [t for t in axis.get_xticks() if t <= frame["animal_days"].max() * 1.05]
    axis.set_xticks(ticks, [f"{t:,.0f}" for t in ticks])
    axis.spines["bottom"].set_bounds(0, ticks[-1])
    axis.tick_params(axis="y", length=0)
    axis.set_xlabel("animal-days since the records start")
    axis.xaxis.set_label_coords(ticks[-1] / axis.get_xlim()[1] / 2, -0.66 / len(frame))
    top = answer.frame[answer.frame["phase"] != VET].iloc[0]
    total = int(answer.frame.loc[answer.frame["phase"] != VET, "animal_days"].sum())
    phase = top["phase"] if str(top["phase"]).startswith("waiting") else f"in {top['phase']}"
    subtitle = (
        f"{count(total, 'animal-day')} up to {day(answer.as_of)}; half: the day by which half had left the phase, with "
        "95 % interval"
    )
    title = f"{percent(top['share'])} of all days are spent {phase}"
    return style.finish(figure, name="phases", title=title, subtitle=subtitle, alt=answer.sentence())


def _beside(row: dict[Any, Any]) -> str:
    share = percent(float(row["share"]))
    median, low, high = (float(row[c]) for c in ("median", "median_low", "median_high"))
    if math.isnan(median):
        return share
    end = f"{low:.0f} to {high:.0f}" if not math.isnan(high) else f"from {low:.0f}"
    return f"{share}; half by day {median:.0f} ({end})"
