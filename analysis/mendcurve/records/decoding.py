"""From bytes to text: encodings, marks, line ends, NUL bytes, and the sign that parts cells."""

from __future__ import annotations

import re
from collections import Counter

from mendcurve.errors import InputError
from mendcurve.records.findings import CHANGED
from mendcurve.records.notes import Note

# Where two agree, the earlier: a comma may be in numbers and titles.
DELIMITERS = (";", "\t", "|", ",")
# More NUL bytes than this (a share) are no slip of a program but a file that is no text.
_NULS = 0.05
_LOOKED_AT = 50
# A spreadsheet's own way to name the delimiter in a first line, which it does not show.
_SAYS = re.compile(r"\ufeff?sep=([,;\t|])[,;\t|]*\n", re.I)
_NO_TEXT = ((b"PK\x03\x04", "a workbook or an archive"), (b"\xd0\xcf\x11\xe0", "an old workbook"), (b"%PDF", "a PDF"))


def decoded(raw: bytes, name: str) -> tuple[str, list[Note]]:
    """Return the text of a file with line feeds as line ends, and what was found on the way.

    Notes
    -----
    A mark decides; else UTF-16 shows in every other byte being NUL; else UTF-8; lines that are no UTF-8 are Windows
    Western European (cp1252). Single NUL bytes are taken out, each row with one is a finding.

    Raises
    ------
    InputError
        If the bytes are no text.
    """
    for start, what in _NO_TEXT:
        if raw.startswith(start):
            raise InputError(f"{name}: this is {what}, not a text file.", remedy=_REMEDY)
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return _without_nuls(_lines(_strict(raw, "utf-16", name)), name)
    wide = _without_mark(raw)
    if wide:
        return _without_nuls(_lines(_strict(raw, wide, name)), name)
    try:
        return _without_nuls(_lines(raw.decode("utf-8-sig")), name)
    except UnicodeDecodeError:
        text, note = _by_line(raw, name)
    text, more = _without_nuls(_lines(text), name)
    return text, [note, *more]


_REMEDY = "Save it from the spreadsheet as CSV UTF-8, or give the workbook itself (.xlsx)."


def _lines(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def _without_mark(raw: bytes) -> str:
    """Return the kind of UTF-16 of bytes without its mark, or ""."""
    head = raw[:4096]
    half = len(head) // 2
    if half < 4 or len(raw) % 2:
        return ""
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > 0.8 * half and even < 0.1 * half:
        return "utf-16-le"
    return "utf-16-be" if even > 0.8 * half and odd < 0.1 * half else ""


def _by_line(raw: bytes, name: str) -> tuple[str, Note]:
    out, other, accents = [], 0, False
    for line in raw.removeprefix(b"\xef\xbb\xbf").splitlines(keepends=True):
        try:
            out.append(line.decode("utf-8"))
            accents |= not line.isascii()
        except UnicodeDecodeError:
            out.append(_strict(line, "cp1252", name))
            other += 1
    how = f"{other} line{'s are' if other > 1 else ' is'} not, and read" if accents else "this one was read"
    note = Note(
        rule=f"a text file should be UTF-8; {how} as Windows Western European (cp1252)",
        what_to_do="Look at names with accents; if they are wrong, save the file as CSV UTF-8.",
    )
    return "".join(out), note


def _strict(raw: bytes, encoding: str, name: str) -> str:
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError as error:
        raise InputError(
            f"{name}: the text cannot be read: it is neither UTF-8, UTF-16 nor Windows Western European.",
            remedy="Save the file from the spreadsheet as CSV UTF-8.",
        ) from error


def _without_nuls(text: str, name: str) -> tuple[str, list[Note]]:
    if "\x00" not in text:
        return text, []
    lines = [number for number, line in enumerate(text.split("\n"), start=1) if "\x00" in line]
    if text.count("\x00") > _NULS * len(text):
        raise InputError(
            f"{name}: this is not a text file: it holds NUL characters, the first in line {lines[0]}.", remedy=_REMEDY
        )
    shown = ", ".join(map(str, lines[:5])) + (" and more" if len(lines) > 5 else "")
    note = Note(
        rule=f"a text file must hold no NUL characters; they were taken out of line{'s' * (len(lines) > 1)} {shown}",
        what_to_do="Look at these rows: a disk or a program may have lost something there.",
        row=lines[0] if len(lines) == 1 else None,
        effect=CHANGED,
    )
    return text.replace("\x00", ""), [note]


def delimiter_of(text: str) -> tuple[str, str]:
    """Return the sign that parts cells, and the text without a first line that names it.

    Notes
    -----
    ``sep=;`` names it. Else: the sign of which most of the first lines hold the same number (quoted cells not
    counted), then the one of which they hold more; titles above the headings and decimal commas decide nothing.
    """
    says = _SAYS.match(text)
    if says:
        return says[1], text[says.end() :]
    head = re.sub(r'"(?:[^"]|"")*"', "q", text[:65536])
    lines = [line for line in head.split("\n") if line.strip()][:_LOOKED_AT]
    return max(DELIMITERS, key=lambda sign: _agreement(lines, sign)), text


def _agreement(lines: list[str], sign: str) -> tuple[int, int, int]:
    counts = Counter(n for line in lines if (n := line.count(sign)))
    times, n = max(((times, n) for n, times in counts.items()), default=(0, 0))
    # Where two signs agree as often, the one that does not stand within numbers.
    return times, n, sum(re.search(rf"\D{re.escape(sign)}|{re.escape(sign)}\D", line) is not None for line in lines)
