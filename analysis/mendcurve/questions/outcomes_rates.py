"""Five live-outcome rates, each with numerator, denominator and definition, beside earlier periods."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.intervals import newcombe, wilson
from mendcurve.questions.answer import Answer
from mendcurve.questions.outcomes_counts import came_in, design_effect, left_in, told_of
from mendcurve.questions.spans import earlier, from_to, sentence_case, span
from mendcurve.questions.wording import count, percent, share_of, were, without_outcomes
from mendcurve.records.records import Records
from mendcurve.records.settings import RATES
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import stays

SEED = 20_250_501
DRAWS = 2_000
DEFINITIONS = {
    "all outcomes": "Live outcomes over all outcomes.",
    "without died or missing": "Live outcomes over live outcomes and euthanised, every euthanasia at the owner's "
    "request excluded; animals that died, went missing, or left nobody recorded how are not in it (Asilomar form, from "
    "memory).",
    "without owner-requested euthanasia": "Live outcomes over all outcomes but euthanasia at the owner's request.",
    "of intakes, less non-live": "Intakes less non-live outcomes, over intakes; non-live: died, euthanised for any "
    "reason, missing, and not recorded.",
    "live outcomes per intake": "Live outcomes over intakes; can pass 100 % when animals that came earlier leave.",
}
BINOMIAL = RATES[:3]
NO_DIFFERENCE = "no clear difference"


@dataclass(frozen=True, kw_only=True, eq=False)
class Rates(Answer):
    """The five rates of a period, and of earlier ones.

    Attributes
    ----------
    frame : DataFrame
        rate, headline (bool), numerator, denominator, share, low, high (proportion), interval, definition.
    compared : DataFrame
        rate, compared_with, share_then, numerator_then, denominator_then, difference, low, high, says.
    headline : str
    period : Period
    dead_on_arrival, unknown : int
        Animals in no rate; animals that left, nobody recorded how.
    """

    frame: pd.DataFrame
    compared: pd.DataFrame
    headline: str
    period: Period
    dead_on_arrival: int
    unknown: int
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the five rates."""
        return self.frame

    def comparisons(self) -> pd.DataFrame:
        """Return each rate against the period before and the year before."""
        return self.compared

    def sentence(self) -> str:
        """Return the headline rate with numerator, denominator and interval, and how it compares."""
        if not self.outcomes:
            return without_outcomes("any live-outcome rate")
        row = self.frame[self.frame["headline"]].iloc[0]
        when = from_to(self.period)
        if not row["denominator"]:
            return f"{sentence_case(when)} there is nothing to reckon a live-outcome rate from."
        text = (
            f"Live-outcome rate {when} ({self.headline}): "
            f"{share_of(row['numerator'], row['denominator'], row['low'], row['high'])}."
        )
        for one in self.compared[self.compared["rate"] == self.headline].to_dict("records"):
            then = f"{one['numerator_then']:,} of {one['denominator_then']:,}"
            text += f" {sentence_case(one['compared_with'])}: {then}, {one['says']}."
        return text

    def notes(self) -> tuple[str, ...]:
        """Return the definition of the headline, what is in no rate, and how the intervals are made."""
        if not self.outcomes:
            return ()
        row = self.frame[self.frame["headline"]].iloc[0]
        low, high = self.frame["share"].min(), self.frame["share"].max()
        out = [f"Definition of the headline: {row['definition']}"]
        if np.isfinite(low):
            out.append(
                f"The same records give {percent(low)} to {percent(high)}, by definition: compare like with like."
            )
        out.append(
            "Intervals: Wilson, a group counted as one animal's evidence, for the three rates of outcomes; the other "
            f"two are no shares of one set, and theirs come from {DRAWS:,} seeded resamplings of stays."
        )
        if self.dead_on_arrival:
            n = self.dead_on_arrival
            out.append(f"{sentence_case(count(n, 'animal'))} dead on arrival {were(n)} left out of every rate.")
        if self.unknown:
            out.append(
                f"{sentence_case(count(self.unknown, 'animal'))} left and nobody recorded how: in the denominators, "
                "never counted as live."
            )
        return tuple(out)


