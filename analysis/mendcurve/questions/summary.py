"""What happened in a period, in one paragraph; and what we do not know."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import pandas as pd

from mendcurve.methods.intervals import wilson
from mendcurve.questions.answer import Answer
from mendcurve.questions.outcomes_balance import balance
from mendcurve.questions.outcomes_counts import summary
from mendcurve.questions.quality import findings
from mendcurve.questions.spans import begins_with_records, earlier, from_to, sentence_case, span
from mendcurve.questions.wording import count, money, share_of, were, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import animals_by, clearing_recorded, episodes
from mendcurve.timelines.period import Period

YEAR_BEFORE = "the year before"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What is told of one period: animals, except ``spent``."""

    here: int
    came_in: int
    adopted: int
    live: int
    left: int
    ill: int
    cleared: int
    spent: Decimal

    @property
    def helped(self) -> int:
        """In care at some time in the period."""
        return self.here + self.came_in


@dataclass(frozen=True, kw_only=True, eq=False)
class Told(Answer):
    """The year in one paragraph.

    Attributes
    ----------
    period : Period
    now : Figures
    before : Figures or None
        The same days a year earlier, where the records reach back.
    currency : str
    """

    period: Period
    now: Figures
    before: Figures | None
    currency: str
    opening: str
    has_outcomes: bool
    has_conditions: bool
    has_clearing: bool
    has_spending: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row a figure: this period, and the year before."""
        without = ("helped", "here", "left", "live", "adopted")
        rows = [
            ("animals cared for", "helped"),
            ("in care at the start", "here"),
            ("came in", "came_in"),
            ("left", "left"),
            ("live outcomes", "live"),
            ("of them adopted", "adopted"),
            ("with an open condition", "ill"),
            *([("of them with a condition cleared", "cleared")] if self.has_clearing else []),
        ]
        rows = [(name, key) for name, key in rows if self.has_outcomes or key not in without]
        frame = pd.DataFrame(
            {
                "what": [name for name, _ in rows],
                "this_period": [getattr(self.now, key) for _, key in rows],
                "year_before": [getattr(self.before, key) if self.before else None for _, key in rows],
            }
        ).astype({"this_period": "Int64", "year_before": "Int64"})
        frame.attrs.update(
            title=f"The period in figures, {from_to(self.period)}",
            units={"this_period": "animals", "year_before": "animals"},
        )
        return frame

    def sentence(self) -> str:
        """Return the paragraph."""
        now = self.now
        when, left = sentence_case(from_to(self.period)), sentence_case(count(now.left, "animal"))
        cost = money(now.spent, self.currency)
        parts = [
            self.opening,
            f"{when} we cared for {count(now.helped, 'animal')}: {now.here:,} {were(now.here)} here when the period "
            f"began and {now.came_in:,} came in."
            if self.has_outcomes
            else f"{when} {count(now.came_in, 'animal')} came in.",
            (f"{left} left, {now.live:,} of them alive: {now.adopted:,} were adopted." if now.left else f"{left} left.")
            if self.has_outcomes
            else without_outcomes("how many left, and how many were in care,"),
            self._recovered(now),
            f"Running the rescue cost {cost}." if self.has_spending else "Spending is not recorded.",
            self._before(),
        ]
        return " ".join(filter(None, parts))

    def _recovered(self, now: Figures) -> str:
        if not self.has_conditions:
            return "Conditions are not recorded."
        if not self.has_clearing:
            return f"{sentence_case(count(now.ill, 'animal'))} had a condition; when one was cleared is not recorded."
        if not now.ill:
            return "No animal had an open condition."
        found = wilson(now.cleared, now.ill)
        share = share_of(now.cleared, now.ill, float(found.low), float(found.high))
        return f"Of the animals that had a condition at any time in the period, {share} had at least one cleared in it."

    def _before(self) -> str:
        if self.before is None:
            return "There is no year before to set it against: the records do not reach back."
        old = self.before
        spent = f" and {money(old.spent, self.currency)} spent" if self.has_spending else ""
        done = f", {old.cleared:,} of {old.ill:,} had a condition cleared" if self.has_clearing else ""
        did = f"{count(old.helped, 'animal')} were cared for, {old.adopted:,} adopted"
        if not self.has_outcomes:
            did = f"{count(old.came_in, 'animal')} came in"
        return f"In the same days a year before, {did}{done}{spent}."

    def notes(self) -> tuple[str, ...]:
        """Return what the words mean."""
        return (
            "Cared for: in care at some time in the period, dead on arrival included. Left alive: adopted, returned to "
            "owner, transferred out or released. The interval of the share cleared takes animals as independent of "
            "each other; it describes animals like these, not the skill of anyone.",
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Unknown(Answer):
    """What the records do not say."""

    frame: pd.DataFrame
    words: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Return one row a table the rescue could keep: whether it is kept, rows, first complete day."""
        return self.frame

    def sentence(self) -> str:
        """Return it as a few sentences."""
        return " ".join(self.words)


