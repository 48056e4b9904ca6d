"""Share of subjects in each state by day, and expected days in each, from rows of spells, with errors by subject."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from mendcurve.errors import InputError, check_proportion
from mendcurve.methods.arrays import Floats, per

Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Occupation:
    """Where subjects are by day since origin, and how long they have been there by a horizon.

    Attributes
    ----------
    states : tuple of str, length S
    day : ndarray, shape (k,)
        Days asked for. Unit: days since origin.
    share, low, high, se : ndarray, shape (S, k)
        Share in each state just after ``day``; limits on the log-odds scale. Unit: proportion.
    horizon : float
        Unit: days since origin.
    time, time_se : ndarray, shape (S,)
        Expected time spent in each state from the start (or ``begin``) to ``horizon``. Unit: days.
    moves : ndarray, shape (S, S)
        Moves seen from each state (row) to each (column). Unit: subjects.
    subjects : int
    confidence : float
    """

    states: tuple[str, ...]
    day: Floats
    share: Floats
    low: Floats
    high: Floats
    se: Floats
    horizon: float
    time: Floats
    time_se: Floats
    moves: Floats
    subjects: int
    confidence: float


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """Spells in a state, one a row; at risk on (entry, exit].

    Attributes
    ----------
    subject : ndarray of int, shape (n,)
        Whose spell it is, numbered from 0; errors go by subject.
    entry, exit : ndarray, shape (n,)
        Unit: days since origin.
    state, to : ndarray of int, shape (n,)
        Place of the state; of the state entered at ``exit``, -1 where the spell was cut off.
    weight : ndarray, shape (n,)
    """

    subject: Codes
    entry: Floats
    exit: Floats
    state: Codes
    to: Codes
    weight: Floats

    @classmethod
    def of(
        cls,
        subject: ArrayLike,
        entry: ArrayLike,
        exit: ArrayLike,
        state: ArrayLike,
        to: ArrayLike,
        *,
        weight: ArrayLike | None = None,
    ) -> Spells:
        """Return spells from columns of any kind of subject; weights are 1 unless given.

        Raises
        ------
        InputError
            For spells of no length, or none at all.
        """
        begin, end = np.asarray(entry, dtype=float), np.asarray(exit, dtype=float)
        if not len(begin):
            raise InputError("Somebody must be under observation, but there is no spell.", remedy="Give at least one.")
        if not (begin < end).all():
            bad = int(np.flatnonzero(~(begin < end))[0])
            raise InputError(
                "A spell must end after it begins.",
                [f"spell {bad}: from {begin[bad]:g} to {end[bad]:g}"],
                "Correct it.",
            )
        _, whose = np.unique(np.asarray(subject), return_inverse=True)
        given = np.ones(len(begin)) if weight is None else np.asarray(weight, dtype=float)
        here, there = np.asarray(state, dtype="int64"), np.asarray(to, dtype="int64")
        return cls(whose.astype("int64"), begin, end, here, there, given)


def occupation(
    rows: Spells,
    *,
    states: tuple[str, ...],
    at: ArrayLike,
    horizon: float,
    begin: float = -np.inf,
    confidence: float = 0.95,
) -> Occupation:
    """Aalen-Johansen state occupation with infinitesimal-jackknife errors.

    Parameters
    ----------
    rows : Spells
    states : tuple of str, length S
    at : array_like, shape (k,)
        Days for which shares are wanted.
    horizon : float
        End of the expected times.
    begin : float
        Their beginning, where it is later than the earliest entry: 0 where an entry of -1 only makes day 0 count.
    confidence : float

    Raises
    ------
    InputError
        For a state that is not one of ``states``.

    Notes
    -----
    Moves come before cut-offs on one day. The start is the earliest entry, and the first shares are those of the
    subjects in view then; that they are estimated is in the errors. One pass of bincount, then one backward product
    of S x S matrices for each day asked: the influence of a spell follows from running sums, so no array of subjects
    by days is made. Source: the variance is that of R's survfit for multi-state data (tests/reference, section 09).
    """
    check_proportion("confidence", confidence)
    if rows.state.min() < 0 or rows.to.min() < -1 or max(rows.state.max(), rows.to.max()) >= len(states):
        raise InputError(
            "Every state must be one of those named.", remedy=f"Use 0 to {len(states) - 1}, -1 for cut off."
        )
    grid, place = np.unique(np.concatenate([rows.entry, rows.exit]), return_inverse=True)
    into, out = place[: len(rows.entry)], place[len(rows.entry) :]
    hazard, risk = _hazards(rows, into, out, len(grid), len(states))
    first = into == 0
    start = np.asarray(np.bincount(rows.state[first], rows.weight[first], len(states)), float)
    start = start / rows.weight[first].sum()
    before = _forward(start, hazard)
    influence = _Influence(rows, into, out, first, start, before, hazard, risk)
    wanted = np.atleast_1d(np.asarray(at, dtype=float))
    share, se = np.empty((2, len(states), len(wanted)))
    for i, day in enumerate(wanted):
        last = int(np.searchsorted(grid, day, side="right"))
        weights = np.zeros(len(grid))
        weights[max(last - 1, 0)] = 1.0
        share[:, i], se[:, i] = influence.functional(weights)
        if last == 0:
            share[:, i], se[:, i] = np.nan, np.nan
    time, time_se = influence.functional(_widths(grid, begin, horizon))
    low, high = _odds_limits(share, se, confidence)
    moved = rows.to >= 0
    moves = np.zeros((len(states), len(states)))
    np.add.at(moves, (rows.state[moved], rows.to[moved]), rows.weight[moved])
    return Occupation(
        states=states,
        day=wanted,
        share=share,
        low=low,
        high=high,
        se=se,
        horizon=float(horizon),
        time=time,
        time_se=time_se,
        moves=moves,
        subjects=int(rows.subject.max()) + 1,
        confidence=confidence,
    )


class _Influence:
    """How much each subject moves a weighted sum over the grid of the state shares."""

    def __init__(
        self,
        rows: Spells,
        into: Codes,
        out: Codes,
        first: NDArray[np.bool_],
        start: Floats,
        before: Floats,
        hazard: Floats,
        risk: Floats,
    ):
        self.rows, self.into, self.out, self.first = rows, into, out, first
        self.start, self.before, self.hazard, self.risk = start, before, hazard, risk

    def functional(self, weights: Floats) -> tuple[Floats, Floats]:
        """Return sum over the grid of ``weights`` times the shares after each time, and its standard error."""
        states = len(self.start)
        after = self._tails(weights)
        value = self.start @ after[0]
        # (k, S): share before the day over those at risk in the state
        scale = per(self.before, self.risk)
        drift = scale[:, :, None] * np.einsum("kij,kjl->kil", self.hazard, after[1:])
        drift = np.concatenate([np.zeros((1, states, states)), np.cumsum(drift, axis=0)])
        rows = self.rows
        effect = drift[self.into + 1, rows.state] - drift[self.out + 1, rows.state]
        moved = np.flatnonzero(rows.to >= 0)
        when, from_, to = self.out[moved], rows.state[moved], rows.to[moved]
        effect[moved] += scale[when, from_, None] * (after[when + 1, to] - after[when + 1, from_])
        begun = np.flatnonzero(self.first)
        effect[begun] += (after[0][rows.state[begun]] - value) / rows.weight[begun].sum()
        effect *= rows.weight[:, None]
        by_subject = np.stack([np.bincount(rows.subject, effect[:, s]) for s in range(states)])
        return value, np.sqrt((by_subject**2).sum(axis=1))

    def _tails(self, weights: Floats) -> Floats:
        """Shape (k + 1, S, S): entry s weighs what follows from being in each state just before grid time s.

        ``tails[s + 1]`` counts from just after time s on, that time's own weight included.
        """
        count, states = self.before.shape
        step = np.eye(states) + self.hazard
        tails = np.zeros((count + 1, states, states))
        later = np.zeros((states, states))
        for s in range(count - 1, -1, -1):
            tails[s + 1] = later + weights[s] * np.eye(states)
            later = step[s] @ tails[s + 1]
        tails[0] = later
        return tails


def _hazards(rows: Spells, into: Codes, out: Codes, count: int, states: int) -> tuple[Floats, Floats]:
    """Return the hazard matrices, shape (k, S, S) with rows that add to 0, and those at risk, shape (k, S)."""

    def by_state(place: Codes, state: Codes, weight: Floats) -> Floats:
        return np.asarray(np.bincount(place * states + state, weight, count * states), float).reshape(count, states)

    entered = by_state(into, rows.state, rows.weight)
    left = by_state(out, rows.state, rows.weight)
    net = np.cumsum(entered - left, axis=0)
    # at risk on (entry, exit]: what stood after the time before
    risk = np.vstack([np.zeros((1, states)), net[:-1]])
    risk[np.abs(risk) < 1e-9] = 0.0
    moved = rows.to >= 0
    pair = rows.state[moved] * states + rows.to[moved]
    events = np.bincount(out[moved] * states * states + pair, rows.weight[moved], count * states * states)
    hazard: Floats = per(np.asarray(events, float).reshape(count, states, states), risk[:, :, None])
    spot = np.arange(states)
    hazard[:, spot, spot] -= hazard.sum(axis=2)
    return hazard, risk


def _forward(start: Floats, hazard: Floats) -> Floats:
    """Return shares just before each time of the grid, shape (k, S)."""
    out = np.empty((len(hazard), len(start)))
    now = start
    for s, step in enumerate(hazard):
        out[s] = now
        now = now + now @ step
    return out


def _widths(grid: Floats, begin: float, horizon: float) -> Floats:
    """Return how long the shares after each grid time hold between begin and horizon."""
    edges = np.clip(np.append(grid, np.inf), min(begin, horizon), horizon)
    return np.diff(edges)


def _odds_limits(share: Floats, se: Floats, confidence: float) -> tuple[Floats, Floats]:
    """Return limits symmetrical in log odds, which stay within 0-1; where the share is 0 or 1, the share itself."""
    inside = (share > 0) & (share < 1)
    middle = np.where(inside, share, 0.5)
    z = stats.norm.ppf(0.5 + confidence / 2)
    half = z * se / (middle * (1 - middle))
    odds = np.log(middle / (1 - middle))
    low, high = (1 / (1 + np.exp(-(odds + sign * half))) for sign in (-1, 1))
    return np.where(inside, low, share), np.where(inside, high, share)
