"""Numbers as people type them: units, thousands, decimal commas, pounds and ounces, money."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from functools import partial

import pandas as pd

from mendcurve.records.findings import CHANGED, DOUBTFUL
from mendcurve.records.folding import folded
from mendcurve.records.parsing import NOTHING_WRITTEN, TAKEN, Parsed, Trouble, by_unique, nothing_written, unique_texts

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
    r"\s*(?P<unit>[a-z\"]*)\.?(?P<unsure>\s*\?)?",
    re.I,
)
_POUNDS = re.compile(r"(?P<lb>\d+)\s*(?:lbs?|pounds?)\.?[ ,]*(?P<oz>\d+(?:\.\d+)?)\s*(?:ozs?|ounces?)\.?", re.I)
_KILOS = re.compile(r"(?P<kg>\d+)\s*(?:kgs?|kilos?)\.?[ ,]*(?P<g>\d{1,3})\s*(?:g|gr|gms?|grams?)\.?", re.I)
_RANGE = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z]*)\s*(?:-|to)\s*(\d+(?:[.,]\d+)?)\s*([a-z]*)\.?", re.I)
_MOST_DIGITS = 12  # beyond it sums lose their pence
_WIDEST = 1.5  # "1-12" of pounds may be 1 lb 12 oz: a weight's range is read only where its ends are near each other
# What a spreadsheet makes of 1.2.3 or 2-3.
_TURNED = re.compile(
    r"\d{4}-\d\d-\d\d(?: .*)?|\d{1,2}[-/.][a-z]{3}(?:[-/.]\d{2,4})?|[a-z]{3}-\d{2}|\d{1,2}/\d{1,2}/\d{2,4}"
)
_SEXES = re.compile(r"(\d+)\.(\d+)(?:\.(\d+))?(?:\.\d+)?")  # males.females.unknown.eggs; eggs are not animals
_THOUSANDS = {",": re.compile(r"\d{1,3}(?:,\d{3})+"), ".": re.compile(r"\d{1,3}(?:\.\d{3})+")}
# Spaces and marks set thousands apart and nothing else: "412 55" may be two numbers.
_APART, _IN_THREES = re.compile("[ ']"), re.compile(r"\d{1,3}(?:[ ']\d{3})+(?:[.,]\d*)?")
_CURRENCY = re.compile(r"[$€£¥]|\b[a-z]{3}\b|kr\.?|zł", re.I)
_ABOUT = Trouble("this number is said to be about right only", "Weigh or count again if you can.", DOUBTFUL)
_WAS_TURNED = Trouble(
    "this must be a whole number; a spreadsheet has probably turned it into a date, and it is read as empty",
    "Format the column as text, then write the number again (1.2.3 for a group by sex).",
    DOUBTFUL,
)
_WHAT = "Write the number alone, with a point for decimals, and leave the cell empty if it is not known."
_BELOW_ZERO = "Nothing, if it is money that came back. If it was paid, write the amount without the sign."
_BRACKETS = Trouble("an amount in brackets, which is read as below zero", _BELOW_ZERO, TAKEN)
_MINUS_BEHIND = Trouble("an amount with a minus behind it, which is read as below zero", _BELOW_ZERO, TAKEN)
_GRAINS = Trouble(
    "a weight in gr, which is read as grams", "Nothing, if these are grams. If they are grains, write grams.", TAKEN
)
_TOO_LARGE = Trouble("this number is too large to be true", _WHAT)
_TWO_NUMBERS = Trouble("one cell must hold one number; a space in it may only set thousands apart", _WHAT)
# Python refuses to make a number of thousands of figures.
_ENDLESS = re.compile(r"\d{500}")


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


def parse_numbers(
    text: pd.Series, *, unit: str = "", decimal: str = "", low: float | None = None, high: float | None = None
) -> Parsed:
    """Parse a column of numbers; values are floats in ``unit`` (a cell's own unit is converted to it).

    A range gives its middle, which is doubtful.
    """
    sign = decimal_sign(text, decimal)
    return by_unique(text, partial(_number, unit=unit, decimal=sign, low=low, high=high))


def parse_counts(text: pd.Series, *, low: float | None = None, high: float | None = None, unit: str = "") -> Parsed:
    """Parse a column of whole numbers; "1.2.3" (males.females.unknown) is a group of six.

    A range gives its smaller number, which is doubtful: no more are certain.
    """
    return by_unique(text, partial(_count, low=low, high=high, unit=unit))


def parse_money(text: pd.Series, *, decimal: str = "") -> Parsed:
    """Parse amounts; values are exact Decimals. Parentheses and a trailing minus mean below zero."""
    return by_unique(text, partial(_money, decimal=decimal_sign(text, decimal)))


def parse_weights(text: pd.Series, *, decimal: str = "") -> Parsed:
    """Parse weights; values are ``(number, unit)``, unit "" where the cell names none."""
    return by_unique(text, partial(_weight, decimal=decimal_sign(text, decimal)))


def _weight(text: str, *, decimal: str) -> tuple[tuple[float, str] | None, Trouble | None]:
    word = folded(text)
    if nothing_written(word):
        return None, NOTHING_WRITTEN
    if _ENDLESS.search(word):
        return None, _TOO_LARGE
    pounds, kilos = _POUNDS.fullmatch(word), _KILOS.fullmatch(word)
    if pounds:
        return (int(pounds["lb"]) + float(pounds["oz"]) / 16, "lb"), None
    if kilos:
        return (float(kilos["kg"]) + float(kilos["g"]) / 1000, "kg"), None
    ends = _ends(word)
    if ends:
        (low, _), (high, _) = (_weight(end, decimal=decimal) for end in ends)
        if low and high and low[1] == high[1] and low[0] < high[0] <= _WIDEST * low[0]:
            return ((low[0] + high[0]) / 2, low[1]), _middle((low[0] + high[0]) / 2, low[1])
    match = _NUMBER.fullmatch(word)
    unit = UNITS.get(match["unit"], "") if match else ""
    if match is None or (match["unit"] and not unit):
        return None, Trouble("a weight must be a number, with a unit if any of g, kg, oz, lb", _WHAT)
    value, trouble = _value(match, decimal)
    if value is None:
        return None, trouble
    if value <= 0:
        return None, Trouble("a weight must be more than 0", "Correct it, or leave the cell empty.")
    return (float(value), unit), trouble or (_GRAINS if match["unit"].casefold() == "gr" else None)


def _number(
    text: str, *, unit: str, decimal: str, low: float | None, high: float | None
) -> tuple[float | None, Trouble | None]:
    word = folded(text)
    if nothing_written(word):
        return None, NOTHING_WRITTEN
    ends = _ends(word)
    if ends:
        (first, _), (last, _) = (_number(end, unit=unit, decimal=decimal, low=low, high=high) for end in ends)
        if first is not None and last is not None and first < last:
            return (first + last) / 2, _middle((first + last) / 2, unit)
    match = _NUMBER.fullmatch(word)
    scale = _SCALES.get(unit, {}).get(match["unit"]) if match and match["unit"] else 1.0
    if match is None or scale is None:
        inside = f" of {unit}" if unit else ""
        return None, Trouble(f"this must be a number{inside}", _WHAT)
    value, trouble = _value(match, decimal)
    if value is None:
        return None, trouble
    number = float(value) * scale
    return (None, outside) if (outside := _outside(number, low, high)) else (number, trouble)


def _outside(number: float, low: float | None, high: float | None) -> Trouble | None:
    if low is not None and number < low:
        return Trouble(f"this must be {low:g} or more", "Correct it, or leave the cell empty.")
    if high is not None and number > high:
        return Trouble(f"this must be {high:,g} or less", "Correct it, or leave the cell empty.")
    return None


def _ends(word: str) -> tuple[str, str] | None:
    """Return both ends of a range, each with its unit."""
    match = _RANGE.fullmatch(word)
    return (match[1] + (match[2] or match[4]), match[3] + (match[4] or match[2])) if match else None


def _middle(value: float, unit: str) -> Trouble:
    shown = f"{value:.6g} {unit}".strip()
    return Trouble(
        f"a range is no single number; its middle ({shown}) is taken", "Write the number, if it is known.", DOUBTFUL
    )


def _count(text: str, *, low: float | None, high: float | None, unit: str) -> tuple[int | None, Trouble | None]:
    word = folded(text)
    if nothing_written(word):
        return None, NOTHING_WRITTEN
    if _ENDLESS.search(word):
        return None, _TOO_LARGE
    bare = re.sub(r"^(?:~|ca?\.? |about |approx\.? )\s*|\s*\?$", "", word)
    trouble = None if bare == word else _ABOUT
    bare = bare.removesuffix(unit).removesuffix(unit.removesuffix("s")).strip()
    sexes, ends = _SEXES.fullmatch(bare), _ends(bare)
    if sexes and unit == "animals":
        number = sum(int(part) for part in sexes.groups() if part)
    elif re.fullmatch(r"[+-]?\d+(?:[.,]0+)?", bare):
        number = int(re.split("[.,]", bare)[0])
    elif _THOUSANDS[","].fullmatch(bare):
        number = int(bare.replace(",", ""))
    elif ends and all(end.isdecimal() for end in ends) and int(ends[0]) < int(ends[1]):
        number = int(ends[0])
        trouble = Trouble(
            f"a range is no single number; the smaller one ({number}) is taken, since no more are certain",
            "Write the number, if it is known.",
            DOUBTFUL,
        )
    elif _TURNED.fullmatch(bare):
        return None, _WAS_TURNED
    else:
        return None, Trouble("this must be a whole number", "Write the number alone, such as 3.")
    return (None, outside) if (outside := _outside(number, low, high)) else (number, trouble)


def _money(text: str, *, decimal: str) -> tuple[Decimal | None, Trouble | None]:
    word = folded(text)
    if nothing_written(word):
        return None, NOTHING_WRITTEN
    minus = (word.startswith("(") and word.endswith(")")) or word.endswith("-")
    match = _NUMBER.fullmatch(_CURRENCY.sub("", word.strip("()").rstrip("-")).strip())
    if match is None or match["unit"] or match["about"] or match["unsure"]:
        return None, Trouble("an amount of money must be a number", _WHAT)
    # An amount has no three decimals: a single sign before three digits marks thousands.
    grouped = decimal or ("." if re.fullmatch(r"\d{1,3}(,\d{3})+", match["digits"].strip()) else "")
    value, trouble = _value(match, grouped)
    if value is None:
        return None, trouble
    if not minus:
        return value, trouble
    return -value, trouble or (_BRACKETS if word.startswith("(") else _MINUS_BEHIND)


def _value(match: re.Match[str], decimal: str) -> tuple[Decimal | None, Trouble | None]:
    digits = match["digits"].strip()
    if _APART.search(digits):
        if not _IN_THREES.fullmatch(digits):
            return None, _TWO_NUMBERS
        digits = _APART.sub("", digits)
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
    if value.adjusted() > _MOST_DIGITS:
        return None, _TOO_LARGE
    return (-value if match["sign"] == "-" else value), _ABOUT if match["about"] or match["unsure"] else None


def _grouped(digits: str, sign: str, other: str) -> bool:
    return _THOUSANDS[other].fullmatch(digits.split(sign)[0]) is not None


def conflict(cell: str, column: str) -> Trouble:
    """Return the trouble of a weight whose cell names another unit than its unit column."""
    return Trouble(
        f"the weight names {cell}, its unit column {column}; the weight's own unit is used",
        "Correct one of them.",
        CHANGED,
    )
