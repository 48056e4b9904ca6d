"""People are not in the records: their columns are dropped, their details in free text are taken out."""

from __future__ import annotations

import re

import pandas as pd

from mendcurve.records import people_words
from mendcurve.records.findings import CHANGED
from mendcurve.records.folding import heading as fold_heading
from mendcurve.records.parsing import Parsed, Trouble, by_unique

# Headings of a person's details. A heading counts when one of its words is here ("adopter", "owner phone").
_PERSON_WORDS = frozenset(
    (
        "phone",
        "telephone",
        "tel",
        "mobile",
        "fax",
        "email",
        "mail",
        "address",
        "street",
        "postcode",
        "zip",
        "zipcode",
        "town",
        "owner",
        "adopter",
        "surrenderer",
        "surrenderor",
        "donor",
        "finder",
        "fosterer",
        "keeper",
        "contact",
        "surname",
        "firstname",
        "lastname",
        "forename",
        "initials",
        "person",
        "volunteer",
        "handler",
    )
)
_PERSON_PHRASES = frozenset(
    (
        "name",
        "full name",
        "first name",
        "last name",
        "e mail",
        "adopted by",
        "surrendered by",
        "brought by",
        "brought in by",
        "found by",
        "donated by",
        "received from",
        "given by",
        "weighed by",
        "foster name",
        "foster home",
        "adopter name",
        "post code",
        "zip code",
        "id number",
        "date of birth of owner",
    )
)
_QUICK = re.compile(r"[@\d]|[\[({ ]at[\])} ]|(?<![A-ZÀ-ÖØ-ÞŁŚŻ])[A-ZÀ-ÖØ-ÞŁŚŻ][\w.’-]+\s+\S*[A-ZÀ-ÖØ-ÞŁŚŻ]", re.I)
_CAPITALS = re.compile(r"[A-ZÀ-ÖØ-ÞŁŚŻ]")
EMAIL, ADDRESS, POSTCODE = "an e-mail address", "a postal address", "a postcode"
TELEPHONE, NAME = "a telephone number", "a person's name"


_KINDS = ((EMAIL, (people_words.EMAIL,)), (ADDRESS, people_words.STREETS), (POSTCODE, people_words.POSTCODES))


def about_a_person(heading: str) -> bool:
    """Whether a column of this heading looks like a person's details."""
    plain = fold_heading(heading)
    return plain in _PERSON_PHRASES or bool(_PERSON_WORDS.intersection(plain.split()))


def masked(text: str, *, names: bool = True) -> tuple[str, list[str]]:
    """Return ``text`` with people's details taken out, and the kinds found.

    Parameters
    ----------
    names : bool
        Take out names, too; not where the rescue says who of its own has corrected something.

    Notes
    -----
    Found: e-mail addresses, also written with (at) and (dot); telephone numbers (by a plus sign, a leading 0, brackets,
    the groups of North America, nine digits in a row, or a word such as "call" before them; no date and no chip);
    streets with a number, boxes and postcodes of the United States, the United Kingdom and the continent; names after a
    title ("Mrs ..."), a common given name with a surname, and names that the words around them give away (see
    ``people_words.names_told``): "owner Kim", "rang Sue", "the Jones family". A given name, a surname or initials alone
    are not found: they cannot be told from animals' names and codes.
    """
    if not _QUICK.search(text):
        return text, []
    clean, found = people_words.plain(text), []
    for kind, patterns in _KINDS:
        for pattern in patterns:
            clean, times = pattern.subn(f"[removed: {kind}]", clean)
            found += [kind] * bool(times)
    for kind, take in ((TELEPHONE, _without_phones), *(((NAME, _without_names),) if names else ())):
        clean, some = take(clean)
        found += [kind] * some
    return (clean, list(dict.fromkeys(found))) if found else (text, [])


def _without_names(text: str) -> tuple[str, bool]:
    if not _CAPITALS.search(text):
        return text, False
    clean, times = people_words.TITLED.subn(f"[removed: {NAME}]", text)
    for start, end in reversed(people_words.names_told(clean)):
        clean, times = f"{clean[:start]}[removed: {NAME}]{clean[end:]}", times + 1
    out, last = [], 0
    for match in people_words.PAIR.finditer(clean):
        if people_words.is_given(match[1]) and people_words.is_surname(match[2]):
            out += [clean[last : match.start()], f"[removed: {NAME}]"]
            last = match.end()
    return "".join([*out, clean[last:]]), bool(times or out)


def details_of(cell: str) -> list[str]:
    """Return the kinds of people's details in a whole cell, which may be a name or a number by itself."""
    kinds = masked(cell)[1]
    if not kinds and people_words.is_phone(cell):
        kinds = [TELEPHONE]
    if not kinds and people_words.is_name(cell):
        kinds = [NAME]
    return kinds


def safe_name(name: str) -> str:
    """Return the name of a file or sheet as it may be shown: people's details taken out."""
    return masked(name)[0]


def _without_phones(text: str) -> tuple[str, bool]:
    dates = [match.span() for match in people_words.DATE_LIKE.finditer(text)]
    spans = [match.span() for match in people_words.PHONE.finditer(text) if not _of_a_chip(text, match.start())]
    spans += [match.span(1) for match in people_words.CALLED.finditer(text)]
    out, last = [], 0
    for start, end in sorted(spans):
        digits = sum(c.isdigit() for c in text[start:end])
        inside = any(a < end and start < b for a, b in dates)
        if digits >= 7 and not inside and start >= last:
            out += [text[last:start], f"[removed: {TELEPHONE}]"]
            last = end
    return "".join([*out, text[last:]]), bool(out)


def _of_a_chip(text: str, at: int) -> bool:
    return bool(people_words.CHIP.search(text[max(at - 24, 0) : at]))


def parse_free_text(text: pd.Series) -> Parsed:
    """Parse a column of free text: trimmed, people's details taken out and reported."""
    return by_unique(text, free_text)


def free_text(text: str) -> tuple[str, Trouble | None]:
    """Return one free text, trimmed, without people's details; and the trouble if it had any."""
    clean, found = masked(text)
    trouble = (
        Trouble(
            f"free text must not hold people's details; {' and '.join(found)} was taken out",
            "Delete it in the file, and keep people's details elsewhere.",
            CHANGED,
        )
        if found
        else None
    )
    return clean.strip(), trouble
