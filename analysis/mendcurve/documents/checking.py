"""What ``mendcurve check`` says: counts, then the findings grouped by what to do, what changes most first."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from mendcurve.documents.exporting import csv_text
from mendcurve.documents.mending_list import write_mending_list
from mendcurve.documents.provenance import rows_read
from mendcurve.questions.rows import each
from mendcurve.questions.wording import count, day
from mendcurve.records import Records
from mendcurve.records.corrections import TAKEN_OUT
from mendcurve.records.findings import CHANGED, CORRECTED, DOUBTFUL, EFFECTS, NOTE, SET_ASIDE, grouped, tally

# Lines printed at most; what does not fit stands in the files.
LINES = 58
# Lines kept for each kind of finding, so that the worst do not hide the others.
RESERVED = 6
EXAMPLES = 2
# Unknown words shown.
WORDS = 5
# A sentence longer than this is cut on the screen; the files hold it whole.
LONGEST = 240
TITLES = {
    SET_ASIDE: "Set aside, not used in any number until mended",
    DOUBTFUL: "Doubtful, but kept: each line says how it is used",
    CHANGED: "Changed as they were read",
    CORRECTED: "Corrected by you",
    NOTE: "To know",
}
# What is not read, and what was not applied, is never among "more kinds".
UNREAD = "Not read"
NOT_APPLIED = "Your corrections that are not applied"
ALWAYS = 8
_NOT_READ = r"\bnot read\b|\bno table is read\b"
_PLACE = ["file", "sheet", "row", "table"]


def report_lines(records: Records) -> Iterator[str]:
    """Yield the lines the command prints; no more than about sixty, however much was found."""
    head = [*_head(records), *_not_applied(records), *_unread(records)]
    yield from head
    sections = {effect: found for effect in EFFECTS if (found := _section(records, effect))}
    needs = {effect: min(RESERVED, sum(map(len, groups))) for effect, groups in sections.items()}
    words = list(_words(records))
    left = LINES - len(head) - 3 * len(sections) - len(words)
    for effect, groups in sections.items():
        yield from ("", f"{TITLES[effect]} ({_counted(records, effect)})")
        needs.pop(effect)
        fits = _fitting(groups, left - sum(needs.values()))
        left -= sum(map(len, groups[:fits]))
        for lines in groups[:fits]:
            yield from lines
        if fits < len(groups):
            yield f"  and {count(len(groups) - fits, 'more kind')}: see findings.xlsx"
    yield from words


def _words(records: Records) -> Iterator[str]:
    """Yield the words nobody knows, the most frequent first, and where they are to be explained."""
    if not len(records.words):
        return
    yield from ("", f"Words to explain ({count(len(records.words), 'word')})")
    for one in each(records.words.head(WORDS)):
        near = f'; the nearest known is "{one.perhaps}"' if one.perhaps else ""
        yield _cut(f'  {one.kind} "{one.word}", {count(one.rows, "row")}{near}')
    more = f"  and {count(len(records.words) - WORDS, 'more word')}. " if len(records.words) > WORDS else "  "
    yield f"{more}Fill in what they mean in words.csv, and save it with the records as dictionary.csv."


def _fitting(groups: list[list[str]], room: int) -> int:
    """Return how many of the first groups fit into ``room`` lines; one always does."""
    used = 0
    for number, lines in enumerate(groups):
        used += len(lines)
        if number and used > room:
            return number
    return len(groups)


def _head(records: Records) -> Iterator[str]:
    read, aside, left_out = rows_read(records)
    yield (
        f"{records.settings['rescue.name']}: records from {day(records.records_start)} to {day(records.as_of)}, the "
        "as-of date."
    )
    apart = f", {left_out:,} left out (your own rule, or dated after the as-of date)" if left_out else ""
    yield f"{count(read, 'row')} read: {read - aside - left_out:,} used, {aside:,} set aside{apart}."
    done = records.corrections
    if len(done):
        states = done["state"].value_counts()
        yield f"{count(len(done), 'correction')} of yours: {', '.join(f'{n:,} {s}' for s, n in states.items())}."
    if records.findings.empty:
        yield "Nothing to mend was found."


def _not_applied(records: Records) -> Iterator[str]:
    done = records.corrections
    left = done[done["state"] == "not applied"]
    if not len(left):
        return
    yield from ("", f"{NOT_APPLIED} ({len(left):,})")
    for one in each(left.head(ALWAYS)):
        place = ", ".join(filter(None, (one.file, one.sheet, one.cell or (f"row {one.row}" if one.row else ""))))
        yield _cut(f'  line {one.line}, "{one.now}"{f" for {place}" if place else ""}: {one.why_not}')
    yield from _more(len(left), "correction")


def _unread(records: Records) -> Iterator[str]:
    found = records.cells[_is_unread(records.cells)]
    if not len(found):
        return
    # What may well be records first, leaflets and pictures last.
    other = found["rule"].str.contains("no file of records")
    found = pd.concat([found[~other], found[other]])
    yield from ("", f"{UNREAD} ({count(len(found), 'finding')})")
    for one in each(found.head(ALWAYS)):
        place = ", ".join(filter(None, (one.file, f'sheet "{one.sheet}"' if one.sheet else "")))
        yield _cut("  " + ". ".join(filter(None, (": ".join(filter(None, (place, one.rule))), one.what_to_do))))
    yield from _more(len(found), "finding")


def _is_unread(cells: pd.DataFrame) -> pd.Series:
    whole = cells["row"].isna() & (cells["column"].fillna("") == "") & (cells["effect"] == NOTE)
    return (whole & cells["rule"].str.contains(_NOT_READ)).astype(bool)


def _more(n: int, what: str) -> Iterator[str]:
    if n > ALWAYS:
        yield f"  and {count(n - ALWAYS, f'more {what}')}: see findings.xlsx"


def _counted(records: Records, effect: str) -> str:
    """Return "62 findings in 158 cells": records and what is whole, and the cells where these are more."""
    if effect == CORRECTED:
        return count(int(_is_corrected(records.corrections).sum()), "cell")
    n = int(tally(records.findings)[effect])
    n -= int(_is_unread(records.cells).sum()) if effect == NOTE else 0
    cells = _by_record(records)
    cells = cells[(cells["of_record"] == effect) & (cells["cell"] != "") & (cells["table"] != "corrections")]
    several = len(cells.drop_duplicates([*_PLACE, "cell"]))
    return count(n, "finding") + (f" in {several:,} cells" if several > n and effect != NOTE else "")


def _section(records: Records, effect: str) -> list[list[str]]:
    """Return the groups of one effect, each as the lines that tell of it."""
    if effect == CORRECTED:
        return [[line] for line in _corrected(records)]
    cells = _by_record(records)
    found = cells[(cells["of_record"] == effect) & (cells["table"] != "corrections") & ~_is_unread(cells)]
    # What is only doubtful in a row that is out is not why it is out.
    milder = (found["effect"] != SET_ASIDE) & (effect == SET_ASIDE)
    found, besides = found[~milder].assign(effect=effect), int(milder.sum())
    if effect == NOTE:  # what is to know about a whole file or sheet comes first
        found = found.sort_values("row", key=lambda row: row.notna(), kind="stable")
    found = found.reset_index(drop=True)
    groups = [list(_group(group, found)) for group in each(grouped(found, records.species["name"].dropna()))]
    if besides:
        groups.append([f"  Besides, {count(besides, 'finding')} about other cells of these rows: see findings.xlsx"])
    return groups


def _by_record(records: Records) -> pd.DataFrame:
    """Return the findings by cell, with ``of_record``: the worst effect that any cell of the record has."""
    cells = records.cells.reset_index(drop=True)
    rank = cells["effect"].map({effect: i for i, effect in enumerate(EFFECTS)}).astype("int64")
    worst = rank.groupby([cells[name].fillna("" if name != "row" else 0) for name in _PLACE]).transform("min")
    mend = ~cells["effect"].isin([NOTE, CORRECTED]) & cells["row"].notna()
    return cells.assign(of_record=cells["effect"].mask(mend, worst.map(dict(enumerate(EFFECTS)))))


def _group(group: Any, found: pd.DataFrame) -> Iterator[str]:
    """Yield where and what, the first places with what they change, and what to do."""
    sheet = f'sheet "{group.sheet}"' if group.sheet else ""
    where = ", ".join(filter(None, (group.file, sheet, group.column.replace("_", " "))))
    many = f"{group.records:,} rows" if group.records > 1 else ""
    many = f"{group.cells:,} cells in {count(group.records, 'row')}" if group.cells > group.records else many
    animals = count(group.animals, "animal") if many and group.animals else ""
    counted = ", ".join(filter(None, (many, animals)))
    yield _cut(f"  {where}: {group.rule}", f" ({counted})" if counted else "")
    examples = [line for line in map(_example, each(found.loc[group.places[:EXAMPLES]])) if line]
    for number, line in enumerate(examples, start=1):
        more = number == len(examples) and group.cells > EXAMPLES
        yield _cut(f"    {line}", f"; and {group.cells - EXAMPLES:,} more" if more else "")
    if group.what_to_do and group.what_to_do != "Nothing.":
        yield _cut(f"    {group.what_to_do}")


def _example(one: Any) -> str:
    """Return 'row 17, B17 "2025-03-01": S-0231 (1 corn snake) counted as still in care. Likely: ...'."""
    row = "" if pd.isna(one.row) else f"row {one.row}"
    place = ", ".join(filter(None, (row, one.cell)))
    value = f'"{one.value}"' if one.value else ""
    likely = f"Likely: {one.likely}" if one.likely else ""
    return ": ".join(
        filter(None, (" ".join(filter(None, (place, value))), ". ".join(filter(None, (one.changes, likely)))))
    )


def _corrected(records: Records) -> Iterator[str]:
    done = records.corrections
    for one in each(done[_is_corrected(done)]):
        sheet = f', sheet "{one.sheet}"' if one.sheet else ""
        who = ", ".join(filter(None, (one.who, one.when)))
        understood = f", {_in_words(one.understood)}" if one.understood not in ("", one.now) else ""
        what = f'"{one.typed}" is read as "{one.now}"{understood}'
        what = "the row is taken out" if one.state == TAKEN_OUT else what
        place = one.cell if one.cell and one.state != TAKEN_OUT else f"row {one.row}"
        yield _cut(f"  {one.file}{sheet}, {place}: {what} ({who}: {one.why})")


def _is_corrected(done: pd.DataFrame) -> pd.Series:
    return done["state"].isin(["corrected", TAKEN_OUT])


def _in_words(understood: str) -> str:
    """Return '1 September 2026' for '2026-09-01'; other values as they are."""
    return day(pd.Timestamp(understood)) if re.fullmatch(r"\d{4}-\d{2}-\d{2}", understood) else understood


def _cut(text: str, tail: str = "") -> str:
    return (text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…") + tail


def write(records: Records, out: Path, folder: Path, extra: Sequence[pd.DataFrame] = ()) -> Path:
    """Write findings.csv, set_aside.csv, accounts.csv and the mending list, findings.xlsx, into ``out``.

    Where words are unknown, words.csv lists them, to be filled in as the rescue's dictionary.

    Parameters
    ----------
    folder : Path
        Where the files of the records lie.
    extra : sequence of DataFrame
        Further tables, each named by ``attrs["title"]``: a sheet of the workbook and a CSV.
    """
    out.mkdir(parents=True, exist_ok=True)
    named = {"findings": records.findings, "set_aside": records.set_aside, "accounts": records.accounts}
    if len(records.words):
        named["words"] = records.words
    named |= {str(frame.attrs["title"]).replace(" ", "_"): frame for frame in extra}
    for name, frame in named.items():
        # The byte-order mark makes spreadsheets read the file as UTF-8.
        (out / f"{name}.csv").write_text("\ufeff" + csv_text(frame), encoding="utf-8", newline="\n")
    return write_mending_list(records, out / "findings.xlsx", folder, extra)
