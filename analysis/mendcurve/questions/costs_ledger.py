"""The ledger of a period: every amount once, by category, by whether it is tied to an animal, in cash and in kind."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.methods.money import exact_sum
from mendcurve.questions.answer import Answer
from mendcurve.questions.spans import from_to, span
from mendcurve.questions.wording import NOT_RECORDED, count, money, percent, were
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import stays

NO_SPENDING = "Spending is not recorded."
COLUMNS = ("category", "tied_to", "paid", "entries", "amount")
UNTIED_COLUMNS = ("spent_on", "category", "amount", "paid", "grant_id", "why")
ANIMAL, NOBODY = "an animal", "no animal"
CASH, KIND = "in cash", "in kind"


@dataclass(frozen=True, kw_only=True, eq=False)
class Ledger(Answer):
    """All spending of a period in a few rows that add up to the total."""

    frame: pd.DataFrame
    animals: pd.DataFrame
    total: Decimal
    tied: Decimal
    cash: Decimal
    period: Period
    currency: str
    recorded: bool
    set_aside: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each category, tied or not, in cash or in kind."""
        return self.frame

    def by_animal(self) -> pd.DataFrame:
        """Return what was spent on each animal (or group): cluster, entries, amount; and a last row tied to none."""
        return self.animals

    def sentence(self) -> str:
        """Return the total, how much of it is tied to animals, and how much was a gift in kind."""
        if not self.recorded:
            return NO_SPENDING
        if self.total == 0:
            return f"Nothing was spent {from_to(self.period)}."
        share = percent(float(self.tied / self.total))
        kind = self.total - self.cash
        gifts = f", {money(kind, self.currency)} of it as gifts in kind" if kind else ""
        return (
            f"{money(self.total, self.currency)} was spent {from_to(self.period)}{gifts}; "
            f"{money(self.tied, self.currency)} of {money(self.total, self.currency)} ({share}) is tied to an animal. "
            f"The parts add up to the total to the cent."
        )

    def notes(self) -> tuple[str, ...]:
        """Return what is in no sum."""
        if not self.set_aside:
            return ()
        n = self.set_aside
        return (f"{count(n, 'row')} of spending {were(n)} set aside and {were(n)} in no sum: see the findings.",)


@dataclass(frozen=True, kw_only=True, eq=False)
class Untied(Answer):
    """Spending of a period that is tied to no animal, entry by entry."""

    frame: pd.DataFrame
    total: Decimal
    period: Period
    currency: str
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row an entry, the latest first, and why it is tied to none."""
        return self.frame

    def sentence(self) -> str:
        """Return how much is tied to no animal, in how many entries."""
        if not self.recorded:
            return NO_SPENDING
        n = len(self.frame)
        if n == 0:
            return f"All spending {from_to(self.period)} is tied to an animal."
        entries = count(n, "entry", "entries")
        return f"{money(self.total, self.currency)} in {entries} {from_to(self.period)} is tied to no animal."


def spent(records: Records, period: Period, frame: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return the spending rows of a period with ``cluster`` (missing: tied to no animal), ``paid``, ``why``.

    A row that names only an episode is tied to the episode's stay.
    """
    rows = records["spending"]
    rows = rows[period.contains(rows["spent_on"])].reset_index(drop=True)
    episode = records["conditions"].drop_duplicates("episode_id").set_index("episode_id")["stay_id"]
    frame = stays(records) if frame is None else frame
    known = frame.drop_duplicates("stay_id").set_index("stay_id")["cluster"]
    stay = rows["stay_id"].where(rows["stay_id"].notna(), rows["episode_id"].map(episode))
    cluster = stay.map(known)
    named = rows["stay_id"].notna() | rows["episode_id"].notna()
    why = pd.Series("names no animal", index=rows.index).mask(
        named, "names a stay or episode that is not in the records"
    )
    paid = pd.Series(CASH, index=rows.index).mask(rows["in_kind"], KIND)
    return rows.assign(cluster=cluster, stay=stay, why=why.mask(cluster.notna(), ""), paid=paid,
                       category=rows["category"].fillna(NOT_RECORDED))  # fmt: skip


def ledger(records: Records, period: Period | None = None) -> Ledger:
    """Sum the spending of a period.

    Parameters
    ----------
    records : Records
    period : Period, optional
        All of the records, if not given.

    Returns
    -------
    Ledger
        Exact decimals.

    Raises
    ------
    InputError
        If the rows of the table, or the animals and what is tied to none, do not add up to the total.
    """
    period = span(records, period)
    rows = spent(records, period)
    rows = rows.assign(tied_to=rows["cluster"].notna().map({True: ANIMAL, False: NOBODY}).astype("str"))
    frame = _summed(rows, ["category", "tied_to", "paid"])
    animals = _summed(rows.assign(cluster=rows["cluster"].fillna("tied to no animal")), ["cluster"])
    inside = records["spending"]["spent_on"].between(period.start, period.end)
    total = exact_sum(records["spending"]["amount"][inside])
    _reconcile(total, frame, "categories", period)
    _reconcile(total, animals, "animals and what is tied to none", period)
    currency = str(records.settings["rescue.currency"])
    frame.attrs.update(title="Spending", units={"entries": "entries", "amount": currency})
    animals.attrs.update(title="Spending by animal", units={"entries": "entries", "amount": currency})
    return Ledger(
        frame=frame, animals=animals, total=total, tied=exact_sum(rows.loc[rows["cluster"].notna(), "amount"]),
        cash=exact_sum(rows.loc[rows["paid"] == CASH, "amount"]), period=period, currency=currency,
        recorded=bool(len(records["spending"])), set_aside=_set_aside(records),
    )  # fmt: skip


def untied(records: Records, period: Period | None = None) -> Untied:
    """List the spending of a period that is tied to no animal."""
    period = span(records, period)
    rows = spent(records, period)
    rows = rows[rows["cluster"].isna()].sort_values("spent_on", ascending=False, kind="stable", ignore_index=True)
    frame = rows[list(UNTIED_COLUMNS)]
    currency = str(records.settings["rescue.currency"])
    frame.attrs.update(title="Spending tied to no animal", units={"amount": currency})
    return Untied(frame=frame, total=exact_sum(rows["amount"]), period=period, currency=currency,
                  recorded=bool(len(records["spending"])))  # fmt: skip


def _summed(rows: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    if not len(rows):
        return pd.DataFrame({**{c: pd.Series(dtype="str") for c in by}, "entries": pd.Series(dtype="int64"),
                             "amount": pd.Series(dtype="object")})  # fmt: skip
    grouped = rows.groupby(by, sort=True)["amount"]
    return pd.DataFrame({"entries": grouped.size(), "amount": grouped.agg(exact_sum)}).reset_index()


def _reconcile(total: Decimal, parts: pd.DataFrame, what: str, period: Period) -> None:
    summed = exact_sum(parts["amount"])
    if summed != total:
        raise InputError(
            f"The books must add up: the {what} {from_to(period)} sum to {summed}, the ledger to {total}.",
            [f"difference {total - summed}"],
            "Please report this: it is a mistake of Mendcurve.",
        )


def _set_aside(records: Records) -> int:
    return int((records.set_aside["table"] == "spending").sum())
