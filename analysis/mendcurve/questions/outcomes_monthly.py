"""Month by month: came in, left, and in care at the month's end."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.outcomes_counts import came_in, left_in
from mendcurve.questions.spans import from_to, in_care_on, sentence_case, span
from mendcurve.questions.wording import count, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import stays


@dataclass(frozen=True, kw_only=True, eq=False)
class Monthly(Answer):
    """One row a month, none left out.

    Attributes
    ----------
    frame : DataFrame
        month (first day), whole (bool: all of the month lies in the span), and in animals: came_in, left, live, died,
        missing, not_recorded, in_care_at_end.
    period : Period
    """

    frame: pd.DataFrame
    period: Period
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the counts by month."""
        return self.frame

    def sentence(self) -> str:
        """Return the usual month and the fullest and emptiest."""
        whole = self.frame[self.frame["whole"]]
        if len(whole) < 2:
            return f"{sentence_case(from_to(self.period))} there are too few whole months to compare."
        by_intake = whole.sort_values("came_in", kind="stable")
        most, least = by_intake.iloc[-1], by_intake.iloc[0]
        usual = count(whole["came_in"].median(), "animal")
        left = (
            f"; {_number(whole['left'].median())} left." if self.outcomes else f". {without_outcomes('how many left')}"
        )
        return (
            f"{sentence_case(from_to(self.period))}, {usual} came in in the median month "
            f"(of {count(len(whole), 'whole month')}), from {least['came_in']:,} in {least['month']:%B %Y} to "
            f"{most['came_in']:,} in {most['month']:%B %Y}{left}"
        )

    def notes(self) -> tuple[str, ...]:
        """Return which months are not whole."""
        part = self.frame.loc[~self.frame["whole"], "month"]
        return tuple(f"{month:%B %Y} is not a whole month of the span." for month in part)


def monthly(records: Records, period: Period | None = None) -> Monthly:
    """Return the counts by month of the period, or of all of the records."""
    period = span(records, period)
    frame = stays(records)
    months = pd.period_range(period.start, period.end, freq="M")
    gone, came = left_in(frame, period), came_in(frame, period)
    out = _by_month(gone["outcome_date"], gone["animals"], gone["end"], months)
    table = pd.DataFrame({
        "month": months.start_time.astype("datetime64[s]"),
        "whole": (months.start_time >= period.start) & (months.end_time.normalize() <= period.end),
        "came_in": _by_month(came["intake_date"], came["animals"], None, months)["all"].to_numpy(),
        "left": out.sum(axis=1).to_numpy("int64"),
    })  # fmt: skip
    for end in ("live", "died", "missing", "not recorded"):
        table[end.replace(" ", "_")] = out[end].to_numpy() if end in out else 0
    ends = months.end_time.normalize().where(months.end_time.normalize() < period.end, period.end)
    table["in_care_at_end"] = [int(frame.loc[in_care_on(frame, end), "animals"].sum()) for end in ends]
    if not records.has("outcomes"):
        table = table[["month", "whole", "came_in"]]
    table.attrs.update(title="By month", units=dict.fromkeys(table.columns[2:], "animals"))
    return Monthly(frame=table, period=period, outcomes=records.has("outcomes"))


def _by_month(date: pd.Series, animals: pd.Series, kind: pd.Series | None, months: pd.PeriodIndex) -> pd.DataFrame:
    kind = pd.Series("all", index=date.index) if kind is None else kind
    table = animals.groupby([date.dt.to_period("M"), kind]).sum().unstack(fill_value=0)
    return table.reindex(months, fill_value=0).astype("int64").reindex(
        columns=table.columns.union(["all"] if kind.eq("all").all() else []), fill_value=0)  # fmt: skip


def _number(n: float) -> str:
    return f"{n:,.0f}" if n >= 0.5 else "none"
