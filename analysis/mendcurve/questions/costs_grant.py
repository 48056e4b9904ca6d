"""One grant's statement: what came in, what was spent on what it is for, what is left, whom it helped."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast

import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.methods.money import exact_sum
from mendcurve.questions.answer import Answer
from mendcurve.questions.costs_ledger import KIND, spent
from mendcurve.questions.spans import from_to, sentence_case, span
from mendcurve.questions.wording import count, day, money, were
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import stays

NO_GRANTS = "Grants are not recorded."
LINES = ("opening", "received", "qualifying spending", "paid by unrestricted money", "closing")
HELPED = ("when", "funded_animals", "also_paid_by_another_grant", "all_animals")
_RULE = (
    "Opening + received - qualifying spending = closing, never below zero: spending beyond the grant's money falls on "
    "unrestricted money. Spending qualifies when it is charged to the grant, in cash, for what the grant is restricted "
    "to, and between its first and last day."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class GrantStatement(Answer):
    """A grant's money and animals in one period."""

    grant_id: str
    frame: pd.DataFrame
    category: pd.DataFrame
    helped: pd.DataFrame
    refused: pd.DataFrame
    facts: pd.Series
    period: Period
    currency: str
    as_of: pd.Timestamp

    def to_frame(self) -> pd.DataFrame:
        """Return the statement: line, amount."""
        return self.frame

    def by_category(self) -> pd.DataFrame:
        """Return qualifying spending by category: category, entries, amount."""
        return self.category

    def animals(self) -> pd.DataFrame:
        """Return animals the grant paid towards, and all that anyone paid for, in the period and so far."""
        return self.helped

    def not_qualifying(self) -> pd.DataFrame:
        """Return the entries charged to the grant that do not qualify, and why."""
        return self.refused

    def line(self, name: str) -> Decimal:
        """Return one amount of the statement."""
        return cast(Decimal, self.frame.set_index("line").loc[name, "amount"])

    def sentence(self) -> str:
        """Return the statement in one sentence, when it ends, and the animals helped."""
        if not len(self.frame):
            return NO_GRANTS
        opening, received, spending, over, closing = (money(self.line(name), self.currency) for name in LINES)
        beyond = f", {over} of it beyond the grant and paid by unrestricted money" if self.line(LINES[3]) else ""
        ends = self.facts["ends_on"]
        last = "ended" if pd.notna(ends) and ends <= self.as_of else "ends"
        until = f" It {last} on {day(ends)}." if pd.notna(ends) else " No last day is recorded."
        return (
            f"{sentence_case(from_to(self.period))}, grant {self.grant_id} opened with {opening}, received {received}, "
            f"spent {spending}{beyond}, and closed with {closing}.{until} {self._helped()}"
        )

    def _helped(self) -> str:
        now, so_far = self.helped["funded_animals"]
        n, every, goal = int(now), int(self.helped["all_animals"].iloc[0]), self.facts["goal_animals"]
        text = f"It paid towards {count(n, 'animal')} of the {every:,} that anyone paid for in the period"
        if pd.isna(goal):
            return f"{text}; no goal in animals is recorded."
        return f"{text}, and {int(so_far):,} so far against a goal of {int(goal):,}."

    def notes(self) -> tuple[str, ...]:
        """Return the rule, what does not qualify, and animals paid for by several grants."""
        if not len(self.frame):
            return ()
        notes = [_RULE]
        n = len(self.refused)
        if n:
            total = money(exact_sum(self.refused["amount"]), self.currency)
            notes.append(f"{count(n, 'entry', 'entries')} of {total} charged to the grant {were(n)} not qualifying.")
        shared = int(self.helped["also_paid_by_another_grant"].iloc[0])
        if shared:
            notes.append(
                f"{count(shared, 'animal')} {were(shared)} also paid for by another grant: one animal helped, not two."
            )
        if self.facts["opening_unknown"]:
            notes.append("The balance when the records start is not recorded: taken as 0.")
        return tuple(notes)


def grant(records: Records, grant_id: str, period: Period | None = None) -> GrantStatement:
    """Roll one grant forward through a period.

    Parameters
    ----------
    records : Records
    grant_id : str
    period : Period, optional
        All of the records, if not given.

    Returns
    -------
    GrantStatement

    Raises
    ------
    InputError
        If the rescue records grants but not this one; the nearest known is named.

    Notes
    -----
    The opening balance is the grant's balance when the records start, rolled forward by the same rule to the day before
    the period. A gift in kind is charged to no grant. An animal is funded when qualifying spending is tied to it.
    """
    period = span(records, period)
    table = records["grants"].drop_duplicates("grant_id").set_index("grant_id")
    currency = str(records.settings["rescue.currency"])
    if not len(table):
        return _none(grant_id, period, currency, records.as_of)
    if grant_id not in table.index:
        raise InputError(f'There is no grant "{grant_id}" in the records.', [f"grants: {', '.join(table.index)}"],
                         f"Choose one of them.{nearest(grant_id, table.index)}")  # fmt: skip
    facts = cast("dict[str, Any]", table.to_dict("index")[grant_id])
    whole = Period(records.records_start, max(period.end, records.records_start))
    rows = _judged(spent(records, whole), grant_id, facts)
    start = max(period.start, records.records_start)
    lines = _roll(records, rows, facts, grant_id, start, period.end)
    inside = rows["spent_on"].between(start, period.end)
    mine = rows["grant_id"] == grant_id
    frame = pd.DataFrame({"line": list(LINES), "amount": lines})
    frame.attrs.update(title=f"Statement of grant {grant_id}", units={"amount": currency}, definition=_RULE)
    refused = rows[inside & mine & (rows["refused"] != "")][["spent_on", "category", "amount", "refused"]]
    refused = refused.rename(columns={"refused": "why"}).reset_index(drop=True)
    refused.attrs.update(title="Charged to the grant, not qualifying", units={"amount": currency})
    unknown = bool(pd.isna(facts["opening_balance"]) and not facts["awarded_on"] >= records.records_start)
    return GrantStatement(
        grant_id=grant_id, frame=frame, category=_by_category(rows[inside & mine & (rows["refused"] == "")], currency),
        helped=_helped(records, rows, inside, mine), refused=refused, period=period, currency=currency,
        facts=_facts(records, facts, grant_id, period, unknown),
        as_of=records.as_of,
    )  # fmt: skip


