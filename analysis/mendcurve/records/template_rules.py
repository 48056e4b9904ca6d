"""What the cells of the template take: lists, dates, numbers and links, each with a message in plain words."""

from __future__ import annotations

from typing import Any

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from mendcurve.records import dictionary
from mendcurve.records.schemas import TABLES, Column, Table

# Rows of a sheet that have lists, rules and formats ready.
ROWS = 5000
# Columns of the sheet "Lists".
LISTS = {"species": "A", "kind": "B"}
# The file format's own limits.
_PROMPT, _ERROR, _TITLE, _LIST = 255, 225, 32, 255
KIND_WORDS = {
    "id": "text",
    "text": "text",
    "code": "one of the list",
    "date": "date, such as 2026-03-31",
    "datetime": "date and time, such as 2026-03-31 08:30",
    "count": "whole number",
    "number": "number",
    "yes_no": "yes or no",
    "money": "amount",
    "list": "any of the list, separated by ;",
}
_FORMATS = {"id": "@", "date": "yyyy-mm-dd", "datetime": "yyyy-mm-dd hh:mm"}
# Serial days of 1900-01-01 and 2100-12-31.
_FIRST_DAY, _LAST_DAY = "1", "73415"


def number_format(column: Column) -> str:
    """Return how the cells of a column are shown; ids stay text, dates show as ISO."""
    return _FORMATS.get(column.kind, "")


def rule_of(table: Table, column: Column, letter: str) -> DataValidation:
    """Return the rule of a column's cells, with what to write as the message on a cell."""
    words = column.codes if column.kind == "code" else ("yes", "no") if column.kind == "yes_no" else ()
    asked = KIND_WORDS[column.kind]
    options: dict[str, Any] = {"type": None}
    if words:
        options = _one_of(words)
        asked = f"one of: {', '.join(words)}"
    elif column.kind in ("date", "datetime"):
        options = {"type": "date", "operator": "between", "formula1": _FIRST_DAY, "formula2": _LAST_DAY}
    elif column.kind in ("count", "number", "money"):
        options = _number(column)
    elif column.name == "species":
        options = {"type": "list", "formula1": f"Lists!${LISTS['species']}$2:${LISTS['species']}${ROWS}", "warns": True}
        asked = "choose from the list, or write your own and put it into the dictionary"
    elif column.name in table.key:
        options = {"type": "custom", "formula1": f"COUNTIF(${letter}$2:${letter}${ROWS},{letter}2)=1", "warns": True}
        asked = "an id that no other line has"
    elif column.kind == "id" and (home := _home(column.name)):
        options = {"type": "list", "formula1": home, "warns": True}
        asked = f"an id from the sheet {home.split('!')[0]}"
    elif column.kind == "list":
        asked = f"any of these, separated by ;: {', '.join(column.codes)}"
    unit = f" Unit: {column.unit}." if column.unit else ""
    return _rule(letter, column.name, f"{column.meaning} Write {asked}.{unit}", f"Write {asked}.", options)


def _one_of(words: tuple[str, ...]) -> dict[str, Any]:
    listed = f'"{",".join(words)}"'
    if len(listed) > _LIST + 2:
        raise ValueError(f"a list in a rule holds at most {_LIST} characters, but this one has {len(listed)}")
    return {"type": "list", "formula1": listed}


def _number(column: Column) -> dict[str, Any]:
    kind = "whole" if column.kind == "count" else "decimal"
    if column.low is None:
        return {"type": kind, "operator": "between", "formula1": "-1000000000", "formula2": "1000000000"}
    return {"type": kind, "operator": "greaterThanOrEqual", "formula1": f"{column.low:g}"}


def _home(name: str) -> str:
    """Return the range in which an id is at home: that of stay_id in intakes; "" for an id of nothing else."""
    wanted = "stay_id" if name == "split_from" else name
    for table in TABLES.values():
        if table.key == (wanted,):
            letter = get_column_letter(table.names.index(wanted) + 1)
            return f"{table.name}!${letter}$2:${letter}${ROWS}"
    return ""


def _rule(letter: str, name: str, prompt: str, error: str, options: dict[str, Any]) -> DataValidation:
    warns = options.pop("warns", False)
    rule = DataValidation(
        allow_blank=True,
        showInputMessage=True,
        promptTitle=name[:_TITLE],
        prompt=_short(prompt, _PROMPT),
        showErrorMessage=options["type"] is not None,
        errorStyle="warning" if warns else "stop",
        errorTitle=name[:_TITLE],
        error=_short(error, _ERROR),
        **options,
    )
    rule.add(f"{letter}2:{letter}{ROWS}")
    return rule


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 4].rsplit(" ", 1)[0] + " ..."


def word_rules() -> list[DataValidation]:
    """Return the rules of the sheet of the rescue's own words."""
    rules = []
    for place, (name, meaning) in enumerate(dictionary.COLUMNS.items(), start=1):
        options: dict[str, Any] = {"type": None}
        asked = "Write text."
        if name == "kind":
            options = {"type": "list", "formula1": f"Lists!${LISTS['kind']}$2:${LISTS['kind']}$200", "warns": True}
            asked = "Choose from the list."
        elif name == "lifelong":
            options, asked = _one_of(("yes", "no")), "Write yes or no."
        elif name in dictionary.NUMBERS:
            options, asked = {"type": "decimal", "operator": "greaterThan", "formula1": "0"}, "Write a number above 0."
        rules.append(_rule(get_column_letter(place), name, f"{meaning} {asked}", asked, options))
    return rules
