"""Every key of records.toml a rescue can set, with its type, default and meaning, in one list."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from mendcurve.errors import InputError, nearest
from mendcurve.records.schemas import TABLES
from mendcurve.records.setting_values import Key, check_value

RATES = (
    "all outcomes",
    "without died or missing",
    "without owner-requested euthanasia",
    "of intakes, less non-live",
    "live outcomes per intake",
)

# A year typed wrong (0206, 20256) lies outside; no rescue's records do.
EARLIEST, LATEST = date(1950, 1, 1), date(2150, 12, 31)
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
        low=EARLIEST,
        high=LATEST,
    ),
    Key(
        "dates.records_start",
        date,
        None,
        "First day on which the records are complete. Not set: the first month "
        "from which every month has an intake and an outcome.",
        low=EARLIEST,
        high=LATEST,
    ),
    Key(
        "dates.starts",
        dict,
        {},
        "A later first day for a table, by table name.",
        each=date,
        names=tuple(TABLES),
        low=EARLIEST,
        high=LATEST,
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
        "recovery.clock",
        str,
        "found",
        "From which day recovery is counted; an episode without that day is left out, and counted so.",
        ("found", "vet seen", "first dose", "intake"),
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
    check_value(path, value, BY_PATH[path], where)
    return value
