"""Where every source row went, counted twice by code that shares nothing."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd

from mendcurve.errors import InputError

COUNTS = ("counted", "blank", "heading", "total", "left_out", "nothing_here", "kept", "set_aside")
COLUMNS = ("file", "sheet", "table", *COUNTS)


def empty() -> pd.DataFrame:
    """Return accounts without lines."""
    return pd.DataFrame({name: pd.Series(dtype="int64" if name in COUNTS else "str") for name in COLUMNS})


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
        xml = book.read(_part_of(book, sheet)).decode("utf-8")
    filled = re.compile(r"<(?:\w+:)?(?:v|t|f)(?:\s[^>]*)?>[^<]|<(?:\w+:)?f(?:\s[^>]*)?/>")
    rows = re.finditer(r"<(?:\w+:)?row\b[^>]*?(?:/>|>(.*?)</(?:\w+:)?row>)", xml, re.S)
    return sum(bool(row[1]) and filled.search(row[1]) is not None for row in rows)


def formulas_in(path: Path, sheet: str) -> bool:
    """Whether a sheet holds any formula."""
    with zipfile.ZipFile(path) as book:
        return re.search(rb"<(?:\w+:)?f[ >/]", book.read(_part_of(book, sheet))) is not None


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