def _judged(rows: pd.DataFrame, grant_id: str, facts: dict[str, Any]) -> pd.DataFrame:
    """Add ``refused``: why an entry charged to the grant does not qualify, empty where it does."""
    why = pd.Series("", index=rows.index)
    if pd.notna(facts["restricted_to"]):
        why = why.mask(rows["category"] != facts["restricted_to"], f"not {facts['restricted_to']}")
    if pd.notna(facts["starts_on"]):
        why = why.mask(rows["spent_on"] < facts["starts_on"], "before the grant's first day")
    if pd.notna(facts["ends_on"]):
        why = why.mask(rows["spent_on"] > facts["ends_on"], "after the grant's last day")
    why = why.mask(rows["paid"] == KIND, "a gift in kind")
    return rows.assign(refused=why.mask(rows["grant_id"] != grant_id, "not charged to this grant").astype("str"))


def _roll(
    records: Records, rows: pd.DataFrame, facts: dict[str, Any], grant_id: str, start: pd.Timestamp, end: pd.Timestamp
) -> list[Decimal]:
    receipts = records["receipts"]
    receipts = receipts[(receipts["grant_id"] == grant_id) & (receipts["received_on"] >= records.records_start)]
    good = rows[rows["refused"] == ""]
    opened = facts["opening_balance"] if pd.notna(facts["opening_balance"]) else Decimal(0)
    before_in = exact_sum(receipts.loc[receipts["received_on"] < start, "amount"])
    before_out = exact_sum(good.loc[good["spent_on"] < start, "amount"])
    opening = max(opened + before_in - before_out, Decimal(0))
    received = exact_sum(receipts.loc[receipts["received_on"].between(start, end), "amount"])
    spending = exact_sum(good.loc[good["spent_on"].between(start, end), "amount"])
    over = max(spending - opening - received, Decimal(0))
    return [opening, received, spending, over, opening + received - (spending - over)]


def _facts(records: Records, facts: dict[str, Any], grant_id: str, period: Period, unknown: bool) -> pd.Series:
    """Return what the grant promised, what has come so far, and when it ends."""
    receipts = records["receipts"]
    receipts = receipts[(receipts["grant_id"] == grant_id) & (receipts["received_on"] <= period.end)]
    so_far = exact_sum(receipts["amount"])
    ends = facts["ends_on"]
    left = (ends - period.end).days if pd.notna(ends) else None
    return pd.Series({
        "funder": facts["funder"], "promised": facts["amount"], "received_so_far": so_far,
        "still_to_come": max(facts["amount"] - so_far, Decimal(0)), "restricted_to": facts["restricted_to"],
        "starts_on": facts["starts_on"], "ends_on": ends, "days_left": left, "goal": facts["goal"],
        "goal_animals": facts["goal_animals"], "opening_unknown": bool(unknown),
    }, dtype="object")  # fmt: skip


def _by_category(rows: pd.DataFrame, currency: str) -> pd.DataFrame:
    by = rows.groupby("category")["amount"]
    frame = pd.DataFrame({"entries": by.size(), "amount": by.agg(exact_sum) if len(rows) else []}).reset_index()
    frame.attrs.update(title="Qualifying spending by category", units={"entries": "entries", "amount": currency})
    return frame


def _helped(records: Records, rows: pd.DataFrame, inside: pd.Series, mine: pd.Series) -> pd.DataFrame:
    # parts of a stay are different animals and add up; second stays of one animal are the same one
    size = stays(records).groupby(["cluster", "stay_id"])["animals"].sum().groupby(level="cluster").max()
    tied = rows["cluster"].notna()
    good = mine & (rows["refused"] == "")

    def animals(which: pd.Series) -> int:
        return int(size.reindex(rows.loc[which & tied, "cluster"].unique()).sum())

    out = []
    for when, these in (("in the period", inside), ("so far", pd.Series(True, index=rows.index))):
        funded = set(rows.loc[these & good & tied, "cluster"])
        others = these & ~mine & rows["grant_id"].notna() & rows["cluster"].isin(funded)
        counts = (when, animals(these & good), animals(others), animals(these))
        out.append(dict(zip(HELPED, counts, strict=True)))
    frame = pd.DataFrame(out)
    frame.attrs.update(title="Animals", units=dict.fromkeys(frame.columns[1:], "animals"))
    return frame


def _none(grant_id: str, period: Period, currency: str, as_of: pd.Timestamp) -> GrantStatement:
    def blank(*names: str) -> pd.DataFrame:
        return pd.DataFrame({name: pd.Series(dtype="object") for name in names})

    return GrantStatement(
        grant_id=grant_id, frame=blank("line", "amount"), category=blank("category", "entries", "amount"),
        helped=blank(*HELPED),
        refused=blank("spent_on", "category", "amount", "why"), facts=pd.Series(dtype="object"), period=period,
        currency=currency, as_of=as_of,
    )  # fmt: skip
