"""Decisions to the sections of a proposed records.toml."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from mendcurve.records.connecting.assigning import Feed
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.evidence import currency
from mendcurve.records.connecting.joining import LOOKED_UP
from mendcurve.records.connecting.linking import headings_used
from mendcurve.records.connecting.splitting import plain_heading, split_heading
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.connecting.writing import Line, Section
from mendcurve.records.folding import heading as fold_heading
from mendcurve.records.schemas import TABLES
from mendcurve.records.sheets import named

if TYPE_CHECKING:
    from mendcurve.records.connecting.proposing import Told

_HEAD = (
    "What connect read out of this folder. Every line says why; look them through, correct what is wrong, and keep",
    'the file: it is read each time. A line that begins with "# ?" is a question. Where it holds a key, take "# ? "',
    "away to answer yes; else do what it says, or delete it.",
)
NO_INTAKES = (
    "No sheet was taken for intakes, the one table that is needed: a row for each animal that came, with its species, "
    "the day it came and how it came. Give such a sheet these headings, or name it under [tables.intakes]"
)
# What stands in a question about a key nothing decides, and what else may stand there.
_LIKELY = {
    "date_order": ("dmy", '"dmy" (day first) or "mdy" (month first)'),
    "unit": ("g", '"g", "kg", "oz" or "lb"'),
    "decimal": (".", '"." or ","'),
}
_MONEY = ("spending", "grants", "receipts")


def sections(told: Sequence[Told], feeds: Sequence[Feed], vocabulary: Vocabulary) -> list[Section]:
    """Return the sections in the order of the tables."""
    asked = () if any(feed.table == "intakes" for feed in feeds) else (Line(key="", doubts=(NO_INTAKES,)),)
    out = [Section(title="", above=_HEAD, lines=asked), _rescue(feeds), *(_files(told) if feeds else [])]
    many = {table for table, times in Counter(feed.table for feed in feeds).items() if times > 1}
    first: set[int] = set()
    for table in TABLES:
        for feed in feeds:
            if feed.table == table:
                out += _table(feed, feeds, vocabulary, many=table in many, first=id(feed.seen.look) not in first)
                first.add(id(feed.seen.look))
    return out


def _rescue(feeds: Sequence[Feed]) -> Section:
    above = 'name = "..." prints the name of the rescue on every report.'
    lines = []
    if any(feed.table in _MONEY for feed in feeds):
        found = currency(feeds)
        asked = (
            () if found.value or found.doubts else ('amounts are taken for "EUR"; write another code if they are not',)
        )
        lines = [_line("currency", Decision(value=found.value, reasons=found.reasons, doubts=(*found.doubts, *asked)))]
    return Section(title="[rescue]", above=(above,), lines=tuple(lines))


def _files(told: Sequence[Told]) -> list[Section]:
    """Return [files] ignore for files that hold nothing known, and comments for sheets that are not read."""
    by_file: dict[str, list[Told]] = {}
    for one in told:
        by_file.setdefault(one.look.file, []).append(one)
    ignored = [file for file, several in by_file.items() if all(one.taken.value == "unknown" for one in several)]
    above = [f"{one.look.where}: not read; {'; '.join(one.taken.reasons)}" for f in ignored for one in by_file[f]]
    out = [Section(title="[files]", above=tuple(above), lines=(Line(key="ignore", value=ignored),))] if ignored else []
    lines = tuple(
        Line(
            key="" if one.taken.value == "refused" else one.look.where,
            reasons=_plain_reasons(one),
            doubts=one.taken.doubts,
        )
        for one in told
        if not one.feeds and one.look.file not in ignored
    )
    return [*out, Section(title="", lines=lines)] if lines else out


def _plain_reasons(one: Told) -> tuple[str, ...]:
    if one.taken.value == LOOKED_UP:
        return one.taken.reasons
    return () if one.taken.doubts else ("not read", *one.taken.reasons)


def _table(feed: Feed, feeds: Sequence[Feed], vocabulary: Vocabulary, *, many: bool, first: bool) -> list[Section]:
    name = f"tables.{feed.table}"
    lines = _keys(feed, first=first) + (_unread(feed, feeds, vocabulary) if first else [])
    out = [Section(title=f"[[{name}]]" if many else f"[{name}]", lines=tuple(lines))]
    if feed.constant:
        out.append(Section(title=f"[{name}.constant]", lines=tuple(_line(c, d) for c, d in feed.constant.items())))
    columns = _columns(feed)
    if columns:
        out.append(Section(title=f"[{name}.columns]", lines=tuple(columns)))
    out += [Section(title=f"[{name}.codes.{column}]", lines=codes) for column, codes in feed.codes.items()]
    return out


def _keys(feed: Feed, *, first: bool) -> list[Line]:
    """Return the plain keys of a section."""
    look = feed.seen.look
    lines = [Line(key="file", value=look.file, reasons=feed.why.reasons, doubts=feed.why.doubts)]
    if look.name:
        lines.append(Line(key="sheet", value=look.name))
    if look.heading_row is not None:
        lines.append(Line(key="heading_row", value=look.heading_row, reasons=look.reasons[:2]))
    if first:
        lines += [Line(key="", doubts=(doubt,)) for doubt in look.doubts]
    for key, decided in feed.settings.items():
        if key in _LIKELY and not decided.value:
            above = (
                *decided.reasons,
                *decided.doubts,
                f"Take the mark away, and put in what is right: {_LIKELY[key][1]}.",
            )
            lines += [Line(key="", reasons=(said,)) for said in above]
            lines.append(Line(key=key, value=_LIKELY[key][0], question=True))
        else:
            lines.append(_line(key, decided))
    if feed.id_from:
        value = {column: list(d.value) for column, d in feed.id_from.items()}
        reasons = tuple(dict.fromkeys(r for d in feed.id_from.values() for r in d.reasons))
        doubts = tuple(dict.fromkeys(r for d in feed.id_from.values() for r in d.doubts))
        lines.append(Line(key="id_from", value=value, reasons=reasons, doubts=doubts))
    if feed.wide is not None and feed.wide.spec:
        lines.append(Line(key="wide", value=feed.wide.spec, reasons=feed.wide.reasons, doubts=feed.wide.doubts))
    return lines


def _line(key: str, decided: Decision) -> Line:
    value = decided.value if decided.value not in ("", [], ()) else None
    return Line(key=key, value=value, reasons=decided.reasons, doubts=decided.doubts)


def _columns(feed: Feed) -> list[Line]:
    """Return a line a column, in the order of the table; a heading that is ours but not meant is switched off."""
    present = list(feed.seen.sheet.cells.columns)
    lines = []
    for column in TABLES[feed.table].names:
        decided = feed.columns.get(column)
        if decided is not None:
            lines.append(_line(column, decided))
        elif column in feed.maybe:
            lines.append(replace(_line(column, feed.maybe[column]), question=True))
        elif column not in (*feed.constant, *feed.id_from) and named(present, column) and not _wide(feed, column):
            lines.append(Line(key=column, value="", reasons=("not of this table",)))
    return lines


def _wide(feed: Feed, column: str) -> bool:
    return feed.wide is not None and column in (feed.wide.spec.get("into"), feed.wide.spec.get("values"))


def _unread(feed: Feed, feeds: Sequence[Feed], vocabulary: Vocabulary) -> list[Line]:
    """Return the headings that no table reads: known ones as ``ignore``, others and people's as comments."""
    used = headings_used(feeds)[id(feed.seen.look)]
    known = set(vocabulary.unread) | {w for t in vocabulary.headings.values() for ws in t.values() for w in ws}
    rest = [h for h in feed.seen.sheet.cells.columns if h not in used and feed.seen.profiles[h].filled]
    ignored = [h for h in rest if {split_heading(h).plain, plain_heading(h)} & known or fold_heading(h) in known]
    unknown = [h for h in rest if h not in ignored]
    people = feed.seen.sheet.people
    lines = []
    if ignored:
        lines.append(Line(key="ignore", value=ignored, reasons=("known, and not needed here",)))
    if unknown:
        lines.append(Line(key="not read", reasons=(", ".join(f'"{h}"' for h in unknown),)))
    if people:
        shown = ", ".join(f'"{h}"' for h in people)
        lines.append(Line(key="people's details, dropped as they are read", reasons=(shown,)))
    return lines
