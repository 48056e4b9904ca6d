"""What a setting may be: its kind, its known words, and the range in which it makes sense."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from mendcurve.errors import InputError, nearest

# How a kind is written in records.toml, in words.
KIND_WORDS = {
    str: 'text in quotes, such as "A4"',
    int: "a whole number, such as 7",
    float: "a number, such as 0.9",
    bool: "true or false",
    date: "a date without quotes, such as 2026-10-31",
    list: 'a list, such as ["mites", "wound"]',
    dict: "a section of names and values, such as { snake = 60 }",
}


@dataclass(frozen=True, slots=True)
class Key:
    """One setting: ``path`` in records.toml, its ``kind``, its ``default`` and what it means.

    ``low`` and ``high`` are the smallest and the largest value that make sense, both included; in a section they hold
    for each of its values. ``each`` is the kind of the values of a list or section, ``names`` the names a section
    knows (empty: any), ``form`` how a text must look (a pattern, and the same in words).
    """

    path: str
    kind: type | tuple[type, ...]
    default: Any
    meaning: str
    choices: tuple[str, ...] = ()
    low: Any = None
    high: Any = None
    each: type | None = None
    names: tuple[str, ...] = ()
    form: tuple[str, str] = ("", "")


def check_value(path: str, value: Any, key: Key, where: str) -> None:
    """Refuse a value that is of the wrong kind, is no known word, or makes no sense.

    Raises
    ------
    InputError
        Naming the setting, what it may be, and what it means.
    """
    _of_kind(path, value, key.kind, key, where)
    if key.kind is dict:
        for name, one in value.items():
            if key.names and name not in key.names:
                raise InputError(
                    f'{where}: "{path}" has no "{name}".',
                    remedy=f"Known: {', '.join(key.names)}.{nearest(name, key.names)}",
                )
            _one(f"{path}.{name}", one, key, where)
    elif key.kind is list:
        for one in value:
            _one(path, one, key, where)
    else:
        _in_range(path, value, key, where)


def _one(path: str, value: Any, key: Key, where: str) -> None:
    """Check one value of a list or of a section."""
    if key.each is None:
        return
    if key.each is date and isinstance(value, str):
        value = _iso(value)
    _of_kind(path, value, key.each, key, where)
    if key.each is list:
        for word in value:
            _of_kind(path, word, str, key, where)
    else:
        _in_range(path, value, key, where)


def _iso(text: str) -> date | str:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text


def _of_kind(path: str, value: Any, kind: type | tuple[type, ...], key: Key, where: str) -> None:
    wrong_bool = isinstance(value, bool) and kind is not bool
    if wrong_bool or not isinstance(value, kind):
        kinds: Iterable[type] = kind if isinstance(kind, tuple) else (kind,)
        raise InputError(
            f'{where}: "{path}" must be {" or ".join(KIND_WORDS[k] for k in kinds)}, but it is {value!r}.',
            remedy=key.meaning,
        )


def _in_range(path: str, value: Any, key: Key, where: str) -> None:
    if key.choices and value not in key.choices:
        raise InputError(
            f'{where}: "{path}" must be one of {", ".join(map(repr, key.choices))}, but it is {value!r}.',
            remedy=key.meaning,
        )
    pattern, words = key.form
    if pattern and not re.fullmatch(pattern, value):
        raise InputError(f'{where}: "{path}" must be {words}, but it is {value!r}.', remedy=key.meaning)
    if key.low is None:
        return
    plain = value.date() if isinstance(value, datetime) else value
    if not key.low <= plain <= key.high:  # false for what is no number, too
        # A share written in per cent is the likely slip.
        hint = f" Write {value / 100:g}." if key.kind is float and key.low <= value / 100 <= key.high else ""
        raise InputError(
            f'{where}: "{path}" must lie from {key.low} to {key.high}, but it is {plain}.{hint}', remedy=key.meaning
        )
