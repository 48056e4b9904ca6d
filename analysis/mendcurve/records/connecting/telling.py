"""What connect prints: for each file what it was taken for, why, what is in doubt, and what to run next."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from mendcurve.errors import InputError
from mendcurve.records.connecting.joining import LOOKED_UP
from mendcurve.records.connecting.proposing import Proposal, Told
from mendcurve.records.connecting.sections import NO_INTAKES
from mendcurve.records.connecting.writing import one_line
from mendcurve.records.privacy import masked
from mendcurve.records.records import Records

# Doubts shown of one feed; all of them stand in the file.
_MOST = 4
# What is said of a row whose stay or animal is not among the intakes.
_NO_INTAKE = r"must be one of intakes"


def lines_of(proposal: Proposal) -> list[str]:
    """Return what is said of each file and sheet."""
    out: list[str] = []
    for one in proposal.told:
        out += [_plain(line) for line in (*_of(one), "")]
    return out if "intakes" in proposal.tables else [*out, f"? {NO_INTAKES}.", ""]


def _plain(line: str) -> str:
    return masked(line.rstrip())[0]


def _of(one: Told) -> list[str]:
    if one.taken.value == "refused":
        return [*(one_line(doubt) for doubt in one.taken.doubts)]
    if one.taken.value == LOOKED_UP:
        return [f"{one.look.where}: {'; '.join(one.taken.reasons)}."]
    if not one.feeds:
        said = "; ".join((*one.taken.reasons, *one.taken.doubts)).rstrip(".")
        return [f"{one.look.where}: not read. {said[:1].upper()}{said[1:]}."]
    tables = [feed.table for feed in one.feeds]
    out = [f"{one.look.where}: {_listed(list(dict.fromkeys(tables)))}."]
    out.append(f"  Why: {'; '.join(one.taken.reasons)}.")
    out.append(f"  Seen: {', '.join(one.look.reasons)}.")
    if one.look.sheet is not None and one.look.sheet.people:
        shown = ", ".join(f'"{h}"' for h in one.look.sheet.people)
        out.append(f"  People's details, dropped as they are read: {shown}.")
    doubts = [*one.look.doubts, *one.taken.doubts, *_doubts(one)]
    out += [f"  ? {doubt}" for doubt in doubts[:_MOST]]
    if len(doubts) > _MOST:
        out.append(f'  ? and {len(doubts) - _MOST} more; they stand in the file as lines that begin with "# ?".')
    return out


def _doubts(one: Told) -> list[str]:
    out = []
    for feed in one.feeds:
        for column, maybe in feed.maybe.items():
            out.append(f'{feed.table}, {column}: is it "{maybe.value}"? {"; ".join(maybe.reasons)}')
        for named in (feed.columns, feed.constant, feed.settings, feed.id_from):
            out += [f"{feed.table}, {key}: {doubt}" for key, decided in named.items() for doubt in decided.doubts]
        out += list(feed.wide.doubts) if feed.wide else []
        for column, lines in feed.codes.items():
            asked = [line for line in lines if line.question]
            if asked:
                n = len(asked)
                out.append(f"{feed.table}, {column}: {n} word{'s' if n > 1 else ''} to answer, listed below")
    return [one_line(doubt) for doubt in dict.fromkeys(out)]


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def tried(records: Records) -> list[str]:
    """Return what reading with the proposal gives."""
    kept = {name: len(frame) for name, frame in records.tables.items() if len(frame)}
    out = ["Read with this proposal: " + (", ".join(f"{n} rows of {t}" for t, n in kept.items()) or "no row") + "."]
    if len(records.set_aside):
        tables, reasons = records.set_aside["table"], records.set_aside["reason"].astype(object)
        waiting = (tables != "intakes") & reasons.str.contains(_NO_INTAKE, regex=True)
        waiting &= bool((tables == "intakes").any())
        rules = reasons[~waiting].value_counts().head(3)
        out.append(f"{len(records.set_aside)} rows would be set aside, most of them because:")
        out += [_plain(f"  {rule} ({times} row{'s' if times > 1 else ''})") for rule, times in rules.items()]
        if waiting.any():
            out.append(
                f"  {int(waiting.sum())} of them belong to animals whose intake is set aside or is not there: those of "
                "the first kind are read when the intakes are"
            )
    return out


def not_tried(error: InputError) -> list[str]:
    """Return why reading with the proposal does not work yet."""
    return [
        "It cannot be read yet, until this is answered in the file:",
        *(f"  {line}" for line in str(error).splitlines()),
    ]


def next_steps(folder: Path, written: Path, questions: int, *, readable: bool) -> list[str]:
    """Return what to do next, as commands to copy."""
    shown = f'"{folder}"' if " " in str(folder) else str(folder)
    option = "" if written.name == "records.toml" and written.parent == folder else f" --settings {written}"
    out = []
    if questions:
        out.append(
            f"Next: open {written.name} in a text editor and answer its {questions} question"
            f'{"s" if questions > 1 else ""}, the lines that begin with "# ?".'
        )
    if not readable and not questions:
        out.append(f"Next: open {written.name} in a text editor and mend what is said above.")
    out += [
        f"Then:  mendcurve check {shown}{option}" if out else f"Next:  mendcurve check {shown}{option}",
        f"Then:  mendcurve report funder {shown}{option}",
    ]
    return out
