"""Five live-outcome rates side by side: one set of records, five definitions, each with its interval."""

from __future__ import annotations

from matplotlib.ticker import PercentFormatter

from mendcurve.figures import style
from mendcurve.questions.outcomes_rates import Rates
from mendcurve.questions.spans import from_to
from mendcurve.questions.wording import percent


@style.drawing
def rates(answer: Rates) -> style.Picture:
    """Return each rate as a point with its interval, the headline in the accent."""
    frame = answer.frame.dropna(subset=["share"]).iloc[::-1].reset_index(drop=True)
    if not len(frame):
        return style.empty(name="rates", title="Live-outcome rates", why=answer.sentence())
    figure, axis = style.new(height=0.8 + 0.42 * len(frame))
    for place, row in enumerate(frame.to_dict("records")):
        color = style.ACCENT if row["headline"] else style.QUIET
        axis.plot(
            [row["low"], row["high"]],
            [place, place],
            color=color,
            linewidth=2.4 if row["headline"] else 1.4,
            linestyle="-",
        )
        marker, size = ("o", 7) if row["headline"] else ("D", 5)
        axis.plot(row["share"], place, marker=marker, color=color, markersize=size, linestyle="none")
        text = f"{row['numerator']:,} of {row['denominator']:,}, {percent(row['share'])}"
        axis.annotate(text, (1, place), xycoords=("axes fraction", "data"), xytext=(8, 0), textcoords="offset points",
                      va="center", fontsize=8.5, color=color, annotation_clip=False)  # fmt: skip
    axis.set_yticks(range(len(frame)), [_name(row["rate"], row["headline"]) for row in frame.to_dict("records")])
    style.names_on(axis, "y")
    axis.set_ylim(-0.6, len(frame) - 0.4)
    low, high = min(0.5, frame["low"].min() - 0.05), max(1.0, frame["high"].max())
    axis.set_xlim(max(0.0, low), high + 0.01)
    if high > 1:
        axis.axvline(1, color=style.QUIET, linewidth=0.6, linestyle=":")
    axis.xaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    axis.set_xlabel("live outcomes, percent of the denominator, with 95 % interval", labelpad=7)
    axis.tick_params(axis="y", length=0)
    axis.spines["left"].set_visible(False)
    head = answer.frame[answer.frame["headline"]].iloc[0]
    title = (
        f"{head['numerator']:,} of {head['denominator']:,} left to a live outcome; other definitions give "
        f"{percent(frame['share'].min())} to {percent(frame['share'].max())}"
    )
    each = " ".join(f"{r.rate}: {r.numerator:,} of {r.denominator:,}." for r in answer.frame.itertuples())
    subtitle = f"Five live-outcome rates {from_to(answer.period)}; the headline is the round point"
    return style.finish(figure, name="rates", title=title, subtitle=subtitle, alt=f"{answer.sentence()} {each}")


def _name(rate: str, headline: bool) -> str:
    return f"{rate}\n(headline)" if headline else rate
