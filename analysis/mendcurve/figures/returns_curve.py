"""Animals that came back, by days since adoption."""

from __future__ import annotations

from matplotlib.ticker import PercentFormatter

from mendcurve.figures import style
from mendcurve.figures.recovery_curves import below, draw_steps
from mendcurve.questions.outcomes_returns import Returns
from mendcurve.questions.wording import count, day, percent


@style.drawing
def returns_curve(answer: Returns) -> style.Picture:
    """Return the cumulative incidence of coming back, with its band and the numbers followed."""
    known = answer.frame.dropna(subset=["share"])
    if not len(known):
        return style.empty(name="returns-curve", title="Returns after adoption", why=answer.sentence())
    rows = answer.steps[answer.steps["end"] == "returned"]
    figure, axis = style.new(height=2.9)
    axis.fill_between(rows["day"], rows["low"], rows["high"], step="post", color=style.WASH, linewidth=0)
    draw_steps(axis, rows, color=style.ACCENT, linestyle="-", linewidth=1.8)
    end = rows.iloc[-1]
    style.label_line(axis, end["day"], end["share"], f"came back\n{percent(end['share'])}", color=style.ACCENT)
    axis.set_xlim(0, end["day"])
    axis.set_ylim(0, max(0.05, rows["high"].max() * 1.05))
    axis.set_xticks([0, *known["day"]])
    axis.yaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    axis.set_ylabel("share of adopted animals")
    axis.set_xlabel("days since adoption; below, animals followed that long", labelpad=16)
    for at, n in [(0, answer.adopted), *zip(known["day"], known["at_risk"], strict=True)]:
        below(axis, at, f"{n:,}")
    last = known.iloc[-1]
    title = f"By day {int(last['day'])} after adoption {percent(last['share'])} had come back"
    return style.finish(
        figure, name="returns-curve", title=title, subtitle=f"Cumulative incidence of a new stay, 95 % band; "
        f"{count(answer.adopted, 'adopted animal')} up to {day(answer.as_of)}, {answer.returned:,} back so far",
        alt=answer.sentence(),
    )  # fmt: skip
