"""One look and one way out for every figure; nobody else sets rcParams or saves."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from html import escape
from pathlib import Path
from typing import Any, ParamSpec

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from mendcurve.questions.answer import Answer

P = ParamSpec("P")

# Every text colour stands at least 4.5 : 1 against PAPER; ACCENT and CONTRAST keep apart in grey and for every kind
# of colour vision (tests/documents/test_figure_style.py measures both).
INK = "#26292e"
PAPER = "#fdfbf7"
ACCENT = "#004f68"  # deep teal: what the picture is about
CONTRAST = (
    "#b4530a"  # burnt orange: what it is set against; differs from ACCENT in hue, lightness and, with dashes, in line
)
QUIET = "#69645e"  # context
WASH = "#d9e6e8"  # bands of ACCENT on PAPER
WASH_CONTRAST = "#f3dfcd"
WIDTH_INCHES = 7.2
STYLE = Path(__file__).with_name("mendcurve.mplstyle")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """A finished figure with its words.

    Attributes
    ----------
    name : str
        Short name for files: lower-case words joined by hyphens.
    title, subtitle : str
        The finding; what is plotted, n and period.
    alt : str
        One or two sentences that say what the picture shows, with its numbers.
    figure : Figure
        The drawing, without title.
    """

    name: str
    title: str
    subtitle: str
    alt: str
    figure: Figure

    def svg(self) -> str:
        """Return the drawing as SVG text; the same data give the same bytes."""
        out = io.BytesIO()
        with mpl.rc_context(fname=STYLE):
            self.figure.savefig(
                out, format="svg", bbox_inches=_frame(self.figure), metadata={"Date": None, "Creator": None}
            )
        return out.getvalue().decode()

    def png(self) -> bytes:
        """Return the drawing as PNG, 200 dots an inch."""
        out = io.BytesIO()
        with mpl.rc_context(fname=STYLE):
            self.figure.savefig(out, format="png", bbox_inches=_frame(self.figure), metadata={"Software": None})
        return out.getvalue()

    def _repr_html_(self) -> str:
        data = base64.b64encode(self.svg().encode()).decode()
        return (
            f'<figure id="figure-{escape(self.name)}"><figcaption><strong>{escape(self.title)}</strong> '
            f"<span>{escape(self.subtitle)}</span></figcaption>"
            f'<div class="picture" role="region" aria-label="Picture: {escape(self.title, quote=True)}" tabindex="0">'
            f'<img alt="{escape(self.alt, quote=True)}" src="data:image/svg+xml;base64,{data}"></div></figure>'
        )


def drawing(function: Callable[P, Picture]) -> Callable[P, Picture]:
    """Run a drawing function wholly in the house style, so that text and lines added late have it too."""

    @wraps(function)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> Picture:
        answer = args[0] if args else None
        with mpl.rc_context(fname=STYLE):
            if isinstance(answer, Answer) and getattr(answer, "outcomes", True) is False:
                name = function.__name__.replace("_", "-")
                return empty(name=name, title="Outcomes are not recorded", why=answer.sentence())
            return function(*args, **kwargs)

    return drawn


def _frame(figure: Figure) -> Bbox:
    """Return the part of the figure to save, in inches: its full width, and as high as what is drawn."""
    drawn = figure.get_tightbbox().padded(0.05)
    width = figure.get_figwidth()
    return Bbox.from_extents(min(0.0, drawn.x0), drawn.y0, max(width, drawn.x1), drawn.y1)


def new(
    rows: int = 1, columns: int = 1, *, height: float = 3.2, width: float = WIDTH_INCHES, **more: Any
) -> tuple[Figure, Any]:
    """Return a figure and its axes in the house style; ``height`` in inches; ``more`` goes to ``subplots``."""
    with mpl.rc_context(fname=STYLE):
        figure = Figure(figsize=(width, height), layout="constrained")
        axes = figure.subplots(rows, columns, **more)
    return figure, axes


def finish(figure: Figure, *, name: str, title: str, subtitle: str, alt: str) -> Picture:
    """Check that every axis names its unit and that the words are there; return the Picture.

    Raises
    ------
    ValueError
        If a word or an axis label is missing: a mistake of ours, not of the user.
    """
    for what, text in (("name", name), ("title", title), ("subtitle", subtitle), ("alt", alt)):
        if not text.strip():
            raise ValueError(f"A figure needs its {what}.")
    labelled = [a for a in figure.axes if a.get_visible() and a.axison]
    shared_x, shared_y = figure.get_supxlabel(), figure.get_supylabel()
    for axes in labelled:
        bare_x = not (axes.get_xlabel() or shared_x) and axes.xaxis.get_ticklabels() and axes.xaxis.get_visible()
        bare_y = not (axes.get_ylabel() or shared_y) and axes.yaxis.get_visible() and not axes.yaxis.get_gid()
        if (bare_x and axes.xaxis.get_gid() != "names") or (bare_y and axes.yaxis.get_gid() != "names"):
            raise ValueError(f'Figure "{name}" has an axis without a label.')
    # The layout is settled once and kept: solved anew at each saving, it would drift by fractions of a point.
    with mpl.rc_context(fname=STYLE):
        figure.draw_without_rendering()
    figure.set_layout_engine("none")
    return Picture(name=name, title=title, subtitle=subtitle, alt=alt, figure=figure)


def names_on(axes: Axes, axis: str) -> None:
    """Mark an axis whose ticks are names (conditions, zones), so that it needs no unit."""
    getattr(axes, f"{axis}axis").set_gid("names")


def empty(*, name: str, title: str, why: str) -> Picture:
    """Return a picture that says why there is nothing to draw."""
    figure, axes = new(height=0.9)
    axes.set_axis_off()
    axes.text(0, 0.5, why, va="center", wrap=True, color=QUIET)
    return finish(figure, name=name, title=title, subtitle=why, alt=f"No picture: {why}")


def label_line(axes: Axes, x: float, y: float, text: str, *, color: str = INK, **more: Any) -> None:
    """Write a line's name beside its end."""
    axes.annotate(
        text,
        (x, y),
        xytext=(4, 0),
        textcoords="offset points",
        va="center",
        color=color,
        fontsize=8.5,
        annotation_clip=False,
        **more,
    )


def spread(positions: Sequence[float], gap: float) -> list[float]:
    """Return positions moved apart to at least ``gap``, order kept, for labels that would overlap."""
    order = sorted(range(len(positions)), key=lambda i: positions[i])
    placed = [0.0] * len(positions)
    last = float("-inf")
    for i in order:
        last = max(positions[i], last + gap)
        placed[i] = last
    return placed
