"""What became of a set of stays: live outcome, death or missing by a day, and the median stay."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import Told, curve_frame, told
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.wording import count, day, listing, percent, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.stays import CAUSES, stays

DAYS = (7, 30, 90)
COLUMNS = ("end", "day", "share", "low", "high", "at_risk")
WORDS = {"live": "had a live outcome", "died": "had died", "missing": "were missing"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Fate(Answer):
    """Cumulative incidence of each end by a few days, and the median stay.

    Attributes
    ----------
    frame : DataFrame
        end (live, died, missing, in care), day, share, low, high (proportion; missing: the records do not reach),
        at_risk (animals).
    counts : DataFrame
        end, animals, stays: every stay chosen, those in no rate included.
    median : tuple of float
        Days by which half had left in any way, low, high; nan where not reached.
    """

    frame: pd.DataFrame
    counts: pd.DataFrame
    steps: pd.DataFrame
    median: tuple[float, float, float]
    animals: int
    chosen: int
    label: str
    as_of: pd.Timestamp
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the share of each end by day."""
        return self.frame

    def curve(self) -> pd.DataFrame:
        """Return the steps of the curves."""
        return self.steps

    def sentence(self) -> str:
        """Return shares on the last day reached, and the median stay."""
        if not self.outcomes:
            return without_outcomes("what became of animals")
        if not self.animals:
            return f"No stay is under observation ({self.label})."
        known = self.frame.dropna(subset=["share"])
        who = f"Of {count(self.animals, 'animal')} ({self.label}) up to {day(self.as_of)}"
        if not len(known):
            return f"{who}: too few to say what became of them with time."
        last = known["day"].max()
        rows = known[known["day"] == last].set_index("end")
        shares = [f"{percent(r['share'])} {WORDS[end]} ({_limits(r)})" for end, r in rows.iterrows() if end in WORDS]
        middle, low, high = self.median
        if math.isnan(middle):
            half = "fewer than half have left by the last day the records reach"
        else:
            end = "on" if math.isnan(high) else f"to {high:.0f}"
            half = f"half had left by day {middle:.0f} (95 % interval day {low:.0f} {end})"
        return f"{who}, by day {last:.0f} {listing(shares)}; {half}."

    def notes(self) -> tuple[str, ...]:
        """Return how many were chosen and how many are in no rate."""
        if not self.outcomes:
            return ()
        apart = self.chosen - self.animals
        out = ["All ends compete; those still in care count as long as they are followed."]
        if apart:
            out.append(
                f"{count(apart, 'animal').capitalize()} in no rate: dead on arrival, or gone before the records start."
            )
        return tuple(out)


def fate(
    records: Records,
    days: Sequence[int] = DAYS,
    where: Callable[[pd.DataFrame], pd.Series] | pd.Series | str | None = None,
    *,
    label: str = "",
) -> Fate:
    """Return what became of a set of stays.

    Parameters
    ----------
    records : Records
    days : sequence of int
        Days since intake.
    where : callable, Series of bool, or str, optional
        A function from the frame of ``timelines.stays`` to a mask, a mask on its index, or a taxon group. None: all.
    label : str
        What the chosen stays are called; a taxon group names itself.

    Raises
    ------
    InputError
        If the taxon group is in no stay.
    """
    frame = stays(records)
    chosen = frame[_mask(frame, where)]
    label = label or (where if isinstance(where, str) else "all stays" if where is None else "the stays chosen")
    rows = chosen[chosen["used"]]
    one = next(told(rows, None, CAUSES, records.settings), None)
    table = pd.DataFrame([] if one is None else _rows(one, days), columns=list(COLUMNS))
    table.attrs.update(
        title=f"What became of {label}", units={"day": "days since intake", "share": "proportion", "low": "proportion",
        "high": "proportion", "at_risk": "animals"},
    )  # fmt: skip
    counts = chosen.groupby("end").agg(animals=("animals", "sum"), stays=("stay_id", "size")).reset_index()
    counts.attrs.update(title=f"Ends of {label}", units={"animals": "animals", "stays": "parts of stays"})
    nothing = (float("nan"),) * 3
    return Fate(
        outcomes=records.has("outcomes"), frame=told_of(records, table), counts=told_of(records, counts),
        steps=pd.DataFrame() if one is None else curve_frame(one, max(days, default=90)),
        median=nothing if one is None else one.median_any(), animals=int(_whole(rows)), chosen=int(_whole(chosen)),
        label=label, as_of=records.as_of,
    )  # fmt: skip


def _mask(frame: pd.DataFrame, where: Callable[[pd.DataFrame], pd.Series] | pd.Series | str | None) -> pd.Series:
    if where is None:
        return pd.Series(True, index=frame.index)
    if isinstance(where, str):
        known = sorted(frame["taxon"].unique())
        if where not in known:
            raise InputError(f'No stay is of the taxon group "{where}".{nearest(where, known)}', known)
        return frame["taxon"] == where
    return (where(frame) if callable(where) else where).astype(bool)


def _whole(rows: pd.DataFrame) -> int:
    return int(rows.loc[rows["end"] != "split off", "animals"].sum())


def _rows(one: Told, days: Sequence[int]) -> list[tuple[object, ...]]:
    out: list[tuple[object, ...]] = []
    still = one.still()
    for d in days:
        at_risk = round(float(one.tally.at_risk([d])[0, 0]))
        out += [(end, d, *one.by(d, end), at_risk) for end in CAUSES]
        left = still.at([d])
        known = one.enough and one.first <= d <= one.reach
        limits = (left.share[0, 0], left.low[0, 0], left.high[0, 0]) if known else (float("nan"),) * 3
        out.append(("in care", d, *(float(x) for x in limits), at_risk))
    return out


def _limits(row: pd.Series) -> str:
    return f"95 % interval {percent(row['low'])} to {percent(row['high'])}"
