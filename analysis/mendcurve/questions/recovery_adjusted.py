"""What goes with quicker clearing, each thing held against the others: one model over all conditions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.cox import Ratios, cox
from mendcurve.methods.cox_checks import proportionality
from mendcurve.methods.cox_risk import Cohort as AtRisk
from mendcurve.questions.answer import Answer
from mendcurve.questions.recovery_by import NO_CLEARING
from mendcurve.questions.recovery_cohort import cohorts
from mendcurve.questions.recovery_compare import NOT_AT_RANDOM, WAYS
from mendcurve.questions.spans import from_to
from mendcurve.questions.wording import count, listing
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSE_OF, clearing_recorded
from mendcurve.timelines.period import Period

EVENTS_A_RATIO = 10
"""Fewest animals cleared for each ratio in the model (METHODS: none below 10 events a coefficient)."""
COLUMNS = ("term", "level", "against", "animals", "cleared", "ratio", "low", "high", "p", "steady", "says")


@dataclass(frozen=True, kw_only=True, eq=False)
class Adjusted(Answer):
    """Ratios of the rate of clearing, each with the other terms held, conditions apart.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: animals and cleared (animals) of the level; ratio with 95 % limits by animal; p (Wald); steady:
        whether the ratio may be read as one for all days (score test of the term at 5 %).
    left_out : tuple of str
        Terms for which there were too few cleared.
    """

    frame: pd.DataFrame
    left_out: tuple[str, ...]
    animals: int
    cleared: int
    unknown: int
    small: int
    when: str
    recorded: bool
    clearing: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each level set against the commonest of its term."""
        return self.frame

    def sentence(self) -> str:
        """Return what goes with quicker or slower clearing, where the interval carries it."""
        if not self.recorded:
            return "Conditions are not recorded, so nothing can be said of what goes with quicker recovery."
        if not self.clearing:
            return NO_CLEARING
        if not len(self.frame):
            return f"Too few cases were cleared {self.when} to hold one thing against another."
        told = (self.frame["low"] > 1) | (self.frame["high"] < 1)
        clear = self.frame[(self.frame["steady"] & told) | (self.frame["cleared"] == 0)]
        base = f"Conditions compared within themselves, {count(self.cleared, 'case')} of {self.animals:,} cleared"
        if not len(clear):
            return f"{base}: nothing is told apart by the records {self.when}."
        return f"{base} {self.when}: {'; '.join(clear['says'])}."

    def notes(self) -> tuple[str, ...]:
        """Return how the ratios are made, what was left out and what may not be read into them."""
        out = [
            "Ratio: how many times as fast animals of the level were cleared as those of the level named, the other "
            "terms held and each condition compared within itself; Cox's model, limits by animal. Other ends count as "
            "cut off, so a ratio speaks of the pace of clearing, not of the share cleared. A case is one condition in "
            "one stay of one animal: an animal with three conditions is three cases, and one animal to the limits.",
            NOT_AT_RANDOM,
        ]
        if not self.frame["steady"].all():
            terms = listing(sorted(self.frame.loc[~self.frame["steady"], "term"].unique()))
            out.append(f"For {terms} the ratio changes with time, so one number does not tell it: see the comparison.")
        if self.left_out:
            out.append(f"Not in the model, too few cases cleared: {listing(self.left_out)}.")
        if self.unknown:
            out.append(f"{count(self.unknown, 'case').capitalize()} without one of these left out.")
        if self.small:
            out.append(f"{count(self.small, 'case').capitalize()} of kinds with too few left out.")
        return tuple(out)


def adjusted(
    records: Records, terms: Sequence[str] = ("severity", "taxon", "life_stage"), period: Period | None = None
) -> Adjusted:
    """Return the ratio of the rate of clearing for each level of each term.

    Parameters
    ----------
    records : Records
    terms : sequence of {"severity", "taxon", "life_stage", "species"}
    period : Period, optional
        Episodes found in it; default all.

    Notes
    -----
    Animals of a level with fewer than ``counts.animals`` of their own are left out and counted, those of a level of
    which none was cleared are told beside the model; then terms leave the model, that with most levels first, until
    each ratio has ten cleared.
    """
    groups = cohorts(records, period)
    rows = (groups[0] if period is None else groups[1]).rows
    clearing = clearing_recorded(records)
    known = rows.dropna(subset=list(terms)) if clearing else rows.iloc[:0]
    without = int(rows["animals"].sum() - known["animals"].sum()) if clearing else 0
    known, none = _large_enough(known, terms, int(records.settings["counts.animals"]))
    cleared = (known["cause"] == CAUSE_OF["cleared"]).to_numpy()
    kept, out = _that_bear({term: known[term].astype(str) for term in terms}, int(cleared.sum()))
    lines = list(_lines(known, cleared, kept)) if kept else []
    lines += [_none_cleared(term, level, some) for term, level, some in none]
    frame = pd.DataFrame(lines, columns=list(COLUMNS)).astype({"steady": "bool"})
    frame.attrs.update(title="What goes with quicker clearing", units={"animals": "cases", "cleared": "cases"},
                       definition=NOT_AT_RANDOM)  # fmt: skip
    weight, every = known["animals"].to_numpy(), int(rows["animals"].sum()) if clearing else 0
    uncleared = sum(int(some["animals"].sum()) for _, _, some in none)
    return Adjusted(
        frame=frame, left_out=tuple(WAYS[t] for t in out), animals=int(weight.sum()) + uncleared,
        cleared=int(weight[cleared].sum()), unknown=without, small=every - without - uncleared - int(weight.sum()),
        recorded=records.has("conditions"), clearing=clearing,
        when="in all records" if period is None else f"among those found {from_to(period)}",
    )  # fmt: skip


