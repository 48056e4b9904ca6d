"""Sums over who is at risk at each event, for Cox's partial likelihood: strata, delayed entry, tied events."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mendcurve.errors import InputError
from mendcurve.methods.arrays import Floats

TIES = ("efron", "breslow")
Places = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Cohort:
    """Rows under observation on (entry, exit], with what is known of each.

    Attributes
    ----------
    entry, exit : ndarray, shape (n,)
    event : ndarray of bool, shape (n,)
    x : ndarray, shape (n, p)
    stratum : ndarray of int, shape (n,)
    weight : ndarray, shape (n,)
    ties : {"efron", "breslow"}
    """

    entry: Floats
    exit: Floats
    event: NDArray[np.bool_]
    x: Floats
    stratum: Places
    weight: Floats
    ties: str = "efron"

    @classmethod
    def of(
        cls,
        entry: ArrayLike | None,
        exit: ArrayLike,
        event: ArrayLike,
        x: ArrayLike,
        *,
        stratum: ArrayLike | None = None,
        weight: ArrayLike | None = None,
        ties: str = "efron",
    ) -> Cohort:
        """Return a cohort from columns; ``entry`` None where all are seen from their origin.

        Raises
        ------
        InputError
            For an unknown rule of ties, values that are missing, or rows that end before they begin.
        """
        if ties not in TIES:
            raise InputError(f'ties must be one of {", ".join(TIES)}, but it is "{ties}".')
        end = np.asarray(exit, dtype=float)
        begin = np.full(len(end), end.min(initial=0.0) - 1.0) if entry is None else np.asarray(entry, dtype=float)
        covariates = np.asarray(x, dtype=float).reshape(len(end), -1)
        if not (np.isfinite(covariates).all() and np.isfinite(begin).all() and np.isfinite(end).all()):
            raise InputError("Every row must have all its values.", remedy="Leave out the rows that lack one.")
        if not (begin < end).all():
            raise InputError("A row must end after it begins.", [f"{int((begin >= end).sum())} rows do not"])
        codes = np.zeros(len(end)) if stratum is None else np.unique(np.asarray(stratum), return_inverse=True)[1]
        given = np.ones(len(end)) if weight is None else np.asarray(weight, dtype=float)
        return cls(begin, end, np.asarray(event, dtype=bool), covariates, codes.astype("int64"), given, ties)

    @cached_property
    def times(self) -> tuple[Places, Places, Places]:
        """Places of entry, of exit, and the distinct places of events, on one axis that keeps strata apart."""
        grid, place = np.unique(np.concatenate([self.entry, self.exit]), return_inverse=True)
        shift = self.stratum * (len(grid) + 1)
        into, out = place[: len(self.entry)] + shift, place[len(self.entry) :] + shift
        return into, out, np.unique(out[self.event])

    @cached_property
    def own(self) -> Places:
        """For each event row, the place of its time among the event times; shape (events,)."""
        _, out, when = self.times
        return np.searchsorted(when, out[self.event])

    @cached_property
    def draws(self) -> tuple[Places, Floats]:
        """One line for each event: its event time, and the share of the tied events already taken out before it."""
        many = np.bincount(self.own, minlength=len(self.times[2]))
        when = np.repeat(np.arange(len(many)), many)
        nth = np.arange(len(when)) - np.repeat(np.cumsum(many) - many, many)
        gone = nth / many[when] if self.ties == "efron" else np.zeros(len(when))
        return when, gone

    def sums(self, values: Floats) -> tuple[Floats, Floats]:
        """Sum ``values`` (n, m) over those at risk at each event time, and over the events on it; both (times, m)."""
        into, out, when = self.times
        at_risk = _from(out, values, when) - _from(into, values, when)
        ended = np.zeros((len(when), values.shape[1]))
        np.add.at(ended, self.own, values[self.event])
        return at_risk, ended

    def event_weight(self) -> Floats:
        """Mean weight of the events of each line of ``draws``."""
        many = np.bincount(self.own, minlength=len(self.times[2]))
        return np.asarray(np.bincount(self.own, self.weight[self.event], len(many)) / many, dtype=float)[self.draws[0]]


def _from(place: Places, values: Floats, when: Places) -> Floats:
    """Sum of ``values`` over rows with ``place`` at or after each of ``when``."""
    order = np.argsort(place, kind="stable")
    above = np.cumsum(values[order][::-1], axis=0)[::-1]
    above = np.vstack([above, np.zeros((1, values.shape[1]))])
    return above[np.searchsorted(place[order], when, side="left")]
