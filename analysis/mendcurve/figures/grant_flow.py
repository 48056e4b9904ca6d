"""A grant's money from opening to closing, step by step."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.ticker import StrMethodFormatter

from mendcurve.figures import style
from mendcurve.figures.style import Picture
from mendcurve.questions.costs_grant import GrantStatement
from mendcurve.questions.rows import each
from mendcurve.questions.spans import from_to
from mendcurve.questions.wording import count, money


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its name, the level it starts from and ends at; a level of its own starts from 0."""

    name: str
    start: float
    end: float
    kind: str


@style.drawing
def grant_flow(answer: GrantStatement) -> Picture:
    """Draw opening, received, spending by category, what unrestricted money paid, and closing as steps."""
    if not len(answer.to_frame()):
        return style.empty(name="grant-flow", title="Grant", why=answer.sentence())
    steps = steps_of(answer)
    figure, ax = style.new(height=2.9)
    _draw(ax, steps)
    ax.set_ylabel(f"money of the grant ({answer.currency})")
    n = int(answer.by_category()["entries"].sum())
    left = money(answer.line("closing"), answer.currency)
    return style.finish(
        figure, name="grant-flow", title=f"Grant {answer.grant_id}: {left} left",
        subtitle=f"Opening, received, qualifying spending by category ({count(n, 'entry', 'entries')}) and closing, "
        f"{from_to(answer.period)}.",
        alt=answer.sentence(),
    )  # fmt: skip


def steps_of(answer: GrantStatement) -> list[Step]:
    """Return the steps in order; the last ends at the closing balance."""
    level = float(answer.line("opening"))
    steps = [Step("opening", 0, level, "level")]
    received = float(answer.line("received"))
    steps.append(Step("received", level, level + received, "in"))
    level += received
    for row in each(answer.by_category()):
        steps.append(Step(f"spent:\n{row.category}", level, level - float(row.amount), "out"))
        level -= float(row.amount)
    over = float(answer.line("paid by unrestricted money"))
    if over:
        steps.append(Step("paid by\nunrestricted\nmoney", level, level + over, "in"))
    return [*steps, Step("closing", 0, float(answer.line("closing")), "level")]


def _draw(ax: Axes, steps: list[Step]) -> None:
    look = {"level": (style.INK, ""), "in": (style.ACCENT, ""), "out": (style.WASH_CONTRAST, "////")}
    top = max(max(s.start, s.end) for s in steps) or 1.0
    for i, step in enumerate(steps):
        colour, hatch = look[step.kind]
        edge = style.CONTRAST if step.kind == "out" else colour
        ax.bar(i, step.end - step.start, bottom=step.start, width=0.55, color=colour, hatch=hatch, edgecolor=edge)
        sign = {"level": "", "in": "+", "out": "\u2212"}[step.kind]
        ax.annotate(f"{sign}{abs(step.end - step.start):,.2f}", (i, max(step.start, step.end)), xytext=(0, 3),
                    textcoords="offset points", ha="center", va="bottom", fontsize=8.5)  # fmt: skip
        if i + 1 < len(steps):
            ax.plot([i + 0.275, i + 0.725], [step.end, step.end], color=style.QUIET, linewidth=0.7)
    low = min(0.0, *(min(s.start, s.end) for s in steps))
    ax.axhline(0, color=style.INK, linewidth=0.6)
    ax.spines["bottom"].set_visible(False)
    ax.set_ylim(1.1 * low, 1.14 * top)
    ax.set_xlim(-0.5, len(steps) - 0.5)
    ax.set_xticks(range(len(steps)), [s.name for s in steps])
    ax.tick_params(axis="x", length=0)
    ax.yaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
    style.names_on(ax, "x")