def what_happened(records: Records, period: Period | None = None) -> Told:
    """Tell a period in one paragraph, against the same days a year before."""
    asked, period = period, span(records, period)
    year = earlier(records, period).get(YEAR_BEFORE)
    return Told(
        period=period,
        now=_figures(records, period),
        before=None if year is None else _figures(records, year),
        currency=str(records.settings["rescue.currency"]),
        opening="" if asked is None else begins_with_records(records, period),
        has_outcomes=records.has("outcomes"),
        has_conditions=records.has("conditions"),
        has_clearing=clearing_recorded(records),
        has_spending=records.has("spending"),
    )


def unknown(records: Records, period: Period | None = None) -> Unknown:
    """Tell what is not known: rows set aside, unknown outcomes, tables not kept."""
    period = span(records, period)
    told = summary(records, period)
    rows = [(name, records.has(name), len(table), records.start_of(name)) for name, table in records.tables.items()]
    frame = pd.DataFrame(rows, columns=["table", "recorded", "rows", "complete_from"])
    frame.attrs.update(title="What the rescue records", units={"rows": "rows"})
    words = [findings(records).sentence()]
    if told.unknown:
        some = sentence_case(count(told.unknown, "animal"))
        words.append(f"{some} still counted as in care may have left: there is no record of them for long.")
    else:
        words.append("No animal counted as in care has been without any record for long.")
    absent = [name for name, kept, _, _ in rows if not kept]
    words.append(f"Not recorded at all: {', '.join(absent)}." if absent else "Every table Mendcurve knows is kept.")
    return Unknown(frame=frame, words=tuple(words))


def _figures(records: Records, period: Period) -> Figures:
    row = balance(records, period).to_frame().iloc[-1]
    told = summary(records, period)
    left = told.to_frame().set_index("outcome")["animals"]
    ill, cleared = _cleared(records, period)
    spending = records["spending"]
    amounts = spending.loc[period.contains(spending["spent_on"]), "amount"]
    return Figures(
        here=int(row.get("start", 0)),
        came_in=int(row["came_in"]),
        left=told.left,
        adopted=int(left.get("adopted", 0)),
        live=int(told.live.k),
        ill=ill,
        cleared=cleared,
        spent=sum(amounts, Decimal(0)),
    )


def _cleared(records: Records, period: Period) -> tuple[int, int]:
    """Return animals with an episode open at some time in the period, and those of them with one cleared in it."""
    rows = episodes(records)
    open_then = rows[(rows["found_on"] <= period.end) & (rows["end_date"].isna() | (rows["end_date"] >= period.start))]
    done = open_then[(open_then["end"] == "cleared") & period.contains(open_then["end_date"])]
    return tuple(int(animals_by(some, ["stay_id"]).sum()) for some in (open_then, done))  # type: ignore[return-value]
