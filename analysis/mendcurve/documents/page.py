"""One self-contained page: no script, nothing fetched, readable on a telephone, on a sheet of paper and by ear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from mendcurve.documents.html import markdown, paragraphs, set_well, slug
from mendcurve.documents.running import Block, Failed, Shown, Words
from mendcurve.documents.tables import table
from mendcurve.figures import style

HERE = Path(__file__).parent
_ENVIRONMENT = Environment(
    loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
)
COLOURS = {
    "ink": style.INK,
    "paper": style.PAPER,
    "accent": style.ACCENT,
    "contrast": style.CONTRAST,
    "quiet": style.QUIET,
    "wash": style.WASH,
    "wash-contrast": style.WASH_CONTRAST,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What stands at the top of a page: rescue, its paper, and facts as (name, value)."""

    rescue: str
    paper: str = "A4"
    facts: tuple[tuple[str, str], ...] = ()


@dataclass(slots=True)
class _Section:
    title: str
    anchor: str
    parts: list[str] = field(default_factory=list)

    @property
    def body(self) -> Markup:
        return Markup("\n".join(self.parts))


def render(blocks: Sequence[Block], head: Head) -> str:
    """Return the page as HTML text.

    Parameters
    ----------
    blocks : sequence of Block
        What a notebook showed; its one heading of the first level is the page's title.
    head : Head
    """
    title, opening, sections = _sections(blocks)
    return _ENVIRONMENT.get_template("page.html").render(
        title=title,
        head=head,
        opening=Markup(opening),
        sections=sections,
        css=Markup((HERE / "style.css").read_text(encoding="utf-8")),
        colours=COLOURS,
    )


def show(value: object) -> str:
    """Return a value as HTML: one that shows itself, a frame as a table, anything else as escaped text."""
    if hasattr(value, "_repr_html_") and not hasattr(value, "iloc"):
        return str(value._repr_html_())
    if hasattr(value, "iloc"):
        return str(table(value)._repr_html_())  # type: ignore[arg-type]
    return paragraphs(filter(None, str(value).split("\n")), kind="answer")


def _sections(blocks: Sequence[Block]) -> tuple[str, str, list[_Section]]:
    title, seen = "", set[str]()
    opening: list[str] = []
    sections: list[_Section] = []
    for block in blocks:
        part = _part(block)
        if isinstance(block, Words):
            first, _, rest = block.text.strip().partition("\n")
            if first.startswith("# "):
                title, part = first[2:].strip(), markdown(rest)
            elif first.startswith("## "):
                name = first[3:].strip()
                anchor = slug(name)
                anchor = anchor if anchor not in seen else f"{anchor}-{len(sections) + 1}"
                seen.add(anchor)
                sections.append(_Section(name, anchor))
                part = markdown(rest)
        (sections[-1].parts if sections else opening).append(set_well(part))
    return title, "\n".join(opening), sections


def _part(block: Block) -> str:
    if isinstance(block, Words):
        return markdown(block.text)
    if isinstance(block, Shown):
        return show(block.value)
    assert isinstance(block, Failed)
    why = "".join(f"<br>{escape(line)}" for line in block.why.split("\n"))
    return f'<p class="missing"><strong>This part could not be made.</strong>{why}</p>'