def rates(records: Records, period: Period | None = None) -> Rates:
    """Return the five live-outcome rates, the headline marked, and how they differ from earlier periods."""
    period = span(records, period)
    frame = stays(records)
    now = _Counts.of(frame, period)
    headline = records.settings["outcomes.headline"]
    table = pd.DataFrame([_row(name, now, headline) for name in RATES])
    table.attrs.update(
        title=f"Live-outcome rates {from_to(period)}",
        units={"numerator": "animals", "denominator": "animals", "share": "proportion", "low": "proportion",
               "high": "proportion"},
        definition=" ".join(f"{name}: {text}" for name, text in DEFINITIONS.items()),
    )  # fmt: skip
    then = {name: _Counts.of(frame, one) for name, one in earlier(records, period).items()}
    apart = left_in(frame, period)
    return Rates(
        frame=told_of(records, table), compared=told_of(records, _compared(now, then)),
        outcomes=records.has("outcomes"),
        headline=headline, period=period,
        dead_on_arrival=int(apart.loc[apart["dead_on_arrival"], "animals"].sum()),
        unknown=int(apart.loc[apart["end"] == "not recorded", "animals"].sum()),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Counts:
    """What the five rates are made of: counts by cluster of stays, columns ``names``."""

    by_cluster: np.ndarray
    effect: float

    names = ("live", "euthanised", "owner", "other", "came")

    @classmethod
    def of(cls, frame: pd.DataFrame, period: Period) -> _Counts:
        alive = frame[~frame["dead_on_arrival"]]
        gone, came = left_in(alive, period), came_in(alive, period)
        kind = gone["end"].where(gone["end"] == "live", "other")
        kind = kind.mask(gone["outcome"] == "euthanised", "euthanised")
        kind = kind.mask(gone["outcome"] == "euthanised at owner's request", "owner")
        rows = pd.concat(
            [
                gone.assign(kind=kind)[["cluster", "kind", "animals"]],
                came.assign(kind="came")[["cluster", "kind", "animals"]],
            ]
        )
        table = rows.groupby(["cluster", "kind"])["animals"].sum().unstack(fill_value=0)
        table = table.reindex(columns=list(cls.names), fill_value=0)
        return cls(table.to_numpy("float64"), design_effect(gone))

    def of_rate(self, name: str, totals: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Return numerator and denominator of one rate, from totals (last axis: ``names``)."""
        live, euthanised, owner, other, came = np.moveaxis(
            self.by_cluster.sum(axis=0) if totals is None else totals, -1, 0)  # fmt: skip
        every = live + euthanised + owner + other
        return {
            "all outcomes": (live, every),
            "without died or missing": (live, live + euthanised),
            "without owner-requested euthanasia": (live, every - owner),
            "of intakes, less non-live": (came - (every - live), came),
            "live outcomes per intake": (live, came),
        }[name]

    def draws(self) -> np.ndarray:
        """Return resampled totals, shape (draws, names): clusters drawn with replacement, equal ones counted once."""
        if not len(self.by_cluster):
            return np.zeros((DRAWS, len(self.names)))
        kinds, times = np.unique(self.by_cluster, axis=0, return_counts=True)
        drawn = np.random.default_rng(SEED).multinomial(times.sum(), times / times.sum(), size=DRAWS)
        return drawn @ kinds


def _row(name: str, now: _Counts, headline: str) -> dict[str, object]:
    k, n = (float(x) for x in now.of_rate(name))
    found = _interval(name, now)
    return {
        "rate": name, "headline": name == headline, "numerator": round(k), "denominator": round(n),
        "share": found[0], "low": found[1], "high": found[2],
        "interval": "Wilson" if name in BINOMIAL else "resampled stays", "definition": DEFINITIONS[name],
    }  # fmt: skip


def _interval(name: str, now: _Counts) -> tuple[float, float, float]:
    k, n = (float(x) for x in now.of_rate(name))
    if name in BINOMIAL:
        found = wilson(k, n, design_effect=now.effect)
        return float(found.estimate), float(found.low), float(found.high)
    return (k / n, *_limits(_drawn(name, now))) if n else (np.nan, np.nan, np.nan)


def _drawn(name: str, now: _Counts) -> np.ndarray:
    k, n = now.of_rate(name, now.draws())
    return np.divide(k, n, out=np.full(len(k), np.nan), where=n > 0)


def _limits(drawn: np.ndarray) -> tuple[float, float]:
    known = drawn[np.isfinite(drawn)]
    low, high = np.quantile(known, [0.025, 0.975])
    return float(low), float(high)


def _compared(now: _Counts, then: Mapping[str, _Counts]) -> pd.DataFrame:
    rows = []
    for name in RATES:
        k, n = (float(x) for x in now.of_rate(name))
        for when, old in then.items():
            k0, n0 = (float(x) for x in old.of_rate(name))
            if not (n and n0):
                continue
            low, high = _gap(name, now, old)
            says = NO_DIFFERENCE if low <= 0 <= high else f"{_points(k / n - k0 / n0)} now"
            rows.append((name, when, k0 / n0, round(k0), round(n0), k / n - k0 / n0, low, high, says))
    columns = ["rate", "compared_with", "share_then", "numerator_then", "denominator_then", "difference", "low", "high",
               "says"]  # fmt: skip
    frame = pd.DataFrame(rows, columns=columns)
    frame.attrs.update(
        title="The rates against earlier periods",
        units={"share_then": "proportion", "difference": "proportion", "low": "proportion", "high": "proportion"},
        definition='Now less then, with a 95 % interval (Newcombe; resampled stays for the two rates of intakes). "No '
        'clear difference": the interval holds 0. Animals were not assigned to periods at random.',
    )
    return frame


def _gap(name: str, now: _Counts, old: _Counts) -> tuple[float, float]:
    if name in BINOMIAL:
        (k, n), (k0, n0) = now.of_rate(name), old.of_rate(name)
        gap = newcombe(k, n, k0, n0, design_effect=(now.effect, old.effect))
        return float(gap.low), float(gap.high)
    # the second period is shuffled against the first, whose draws come from the same seed
    then = np.random.default_rng(SEED + 1).permutation(_drawn(name, old))
    low, high = _limits(_drawn(name, now) - then)
    return float(low), float(high)


def _points(gap: float) -> str:
    size = max(1, round(100 * abs(gap)))
    return f"{size} percentage {'point' if size == 1 else 'points'} {'higher' if gap > 0 else 'lower'}"
