"""The text of a proposed records.toml: reasons beside each line, questions as "# ?", and a seal that shows an edit."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from mendcurve.errors import InputError
from mendcurve.records.privacy import masked

_SEAL = "# Proposed by mendcurve connect. Seal: "
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_WIDTH = 118
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t", "\b": "\\b", "\f": "\\f"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One key of a section; ``question`` writes it as a comment to be decided by the rescue; ``rows`` wait for it."""

    key: str
    value: Any = None
    reasons: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    question: bool = False
    rows: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One ``[section]``: comments above it, its lines; ``title`` is "" for comments alone."""

    title: str
    above: tuple[str, ...] = ()
    lines: tuple[Line, ...] = field(default=())


def toml(value: Any) -> str:
    """Return ``value`` (text, number, yes or no, list or mapping) as TOML on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return str(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key_of(str(k))} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    return (
        '"'
        + "".join(_ESCAPES.get(c) or (f"\\u{ord(c):04X}" if ord(c) < 32 or ord(c) == 127 else c) for c in str(value))
        + '"'
    )


def key_of(name: str) -> str:
    """Return a key, in quotes where it needs them."""
    return name if _BARE.fullmatch(name) else toml(name)


def text_of(sections: Sequence[Section]) -> str:
    """Return the sections as the body of a records.toml."""
    out: list[str] = []
    for section in sections:
        out += ["", *(_comment(line) for line in section.above)]
        out += [section.title] * bool(section.title)
        for line in section.lines:
            out += _lines(line)
    return "\n".join(out).strip("\n") + "\n"


def _comment(text: str, mark: str = "#") -> str:
    return f"{mark} {masked(one_line(text))[0]}"


def one_line(text: str) -> str:
    """Return ``text`` on one line, without signs that cannot stand in a comment."""
    return "".join(c for c in " ".join(text.split()) if ord(c) >= 32 and ord(c) != 127)


def _lines(line: Line) -> list[str]:
    out = []
    if line.value is not None:
        start = f"{key_of(line.key)} = {toml(line.value)}"
        mark = "# ? " if line.question else ""
        said = one_line("; ".join(reason.rstrip(".") for reason in line.reasons))
        if said and len(mark + start) + len(said) + 4 > _WIDTH:
            out += [*map(_comment, line.reasons), mark + start]
        else:
            out.append(f"{mark}{start}  # {said}" if said else mark + start)
    elif line.reasons:
        out.append(_comment(f"{line.key}: {'; '.join(line.reasons)}" if line.key else "; ".join(line.reasons)))
    name = f"{line.key}: " if line.key and line.value is None else ""
    return out + [_comment(name + doubt, "# ?") for doubt in line.doubts]


def sealed(body: str) -> str:
    """Return ``body`` below a line with its checksum."""
    return f"{_SEAL}{_checksum(body)}\n{body}"


def untouched(text: str) -> bool:
    """Whether ``text`` is a proposal exactly as it was written."""
    first, _, body = text.partition("\n")
    return first.startswith(_SEAL) and first.removeprefix(_SEAL).strip() == _checksum(body)


def _checksum(body: str) -> str:
    return hashlib.sha256(body.replace("\r\n", "\n").encode()).hexdigest()[:16]


def write(body: str, wanted: Path) -> tuple[Path, str]:
    """Write the proposal to ``wanted``, or beside it where an edited file stands there.

    Returns
    -------
    path : Path
        The file written.
    said : str
        Why it was not written to ``wanted``, or "".

    Raises
    ------
    InputError
        If both places hold a file that was edited.
    """
    text = sealed(body)
    if _ours(wanted):
        wanted.write_text(text, encoding="utf-8", newline="\n")
        return wanted, ""
    beside = wanted.with_name(f"{wanted.stem}.proposed{wanted.suffix or '.toml'}")
    if not _ours(beside):
        raise InputError(
            f"{wanted.name} and {beside.name} were both written or edited by hand, and connect overwrites neither.",
            remedy=f"Move {beside.name} elsewhere, or give another file with --out.",
        )
    beside.write_text(text, encoding="utf-8", newline="\n")
    return beside, f"{wanted.name} was written or edited by hand and stays as it is; the proposal is in {beside.name}."


def _ours(path: Path) -> bool:
    """Whether ``path`` may be written: nothing is there, or an untouched proposal."""
    if not path.exists():
        return True
    try:
        return untouched(path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n"))
    except (UnicodeDecodeError, IsADirectoryError):
        return False
