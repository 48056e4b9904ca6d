"""What ``mendcurve check`` says: counts, then the findings grouped by what to do about them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from mendcurve.documents.exporting import csv_text
from mendcurve.documents.provenance import rows_read
from mendcurve.questions.wording import count, day
from mendcurve.records import Records

EXAMPLES = 3
EFFECTS = {
    "set aside": "Set aside, not used in any number until mended",
    "kept, doubtful": "Used, but doubtful",
    "changed": "Changed as they were read",
    "note": "To know",
}


def report_lines(records: Records) -> Iterator[str]:
    """Yield the lines the command prints."""
    read, aside, left_out = rows_read(records)
    yield (
        f"{records.settings['rescue.name']}: records from {day(records.records_start)} to {day(records.as_of)}, the "
        "as-of date."
    )
    apart = f", {left_out:,} left out (your own rule, or dated after the as-of date)" if left_out else ""
    yield f"{count(read, 'row')} read: {read - aside - left_out:,} used, {aside:,} set aside{apart}."
    if records.findings.empty:
        yield "Nothing to mend was found."
    for effect, title in EFFECTS.items():
        found = records.findings[records.findings["effect"] == effect]
        if len(found):
            yield from ("", f"{title} ({count(len(found), 'finding')})", *_groups(found))


def _groups(found: pd.DataFrame) -> Iterator[str]:
    # One entry for what to do; what is found most often comes first.
    text = found.fillna({"what_to_do": "", "rule": "", "file": "", "sheet": "", "value": "", "column": ""})
    keys = ["file", "sheet", "column", "rule", "what_to_do"]
    order = text.groupby(keys, sort=True).size().sort_values(ascending=False, kind="stable")
    for key, n in order.items():
        group = text[(text[keys] == list(key)).all(axis=1)]  # type: ignore[call-overload]
        file, sheet, column, rule, remedy = map(str, key)  # type: ignore[call-overload]
        where = ", ".join(filter(None, (file, f'sheet "{sheet}"' if sheet else "", column.replace("_", " "))))
        yield f"  {where}: {rule}" + (f" ({n:,} records)" if n > 1 else "")
        first = group.head(EXAMPLES)
        for number, value in zip(first["row"], first["value"], strict=True):
            at = "" if pd.isna(number) else f"row {number}"
            if at or value:
                yield f"    {': '.join(filter(None, (at, str(value))))}"
        if n > EXAMPLES:
            yield f"    and {n - EXAMPLES:,} more"
        if remedy:
            yield f"    {remedy}"


def write(records: Records, out: Path) -> Path:
    """Write findings.csv and set_aside.csv into ``out``; return where the findings are."""
    out.mkdir(parents=True, exist_ok=True)
    for name, frame in (("findings", records.findings), ("set_aside", records.set_aside)):
        (out / f"{name}.csv").write_text(csv_text(frame), encoding="utf-8", newline="\n")
    return out / "findings.csv"
