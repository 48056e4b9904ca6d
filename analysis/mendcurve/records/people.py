"""Take people out of a sheet as it is read: columns about them, by heading and by content, and details in cells."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from mendcurve.records.folding import folded
from mendcurve.records.folding import heading as plain
from mendcurve.records.people_words import is_id_phone
from mendcurve.records.privacy import TELEPHONE, details_of, masked, safe_name
from mendcurve.records.schemas import TABLES
from mendcurve.records.sheets import Note, Sheet
from mendcurve.records.sources import Source
from mendcurve.records.words import Words, words_from, words_of

# A column that nothing reads is about people when this share of its distinct texts are details of them ...
SHARE = 0.5
# ... and they are at least this many: one animal called "Mary Jane" makes no column of people.
FEWEST = 2
# What any detail has: a sign of e-mail, two words, digits in groups, many digits, or a number beside a word.
_PLAIN_ID = r"^[A-Za-z]{0,6}[-_]?[0-9]{1,8}$"
_MAYBE = (
    r"@|[\[({ ]at[\])} ]|\pL\pM*[.,]?\s+\S|\+|\d[\s()./\x{2010}-\x{2014}-]+\d|\d{9}|^0\d{6}|\d\s+\pL|C/|"
    r"[\x{FF10}-\x{FF20}]"
)


@dataclass(slots=True)
class Stand:
    """What stands for people's details used as ids: the same words everywhere, and different for different people."""

    words: dict[str, str] = field(default_factory=dict)

    def of(self, text: str, kinds: Sequence[str]) -> str:
        """Return "[removed: a person's name 3]" for a text, always the same."""
        return self.words.setdefault(folded(text), f"[removed: {kinds[0]} {len(self.words) + 1}]")


def without_people(sheet: Sheet, sources: Iterable[Source], stand: Stand) -> Sheet:
    """Return ``sheet`` without people.

    Notes
    -----
    Dropped: a column whose heading holds a person's details, and one that no table reads of whose distinct texts at
    least half are e-mail addresses, telephone numbers, addresses or full names. Ids that are such details become
    numbered words, the same in every sheet. What details single cells of other unread columns hold is taken out. Dates,
    numbers and free text of read columns are left to their own parsing, which does the same. Initials and single given
    names are no details: they cannot be told from codes and animals' names.
    """
    read, ids = _read(sheet, sources)
    cells = sheet.cells
    people, changed = list(map(_safe_heading, sheet.people, range(1, len(sheet.people) + 1))), {}
    gone = []
    for heading in cells.columns:
        if masked(heading)[1]:
            gone.append(heading)
            people.append(_safe_heading(heading, len(people) + 1))
        elif heading not in read or heading in ids:
            column = words_of(cells[heading])
            kinds = _kinds(column.words, heading in ids)
            if heading not in read and _about_people(column.words, kinds):
                gone.append(heading)
                people.append(heading)
            elif kinds:
                take: Callable[[str], str] = _id_words(stand, kinds) if heading in ids else _taken_out
                clean = words_from(take(text) if text in kinds else text for text in column.words)
                changed[heading] = Words(clean.places[column.places], clean.words).series()
    if changed:
        cells = cells.assign(**changed)
    return replace(
        sheet,
        sheet=safe_name(sheet.sheet),
        file=safe_name(sheet.file),
        cells=cells.drop(columns=gone) if gone else cells,
        people=tuple(people),
        letters={h: letter for h, letter in sheet.letters.items() if h not in gone},
        notes=tuple(map(_safe_note, sheet.notes)),
    )


def _read(sheet: Sheet, sources: Iterable[Source]) -> tuple[set[str], set[str]]:
    """Return the headings some table reads, and those of them that are ids (or parts of ids)."""
    by_plain = {plain(h): h for h in sheet.cells.columns}
    read, ids = set(), set()
    for source in sources:
        for column in TABLES[source.table].columns:
            heading = by_plain.get(plain(source.columns.get(column.name, column.name)))
            if heading is not None:
                read.add(heading)
                ids |= {heading} if column.kind == "id" or column.name == "funder" else set()
        parts = {h for headings in source.id_from.values() for h in headings}
        for heading in (*parts, *source.only_where, *source.set_aside_where):
            if plain(heading) in by_plain:
                read.add(by_plain[plain(heading)])
                ids |= {by_plain[plain(heading)]} if heading in parts else set()
    return read | set(sheet.spread), ids


def _kinds(texts: np.ndarray, of_ids: bool) -> dict[str, list[str]]:
    """Return the texts that hold details, and which; of ids, those that are details beyond doubt."""
    words = pa.array(texts, type=pa.string(), from_pandas=True)
    # A million ids are looked at by these first.
    if of_ids:
        words = words.filter(pc.invert(pc.match_substring_regex(words, _PLAIN_ID)))
    maybe = words.filter(pc.match_substring_regex(words, _MAYBE)).to_pylist()
    found = {t: kinds for t in maybe if (kinds := details_of(t))}
    return {t: k for t, k in found.items() if k != [TELEPHONE] or is_id_phone(t)} if of_ids else found


def _about_people(texts: np.ndarray, kinds: Mapping[str, list[str]]) -> bool:
    filled = [text for text in texts if str(text).strip()]
    return len(kinds) >= min(FEWEST, len(filled)) and bool(kinds) and len(kinds) >= SHARE * len(filled)


def _taken_out(text: str) -> str:
    clean, kinds = masked(text)
    return clean if kinds else f"[removed: {details_of(text)[0]}]"


def _id_words(stand: Stand, kinds: Mapping[str, list[str]]) -> Callable[[str], str]:
    return lambda text: stand.of(text, kinds[text])


def _safe_heading(heading: str, number: int) -> str:
    kinds = masked(heading)[1]
    return f"heading {number} ({' and '.join(kinds)})" if kinds else heading


def _safe_note(note: Note) -> Note:
    return replace(note, value=masked(note.value)[0], rule=masked(note.rule)[0])
