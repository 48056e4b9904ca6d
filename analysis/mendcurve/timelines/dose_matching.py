"""Which planned dose each record answers: on arrays, one pass over the k-th record of every course at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DAY = 86_400
NO_END = 2**40  # doses planned where no end is given
GIVEN, REFUSED, MISSED = 0, 1, 2
STATES = ("on time", "late", "missed", "refused", "extra", "not yet due", "tried again")
ON_TIME, LATE, MISS, REFUSAL, EXTRA, PENDING, AGAIN = range(7)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plans:
    """Courses as arrays, all of shape (courses,).

    Attributes
    ----------
    first, step : ndarray of int64
        When dose 1 is due, in seconds of local time; hours between doses, in seconds.
    timed : ndarray of bool
        Whether ``first`` carries a time of day.
    planned : ndarray of int64
        Doses planned, ``NO_END`` where no end is given.
    judged_to, matched_to : ndarray of int64
        A dose whose time ran out by ``judged_to`` and has no record was missed; a record at or after
        ``matched_to`` (the course was stopped, the animal had left) is extra. Unit: seconds.
    """

    first: np.ndarray
    step: np.ndarray
    timed: np.ndarray
    planned: np.ndarray
    judged_to: np.ndarray
    matched_to: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matched:
    """One row for each planned dose and for each record that answers none.

    Attributes
    ----------
    course, record : ndarray of int64, shape (rows,)
        Index of the course, and of the record (-1: there is none).
    number : ndarray of int64, shape (rows,)
        Number of the dose, from 1; 0 where the record answers none.
    due, off : ndarray of int64, shape (rows,)
        When it was due; record minus due, whole days where either has no time (0 without a record). Unit: seconds.
    state : ndarray of int64, shape (rows,)
        Index into ``STATES``.
    by_day : ndarray of bool, shape (rows,)
        Matched by day, because the dose or what it was due by has no time of day.
    at : ndarray of int64, shape (records,)
        When each record took effect: as written, or for a record without time the time of day it was due at.
    """

    course: np.ndarray
    record: np.ndarray
    number: np.ndarray
    due: np.ndarray
    off: np.ndarray
    state: np.ndarray
    by_day: np.ndarray
    at: np.ndarray


def match(plans: Plans, *, course: np.ndarray, time: np.ndarray, timed: np.ndarray, result: np.ndarray) -> Matched:
    """Match records to planned doses.

    Parameters
    ----------
    plans : Plans
    course, time, result : ndarray of int64, shape (records,)
        Index of the course, seconds of local time, and GIVEN, REFUSED or MISSED; sorted by course, then time.
    timed : ndarray of bool, shape (records,)
        Whether ``time`` carries a time of day.

    Returns
    -------
    Matched
        Unsorted rows.

    Notes
    -----
    Dose 1 is due at ``first``; each next one h after the last one given. Nothing before due + h: one missed, and due
    moves by h; a record exactly at due + h therefore answers the next dose. Given within h/4 of due, before or after,
    is on time; later is late; earlier than that is extra: it answers no planned dose, but the next is due h after it.
    A refusal or a written miss takes its dose and due moves by h; if the dose is given after all before the next
    comes within h/4, the dose counts as given and the first record is kept as "tried again". A refusal or written
    miss over h/2 before the next dose is due answers none. Where either side has no time of day, days are compared.
    """
    run = _Run(plans, time, timed, result)
    start = np.searchsorted(course, np.arange(len(plans.first)))
    count = np.searchsorted(course, np.arange(len(plans.first)), side="right") - start
    for rank in range(int(count.max(initial=0))):
        here = np.flatnonzero(count > rank)
        run.answer(here, start[here] + rank)
    run.finish()
    return run.rows(course)


class _Run:
    """The running state of every course: what is due next, and how many doses have been told of."""

    def __init__(self, plans: Plans, time: np.ndarray, timed: np.ndarray, result: np.ndarray):
        self.plans, self.time, self.timed, self.result = plans, time, timed, result
        self.due, self.due_timed = plans.first.copy(), plans.timed.copy()
        self.told = np.zeros_like(plans.first)
        self.open_record = np.full_like(plans.first, -1)  # last refusal or written miss that may still be made good
        n = len(time)
        self.number, self.due_of, self.off = (np.zeros(n, dtype=np.int64) for _ in range(3))
        self.state, self.at, self.by_day = np.full(n, EXTRA), time.copy(), np.zeros(n, dtype=bool)
        self.blocks: list[tuple[np.ndarray, ...]] = []

    def answer(self, c: np.ndarray, r: np.ndarray) -> None:
        """Let record ``r`` of each course ``c`` answer the dose it belongs to."""
        by_day = ~(self.timed[r] & self.due_timed[c])
        live = self.time[r] < self.plans.matched_to[c]
        passed = _passed(self.time[r], self.due[c], self.plans.step[c], by_day)
        self._miss(c, np.where(live, np.minimum(passed, self._left(c)), 0))
        off = _off(self.time[r], self.due[c], by_day)
        quarter, half = self.plans.step[c] / 4, self.plans.step[c] / 2
        given, room = self.result[r] == GIVEN, (self._left(c) > 0) & live
        again = live & (off < -quarter) & (self.open_record[c] >= 0)
        takes = room & ~again & np.where(given, off >= -quarter, off >= -half)
        self.by_day[r], self.due_of[r], self.off[r] = by_day, self.due[c], off
        state = np.where(
            given, np.where(off <= quarter, ON_TIME, LATE), np.where(self.result[r] == REFUSED, REFUSAL, MISS)
        )
        self.state[r] = np.where(takes, state, EXTRA)
        self.number[r] = np.where(takes, self.told[c] + 1, 0)
        self.told[c] += takes
        self._make_good(c[again & given], r[again & given])
        self.state[r[again & ~given]] = AGAIN
        self._at(r, self.due_of[r], by_day)
        self.open_record[c] = np.where(takes & ~given, r, np.where(given, -1, self.open_record[c]))
        self.due[c] = np.where(
            given, self.at[r] + self.plans.step[c], self.due[c] + np.where(takes, self.plans.step[c], 0)
        )
        self.due_timed[c] = np.where(given, self.timed[r], self.due_timed[c])

    def finish(self) -> None:
        """Tell of every dose after the last record: missed up to the end of judging, then not yet due."""
        c = np.arange(len(self.due))
        passed = np.maximum((self.plans.judged_to - self.due) // self.plans.step, 0)
        self._miss(c, np.minimum(passed, self._left(c)))
        open_ended = self.plans.planned >= NO_END
        rest = np.where(open_ended, self.plans.matched_to > self.due, self._left(c))
        self._block(c, rest, PENDING)

    def rows(self, course: np.ndarray) -> Matched:
        """Return the rows of records and of doses without one, together."""
        c, number, due, state, timed = (np.concatenate(parts) for parts in zip(*self.blocks, strict=True))
        none = np.full(len(c), -1)
        return Matched(
            course=np.concatenate([course, c]),
            record=np.concatenate([np.arange(len(course)), none]),
            number=np.concatenate([self.number, number]),
            due=np.concatenate([self.due_of, due]),
            off=np.concatenate([self.off, np.zeros_like(c)]),
            state=np.concatenate([self.state, state]),
            by_day=np.concatenate([self.by_day, ~timed]),
            at=self.at,
        )

    def _left(self, c: np.ndarray) -> np.ndarray:
        return self.plans.planned[c] - self.told[c]

    def _miss(self, c: np.ndarray, n: np.ndarray) -> None:
        self._block(c, n, MISS)

    def _block(self, c: np.ndarray, n: np.ndarray, state: int) -> None:
        which = np.repeat(np.arange(len(c)), n)
        nth = np.arange(len(which)) - np.repeat(np.cumsum(n) - n, n)
        of = c[which]
        self.blocks.append(
            (
                of,
                self.told[of] + 1 + nth,
                self.due[of] + nth * self.plans.step[of],
                np.full(len(of), state),
                self.due_timed[of],
            )
        )
        self.told[c] += n
        self.due[c] += n * self.plans.step[c]

    def _make_good(self, c: np.ndarray, r: np.ndarray) -> None:
        """Give the refused dose to the record that followed it."""
        first = self.open_record[c]
        by_day = ~self.timed[r] | self.by_day[first]
        off = _off(self.time[r], self.due_of[first], by_day)
        self.state[r] = np.where(off <= self.plans.step[c] / 4, ON_TIME, LATE)
        self.number[r], self.due_of[r], self.off[r], self.by_day[r] = (
            self.number[first],
            self.due_of[first],
            off,
            by_day,
        )
        self.state[first], self.number[first] = AGAIN, 0

    def _at(self, r: np.ndarray, due: np.ndarray, by_day: np.ndarray) -> None:
        dateless = by_day & ~self.timed[r]
        self.at[r] = np.where(dateless, self.time[r] // DAY * DAY + due % DAY, self.time[r])


def _off(time: np.ndarray, due: np.ndarray, by_day: np.ndarray) -> np.ndarray:
    return np.where(by_day, (time // DAY - due // DAY) * DAY, time - due)


def _passed(time: np.ndarray, due: np.ndarray, step: np.ndarray, by_day: np.ndarray) -> np.ndarray:
    """Doses whose time was over when the record was made.

    By day: the first dose due on the record's own day, or else the last one due before it.
    """
    by_hour = (time - due) // step
    midnight = time // DAY * DAY
    to_day = -((due - midnight) // step)  # smallest m with due + m step >= midnight
    beyond = (due + to_day * step) // DAY > midnight // DAY
    return np.maximum(np.where(by_day, to_day - beyond, by_hour), 0)


def covered(first: np.ndarray, step: np.ndarray, end: np.ndarray, course: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Seconds of [first, end) inside the union of [at, at + step), by course.

    Parameters
    ----------
    first, step, end : ndarray of int64, shape (courses,)
    course, at : ndarray of int64, shape (doses given,)
        Sorted by course, then time.
    """
    following = np.append(at[1:], 0)
    last = np.append(course[1:] != course[:-1], True)[: len(at)]
    until = np.minimum(at + step[course], end[course])
    until = np.where(last, until, np.minimum(until, following))
    length = np.maximum(until - np.maximum(at, first[course]), 0)
    return np.bincount(course, weights=length, minlength=len(first)).astype(np.int64)
