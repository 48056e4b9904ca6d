"""Every key of records.toml a rescue can set, with its type, default and meaning, in one list."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from mendcurve.errors import InputError, nearest
from mendcurve.records.schemas import TABLES


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


RATES = (
    "all outcomes",
    "without died or missing",
    "without owner-requested euthanasia",
    "of intakes, less non-live",
    "live outcomes per intake",
)

# A year typed wrong (0206, 20256) lies outside; no rescue's records do.
_DAYS = {"low": date(1950, 1, 1), "high": date(2150, 12, 31)}
_WORDS = (r"(?s).*\S.*", "a text that is not blank")

KEYS: tuple[Key, ...] = (
    Key("rescue.name", str, "This rescue", "Name printed on every document.", form=_WORDS),
    Key(
        "rescue.currency",
        str,
        "EUR",
        "Three-letter currency code of every amount.",
        form=("[A-Z]{3}", "three capital letters, such as EUR"),
    ),
    Key("rescue.paper", str, "A4", "Paper size of printed documents.", ("A4", "Letter")),
    Key(
        "rescue.date_order",
        str,
        "",
        "Order of day, month and year in dates that are not ISO; empty: each column must prove its own.",
        ("", "dmy", "mdy", "ymd"),
    ),
    Key(
        "dates.as_of",
        date,
        None,
        "Last day on which the records are complete. Not set: the latest date in any table.",
        **_DAYS,
    ),
    Key(
        "dates.records_start",
        date,
        None,
        "First day on which the records are complete. Not set: the first month "
        "from which every month has an intake and an outcome.",
        **_DAYS,
    ),
    Key(
        "dates.starts",
        dict,
        {},
        "A later first day for a table, by table name.",
        each=date,
        names=tuple(TABLES),
        **_DAYS,
    ),
    Key(
        "dates.lost_after_days",
        int,
        180,
        "A stay far longer than others with no record of any kind for this many days is 'lost track of'.",
        low=1,
        high=36500,
    ),
    Key("weights.unit", str, "g", "Unit of weights that name none.", ("g", "kg", "oz", "lb")),
    Key(
        "weights.scale_step_g",
        (int, float),
        1.0,
        "Smallest step of the rescue's scale, in grams.",
        low=0.001,
        high=1000,
    ),
    Key("outcomes.headline", str, "all outcomes", "Which live-outcome rate is the headline.", RATES),
    Key(
        "conditions.lifelong",
        list,
        [],
        "Conditions known on the day found to be lifelong; not counted as recovering.",
        each=str,
    ),
    Key(
        "conditions.families",
        dict,
        {},
        "Families of conditions that may be pooled: name = list of conditions.",
        each=list,
    ),
    Key(
        "zones.quarantine_days",
        dict,
        {},
        "Days in quarantine by taxon group, used where moves are not recorded.",
        each=int,
        low=0,
        high=730,
    ),
    Key(
        "zones.default_quarantine_days",
        int,
        30,
        "Days in quarantine for other taxon groups (common practice, no source), used where moves are not recorded.",
        low=0,
        high=730,
    ),
    Key("zones.quarantine", str, "quarantine", "The rescue's name for its quarantine zone.", form=_WORDS),
    Key("zones.treatment", str, "treatment", "The rescue's name for its treatment zone.", form=_WORDS),
    Key("zones.adoption", str, "adoption", "The rescue's name for its adoption zone.", form=_WORDS),
    Key("doses.misses_recorded", bool, False, "Whether a dose not given is written down (or can be inferred)."),
    Key("counts.at_risk", int, 5, "A curve begins, and a horizon ends, where this many are at risk.", low=1, high=1000),
    Key(
        "counts.animals",
        int,
        5,
        "Fewest animals for a curve or a rate by group; below it, counts only.",
        low=1,
        high=1000,
    ),
    Key(
        "watch.false_alarms_per_week",
        (int, float),
        1.0,
        "False stall alarms a week that staff can handle.",
        low=0.01,
        high=100,
    ),
    Key("watch.weigh_every_days", int, 7, "Days between weighings where no target sets it.", low=1, high=365),
    Key("watch.overdue_factor", (int, float), 2.0, "A weighing is overdue after this many intervals.", low=1, high=50),
    Key(
        "watch.drop_percent",
        (int, float),
        10.0,
        "A drop from the recent maximum listed as 'weigh again today' (common practice, no source).",
        low=0.5,
        high=90,
    ),
    Key("watch.missed_dose_days", int, 7, "A dose missed in this many days is listed.", low=1, high=365),
    Key(
        "watch.vet_wait_days", int, 7, "Days an open episode may wait for the vet before it is listed.", low=0, high=365
    ),
    Key(
        "watch.recheck_days", int, 14, "Days after a course's end before a missing re-check is listed.", low=0, high=365
    ),
    Key(
        "watch.ready_days",
        int,
        14,
        "Days cleared and at target weight, but not moved, before it is listed.",
        low=0,
        high=365,
    ),
    Key(
        "watch.long_stay_share",
        float,
        0.9,
        "A stay longer than this share of stays like it is listed.",
        low=0.5,
        high=0.999,
    ),
    Key("capacity.confidence", float, 0.95, "Share of days on which the places must be enough.", low=0.5, high=0.999),
    Key(
        "capacity.large_event",
        int,
        15,
        "An intake event of this many animals or more is a rare kind of its own.",
        low=2,
        high=10000,
    ),
    Key(
        "public.smallest_cell",
        int,
        5,
        "Counts from 1 to one below this are hidden in documents for outsiders.",
        low=0,
        high=100,
    ),
)
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
BY_PATH = {key.path: key for key in KEYS}
# Sections that say how the files are read; their keys are listed in sources.
READING_SECTIONS = ("files", "tables", "species", "keep")


@dataclass(frozen=True, slots=True, eq=False)
class Settings(Mapping[str, Any]):
    """The rescue's decisions; ``settings["watch.drop_percent"]`` gives the value or its default."""

    given: Mapping[str, Any] = field(default_factory=dict)

    def __getitem__(self, path: str) -> Any:
        if path not in BY_PATH:
            raise KeyError(path)
        return self.given.get(path, BY_PATH[path].default)

    def __iter__(self) -> Iterator[str]:
        return iter(BY_PATH)

    def __len__(self) -> int:
        return len(BY_PATH)

    def is_default(self, path: str) -> bool:
        """Whether the rescue has left this setting at its default."""
        return path not in self.given


