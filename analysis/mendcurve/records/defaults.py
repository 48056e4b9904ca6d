"""Values that fill a column: a form's default, a drop-down's first choice, the first of January for "not known"."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.review import Review, by_id, looked_up
from mendcurve.records.schemas import INTAKE_TYPES

# Columns of which one value in nearly every row says that a form filled it in, not a person.
_VARIED = {
    "intakes": ("sex", "life_stage", "hatched_on_kind"),
    "conditions": ("severity", "primary"),
    "weighings": ("circumstance", "condition_score"),
}
_DATES = {
    "intakes": ("hatched_on", "intake_date"),
    "conditions": ("found_on", "vet_seen_on"),
    "outcomes": ("outcome_date",),
}
_MEASURED = {"weighings": ("weight", "length_mm")}
# Fewer filled cells than this say nothing about a column.
ENOUGH = 50
# From these shares of the filled cells on a value is told of. A day of birth is the first of January in 1 of 365
# rows, the first of a month in 1 of 30; a weight that three in ten of different animals have is nobody's.
NEARLY_ALL = 0.99
SHARE_OF_ONE_DAY = 0.3
SHARE_OF_NEW_YEAR = 0.2
SHARE_OF_FIRSTS = 0.5
SHARE_OF_ONE_WEIGHT = 0.3
_EMPTY = "Leave the cell empty where it is not known."


def check_defaults(review: Review, recorded: frozenset[tuple[str, str]]) -> None:
    """Note columns that one value fills, dates that many rows have, and birthdays that stand for a year or month."""
    _words(review, recorded)
    _first_choice(review)
    _one_date(review)
    _birthdays(review)
    _one_weight(review)


def _words(review: Review, recorded: frozenset[tuple[str, str]]) -> None:
    for table, columns in _VARIED.items():
        for column in columns:
            values = review.tables[table][column].dropna()
            if (table, column) not in recorded or len(values) < ENOUGH:
                continue
            top = values.value_counts()
            # "Unknown" or "estimated" in every row is honest.
            if top.index[0] not in ("", "unknown", "estimated", False) and top.iloc[0] >= NEARLY_ALL * len(values):
                rule = f"{_of(top.iloc[0], len(values))} the same {column}: a form may have filled it in"
                _note(review, table, column, str(top.index[0]), rule, "a form's default")


def _first_choice(review: Review) -> None:
    values = review.tables["intakes"]["intake_type"]
    first = int((values == INTAKE_TYPES[0]).sum())
    if len(values) >= ENOUGH and first >= NEARLY_ALL * len(values):
        rule = f"{_of(first, len(values))} the first intake type of the list: a drop-down may have been left as it was"
        _note(review, "intakes", "intake_type", INTAKE_TYPES[0], rule, "a drop-down's first choice")


def _one_date(review: Review) -> None:
    for table, columns in _DATES.items():
        frame = review.tables[table]
        # Animals that came together share their day rightly: they count once.
        arrival = frame["arrival_id"] if table == "intakes" else _arrival(review, frame)
        came = arrival.notna()
        several = frame.loc[came, list(columns)].assign(a=arrival[came]).duplicated(["a", *columns])
        together = several.reindex(frame.index, fill_value=False)
        for column in columns:
            values = frame.loc[~together, column].dropna()
            top = values.value_counts().head(1)
            if len(values) >= ENOUGH and top.iloc[0] >= SHARE_OF_ONE_DAY * len(values):
                rule = f"{_of(top.iloc[0], len(values))} the same {column}: it may stand for 'not known'"
                _note(review, table, column, f"{top.index[0]:%Y-%m-%d}", rule, "a date for 'not known'")


def _arrival(review: Review, frame: pd.DataFrame) -> pd.Series:
    intakes = by_id(review.tables["intakes"], "stay_id")
    return looked_up(frame["stay_id"], intakes["arrival_id"])


def _birthdays(review: Review) -> None:
    frame = review.tables["intakes"]
    # An estimate may well be a round date.
    days = frame.loc[frame["hatched_on_kind"] != "estimated", "hatched_on"].dropna()
    top = days.value_counts()
    if len(days) and top.iloc[0] >= SHARE_OF_ONE_DAY * len(days):  # told of already
        days = days[days != top.index[0]]
    new_year, first = (days.dt.day_of_year == 1).sum(), (days.dt.day == 1).sum()
    do = "Write 'estimated' under hatched_on_kind where only the year or month is known."
    if len(days) < ENOUGH:
        return
    if new_year >= SHARE_OF_NEW_YEAR * len(days):
        rule = f"{_of(new_year, len(days))} a hatched_on of 1 January: it may stand for a year"
        _note(review, "intakes", "hatched_on", "1 January", rule, "only the year is known", do)
    elif first >= SHARE_OF_FIRSTS * len(days):
        rule = f"{_of(first, len(days))} a hatched_on on the first of a month: it may stand for a month"
        _note(review, "intakes", "hatched_on", "the first of a month", rule, "only the month is known", do)


def _one_weight(review: Review) -> None:
    for table, columns in _MEASURED.items():
        frame = review.tables[table]
        for column in columns:
            enough = SHARE_OF_ONE_WEIGHT * frame["stay_id"].nunique()
            often = frame[column].value_counts().head(1)
            if not len(often) or often.iloc[0] < enough:
                continue
            # One animal may stay at its weight: it counts once for each of its weights.
            values = frame[["stay_id", column]].dropna().drop_duplicates()[column]
            top = values.value_counts().head(1)
            if len(values) >= ENOUGH and top.iloc[0] >= SHARE_OF_ONE_WEIGHT * frame["stay_id"].nunique():
                rule = (
                    f"{top.iloc[0]} of {frame['stay_id'].nunique()} animals have the same {column}: it may be a default"
                )
                _note(review, table, column, f"{top.index[0]:g}", rule, "a form's default")


def _of(some: int, every: int) -> str:
    return f"all {every} rows have" if some == every else f"{some} of {every} rows have"


def _note(review: Review, table: str, column: str, value: str, rule: str, likely: str, do: str = _EMPTY) -> None:
    frame = review.tables[table]
    review.ledger.note(
        frame["source_file"].iloc[0],
        frame["source_sheet"].iloc[0],
        table=table,
        column=column,
        value=value,
        rule=rule,
        what_to_do=do,
        likely=likely,
    )
