"""The curves of recovery by condition, ready to draw."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import CURVE_COLUMNS, HORIZON, curve_frame, told
from mendcurve.questions.recovery_by import NO_CLEARING, cleared_words, definition, since
from mendcurve.questions.recovery_cohort import Cohort, cohorts
from mendcurve.questions.spans import from_to
from mendcurve.questions.wording import count, day
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSES, clearing_recorded
from mendcurve.timelines.period import Period

AT_RISK_DAYS = (0, 30, 60, 90)


@dataclass(frozen=True, kw_only=True, eq=False)
class RecoveryCurves(Answer):
    """Cumulative incidence of every end by condition.

    Attributes
    ----------
    steps : DataFrame
        condition, end, day (since found), share, low, high (proportion), at_risk (animals), dashed (bool: fewer than a
        tenth of the largest number at risk).
    risk : DataFrame
        condition, day, at_risk (animals) on days 0, 30, 60, 90.
    groups : DataFrame
        condition, animals, median (days), enough, says: one row a condition, largest first.
    horizon : int
        Unit: days since found.
    """

    steps: pd.DataFrame
    risk: pd.DataFrame
    groups: pd.DataFrame
    horizon: int
    cohort: Cohort
    when: str
    recorded: bool
    clearing: bool

    def to_frame(self) -> pd.DataFrame:
        """Return the steps of every curve."""
        return self.steps

    def at_risk(self) -> pd.DataFrame:
        """Return how many were under observation on days 0, 30, 60 and 90."""
        return self.risk

    def sentence(self) -> str:
        """Return how many conditions have a curve, and the quickest and slowest half-way days."""
        if not self.recorded:
            return "Conditions are not recorded, so there is no recovery curve."
        if not self.clearing:
            return NO_CLEARING
        drawn = self.groups[self.groups["enough"]]
        if not len(drawn):
            return f"No condition has enough animals for a recovery curve {self.when}."
        reached = drawn.dropna(subset=["median"]).sort_values("median")
        n = count(drawn["animals"].sum(), "episode")
        text = f"Recovery curves of {count(len(drawn), 'condition')}, {n}, {self.when}"
        if len(reached) > 1:
            quick, slow = reached.iloc[0], reached.iloc[-1]
            text += (
                f": half were cleared by day {quick['median']:.0f} for {quick['condition']} "
                f"({count(quick['animals'], 'animal')}) and by day {slow['median']:.0f} for {slow['condition']} "
                f"({count(slow['animals'], 'animal')})"
            )
        return f"{text}."

    def notes(self) -> tuple[str, ...]:
        """Return the definition and who was left out."""
        rule = "A curve begins on the first day with enough at risk and is dashed below a tenth of the most at risk."
        return (definition(self.cohort.clock), rule, *self.cohort.notes())


def curves(
    records: Records, condition: str | None = None, period: Period | None = None, *, horizon: int = HORIZON
) -> RecoveryCurves:
    """Return the curves of one condition, or of all with enough animals.

    Raises
    ------
    InputError
        If the condition was never recorded, with the nearest that was.
    """
    groups = cohorts(records, period)
    chosen = groups[0] if period is None else groups[1]
    rows = chosen.rows
    if condition is not None:
        known = sorted(records["conditions"]["condition"].dropna().unique())
        if condition not in known:
            raise InputError(f'No episode of "{condition}" is recorded.{nearest(condition, known)}', known[:10])
        rows = rows[rows["condition"] == condition]
    clearing = clearing_recorded(records)
    ones = list(told(rows, "condition", CAUSES, records.settings))
    steps = [curve_frame(one, horizon) for one in ones if one.enough and clearing]
    frame = pd.concat(steps, ignore_index=True) if steps else pd.DataFrame(columns=list(CURVE_COLUMNS))
    frame = frame.rename(columns={"group": "condition"})
    frame.attrs.update(title="Recovery curves", definition=definition(chosen.clock), units={
        "day": since(chosen.clock), "share": "proportion", "low": "proportion", "high": "proportion",
        "at_risk": "animals"})  # fmt: skip
    risk = pd.DataFrame(
        [
            (one.group, d, round(float(one.tally.at_risk([d])[0, 0])))
            for one in ones
            if one.enough and clearing
            for d in AT_RISK_DAYS
        ],
        columns=["condition", "day", "at_risk"],
    )
    table = pd.DataFrame(
        [
            (
                one.group,
                one.animals,
                one.median("cleared")[0],
                one.enough and clearing,
                cleared_words(one, clearing=clearing),
            )
            for one in ones
        ],
        columns=["condition", "animals", "median", "enough", "says"],
    ).astype({"enough": "bool"})
    when = f"up to {day(records.as_of)}" if period is None else f"found {from_to(period)}"
    return RecoveryCurves(steps=frame, risk=risk, groups=table, horizon=horizon, cohort=chosen, when=when,
                          recorded=records.has("conditions"), clearing=clearing)  # fmt: skip
