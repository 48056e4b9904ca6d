"""Full cost per adoption, and per care-day: all spending of a period, whoever it was for."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

import pandas as pd

from mendcurve.methods.money import exact_sum
from mendcurve.questions.answer import Answer
from mendcurve.questions.costs_ledger import CASH, NO_SPENDING, spent
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.spans import earlier, from_to, span
from mendcurve.questions.wording import count, money, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import stays

CENT = Decimal("0.01")
_DEFINITION = (
    "All spending of the period, on animals that died or are still here too, over the animals adopted in it; and over "
    "the days that animals spent in care in it. The sums of a period, not estimates: no interval."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class PerAdoption(Answer):
    """Spending of the period, adoptions and care-days, and their ratios; earlier periods beside."""

    frame: pd.DataFrame
    period: Period
    currency: str
    recorded: bool
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return one row a period: this one, the one before, the same a year earlier."""
        return self.frame

    def sentence(self) -> str:
        """Return cost per adoption and per care-day with what each is divided by."""
        if not self.recorded:
            return NO_SPENDING
        if not self.outcomes:
            return without_outcomes("the cost of an adoption, or of a day of care,")
        row = self.frame.iloc[0]
        total, n, days = row["spent"], int(row["adoptions"]), int(row["care_days"])
        head = f"{money(total, self.currency)} was spent {from_to(self.period)}"
        if n == 0:
            return f"{head} and no animal was adopted, so there is no cost per adoption."
        each = f"{money(row['per_adoption'], self.currency)} for each of {count(n, 'adoption')}"
        daily = (
            f", or {money(row['per_care_day'], self.currency)} for each of {count(days, 'care-day')}" if days else ""
        )
        return f"{head}: {each}{daily}, animals that died or are still here included."

    def notes(self) -> tuple[str, ...]:
        """Return the definition, and gifts in kind."""
        if not self.outcomes:
            return ()
        kind = self.frame["in_kind"].iloc[0] if self.recorded else Decimal(0)
        gifts = (f"Gifts in kind of {money(kind, self.currency)} are in the sum.",) if kind else ()
        return (_DEFINITION, *gifts) if self.recorded else ()


def per_adoption(records: Records, period: Period | None = None) -> PerAdoption:
    """Divide all spending of a period by its adoptions and by its care-days.

    Notes
    -----
    Care-days: an animal is in care on day d if in <= d < out, so same-day stays add none; permanent residents count.
    Amounts are rounded to the cent, halves up.
    """
    period = span(records, period)
    frame = stays(records)
    spans = {"this period": period, **earlier(records, period)}
    rows = [
        {"span": name, "from": one.start, "to": one.end, **_ratios(records, frame, one)} for name, one in spans.items()
    ]
    table = pd.DataFrame(rows)
    currency = str(records.settings["rescue.currency"])
    table.attrs.update(title="Full cost per adoption and per care-day", definition=_DEFINITION, units={
        "spent": currency, "in_kind": currency, "adoptions": "animals", "care_days": "animal-days",
        "per_adoption": currency, "per_care_day": currency})  # fmt: skip
    table = told_of(records, table)
    return PerAdoption(
        frame=table,
        outcomes=records.has("outcomes"),
        period=period,
        currency=currency,
        recorded=bool(len(records["spending"])),
    )


def care_days(frame: pd.DataFrame, period: Period) -> int:
    """Return the animal-days in care in a period from ``stays``; one lost track of counts to its last record."""
    day = pd.Timedelta(days=1)
    gone = frame["outcome_date"].where(frame["end"] != "lost track of", frame["last_seen"])
    night = period.end + day
    out = gone.where(gone < night, night)
    came = frame["intake_date"].where(frame["intake_date"] > period.start, period.start)
    length = (out - came).dt.days.clip(lower=0)
    return int((length * frame["animals"]).where(~frame["dead_on_arrival"], 0).sum())


def _ratios(records: Records, frame: pd.DataFrame, period: Period) -> dict[str, object]:
    rows = spent(records, period, frame)
    total = exact_sum(rows["amount"])
    adopted = frame[(frame["outcome"] == "adopted") & period.contains(frame["outcome_date"])]
    n, days = int(adopted["animals"].sum()), care_days(frame, period)
    return {"spent": total, "in_kind": total - exact_sum(rows.loc[rows["paid"] == CASH, "amount"]), "adoptions": n,
            "care_days": days, "per_adoption": _over(total, n), "per_care_day": _over(total, days)}  # fmt: skip


def _over(total: Decimal, n: int) -> Decimal | None:
    return (total / n).quantize(CENT, ROUND_HALF_UP) if n else None