def settings_from(values: Mapping[str, Any], *, where: str = "records.toml") -> Settings:
    """Make Settings from the parsed records.toml; reading sections are passed over.

    Raises
    ------
    InputError
        For an unknown key, naming the nearest known one, or a value of the wrong type.
    """
    given: dict[str, Any] = {}
    for section, content in values.items():
        if section in READING_SECTIONS:
            continue
        if not isinstance(content, Mapping):
            raise InputError(
                f'{where}: "{section}" is not a setting by itself.',
                remedy="Put it in a section, such as [rescue]." + nearest(section, BY_PATH),
            )
        for name, value in content.items():
            path = f"{section}.{name}"
            given[path] = _checked(path, value, where)
    return Settings(given)


def settings_by_path(values: Mapping[str, Any], *, where: str = "settings") -> Settings:
    """Make Settings from paths and values, such as ``{"watch.drop_percent": 8.0}``; unknown paths are refused."""
    return Settings({path: _checked(path, value, where) for path, value in values.items()})


def _checked(path: str, value: Any, where: str) -> Any:
    if path not in BY_PATH:
        raise InputError(
            f'{where}: "{path}" is not a setting of Mendcurve.',
            remedy=f"Take the line out or correct its name.{nearest(path, BY_PATH)}",
        )
    key = BY_PATH[path]
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
    return value


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
    if (isinstance(plain, float) and not math.isfinite(plain)) or not key.low <= plain <= key.high:
        # A share written in per cent is the likely slip.
        hint = f" Write {value / 100:g}." if key.kind is float and key.low <= value / 100 <= key.high else ""
        raise InputError(
            f'{where}: "{path}" must lie from {key.low} to {key.high}, but it is {plain}.{hint}', remedy=key.meaning
        )