def _large_enough(
    rows: pd.DataFrame, terms: Sequence[str], fewest: int
) -> tuple[pd.DataFrame, list[tuple[str, str, pd.DataFrame]]]:
    """Return the rows of levels that can have a ratio, and the large levels of which none was cleared.

    A ratio of nothing has no finite value, so the latter stand beside the model and are told in words.
    """
    none: list[tuple[str, str, pd.DataFrame]] = []
    while True:
        keep = pd.Series(True, index=rows.index)
        for term in terms:
            for level, some in rows.groupby(rows[term].astype(str), sort=True):
                large = some["cluster"].nunique() >= fewest
                cleared = (some["cause"] == CAUSE_OF["cleared"]).any()
                if large and cleared:
                    continue
                if large:
                    none.append((term, str(level), some[keep[some.index]]))
                keep &= ~keep.index.isin(some.index)
        if keep.all():
            return rows, none
        rows = rows[keep]


def _none_cleared(term: str, level: str, rows: pd.DataFrame) -> dict[str, object]:
    """Return the line of a level of which none was cleared."""
    n = int(rows["animals"].sum())
    nothing = dict.fromkeys(("ratio", "low", "high", "p"), float("nan"))
    says = f"{level} ({WAYS[term]}): none of {count(n, 'case')} cleared, so no ratio fits"
    return {
        "term": WAYS[term], "level": level, "against": "", "animals": n, "cleared": 0, **nothing, "steady": True,
        "says": says,
    }  # fmt: skip


def _that_bear(levels: Mapping[str, pd.Series], cleared: int) -> tuple[dict[str, pd.Series], list[str]]:
    """Keep the terms for which there are enough cleared, dropping the one with most levels first."""
    kept = {term: level for term, level in levels.items() if len(level.unique()) > 1}
    out: list[str] = []
    while kept and cleared < EVENTS_A_RATIO * sum(level.nunique() - 1 for level in kept.values()):
        largest = max(kept, key=lambda term: kept[term].nunique())
        out.append(largest)
        del kept[largest]
    return kept, out


def _lines(rows: pd.DataFrame, cleared: np.ndarray, levels: Mapping[str, pd.Series]) -> Iterator[dict[str, object]]:
    base = {term: level.value_counts().sort_index(kind="stable").idxmax() for term, level in levels.items()}
    columns = {
        (term, str(name)): (level == name).to_numpy(dtype=float)
        for term, level in levels.items() for name in sorted(level.unique()) if name != base[term]
    }  # fmt: skip
    at_risk = AtRisk.of(
        rows["entry"], rows["exit"], cleared, np.column_stack(list(columns.values())),
        stratum=rows["condition"].to_numpy(dtype=object), weight=rows["animals"],
    )  # fmt: skip
    names = tuple(f"{term}: {name}" for term, name in columns)
    fit = cox(at_risk, names, cluster=rows["cluster"].to_numpy(dtype=object))
    cluster = rows["cluster"].to_numpy(dtype=object)
    steady = _steady(at_risk, fit, levels, cluster) if fit.finite else dict.fromkeys(levels, False)
    animals = rows["animals"].to_numpy()
    for i, ((term, name), here) in enumerate(columns.items()):
        mine = here > 0
        row: dict[str, object] = {
            "term": WAYS[term], "level": name, "against": base[term], "animals": int(animals[mine].sum()),
            "cleared": int(animals[mine & cleared].sum()), "ratio": float(fit.ratio[i]), "low": float(fit.low[i]),
            "high": float(fit.high[i]), "p": float(fit.p[i]), "steady": steady[term],
        }  # fmt: skip
        yield row | {"says": _words(row)}


def _steady(at_risk: AtRisk, fit: Ratios, levels: Mapping[str, pd.Series], cluster: np.ndarray) -> dict[str, bool]:
    of = {term: [name for name in fit.names if name.startswith(f"{term}: ")] for term in levels}
    found = proportionality(at_risk, fit, terms=of, cluster=cluster)
    return {term: not found.p[i] < 0.05 for i, term in enumerate(of)}


def _words(row: Mapping[str, object]) -> str:
    return (
        f"{row['level']} against {row['against']} ({row['term']}), {row['ratio']:.2f} times as fast "
        f"(95 % interval {row['low']:.2f} to {row['high']:.2f}, {count(float(str(row['animals'])), 'case')})"
    )
