"""Save a workbook so that the same content gives the same bytes, and no text of it runs as a formula."""

from __future__ import annotations

import re
import zipfile
from datetime import datetime
from io import BytesIO
from pathlib import Path

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

# A workbook says when it was written; ours all say the same.
WRITTEN = datetime(2026, 10, 31, 18, 0)
LONGEST = 32_000


def save(book: Workbook, path: Path, *, written: datetime = WRITTEN) -> Path:
    """Write ``book`` with constant times inside and out."""
    book.properties.creator = book.properties.creator if book.properties.creator != "openpyxl" else "Mendcurve"
    book.properties.created = written
    buffer = BytesIO()
    book.save(buffer)
    path.write_bytes(timeless(buffer.getvalue(), written))
    return path


def timeless(content: bytes, written: datetime = WRITTEN) -> bytes:
    """Return the same archive with constant times inside and out."""
    out = BytesIO()
    stamp = written.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with zipfile.ZipFile(BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            data = old.read(name)
            if name == "docProps/core.xml":
                data = re.sub(rb"(<dcterms:(created|modified)[^>]*>)[^<]*", rb"\g<1>" + stamp, data)
            info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            info.compress_type, info.create_system, info.external_attr = zipfile.ZIP_DEFLATED, 3, 0o600 << 16
            new.writestr(info, data)
    return out.getvalue()


def put_text(cell: Cell, text: str) -> None:
    """Put ``text`` into ``cell`` as text, whatever it looks like: "=1+1" stays the four characters it is."""
    cell.value = ILLEGAL_CHARACTERS_RE.sub("", text)[:LONGEST] or None
    if cell.value is not None:
        cell.data_type = "s"
    cell.number_format = "@"
