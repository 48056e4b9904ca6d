"""The balance of a period: in care at its start + came in = left + in care at its end, for every taxon group."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.questions.answer import Answer
from mendcurve.questions.outcomes_counts import TOTAL, came_in, left_in
from mendcurve.questions.spans import from_to, in_care_on, sentence_case, span
from mendcurve.questions.wording import count, were, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import LOST, stays

DEFINITION = (
    "In care at the start: came before the first day, and had not left before it. In care at the end: came on or "
    "before the last day, and had not left on it. start + came in = left + end."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Balance(Answer):
    """The balance by taxon group, proven when it is made.

    Attributes
    ----------
    frame : DataFrame
        Taxon group, and in animals: start, came_in, left, end; lost_track_of (of those at the end); ``renamed``
        where animals split off were given another taxon group than their group had.
    period : Period
    """

    frame: pd.DataFrame
    period: Period
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the balance."""
        return self.frame

    def sentence(self) -> str:
        """Return the balance of all taxon groups together."""
        row = self.frame.iloc[-1]
        if not self.outcomes:
            came = f"{sentence_case(from_to(self.period))}: {count(row['came_in'], 'animal')} came in."
            return f"{came} {without_outcomes('how many left, and how many were in care,')}"
        return (
            f"{sentence_case(from_to(self.period))}: {count(row['start'], 'animal')} {were(row['start'])} in care at "
            f"the start and {_number(row['came_in'])} came in; {_number(row['left'])} left and {_number(row['end'])} "
            f"{were(row['end'])} in care at the end. The two sides add up, {row['start'] + row['came_in']:,} and "
            f"{row['left'] + row['end']:,}, in every taxon group."
        )

    def notes(self) -> tuple[str, ...]:
        """Return the definition, and who is doubtful among those in care."""
        if not self.outcomes:
            return ()
        lost = int(self.frame["lost_track_of"].iloc[-1])
        if not lost:
            return (DEFINITION,)
        return (DEFINITION, f"Of those in care at the end, {lost:,} {were(lost)} lost track of: no record for long.")


def balance(records: Records, period: Period | None = None) -> Balance:
    """Return the balance of a period by taxon group; refuses to return one that does not hold."""
    period = span(records, period)
    frame = stays(records)
    day_before = period.start - pd.Timedelta(days=1)
    splits_in = period.contains(frame["intake_date"]) & ~frame["is_intake"]
    splits_out = period.contains(frame["outcome_date"]) & (frame["end"] == "split off")
    at_end = in_care_on(frame, period.end)
    parts = {
        "start": frame[in_care_on(frame, day_before)],
        "came_in": came_in(frame, period),
        "left": left_in(frame, period),
        "end": frame[at_end],
        "lost_track_of": frame[at_end & (frame["end"] == LOST)],
        "split_in": frame[splits_in],
        "split_out": frame[splits_out],
    }
    taxa = sorted(frame["taxon"].unique())
    table = pd.DataFrame({name: rows.groupby("taxon")["animals"].sum() for name, rows in parts.items()}, index=taxa)
    table = table.astype("float64").fillna(0).astype("int64")
    table["renamed"] = table.pop("split_in") - table.pop("split_out")
    table.loc[TOTAL] = table.sum()
    prove(table)
    _prove_against_the_table(records, period, frame, table)
    if not table["renamed"].any():
        table = table.drop(columns="renamed")
    table.insert(0, "taxon", table.index)
    table = table.reset_index(drop=True)
    if not records.has("outcomes"):
        table = table[["taxon", "came_in"]]
    table.attrs.update(
        title=f"Balance {from_to(period)}", definition=DEFINITION,
        units=dict.fromkeys(table.columns[1:], "animals"),
    )  # fmt: skip
    return Balance(frame=table, period=period, outcomes=records.has("outcomes"))


def prove(table: pd.DataFrame) -> None:
    """Raise if start + came in (+ renamed) = left + end fails in a row, or the splits do not cancel in the last.

    Raises
    ------
    InputError
        Naming the taxon groups and both sides.
    """
    one, other = table["start"] + table["came_in"] + table["renamed"], table["left"] + table["end"]
    wrong = table[(one != other) | ((table.index == TOTAL) & (table["renamed"] != 0))]
    if len(wrong):
        raise InputError(
            "Start + came in must equal left + end, but it does not for:",
            [f"{name}: {one[name]} and {other[name]}" for name in wrong.index],
            "This is a mistake of the program, not of the records: please report it.",
            rows=wrong,
        )


def _prove_against_the_table(records: Records, period: Period, frame: pd.DataFrame, table: pd.DataFrame) -> None:
    """Count intakes a second time, from the table as read, and compare."""
    read = records["intakes"].drop_duplicates("stay_id")
    dated = int(read.loc[period.contains(read["intake_date"]), "group_size"].sum())
    splits = int(frame.loc[period.contains(frame["intake_date"]) & ~frame["is_intake"], "animals"].sum())
    counted = int(table["came_in"].iloc[-1]) + splits
    if dated != counted:
        raise InputError("Animals dated in the period must all be counted,", [f"dated {dated}, counted {counted}"])


def _number(n: int) -> str:
    return f"{n:,}" if n else "none"
