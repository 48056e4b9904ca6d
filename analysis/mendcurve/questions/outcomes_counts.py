"""How many came in and how many left, by kind: in animals and in records, with zeros, adding up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from mendcurve.methods.intervals import Interval, wilson
from mendcurve.questions.answer import Answer
from mendcurve.questions.spans import earlier, from_to, sentence_case, span
from mendcurve.questions.wording import count, listing, share_of, were, without_outcomes
from mendcurve.records.records import Records
from mendcurve.records.schemas import DEATHS, INTAKE_TYPES, OUTCOMES
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import stays

NOT_RECORDED = "not recorded"
TOTAL = "all"
EVERY_OUTCOME = tuple(dict.fromkeys((*OUTCOMES, NOT_RECORDED)))
EVERY_INTAKE = (*INTAKE_TYPES, NOT_RECORDED)


@dataclass(frozen=True, kw_only=True, eq=False)
class Summary(Answer):
    """What came in and what left in a period, beside earlier ones.

    Attributes
    ----------
    period : Period
    counts : DataFrame
        One row for each outcome and one for all: animals and records that left, and animals in each earlier period.
    early : DataFrame
        Dead on arrival; died on the day of arrival or the next; died later. Animals, records.
    came_in, left : int
        Animals; split-off stays are no new intakes.
    live : Interval
        Live outcomes among all that left, dead on arrival apart.
    before : mapping of str to (int, int)
        Animals that came in and left in each earlier period.
    unknown : int
        Animals lost track of among those still open.
    """

    period: Period
    counts: pd.DataFrame
    early: pd.DataFrame
    came_in: int
    left: int
    live: Interval
    before: Mapping[str, tuple[int, int]]
    unknown: int
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the counts by outcome."""
        return self.counts

    def sentence(self) -> str:
        """Return what came in and what left, and the share of live outcomes with its interval."""
        if not self.outcomes:
            came = f"{sentence_case(from_to(self.period))}, {count(self.came_in, 'animal')} came in."
            return f"{came} {without_outcomes('how many left, and how,')}"
        text = (
            f"{sentence_case(from_to(self.period))}, {count(self.came_in, 'animal')} came in and {_number(self.left)} "
            f"left"
        )
        if self.left:
            by = self.counts.set_index("outcome")["animals"]
            text += f": {listing([_went(int(by[o]), o) for o in EVERY_OUTCOME if by[o] > 0])}"
        text += "."
        if self.live.n:
            text += (
                f" Live outcomes (adopted, returned to owner, transferred out, released): {_share(self.live)} of the "
                "animals that left alive or died in care."
            )
        for name, numbers in self.before.items():
            text += f" In {name}, {_number(numbers[0])} came in and {_number(numbers[1])} left."
        return text

    def notes(self) -> tuple[str, ...]:
        """Return what is counted apart."""
        if not self.outcomes:
            return ()
        early = self.early.set_index("when")["animals"]
        out = ["Counts are of animals; a group is as many animals as it has. Dates of outcomes and intakes decide."]
        if early["dead on arrival"]:
            out.append(
                f"{sentence_case(count(early['dead on arrival'], 'animal'))} {were(early['dead on arrival'])} dead on "
                "arrival: in the counts, in no rate."
            )
        soon = early["on the day of arrival or the next"]
        if soon:
            out.append(f"{sentence_case(count(soon, 'animal'))} died on the day of arrival or the next.")
        if self.unknown:
            out.append(
                f"{sentence_case(count(self.unknown, 'animal'))} {were(self.unknown)} lost track of and still "
                "counted as in care."
            )
        return tuple(out)


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcomes(Answer):
    """Outcomes by taxon group: a row an outcome, a column a group, with zeros and totals.

    Attributes
    ----------
    animals, rows : DataFrame
        In animals, and in records.
    period : Period
    """

    animals: pd.DataFrame
    rows: pd.DataFrame
    period: Period
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the counts in animals."""
        return self.animals

    def in_records(self) -> pd.DataFrame:
        """Return the counts in records: one for each part of a stay that left."""
        return self.rows

    def sentence(self) -> str:
        """Return how many left, by taxon group."""
        if not self.outcomes:
            return without_outcomes("how many left, and how,")
        return _by_taxon(self.animals, self.period, "left", "No animals left")


@dataclass(frozen=True, kw_only=True, eq=False)
class Intakes(Answer):
    """Intakes by taxon group: a row a way of coming, a column a group, with zeros and totals."""

    animals: pd.DataFrame
    rows: pd.DataFrame
    period: Period

    def to_frame(self) -> pd.DataFrame:
        """Return the counts in animals."""
        return self.animals

    def in_records(self) -> pd.DataFrame:
        """Return the counts in records: one for each stay."""
        return self.rows

    def sentence(self) -> str:
        """Return how many came in, by taxon group."""
        return _by_taxon(self.animals, self.period, "came in", "No animals came in")

    def in_all(self) -> str:
        """Return how many came in, without the groups."""
        n = int(self.animals[TOTAL].iloc[-1])
        return f"{sentence_case(from_to(self.period))}, {count(n, 'animal')} came in."

    def notes(self) -> tuple[str, ...]:
        """Return what is no intake."""
        return ("Animals split off from a group already here are no new intakes. A returned animal is one again.",)


def summary(records: Records, period: Period | None = None) -> Summary:
    """Return what came in and left, by outcome, in the period and before."""
    period = span(records, period)
    frame = stays(records)
    gone, came = left_in(frame, period), came_in(frame, period)
    counts = pd.DataFrame({"outcome": [*EVERY_OUTCOME, TOTAL]})
    counts["animals"] = _tallied(gone["outcome"], gone["animals"])
    counts["records"] = _tallied(gone["outcome"], pd.Series(1, index=gone.index))
    before = {}
    for name, one in earlier(records, period).items():
        then = left_in(frame, one)
        counts[f"animals, {name}"] = _tallied(then["outcome"], then["animals"])
        before[name] = (int(came_in(frame, one)["animals"].sum()), int(then["animals"].sum()))
    counts.attrs.update(title=f"Outcomes {from_to(period)}", units={"animals": "animals", "records": "records"})
    alive = gone[~gone["dead_on_arrival"]]
    return Summary(
        outcomes=records.has("outcomes"),
        period=period,
        counts=told_of(records, counts),
        early=_early(gone),
        before=before,
        came_in=int(came["animals"].sum()),
        left=int(gone["animals"].sum()),
        live=live_share(alive),
        unknown=int(frame.loc[frame["end"] == "lost track of", "animals"].sum()),
    )


def by_group(records: Records, period: Period | None = None) -> Outcomes:
    """Return outcomes by taxon group."""
    period = span(records, period)
    frame = stays(records)
    gone = left_in(frame, period)
    animals, rows = (_table(gone, "outcome", EVERY_OUTCOME, frame["taxon"], by) for by in ("animals", "records"))
    for table, what in ((animals, "animals"), (rows, "records")):
        table.attrs["title"] = f"Outcomes by taxon group {from_to(period)}, in {what}"
    animals, rows = told_of(records, animals), told_of(records, rows)
    return Outcomes(animals=animals, rows=rows, period=period, outcomes=records.has("outcomes"))


def intakes(records: Records, period: Period | None = None) -> Intakes:
    """Return intakes by taxon group and type."""
    period = span(records, period)
    frame = stays(records)
    came = came_in(frame, period)
    animals, rows = (_table(came, "intake_type", EVERY_INTAKE, frame["taxon"], by) for by in ("animals", "records"))
    for table, what in ((animals, "animals"), (rows, "records")):
        table.attrs["title"] = f"Intakes by taxon group and type {from_to(period)}, in {what}"
    return Intakes(animals=animals, rows=rows, period=period)


def told_of(records: Records, frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame that tells of outcomes, without its rows where the rescue records none."""
    if records.has("outcomes"):
        return frame
    bare = frame.iloc[:0]
    bare.attrs = dict(frame.attrs)
    return bare


