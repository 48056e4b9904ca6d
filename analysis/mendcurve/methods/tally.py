"""The tally: an additive table of entries, events by cause and censorings by day, from which a curve is computed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from mendcurve.errors import InputError, nearest
from mendcurve.methods.arrays import Floats, look_up, ratio, running

CHUNK = 131_072
"""Rows counted at a time: large enough to be fast, small enough that memory does not grow with the data."""
_MANY_DAYS = 1_000_000
_SPREAD = np.uint64(0x9E3779B97F4A7C15)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tally:
    """Counts by group and day since origin.

    Attributes
    ----------
    groups : tuple of str, length G
        Names of the groups.
    causes : tuple of str, length C
        Ways in which a subject's time can end; cause number c of the input is ``causes[c - 1]``.
    day : ndarray, shape (k,)
        Ascending distinct times on which somebody entered or left. Unit: days since origin.
    entered, entered2 : ndarray, shape (G, k)
        Sum of weights, and of squared weights, of those whose observation begins just after ``day``. Unit: subjects.
    events, events2 : ndarray, shape (G, C, k)
        The same for those who ended on ``day``, by cause.
    censored, censored2 : ndarray, shape (G, k)
        The same for those last seen on ``day``, not ended.

    Notes
    -----
    A subject is at risk on the days of (entry, exit]; on one day events come before censorings. Adding two tallies
    gives the tally of both data sets: exactly so for whole weights, to rounding for other real weights.
    """

    groups: tuple[str, ...]
    causes: tuple[str, ...]
    day: Floats
    entered: Floats
    entered2: Floats
    events: Floats
    events2: Floats
    censored: Floats
    censored2: Floats

    @classmethod
    def from_arrays(
        cls,
        entry: ArrayLike | None,
        exit: ArrayLike,
        cause: ArrayLike,
        *,
        group: ArrayLike | None = None,
        weight: ArrayLike | None = None,
        causes: Sequence[str] = ("event",),
        groups: Sequence[str] | None = None,
    ) -> Tally:
        """Count rows in one pass.

        Parameters
        ----------
        entry : array_like, shape (n,), or None
            Last day before observation begins (-1: observed from the origin on, day 0 counts). None: -1 for all.
        exit : array_like, shape (n,)
            Day of the event, or last day observed. Unit: days since origin.
        cause : array_like of int, shape (n,)
            0 censored, 1..C the causes in the order of ``causes``.
        group : array_like of str, shape (n,), optional
            Group of each row; None: one group, "all".
        weight : array_like, shape (n,), optional
            Subjects a row stands for (1 unless given); real numbers are allowed, negative ones are not.
        causes, groups : sequence of str
            All causes, and all groups in the order wanted (default: those present, sorted). A group or cause named
            here and absent from the rows keeps its row of zeros.

        Raises
        ------
        InputError
            If lengths differ, a time is missing, an exit is not after its entry, a cause or group is unknown, or a
            weight is negative or missing.
        """
        leave = np.asarray(exit, dtype=float)
        begin = np.full(leave.shape, -1.0) if entry is None else np.asarray(entry, dtype=float)
        why = np.asarray(cause)
        amount = None if weight is None else np.asarray(weight, dtype=float)
        names, code = _codes(group, groups, leave.shape)
        _check_rows(begin, leave, why, amount, len(causes))
        days, at_entry, at_exit = _grid(begin, leave)
        k, G, C = len(days), len(names), len(causes)
        add, add2 = np.zeros(G * k), np.zeros(G * k)
        out, out2 = np.zeros(G * (C + 1) * k), np.zeros(G * (C + 1) * k)
        for start in range(0, len(leave), CHUNK):
            rows = slice(start, start + CHUNK)
            into = code[rows] * k + at_entry[rows]
            off = (code[rows] * (C + 1) + why[rows].astype(np.int64)) * k + at_exit[rows]
            for cells, squares, where in ((add, add2, into), (out, out2, off)):
                if amount is None:
                    cells += np.bincount(where, minlength=len(cells))
                else:
                    cells += np.bincount(where, weights=amount[rows], minlength=len(cells))
                    squares += np.bincount(where, weights=amount[rows] ** 2, minlength=len(cells))
        if amount is None:  # a weight of 1 is its own square
            add2, out2 = add.copy(), out.copy()
        ended, ended2 = out.reshape(G, C + 1, k), out2.reshape(G, C + 1, k)
        return cls(
            groups=names, causes=tuple(causes), day=days, entered=add.reshape(G, k), entered2=add2.reshape(G, k),
            events=ended[:, 1:], events2=ended2[:, 1:], censored=ended[:, 0], censored2=ended2[:, 0],
        )  # fmt: skip

    def at_risk(self, days: ArrayLike | None = None) -> Floats:
        """Subjects under observation (entry < day <= exit), shape (G, k), or (G, len(days)) where days are given."""
        before, after = running(self.entered, self.events.sum(axis=1) + self.censored)
        return before if days is None else look_up(self.day, before, after, days)

    def after(self) -> Floats:
        """Subjects at risk just after each day, shape (G, k): those who left on it are gone, new entries are in."""
        return running(self.entered, self.events.sum(axis=1) + self.censored)[1]

    def design_effect(self) -> tuple[Floats, Floats]:
        """Sum of squared weights over sum of weights, of those at risk on, and just after, each day; 1 where nobody is.

        Notes
        -----
        Kish's design effect of the risk set: a row that stands for 30 has the information of one subject.
        """
        n, n_after = running(self.entered, self.events.sum(axis=1) + self.censored)
        m, m_after = running(self.entered2, self.events2.sum(axis=1) + self.censored2)
        return ratio(m, n, 1.0), ratio(m_after, n_after, 1.0)

    def __add__(self, other: Tally) -> Tally:
        """Tally of both data sets; groups are matched by name, causes must be the same."""
        if not isinstance(other, Tally):
            return NotImplemented
        if self.causes != other.causes:
            raise InputError(
                "Two tallies can be added only if they have the same causes in the same order,",
                [f"first: {', '.join(self.causes)}", f"second: {', '.join(other.causes)}"],
                "Collapse or rename the causes first.",
            )
        days = np.union1d(self.day, other.day)
        groups = self.groups + tuple(g for g in other.groups if g not in self.groups)
        total = {name: np.zeros(_shape(name, len(groups), len(self.causes), len(days))) for name in _COUNTS}
        for part in (self, other):
            rows = np.array([groups.index(g) for g in part.groups], dtype=np.int64)
            columns = np.searchsorted(days, part.day)
            for name, cells in total.items():
                cells[np.ix_(rows, *(np.arange(s) for s in cells.shape[1:-1]), columns)] += getattr(part, name)
        return Tally(groups=groups, causes=self.causes, day=days, **total)

    def merge_groups(self, mapping: Mapping[str, str]) -> Tally:
        """Add up groups under new names; every group must be named, new groups stand in order of first mention."""
        _check_names("group", mapping, self.groups)
        names = tuple(dict.fromkeys(mapping[g] for g in self.groups))
        to = np.array([names.index(mapping[g]) for g in self.groups], dtype=np.int64)
        return self._summed(0, to, len(names), groups=names)

    def collapse(self, mapping: Mapping[str, str]) -> Tally:
        """Add up causes under new names; every cause must be named (none is dropped: all stay in the denominator)."""
        _check_names("cause", mapping, self.causes)
        names = tuple(dict.fromkeys(mapping[c] for c in self.causes))
        to = np.array([names.index(mapping[c]) for c in self.causes], dtype=np.int64)
        return self._summed(1, to, len(names), causes=names)

    def any_cause(self) -> Tally:
        """The same tally with all causes as one, "event"."""
        return self.collapse(dict.fromkeys(self.causes, "event"))

    def censoring_others(self, cause: str) -> Tally:
        """Tally of one cause alone, the others taken as censorings: cause-specific hazards and tests use it."""
        c = self.cause_index(cause)
        others = np.arange(len(self.causes)) != c
        return Tally(
            groups=self.groups, causes=(cause,), day=self.day, entered=self.entered, entered2=self.entered2,
            events=self.events[:, [c]], events2=self.events2[:, [c]],
            censored=self.censored + self.events[:, others].sum(axis=1),
            censored2=self.censored2 + self.events2[:, others].sum(axis=1),
        )  # fmt: skip

    def one(self, group: str) -> Tally:
        """Tally of a single group, on the same days."""
        i = self.group_index(group)
        return Tally(
            groups=(group,), causes=self.causes, day=self.day, **{name: getattr(self, name)[[i]] for name in _COUNTS}
        )

    def group_index(self, group: str) -> int:
        """Row of a group; an unknown name is refused with the nearest known."""
        return _index("group", group, self.groups)

    def cause_index(self, cause: str) -> int:
        """Row of a cause; an unknown name is refused with the nearest known."""
        return _index("cause", cause, self.causes)

    def starting_at(self, day: float) -> Tally:
        """Tally of those who reached ``day`` (T >= day): everything earlier is conditioned on.

        Notes
        -----
        Days are whole: those at risk on ``day`` are entered on ``day - 1``. Later entries and exits are kept.
        """
        keep = self.day >= day
        days = np.concatenate([[day - 1.0], self.day[keep]])
        reached = {"entered": self.at_risk([day])}
        before2, after2 = running(self.entered2, self.events2.sum(axis=1) + self.censored2)
        reached["entered2"] = look_up(self.day, before2, after2, [day])
        counts = {}
        for name in _COUNTS:
            cells = getattr(self, name)[..., keep]
            first = reached.get(name, np.zeros((*cells.shape[:-1], 1)))
            counts[name] = np.concatenate([first, cells], axis=-1)
        return Tally(groups=self.groups, causes=self.causes, day=days, **counts)

    def _summed(self, axis: int, to: NDArray[np.int64], size: int, **names: tuple[str, ...]) -> Tally:
        counts = {}
        for name in _COUNTS:
            cells = getattr(self, name)
            if axis == 0 or name.startswith("events"):
                sums = np.zeros((*cells.shape[:axis], size, *cells.shape[axis + 1 :]))
                np.add.at(sums, (slice(None),) * axis + (to,), cells)  # type: ignore[arg-type]
                cells = sums
            counts[name] = cells
        return Tally(**{"groups": self.groups, "causes": self.causes, **names}, day=self.day, **counts)  # type: ignore[arg-type]


_COUNTS = tuple(f.name for f in fields(Tally) if f.name not in ("groups", "causes", "day"))


def first_day_with(tally: Tally, at_least: float) -> Floats:
    """First day on which a group has ``at_least`` subjects at risk, shape (G,); nan where it never has.

    Notes
    -----
    Days are whole: somebody who enters on day e is at risk from e + 1. With delayed entry a curve should begin here
    (``tally.starting_at(day)``) and say that it speaks of those who reached that day: one early end among one at risk
    would otherwise hold the whole curve at zero.
    """
    candidates = np.unique(np.concatenate([tally.day, tally.day + 1]))
    enough = tally.at_risk(candidates) >= at_least
    return np.where(enough.any(axis=1), candidates[enough.argmax(axis=1)], np.nan)


def last_day_with(tally: Tally, at_least: float) -> Floats:
    """Last day on which a group has ``at_least`` subjects at risk, shape (G,); nan where it never has."""
    enough = tally.at_risk() >= at_least
    last = enough.shape[1] - 1 - enough[:, ::-1].argmax(axis=1)
    return np.where(enough.any(axis=1), tally.day[last], np.nan)


def _codes(
    group: ArrayLike | None, groups: Sequence[str] | None, shape: tuple[int, ...]
) -> tuple[tuple[str, ...], NDArray[np.int64]]:
    if group is None:
        return (tuple(groups) if groups else ("all",)), np.zeros(shape, dtype=np.int64)
    inverse, present = _factorised(group)
    if (inverse < 0).any():
        found = [f"without one: {int((inverse < 0).sum())} of {len(inverse)}"]
        raise InputError("Every row of a tally needs a group,", found, 'Name those without one, "not recorded".')
    names = tuple(str(g) for g in (present if groups is None else groups))
    unknown = [str(g) for g in present if str(g) not in names]
    if unknown:
        raise InputError(
            "Every row's group must be one of the groups named, but these are not:",
            [f"{g}{nearest(g, names)}" for g in unknown],
            "Name them in groups, or leave groups out to take all that are present.",
        )
    position = {name: i for i, name in enumerate(names)}
    return names, np.array([position[str(g)] for g in present], dtype=np.int64)[inverse]


def _factorised(group: ArrayLike) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """Return each row's place among the distinct groups, which are sorted; -1 where it has none."""
    given = np.asarray(group)
    if given.dtype.kind == "U" and len(given) and given.dtype.itemsize:
        # text of one width: a number made of its letters is found faster than the text, and is checked against it
        unit = np.uint64 if given.dtype.itemsize % 8 == 0 else np.uint32
        letters = np.ascontiguousarray(given).view(unit).reshape(len(given), -1)
        number = np.zeros(len(given), dtype=np.uint64)
        for column in letters.T:
            number = np.add(number * _SPREAD, column, dtype=np.uint64)
        code, _ = pd.factorize(number)
        first = np.zeros(code.max() + 1, dtype=np.int64)
        first[code[::-1]] = np.arange(len(code))[::-1]
        words = given[first]
        if (words[code] == given).all() and len(np.unique(words)) == len(words):
            order = np.argsort(words, kind="stable")
            rank = np.empty(len(order), dtype=np.int64)
            rank[order] = np.arange(len(order))
            return rank[code], words[order]
    inverse, present = pd.factorize(given, sort=True)
    return inverse, np.asarray(present)


