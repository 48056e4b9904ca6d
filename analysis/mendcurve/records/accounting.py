"""Where every source row went, counted twice by code that shares nothing."""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd

from mendcurve.errors import InputError

_BLOCK = 1 << 24
COUNTS = ("counted", "blank", "heading", "total", "left_out", "nothing_here", "kept", "set_aside")
_CELL = re.compile(r"<(?:\w+:)?c\b([^>]*?)(?:/>|>(.*?)</(?:\w+:)?c>)", re.S)
# Of a cell: a value, text or formula that is not empty; or a text written in the cell, empty or not.
_FILLED = r"<(?:\w+:)?(?:v|t|f)(?:\s[^>]*)?>[^<]|<(?:\w+:)?f(?:\s[^>]*)?/>|<(?:\w+:)?is>"
_RESULT = re.compile(r"<(?:\w+:)?v(?:\s[^>]*?)?(?:/>|>([^<]*)<)")
_STRIKE = re.compile(r'<(?:\w+:)?strike(?!\s+val="(?:0|false)")')
_FORMULA = re.compile(r"<(?:\w+:)?f(?:\s[^>]*?)?(?:/>|>([^<]*)<)", re.S)
COLUMNS = ("file", "sheet", "table", *COUNTS)


def empty() -> pd.DataFrame:
    """Return accounts without lines."""
    return pd.DataFrame({name: pd.Series(dtype="int64" if name in COUNTS else "str") for name in COLUMNS})


def count_records(text: str) -> int | None:
    """Count the records of delimited text quickly: line feeds before which an even number of quotation marks stand.

    Returns
    -------
    int, or None where quotation marks are odd in number: one stands inside a cell, or is never closed.
    """
    last = not text.endswith("\n")
    if '"' not in text:
        return text.count("\n") + last
    count, odd = 0, 0
    for start in range(0, len(text), _BLOCK):
        block = np.frombuffer(text[start : start + _BLOCK].encode("utf-8"), dtype=np.uint8)
        # Counted from 0 again after 255, which keeps odd and even apart.
        marks = np.cumsum(block == ord('"'), dtype=np.uint8) + np.uint8(odd)
        count += len(marks) - int(np.count_nonzero((block != ord("\n")) | (marks & 1).astype(bool)))
        odd = int(marks[-1]) & 1
    return None if odd else count + last


def count_text_records(text: str, delimiter: str) -> int:
    """Count the records of delimited text without reading them: line ends that stand in no quoted cell.

    Notes
    -----
    A quotation mark opens a cell only where a cell begins; a doubled one inside stands for itself.
    """
    opening = f"(?:^|(?<=[{re.escape(delimiter)}\n]))"
    bare = re.sub(f'{opening}"(?:[^"]|"")*"', "q", text) if '"' in text else text
    return bare.count("\n") + (not bare.endswith("\n"))


def count_workbook_rows(path: Path, sheet: str) -> int:
    """Count the rows of a sheet that hold a value or a formula, from the raw XML."""
    with zipfile.ZipFile(path) as book:
        xml = book.read(_part_of(book, sheet)).decode("utf-8", errors="replace")
    filled = re.compile(_FILLED)
    rows = re.finditer(r"<(?:\w+:)?row\b[^>]*?(?:/>|>(.*?)</(?:\w+:)?row>)", xml, re.S)
    return sum(bool(row[1]) and filled.search(row[1]) is not None for row in rows)


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula: its cell ("B7"), its text, whether its result was saved; "" where the file does not say."""

    cell: str
    text: str
    calculated: bool


def formulas_in(path: Path, sheet: str) -> list[Formula]:
    """Return the formulas of a sheet, from the raw XML.

    Notes
    -----
    A result that is an empty text is a result: Excel and LibreOffice mark it as text, with nothing in it.
    """
    with zipfile.ZipFile(path) as book:
        raw = book.read(_part_of(book, sheet))
    if not re.search(rb"<(?:\w+:)?f[ >/]", raw):
        return []
    out = []
    for cell in _CELL.finditer(raw.decode("utf-8", errors="replace")):
        formula = _FORMULA.search(cell[2] or "")
        if formula:
            attributes = dict(re.findall(r'(\w+)="([^"]*)"', cell[1]))
            result = _RESULT.search(cell[2])
            saved = result is not None and (attributes.get("t") == "str" or bool(result[1]))
            out.append(Formula(attributes.get("r", ""), unescape(formula[1] or ""), saved))
    return out


def strikes_in(path: Path) -> bool:
    """Whether any style of a workbook strikes text through."""
    with zipfile.ZipFile(path) as book:
        return "xl/styles.xml" in book.namelist() and b"<strike" in book.read("xl/styles.xml")


def struck_parts_in(path: Path, sheet: str) -> list[str]:
    """Return the cells ("B7") of a sheet in which some letters, not the whole cell, are struck through."""
    with zipfile.ZipFile(path) as book:
        known = "xl/sharedStrings.xml"
        texts = book.read(known).decode("utf-8", errors="replace") if known in book.namelist() else ""
        items = re.findall(r"<(?:\w+:)?si>(.*?)</(?:\w+:)?si>", texts, re.S) if "<strike" in texts else []
        struck = {str(at) for at, item in enumerate(items) if _STRIKE.search(item)}
        xml = book.read(_part_of(book, sheet)) if struck else b""
    out = []
    for cell in _CELL.finditer(xml.decode("utf-8", errors="replace")):
        attributes = dict(re.findall(r'(\w+)="([^"]*)"', cell[1]))
        value = _RESULT.search(cell[2] or "")
        if attributes.get("t") == "s" and "r" in attributes and value and value[1] in struck:
            out.append(attributes["r"])
    return out


def _part_of(book: zipfile.ZipFile, sheet: str) -> str:
    relations = ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels"))
    targets = {r.attrib["Id"]: r.attrib["Target"] for r in relations}
    for element in ElementTree.fromstring(book.read("xl/workbook.xml")).iter():
        if element.tag.endswith("}sheet") and element.attrib.get("name") == sheet:
            key = next(v for k, v in element.attrib.items() if k.endswith("}id"))
            target = targets[key].lstrip("/")
            return target if target.startswith("xl/") else f"xl/{target}"
    raise KeyError(sheet)


def settled(lines: list[dict[str, object]]) -> pd.DataFrame:
    """Return the accounts, one line for each file, sheet and table.

    Raises
    ------
    InputError
        If the rows counted are not the rows named: a fault of Mendcurve's, never of the file's.
    """
    if not lines:
        return empty()
    frame = pd.DataFrame(lines, columns=list(COLUMNS)).astype(dict.fromkeys(COUNTS, "int64"))
    gap = frame["counted"] - frame[list(COUNTS[1:])].sum(axis=1)
    if gap.any():
        wrong = frame[gap != 0]
        raise InputError(
            "Every row must be in a table or set aside, but some are not accounted for.",
            [f"{line.file} {line.sheet} for {line.table}: counted {line.counted}" for line in wrong.itertuples()],
            "This is a fault in Mendcurve. Please report it with the file's layout (not its content).",
            rows=wrong,
        )
    return frame
