"""Small pieces of HTML, every text escaped."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from markdown_it import MarkdownIt

# HTML in markdown is off: a text from a spreadsheet can never become markup.
_MARKDOWN = MarkdownIt("commonmark", {"html": False, "typographer": True}).enable(["replacements", "smartquotes"])
# A number stays with its percent sign or currency; a minus and an apostrophe are set as such.
_TOGETHER = re.compile(r"(?<=\d) (?=%|k?g\b|[A-Z]{3}\b)")
_MINUS = re.compile(r"(?<![\w.-])-(?=\d)")
_APOSTROPHE = re.compile(r"(?<=[A-Za-z])&#x27;(?=[a-z ])")


@dataclass(frozen=True, slots=True)
class Html:
    """Markup made by this package; ``text`` is trusted."""

    text: str

    def _repr_html_(self) -> str:
        return self.text


def note(text: str) -> Html:
    """Return ``text`` as a small remark."""
    return Html(paragraphs((text,), kind="note"))


def paragraphs(texts: Iterable[str], *, kind: str = "") -> str:
    """Return each text as a paragraph."""
    name = f' class="{kind}"' if kind else ""
    return "".join(f"<p{name}>{escape(text)}</p>" for text in texts)


def markdown(text: str) -> str:
    """Return markdown as HTML; HTML inside it is shown as text."""
    return _MARKDOWN.render(text)


def set_well(html: str) -> str:
    """Return markup with its small spaces and apostrophes set as a printer would."""
    return _APOSTROPHE.sub("’", _MINUS.sub("−", _TOGETHER.sub("&nbsp;", html)))


def slug(text: str) -> str:
    """Return lower-case words joined by hyphens, fit for an id or a file's name."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "part"
