"""A heading taken apart: the plain words, and the unit, order of dates or note written with them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from mendcurve.records.folding import folded
from mendcurve.records.numbers import UNITS

# In brackets any of these is a unit; without brackets only those that are no everyday word.
_LENGTHS = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("inch", "inches"), "in"),
}
_TIMES = {
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "hours"),
    **dict.fromkeys(("d", "day", "days"), "days"),
    **dict.fromkeys(("w", "week", "weeks"), "weeks"),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), "minutes"),
}
_MONEY = {sign: sign for sign in "$€£¥"} | {code: code.upper() for code in ("usd", "eur", "gbp", "aud", "cad", "chf")}
_SIGNS = frozenset("$€£¥")
_BARE = {**UNITS, **_LENGTHS, **_MONEY}
_BRACKETED = {**_BARE, **_TIMES, "in": "in", '"': "in", "m": "m"}
_BRACKETS = re.compile(r"[(\[{<]([^()\[\]{}<>]*)[)\]}>]?")
_ORDER_PARTS = re.compile(r"([a-z]+)[-/. ,]+([a-z]+)(?:[-/. ,]+([a-z]+))?")
_ORDER_WORDS = {"day first": "dmy", "month first": "mdy", "year first": "ymd"}


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadingParts:
    """A heading taken apart.

    Attributes
    ----------
    whole : str
        All its words, as vocabularies hold headings.
    plain : str
        The words without unit, order of dates and note.
    unit : str
        "g", "kg", "oz", "lb", "mm", "cm", "in", "m", "hours", "days", "weeks", "minutes", a currency, or "".
    order : str
        "dmy", "mdy", "ymd", or "" where the heading says nothing.
    note : str
        Whatever else stands in brackets, folded.
    """

    whole: str
    plain: str
    unit: str = ""
    order: str = ""
    note: str = ""


def plain_heading(text: str) -> str:
    """Return a heading as words: folded, "#" as "no", "&" as "and", all other signs as spaces."""
    words = folded(text).replace("#", " no ").replace("&", " and ")
    return " ".join(re.sub(r"[^\w']+|_", " ", words).split())


def split_heading(text: str) -> HeadingParts:
    """Take a heading apart: "Date in (dd/mm/yy)" is "date in" and the order dmy, "Wt. g" is "wt" in g.

    Notes
    -----
    A unit of weight, length or money counts at the end without brackets, after "in" too ("weight in grams"); a unit
    of time only in brackets or after "in", since "days" is an everyday word. "in" alone is no unit: "date in".
    """
    word = folded(text)
    unit = order = ""
    notes: list[str] = []
    for inside in (part.strip() for text in _BRACKETS.findall(word) for part in re.split("[,;]", text)):
        found_order, found_unit = _order(inside), _unit(inside.removeprefix("in "), bracketed=True)
        if found_order and not order:
            order = found_order
        elif found_unit and not unit:
            unit = found_unit
        elif inside:
            notes.append(inside)
    rest = _BRACKETS.sub(" ", word).strip(" :*") or word
    if not order:
        rest, order = _trailing_order(rest)
    if not unit:
        rest, unit = _trailing_unit(rest)
    plain = plain_heading(rest)
    if word in _SIGNS:  # a heading that is nothing but the sign of a currency
        plain, unit = "amount", _MONEY[word]
    return HeadingParts(
        whole=plain_heading(word), plain=plain or plain_heading(word), unit=unit, order=order, note="; ".join(notes)
    )


def _unit(word: str, *, bracketed: bool) -> str:
    return (_BRACKETED if bracketed else _BARE).get(word.rstrip("."), "")


def _trailing_unit(rest: str) -> tuple[str, str]:
    match = re.fullmatch(r"(.*?\S)(?:[\s_,;:/-]+|\s*(?=[$€£¥]))(in[\s_]+)?([^\s_,;:/-]+)", rest)
    if match is None:
        return rest, ""
    unit = _unit(match[3], bracketed=bool(match[2]) and match[3] not in ("in", "m", "d", "h", "w"))
    return (match[1], unit) if unit else (rest, "")


def _trailing_order(rest: str) -> tuple[str, str]:
    match = re.fullmatch(r"(.*?\S)[\s,;:-]+(\S*[a-z][-/.][a-z]\S*)", rest)
    order = _order(match[2]) if match else ""
    return (match[1], order) if match and order else (rest, "")


def _order(text: str) -> str:
    """Return the order that letters such as dd/mm/yyyy, TT.MM.JJJJ or JJ/MM/AAAA spell, or ""."""
    if text in _ORDER_WORDS:
        return _ORDER_WORDS[text]
    match = _ORDER_PARTS.fullmatch(text)
    parts = [part for part in match.groups() if part] if match else []
    if any(len(set(part)) > 1 and part not in ("day", "month", "year") for part in parts):
        return ""
    letters = "".join(part[0] for part in parts)
    # J is the year beside a T (Tag, Jahr) and the day beside an A (jour, annee).
    letters = letters.replace("t", "d").replace("j", "d" if "a" in letters else "y").replace("a", "y")
    if len(letters) == 2 and set(letters) == {"d", "m"}:
        letters += "y"
    return letters if letters in ("dmy", "mdy", "ymd") else ""
