"""Every table and column the package knows: one list, from which the pandera schemas are made."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import pandera.pandas as pa

# How a validated column is held:
#   id, text, code   str, missing as NA          date, datetime   datetime64[s]
#   count            Int64                       number           float64
#   yes_no           bool, blank is False        money            decimal.Decimal in an object column
#   list             str, known words sorted and joined by "; ", empty string when none
KINDS = ("id", "text", "code", "date", "datetime", "count", "number", "yes_no", "money", "list")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, kind, whether a row without it can be used, codes, unit and meaning."""

    name: str
    kind: str
    meaning: str
    required: bool = False
    codes: tuple[str, ...] = ()
    unit: str = ""
    default: object = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """One table: what a row is, its columns, the columns that identify a row."""

    name: str
    row_is: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()

    def column(self, name: str) -> Column:
        """Return the column called ``name``."""
        return next(c for c in self.columns if c.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all columns, in order."""
        return tuple(c.name for c in self.columns)


def _c(name: str, kind: str, meaning: str, **more: object) -> Column:
    required = name.endswith("*")
    return Column(name.rstrip("*"), kind, meaning, required=required, **more)  # type: ignore[arg-type]


LIVE_OUTCOMES = ("adopted", "returned to owner", "transferred out", "released")
DEATHS = ("died", "euthanised", "euthanised at owner's request")
# "not recorded": it left, on a known day, and nobody wrote down how; counted in every table, censored in every curve.
OUTCOMES = (*LIVE_OUTCOMES, *DEATHS, "missing", "not recorded")
INTAKE_TYPES = ("surrendered", "stray", "transferred in", "confiscated", "returned", "born in care")
CIRCUMSTANCES = ("fed", "shed", "laid eggs", "gave birth", "gravid", "brumating", "tail lost", "bladder emptied")
PERIODS = ("ready for a home", "foster", "hold", "brumating", "gravid", "fasting", "permanent resident")

# A row of more animals, doses or places than this is a slip; no rescue has them, and curves hold a line for each.
MOST = 10_000

_STAY = _c("stay_id*", "id", "The stay it belongs to.")

TABLES: dict[str, Table] = {
    t.name: t
    for t in (
        Table(
            "intakes",
            "a stay begins",
            (
                _c("stay_id*", "id", "One animal (or group) from one intake to its outcome."),
                _c("animal_id", "id", "One individual, for life."),
                _c("species*", "text", "Species, in the rescue's own words; translated to the reference table's name."),
                _c("sex", "code", "Sex.", codes=("female", "male", "unknown", "mixed")),
                _c(
                    "life_stage",
                    "code",
                    "Life stage at intake.",
                    codes=("egg", "hatchling", "juvenile", "subadult", "adult", "unknown"),
                ),
                _c("hatched_on", "date", "Day hatched or born."),
                _c("hatched_on_kind", "code", "How the day hatched is known.", codes=("known", "estimated")),
                _c("intake_date*", "date", "Day of arrival into the rescue's control."),
                _c("intake_type*", "code", "How it came.", codes=INTAKE_TYPES),
                _c("arrival_id", "id", "One arrival event, many animals."),
                _c("group_size", "count", "Animals in this row.", default=1, low=1, high=MOST, unit="animals"),
                _c("split_from", "id", "The group's stay this one was taken out of: not a new intake."),
                _c("dead_on_arrival", "yes_no", "Was dead when it arrived."),
                _c("housing_kind", "text", "Kind of housing it needs."),
                _c("story_ok", "yes_no", "Its story may be told to outsiders."),
                _c("note", "text", "Anything else; never printed."),
            ),
            ("stay_id",),
        ),
        Table(
            "outcomes",
            "a stay ends, for all or some of its group",
            (
                _STAY,
                _c("outcome_date*", "date", "Day of the final disposition."),
                _c("outcome_type*", "code", "Final disposition.", codes=OUTCOMES),
                _c("animals", "count", "Animals that left; blank: all left.", low=1, high=MOST, unit="animals"),
            ),
        ),
        Table(
            "conditions",
            "an episode: one condition in one stay",
            (
                _c("episode_id*", "id", "One condition in one stay, from the day found."),
                _STAY,
                _c("condition*", "text", "The health problem, in the rescue's own words."),
                _c("severity", "code", "How severe when found.", codes=("mild", "moderate", "severe")),
                _c("primary", "yes_no", "The main reason for care."),
                _c("found_on*", "date", "Day it was found."),
                _c("vet_seen_on", "date", "Day a vet first saw it."),
                _c("ended_on", "date", "Day it ended."),
                _c("ended_as", "code", "How it ended.", codes=("cleared", "managed", "misdiagnosed")),
                _c(
                    "animals",
                    "count",
                    "Animals of the group it concerns; blank: all.",
                    low=1,
                    high=MOST,
                    unit="animals",
                ),
            ),
            ("episode_id",),
        ),
        Table(
            "checks",
            "a re-check of an episode",
            (
                _c("episode_id*", "id", "The episode checked."),
                _c("checked_on*", "date", "Day of the check."),
                _c("result*", "code", "What was seen.", codes=("still ill", "well", "unclear")),
            ),
        ),
        Table(
            "courses",
            "a treatment course",
            (
                _c("course_id*", "id", "One course."),
                _c("episode_id*", "id", "The episode treated."),
                _c("kind", "code", "What it is.", codes=("medicine", "procedure")),
                _c("medicine", "text", "Name, as recorded; never suggested."),
                _c("route", "text", "Route, as recorded."),
                _c(
                    "interval_hours*",
                    "number",
                    "Hours between doses, as the vet set it.",
                    unit="hours",
                    low=0.5,
                    high=8784,
                ),
                _c("doses_planned", "count", "Doses planned; blank: no end given.", unit="doses", low=1, high=MOST),
                _c("first_dose_at*", "datetime", "When the first dose is due."),
                _c("weight_used_g", "number", "Weight the vet reckoned with.", unit="g", low=0),
                _c("stopped_at", "datetime", "When it was stopped early."),
                _c("stop_reason", "text", "Why it was stopped."),
            ),
            ("course_id",),
        ),
        Table(
            "doses",
            "a dose given or missed",
            (
                _c("course_id*", "id", "The course it belongs to."),
                _c(
                    "given_at*",
                    "datetime",
                    "When it was given. Empty for a dose missed or refused whose due_at is filled in.",
                ),
                _c(
                    "due_at",
                    "datetime",
                    "When it was due, if written down; it stands for given_at where a dose was missed or refused.",
                ),
                _c("result", "code", "What happened.", codes=("given", "refused", "missed"), default="given"),
            ),
        ),
        Table(
            "weighings",
            "a weighing",
            (
                _STAY,
                _c("weighed_on*", "date", "Day weighed."),
                _c("weight*", "number", "Weight as written, in its unit.", low=0),
                _c("unit", "code", "Unit of the weight.", codes=("g", "kg", "oz", "lb")),
                _c("circumstance", "list", "What was going on.", codes=CIRCUMSTANCES),
                _c("is_group_weight", "yes_no", "Weight of a group together."),
                _c("length_mm", "number", "Length.", unit="mm", low=0),
                _c("length_kind", "code", "What was measured.", codes=("carapace", "snout-vent", "total")),
                _c("condition_score", "number", "Body condition score."),
                _c("score_scale", "text", "Scale of the score, such as 1-5."),
            ),
        ),
        Table(
            "targets",
            "the weight set by the vet or the rescue for one stay",
            (
                _STAY,
                _c("target_g*", "number", "Target weight.", unit="g", low=0),
                _c("set_on*", "date", "Day it was set."),
                _c("by_date", "date", "Day it should be reached."),
                _c("weigh_every_days", "count", "Days between weighings.", unit="days", low=1, high=3660),
            ),
        ),
        Table(
            "periods",
            "something that lasts",
            (
                _STAY,
                _c("what*", "code", "What lasts.", codes=PERIODS),
                _c("from_date*", "date", "First day."),
                _c("to_date", "date", "Last day; blank: still."),
            ),
        ),
        Table(
            "moves",
            "a change of zone",
            (
                _STAY,
                _c("moved_on*", "date", "Day it moved in."),
                _c("zone*", "text", "The zone moved to."),
                _c("room", "text", "Room."),
                _c("place", "text", "Place."),
                _c("animals", "count", "Animals moved; blank: all.", low=1, high=MOST, unit="animals"),
            ),
        ),
        Table(
            "housing",
            "places of a zone from a day on",
            (
                _c("zone*", "text", "Zone."),
                _c("housing_kind", "text", "Kind of housing."),
                _c("room", "text", "Room."),
                _c(
                    "rule",
                    "code",
                    "How the room is used.",
                    codes=("open", "all in all out", "clock restarts"),
                    default="open",
                ),
                _c("places", "count", "Places; blank: takes no place.", unit="places", low=0, high=MOST),
                _c("from_date*", "date", "First day with this many."),
                _c(
                    "minutes_per_animal_day",
                    "number",
                    "Minutes of care an animal needs a day.",
                    unit="minutes",
                    low=0,
                    high=1440,
                ),
            ),
        ),
        Table(
            "requests",
            "someone asked us to take animals",
            (
                _c("asked_on*", "date", "Day asked."),
                _c("species", "text", "Species asked about."),
                _c("animals", "count", "Animals asked about.", default=1, unit="animals", low=1, high=MOST),
                _c("housing_kind", "text", "Kind of housing needed."),
                _c(
                    "answer*",
                    "code",
                    "Answer given.",
                    codes=("taken in", "no room", "declined", "waiting", "withdrawn"),
                ),
                _c("answered_on", "date", "Day answered."),
            ),
        ),
        Table(
            "followups",
            "news after leaving",
            (
                _STAY,
                _c("seen_on*", "date", "Day of the news."),
                _c("status*", "code", "What it was.", codes=("well", "ill", "died", "not reached")),
            ),
        ),
        Table(
            "spending",
            "money out",
            (
                _c("spent_on*", "date", "Day spent."),
                _c("amount*", "money", "Amount, in the rescue's currency."),
                _c("category*", "code", "Kind of spending.", codes=("medical", "running", "other")),
                _c("stay_id", "id", "The stay it was for."),
                _c("episode_id", "id", "The episode it was for."),
                _c("grant_id", "id", "The grant it is charged to."),
                _c("in_kind", "yes_no", "A gift in kind, not cash."),
            ),
        ),
        Table(
            "grants",
            "money promised",
            (
                _c("grant_id*", "id", "One grant."),
                _c("funder*", "text", "Who promised it (an organisation)."),
                _c("amount*", "money", "Amount promised."),
                _c("awarded_on*", "date", "Day awarded."),
                _c("starts_on", "date", "First day it may be spent."),
                _c("ends_on", "date", "Last day it may be spent."),
                _c(
                    "restricted_to",
                    "code",
                    "What it may be spent on; blank: anything.",
                    codes=("medical", "running", "other"),
                ),
                _c("opening_balance", "money", "Balance when the records start."),
                _c("goal", "text", "The grant's own goal, in words."),
                _c(
                    "goal_animals", "count", "Animals the grant set out to help.", unit="animals", low=0, high=1_000_000
                ),
            ),
            ("grant_id",),
        ),
        Table(
            "receipts",
            "money received",
            (
                _c("grant_id*", "id", "The grant."),
                _c("received_on*", "date", "Day received."),
                _c("amount*", "money", "Amount received."),
            ),
        ),
    )
}

# Where each row came from; on every validated table.
SOURCE = ("source_file", "source_sheet", "source_row")

_DTYPES = {
    "count": "Int64",
    "number": "float64",
    "yes_no": "bool",
    "date": "datetime64[s]",
    "datetime": "datetime64[s]",
}


@cache
def schema(name: str) -> pa.DataFrameSchema:
    """Return the pandera schema of one validated table."""
    table = TABLES[name]
    return pa.DataFrameSchema(
        {c.name: _schema_column(c) for c in table.columns},
        name=name,
        strict=False,
        unique=list(table.key) or None,
    )


def _schema_column(column: Column) -> pa.Column:
    checks = []
    if column.codes and column.kind == "code":
        checks.append(pa.Check.isin(column.codes))
    if column.low is not None:
        checks.append(pa.Check.ge(column.low))
    if column.high is not None:
        checks.append(pa.Check.le(column.high))
    return pa.Column(_DTYPES.get(column.kind), checks, nullable=not column.required, description=column.meaning)