def left_in(frame: pd.DataFrame, period: Period) -> pd.DataFrame:
    """Return the rows of ``stays`` that left in a period; splits within the rescue are no outcome."""
    return frame[period.contains(frame["outcome_date"]) & (frame["end"] != "split off")]


def came_in(frame: pd.DataFrame, period: Period) -> pd.DataFrame:
    """Return the rows of ``stays`` that came in in a period, as new intakes."""
    return frame[period.contains(frame["intake_date"]) & frame["is_intake"]]


def live_share(gone: pd.DataFrame) -> Interval:
    """Return live outcomes over all outcomes, Wilson, n reduced by the design effect of groups."""
    weight = gone["animals"].to_numpy("float64")
    live = weight[(gone["end"] == "live").to_numpy()].sum()
    return wilson(live, weight.sum(), design_effect=design_effect(gone))


def design_effect(rows: pd.DataFrame) -> float:
    """Return the sum of squared animals by cluster over their sum: 1 where each row is an animal of its own."""
    by = rows.groupby("cluster")["animals"].sum().to_numpy("float64")
    return float((by**2).sum() / by.sum()) if by.sum() > 0 else 1.0


def _tallied(kind: pd.Series, weight: pd.Series) -> list[int]:
    by = weight.groupby(kind.fillna(NOT_RECORDED)).sum().reindex(list(EVERY_OUTCOME), fill_value=0)
    return [*by.astype("int64"), int(by.sum())]


