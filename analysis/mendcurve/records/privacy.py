"""People are not in the records: their columns are dropped, their details in free text are taken out."""

from __future__ import annotations

import re

import pandas as pd

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
_EMAIL = re.compile(r"[\w.+-]+\s*@\s*[\w-]+(?:\.[\w-]+)+")
_PHONE = re.compile(r"(?<![\w.,])(?:\+\d[\d ()./-]{6,}\d|\(?\d{2,5}\)?(?:[ ./-]+\d{2,5}){1,4}|\d{9,13})(?![\w,])")
_DATE_LIKE = re.compile(
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}(?:[T ]+\d{1,2}:\d{2}(?::\d{2})?)?|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}"
)
_STREET = re.compile(
    r"\b\d{1,5}[a-z]?,?\s+(?:[A-Z][\w'.-]*\s+){1,4}(?:Street|St|Avenue|Ave|Road|Rd|Lane|Ln|Drive|Dr|Close|Court|Ct|"
    r"Boulevard|Blvd|Crescent|Terrace|Gardens|Way|Square|Sq)\b\.?"
    r"|\b[A-Z]\w*(?:stra(?:ss|ß)e|str\.|weg|gasse|platz)\s+\d{1,4}[a-z]?\b"
    r"|\bP\.?\s?O\.?\s+Box\s+\d+",
    re.I,
)
_POSTCODE = re.compile(r"\b[A-Z]{1,2}\d[A-Z\d]?\s+\d[A-Z]{2}\b")
_QUICK = re.compile(r"@|\d")
KINDS = (("an e-mail address", _EMAIL), ("a postal address", _STREET), ("a postcode", _POSTCODE))


def about_a_person(heading: str) -> bool:
    """Whether a column of this heading looks like a person's details."""
    plain = fold_heading(heading)
    return plain in _PERSON_PHRASES or bool(_PERSON_WORDS.intersection(plain.split()))


def masked(text: str) -> tuple[str, list[str]]:
    """Return ``text`` with people's details taken out, and the kinds found.

    Notes
    -----
    Found: e-mail addresses; telephone numbers (a plus sign, or at least seven digits in groups, or nine in a row, and
    no date); street addresses; postcodes of two parts. A person's name in a sentence is not found.
    """
    if not _QUICK.search(text):
        return text, []
    found = []
    for kind, pattern in KINDS:
        text, times = pattern.subn(f"[removed: {kind}]", text)
        found += [kind] * bool(times)
    text, phones = _without_phones(text)
    return text, found + ["a telephone number"] * phones


def safe_name(name: str) -> str:
    """Return the name of a file or sheet as it may be shown: people's details taken out."""
    return masked(name)[0]


def _without_phones(text: str) -> tuple[str, bool]:
    dates = [match.span() for match in _DATE_LIKE.finditer(text)]
    out, last, found = [], 0, False
    for match in _PHONE.finditer(text):
        digits = sum(c.isdigit() for c in match[0])
        inside = any(start < match.end() and match.start() < end for start, end in dates)
        if digits >= 7 and not inside:
            out += [text[last : match.start()], "[removed: a telephone number]"]
            last, found = match.end(), True
    return "".join([*out, text[last:]]), found


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
