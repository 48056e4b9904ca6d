"""Numbers as people type them: units, thousands, decimal commas, pounds and ounces, money."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from functools import partial

import pandas as pd

from mendcurve.records.findings import CHANGED, DOUBTFUL
from mendcurve.records.folding import folded
from mendcurve.records.parsing import Parsed, Trouble, by_unique, unique_texts

UNITS = {
    **dict.fromkeys(("g", "gr", "gm", "gms", "gram", "grams", "gramm"), "g"),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"), "kg"),
    **dict.fromkeys(("oz", "ozs", "ounce", "ounces"), "oz"),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
}
_SCALES = {  # what a unit in the cell multiplies by, by the unit the column is kept in
    "g": {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237},
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4},
    "hours": {**dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 1.0), **dict.fromkeys(("d", "day", "days"), 24.0)},
    "days": {**dict.fromkeys(("d", "day", "days"), 1.0), **dict.fromkeys(("w", "week", "weeks"), 7.0)},
    "minutes": dict.fromkeys(("min", "mins", "minute", "minutes"), 1.0),
}
_NUMBER = re.compile(
    r"(?P<about>~|c\.?a\.? |about |approx\.? )?\s*(?P<sign>[+\-]?)\s*(?P<digits>\d[\d.,' ]*|[.,]\d+)"
    r"\s*(?P<unit>[a-z\"]*)\.?",
    re.I,
)
_POUNDS = re.compile(r"(?P<lb>\d+)\s*(?:lbs?|pounds?)\.?[ ,]*(?P<oz>\d+(?:\.\d+)?)\s*(?:ozs?|ounces?)\.?", re.I)
_SEXES = re.compile(r"(\d+)\.(\d+)(?:\.(\d+))?(?:\.\d+)?")  # males.females.unknown.eggs; eggs are not animals
_THOUSANDS = {",": re.compile(r"\d{1,3}(?:,\d{3})+"), ".": re.compile(r"\d{1,3}(?:\.\d{3})+")}
_CURRENCY = re.compile(r"[$€£¥]|\b[a-z]{3}\b|kr\.?|zł", re.I)
_WHAT = "Write the number alone, with a point for decimals, and leave the cell empty if it is not known."


def decimal_sign(text: pd.Series, declared: str = "") -> str:
    """Return "." or "," where the column is declared or proves which sign marks decimals, else "".

    Notes
    -----
    Proof: both signs in one number (the last marks decimals); a sign followed by other than three digits; a leading
    0 before the sign. A column that proves both proves none.
    """
    if declared:
        return declared
    proofs = set()
    for word in unique_texts(text):
        match = re.search(r"\d[\d.,]*", word)
        digits = match[0] if match else ""
        if "," in digits and "." in digits:
            proofs.add("," if digits.rfind(",") > digits.rfind(".") else ".")
            continue
        for sign in ",.":
            if digits.count(sign) == 1:
                whole, part = digits.split(sign)
                if part and (len(part) != 3 or whole in ("", "0") or len(whole) > 3):
                    proofs.add(sign)
    return proofs.pop() if len(proofs) == 1 else ""


def parse_numbers(text: pd.Series, *, unit: str = "", decimal: str = "", low: float | None = None) -> Parsed:
    """Parse a column of numbers; values are floats in ``unit`` (a cell's own unit is converted to it)."""
    sign = decimal_sign(text, decimal)
    return by_unique(text, partial(_number, unit=unit, decimal=sign, low=low))


def parse_counts(text: pd.Series, *, low: float | None = None, unit: str = "") -> Parsed:
    """Parse a column of whole numbers; "1.2.3" (males.females.unknown) is a group of six."""
    return by_unique(text, partial(_count, low=low, unit=unit))


def parse_money(text: pd.Series, *, decimal: str = "") -> Parsed:
    """Parse amounts; values are exact Decimals. Parentheses and a trailing minus mean below zero."""
    return by_unique(text, partial(_money, decimal=decimal_sign(text, decimal)))


def parse_weights(text: pd.Series, *, decimal: str = "") -> Parsed:
    """Parse weights; values are ``(number, unit)``, unit "" where the cell names none."""
    return by_unique(text, partial(_weight, decimal=decimal_sign(text, decimal)))


def _weight(text: str, *, decimal: str) -> tuple[tuple[float, str] | None, Trouble | None]:
    word = folded(text)
    pounds = _POUNDS.fullmatch(word)
    if pounds:
        return (int(pounds["lb"]) + float(pounds["oz"]) / 16, "lb"), None
    match = _NUMBER.fullmatch(word)
    unit = UNITS.get(match["unit"], "") if match else ""
    if match is None or (match["unit"] and not unit):
        return None, Trouble("a weight must be a number, with a unit if any of g, kg, oz, lb", _WHAT)
    value, trouble = _value(match, decimal)
    if value is None:
        return None, trouble
    if value <= 0:
        return None, Trouble("a weight must be more than 0", "Correct it, or leave the cell empty.")
    return (float(value), unit), trouble


def _number(text: str, *, unit: str, decimal: str, low: float | None) -> tuple[float | None, Trouble | None]:
    word = folded(text)
    match = _NUMBER.fullmatch(word)
    scale = _SCALES.get(unit, {}).get(match["unit"]) if match and match["unit"] else 1.0
    if match is None or scale is None:
        inside = f" of {unit}" if unit else ""
        return None, Trouble(f"this must be a number{inside}", _WHAT)
    value, trouble = _value(match, decimal)
    if value is None:
        return None, trouble
    number = float(value) * scale
    if low is not None and number < low:
        return None, Trouble(f"this must be {low:g} or more", "Correct it, or leave the cell empty.")
    return number, trouble


def _count(text: str, *, low: float | None, unit: str) -> tuple[int | None, Trouble | None]:
    word = folded(text)
    sexes = _SEXES.fullmatch(word)
    bare = word.removesuffix(unit).strip() if unit else word
    if sexes and unit == "animals":
        number = sum(int(part) for part in sexes.groups() if part)
    elif re.fullmatch(r"[+-]?\d+(?:[.,]0+)?", bare):
        number = int(re.split("[.,]", bare)[0])
    else:
        return None, Trouble("this must be a whole number", "Write the number alone, such as 3.")
    if low is not None and number < low:
        return None, Trouble(f"this must be {low:g} or more", "Correct it, or leave the cell empty.")
    return number, None


def _money(text: str, *, decimal: str) -> tuple[Decimal | None, Trouble | None]:
    word = folded(text)
    minus = (word.startswith("(") and word.endswith(")")) or word.endswith("-")
    match = _NUMBER.fullmatch(_CURRENCY.sub("", word.strip("()").rstrip("-")).strip())
    if match is None or match["unit"] or match["about"]:
        return None, Trouble("an amount of money must be a number", _WHAT)
    # An amount has no three decimals: a single sign before three digits marks thousands.
    grouped = decimal or ("." if re.fullmatch(r"\d{1,3}(,\d{3})+", match["digits"].strip()) else "")
    value, trouble = _value(match, grouped)
    if value is None:
        return None, trouble
    return (-value if minus else value), trouble


def _value(match: re.Match[str], decimal: str) -> tuple[Decimal | None, Trouble | None]:
    digits = match["digits"].replace(" ", "").replace("'", "")
    sign = decimal
    if not sign:
        if "," in digits and "." in digits:
            sign = "," if digits.rfind(",") > digits.rfind(".") else "."
        elif "," in digits and _THOUSANDS[","].fullmatch(digits) and not digits.startswith("0"):
            return None, Trouble(
                "this number can be read in two ways: its comma may mark thousands or decimals",
                'In records.toml, under the table, write decimal = "." (a point marks decimals) or decimal = ",".',
            )
        else:
            sign = "," if digits.count(",") == 1 else "."
    other = "," if sign == "." else "."
    if other in digits and not _grouped(digits, sign, other):
        return None, Trouble(f'decimals are marked by "{sign}" here, which this number does not fit', _WHAT)
    try:
        value = Decimal(digits.replace(other, "").replace(sign, "."))
    except InvalidOperation:
        return None, Trouble("this must be a number", _WHAT)
    about = Trouble("this number is said to be about right only", "Weigh or count again if you can.", DOUBTFUL)
    return (-value if match["sign"] == "-" else value), about if match["about"] else None


def _grouped(digits: str, sign: str, other: str) -> bool:
    return _THOUSANDS[other].fullmatch(digits.split(sign)[0]) is not None


def conflict(cell: str, column: str) -> Trouble:
    """Return the trouble of a weight whose cell names another unit than its unit column."""
    return Trouble(
        f"the weight names {cell}, its unit column {column}; the weight's own unit is used",
        "Correct one of them.",
        CHANGED,
    )