def _table(rows: pd.DataFrame, kind: str, kinds: Sequence[str], taxa: pd.Series, by: str) -> pd.DataFrame:
    groups = sorted(taxa.unique())
    weight = rows["animals"] if by == "animals" else pd.Series(1, index=rows.index)
    cells = weight.groupby([rows[kind].fillna(NOT_RECORDED), rows["taxon"]]).sum()
    grid = pd.MultiIndex.from_product([list(kinds), groups])
    table = cells.reindex(grid, fill_value=0).unstack().reindex(index=list(kinds), columns=groups, fill_value=0)
    table = table.astype("int64")
    table[TOTAL] = table.sum(axis=1)
    table.loc[TOTAL] = table.sum(axis=0)
    if table.loc[TOTAL, TOTAL] != weight.sum():
        raise AssertionError(f"counts by {kind} do not add up to all rows")
    table = table.rename_axis(index=None, columns=None)
    table.insert(0, kind.replace("_", " "), table.index)
    table = table.reset_index(drop=True)
    table.attrs["units"] = dict.fromkeys([*groups, TOTAL], by)
    return table


def _early(gone: pd.DataFrame) -> pd.DataFrame:
    dead = gone[gone["outcome"].isin(DEATHS)]
    soon = dead["days"] <= 1
    kinds = {
        "dead on arrival": dead["dead_on_arrival"],
        "on the day of arrival or the next": ~dead["dead_on_arrival"] & soon,
        "later": ~dead["dead_on_arrival"] & ~soon,
    }
    frame = pd.DataFrame(
        {
            "when": list(kinds),
            "animals": [int(dead.loc[which, "animals"].sum()) for which in kinds.values()],
            "records": [int(which.sum()) for which in kinds.values()],
        }
    )
    frame.attrs.update(
        title="Deaths by when they happened",
        units={"animals": "animals", "records": "records"},
        definition='"Within 24 hours" cannot be known from dates: the day of arrival or the next is counted.',
    )
    return frame


def _by_taxon(table: pd.DataFrame, period: Period, did: str, none: str) -> str:
    total = table.iloc[-1]
    groups = [g for g in table.columns[1:-1] if total[g] > 0]
    if not total[TOTAL]:
        return f"{none} {from_to(period)}."
    parts = listing([_of_group(int(total[g]), g) for g in sorted(groups, key=lambda g: -total[g])])
    if len(groups) == 1:
        return f"{sentence_case(from_to(period))}, {parts} {did}."
    return f"{sentence_case(from_to(period))}, {count(int(total[TOTAL]), 'animal')} {did}: {parts}."


def _of_group(n: int, group: str) -> str:
    return f"{n:,} of a group not known" if group in ("unknown", NOT_RECORDED) else count(n, group)


def _went(n: int, outcome: str) -> str:
    if outcome == NOT_RECORDED:
        return f"{n:,} left, how is not recorded"
    if outcome == "missing":
        return f"{n:,} went missing"
    if outcome == "died":
        return f"{n:,} died"
    return f"{n:,} {were(n)} {outcome}"


def _share(live: Interval) -> str:
    return share_of(float(live.k), float(live.n), float(live.low), float(live.high))


def _number(n: int) -> str:
    return f"{n:,}" if n else "none"
