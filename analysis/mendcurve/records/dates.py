"""The one date parser: ISO is always ISO, the order of day and month is declared or proved, never guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import partial

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.findings import CHANGED, DOUBTFUL
from mendcurve.records.folding import folded
from mendcurve.records.parsing import NOTHING_WRITTEN, Parsed, Trouble, by_unique, nothing_written

_TIME = (
    r"(?:[T ,]+(?P<time>\d{1,2}[:.]\d{2}(?:[:.]\d{2}(?:\.\d+)?)?\s*(?:[ap]\.?m\.?)?|\d{1,2}\s*[ap]\.?m\.?)"
    r"(?:\s*(?:hrs?|h|uhr))?\s*(?P<zone>Z|UTC|GMT|BST|CES?T|[ECMP][SD]T|[+-]\d{2}:?\d{2})?)?"
)
_ISO = re.compile(r"(?P<y>\d{4})(?P<sep>[-/.])(?P<m>\d{1,2})(?P=sep)(?P<d>\d{1,2})" + _TIME, re.I)
_COMPACT = re.compile(r"(?P<y>(?:19|20)\d{2})(?P<m>\d{2})(?P<d>\d{2})" + _TIME, re.I)
_NUMERIC = re.compile(r"(?P<a>\d{1,2})(?P<sep>[-/. ])(?P<b>\d{1,2})(?P=sep)(?P<c>\d{4}|\d{2})" + _TIME, re.I)
_WORDS_DMY = re.compile(
    r"(?:[a-z]{3,9}\.?,?\s+)?(?P<d>\d{1,2})(?:st|nd|rd|th)?[-/. ]*(?:of )?"
    r"(?P<mon>[a-z]{3,9})\.?[-/., ]*(?P<y>\d{4}|\d{2})" + _TIME,
    re.I,
)
_WORDS_MDY = re.compile(
    r"(?P<mon>[a-z]{3,9})\.?[-/ ]*(?P<d>\d{1,2})(?:st|nd|rd|th)?,?[-/ ]+(?P<y>\d{4}|\d{2})" + _TIME, re.I
)
_YEAR_MONTH = re.compile(r"(?P<y>\d{4})[-/. ]+(?P<m>\d{1,2}|[a-z]{3,9})\.?", re.I)
_MONTH_YEAR = re.compile(r"(?P<m>\d{1,2}|[a-z]{3,9})\.?(?:[-/,. ]+| of )(?P<y>\d{4})", re.I)
_MONTH_NUMBER = re.compile(r"(?P<m>[a-z]{3,9})\.?[-/ ']+(?P<n>\d{2})", re.I)
_MIDDLE = 15
_SERIAL = re.compile(r"\d{5}(?:\.\d+)?")
_MONTHS = {
    name[:3]: number
    for number, name in enumerate(
        (
            "january",
            "february",
            "march",
            "april",
            "may",
            "june",
            "july",
            "august",
            "september",
            "october",
            "november",
            "december",
        ),
        start=1,
    )
}
# Day 0 of the two epochs a workbook can have. 1900 books count a 29 February 1900 that never was; hence 30 December.
EPOCH_1900 = datetime(1899, 12, 30)
EPOCH_1904 = datetime(1904, 1, 1)
_UNSURE = Trouble("this date has a question mark behind it", "Correct it, or take the mark away.", DOUBTFUL)
_SERIALS = (20000, 80000)  # 1954 to 2119
# How the rule of a date without a day begins.
MONTH_ONLY = "a date must name a day; only the month is given"
ORDERS = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}


def order_of(
    columns: Mapping[str, tuple[pd.Series, pd.Series]],
    declared: str,
    where: str,
    beside: Mapping[str, tuple[pd.Series, pd.Series]] | None = None,
) -> str:
    """Return the order of day and month in numeric dates of one sheet.

    Parameters
    ----------
    columns : mapping of heading to (text, row numbers)
    declared : str
        "dmy", "mdy", "ymd", or "" to have the sheet prove it (a day above 12).
    where : str
        File and sheet, for the message.
    beside : mapping of heading to (text, row numbers), optional
        The sheet's other columns. They are asked only where ``columns`` could be read either way, and speak only by
        dates with a year of four digits.

    Raises
    ------
    InputError
        If nothing declares it and the dates could be read either way, or prove both.
    """
    if declared:
        return declared
    proof, open_question = _proof(columns)
    if not proof and open_question and beside:
        other, _ = _proof(beside, digits=4)
        proof = other if len(other) == 1 else {}
    if len(proof) == 2:
        raise InputError(
            f"{where}: some dates have the day first and others the month first.",
            [f"{ORDERS[o]}: {told}" for o, told in proof.items()],
            _ask("dmy") + " Rows that do not fit will then be set aside and listed.",
        )
    if not proof and open_question:
        raise InputError(
            f"{where}: day/month order unknown. Every date could have the day or the month first.",
            open_question[:3],
            _ask("dmy"),
        )
    return next(iter(proof), "dmy")


def _proof(columns: Mapping[str, tuple[pd.Series, pd.Series]], digits: int = 2) -> tuple[dict[str, str], list[str]]:
    """Return where each order is proved, and the dates that could be read either way."""
    proof: dict[str, str] = {}
    open_question: list[str] = []
    for heading, (text, rows) in columns.items():
        first = ~text.duplicated()
        for word, row in zip(text[first], rows[first], strict=True):
            match = _NUMERIC.fullmatch(word.strip().removesuffix("?"))
            if not match or len(match["c"]) < digits:
                continue
            a, b = int(match["a"]), int(match["b"])
            told = f'row {row}, column "{heading}": {word.strip()}'
            if a > 12 >= b:
                proof.setdefault("dmy", told)
            elif b > 12 >= a:
                proof.setdefault("mdy", told)
            elif a != b:
                open_question.append(told)
    return proof, open_question


def _ask(order: str) -> str:
    return (
        f'In records.toml, under [rescue], write date_order = "{order}" (day first) or "mdy" (month first); or '
        "under the table, if only this file has it."
    )


def parse_dates(text: pd.Series, order: str, *, epoch: datetime = EPOCH_1900, order_shown: str = "") -> Parsed:
    """Parse a column of text; values are ``(datetime, hour written down)``.

    Notes
    -----
    Year first is always year, month, day. A bare number from 20000 to 79999 is a spreadsheet's day number, converted
    by ``epoch`` and reported. Years of two digits: 69 and below are 20xx. A time zone is passed over and reported.
    A month without a day is its 15th, and doubtful; so is a date with a question mark behind it.
    """
    return by_unique(text, partial(_parse, order=order, epoch=epoch, proof=order_shown))


def _parse(
    text: str, *, order: str, epoch: datetime, proof: str
) -> tuple[tuple[datetime, bool] | None, Trouble | None]:
    word = folded(text)
    if nothing_written(word):
        return None, NOTHING_WRITTEN
    if word.endswith("?"):
        found, trouble = _parse(word.rstrip("? "), order=order, epoch=epoch, proof=proof)
        return found, _UNSURE if found and trouble is None else trouble
    parts = _iso_or_words(word) or _numeric(word, order)
    if parts is None:
        return _month_only(word) or _serial(word, epoch)
    year, month, day, match = parts
    try:
        value = datetime(year, month, day)
    except ValueError:
        return None, _not_in(word, order, proof)
    if not 1900 <= year <= 2100:
        return None, Trouble("a date must lie between 1900 and 2100", "Correct the year.")
    return _with_time(value, match)


def _iso_or_words(word: str) -> tuple[int, int, int, re.Match[str]] | None:
    match = _ISO.fullmatch(word) or _COMPACT.fullmatch(word)
    if match:
        return int(match["y"]), int(match["m"]), int(match["d"]), match
    match = _WORDS_DMY.fullmatch(word) or _WORDS_MDY.fullmatch(word)
    month = _MONTHS.get(match["mon"][:3].lower()) if match else None
    return (_year(match["y"]), month, int(match["d"]), match) if match and month else None


def _numeric(word: str, order: str) -> tuple[int, int, int, re.Match[str]] | None:
    match = _NUMERIC.fullmatch(word)
    if not match:
        return None
    a, b, c = match["a"], match["b"], match["c"]
    if order == "ymd" and len(c) == 2:
        return _year(a), int(b), int(c), match
    return (_year(c), int(b), int(a), match) if order == "dmy" else (_year(c), int(a), int(b), match)


def _year(text: str) -> int:
    number = int(text)
    if len(text) > 2:
        return number
    return 2000 + number if number <= 69 else 1900 + number


def _month_only(word: str) -> tuple[tuple[datetime, bool] | None, Trouble | None] | None:
    match = _YEAR_MONTH.fullmatch(word) or _MONTH_YEAR.fullmatch(word)
    month = _month(match["m"]) if match else 0
    if match and month and 1900 <= int(match["y"]) <= 2100:
        value = datetime(int(match["y"]), month, _MIDDLE)
        return (value, False), Trouble(
            f"{MONTH_ONLY}, and its middle ({value:%Y-%m-%d}) is taken",
            "Write the day, if it is known.",
            DOUBTFUL,
        )
    bare = _MONTH_NUMBER.fullmatch(word)
    if bare and _month(bare["m"]):
        return None, Trouble(
            f"a date must name a day, a month and a year; {bare['n']} may be the day or the year here",
            "Write it as 2024-03-31, or as 2024-03 if the day is not known.",
        )
    return None


def _month(text: str) -> int:
    number = int(text) if text.isdecimal() else _MONTHS.get(text[:3].lower(), 0)
    return number if number <= 12 else 0


def _serial(word: str, epoch: datetime) -> tuple[tuple[datetime, bool] | None, Trouble | None]:
    if _SERIAL.fullmatch(word) and _SERIALS[0] <= float(word) < _SERIALS[1]:
        # Rounded to seconds: the fraction of a day is a binary number.
        value = epoch + timedelta(seconds=round(float(word) * 86400))
        return (value, "." in word and float(word) % 1 > 0), Trouble(
            f"a date must be written as a date; this is a spreadsheet's day number, read as {value:%Y-%m-%d}",
            "Check it, and format the column as a date.",
            CHANGED,
        )
    return None, Trouble(
        "a date must name a day, a month and a year",
        "Write it as 2024-03-31, and leave the cell empty if it is not known.",
    )


def _not_in(word: str, order: str, proof: str) -> Trouble:
    shown = f" ({proof})" if proof and proof != ORDERS[order] else ""
    return Trouble(
        f"a date must exist; dates here are read with {ORDERS[order]}{shown}",
        "Correct the date, or write it as 2024-03-31.",
    )


def _with_time(value: datetime, match: re.Match[str]) -> tuple[tuple[datetime, bool] | None, Trouble | None]:
    if not match["time"]:
        return (value, False), None
    clock = re.fullmatch(
        r"(\d{1,2})(?:[:.](\d{2}))?(?:[:.](\d{2}))?(?:\.\d+)?\s*(?:([ap])\.?m\.?)?", match["time"].lower()
    )
    if not clock:
        return None, Trouble("a time must be hours and minutes", "Write it as 08:30.")
    hour, minute, second, half = int(clock[1]), int(clock[2] or 0), int(clock[3] or 0), clock[4]
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 23 or minute > 59 or second > 59:
        return None, Trouble("a time must be hours and minutes of one day", "Write it as 08:30.")
    zone = Trouble("a time is read as the clock on the wall; its time zone is passed over", "Check the hour.", CHANGED)
    return (value.replace(hour=hour, minute=minute, second=second), True), zone if match["zone"] else None