def _check_rows(begin: Floats, leave: Floats, why: NDArray, amount: Floats | None, causes: int) -> None:
    sizes = {"entry": len(begin), "exit": len(leave), "cause": len(why)} | (
        {} if amount is None else {"weight": len(amount)}
    )
    if len(set(sizes.values())) > 1:
        raise InputError("All columns of a tally must have the same length,", [f"{k}: {v}" for k, v in sizes.items()])
    known = (why >= 0) & (why <= causes)
    if why.dtype.kind not in "biu":
        known &= why == np.floor(why)
    bad = {
        "entry and exit must be numbers": ~(np.isfinite(begin) & np.isfinite(leave)),
        "exit must be after entry (an entry of -1 makes day 0 count)": leave <= begin,
        f"cause must be 0 (censored) or a whole number up to {causes}": ~known,
    }
    if amount is not None:
        bad["weight must be a number of 0 or more"] = ~(np.isfinite(amount) & (amount >= 0))
    for rule, rows in bad.items():
        if rows.any():
            found = [
                f"row {i}: entry {begin[i]:g}, exit {leave[i]:g}, cause {why[i]}" for i in np.flatnonzero(rows)[:5]
            ]
            raise InputError(f"In a tally {rule}, but {int(rows.sum())} of {len(rows)} rows break this:", found)


def _grid(begin: Floats, leave: Floats) -> tuple[Floats, NDArray[np.int64], NDArray[np.int64]]:
    # whole days in a modest range are placed by subtraction; other reals by a sorted search
    first, last = float(begin.min(initial=np.inf)), float(leave.max(initial=-np.inf))
    if 0 <= last - first < _MANY_DAYS:
        into, out = (begin - first).astype(np.int64), (leave - first).astype(np.int64)
        if (into + first == begin).all() and (out + first == leave).all():
            count = int(last - first) + 1
            seen = (np.bincount(into, minlength=count) + np.bincount(out, minlength=count)) > 0
            place = np.cumsum(seen) - 1
            return np.flatnonzero(seen) + first, place[into], place[out]
    days = np.unique(np.concatenate([np.unique(begin), np.unique(leave)]))
    return days, np.searchsorted(days, begin), np.searchsorted(days, leave)


def _shape(name: str, groups: int, causes: int, days: int) -> tuple[int, ...]:
    return (groups, causes, days) if name.startswith("events") else (groups, days)


def _check_names(kind: str, mapping: Mapping[str, str], known: tuple[str, ...]) -> None:
    missing = [name for name in known if name not in mapping]
    extra = [name for name in mapping if name not in known]
    if missing or extra:
        found = [f"not named: {m}" for m in missing] + [f"unknown: {e}.{nearest(e, known)}" for e in extra]
        raise InputError(f"Every {kind} of the tally, and no other, must be named,", found)


def _index(kind: str, name: str, known: tuple[str, ...]) -> int:
    if name not in known:
        raise InputError(f'The tally has no {kind} "{name}"; it has {", ".join(known)}.{nearest(name, known)}')
    return known.index(name)
