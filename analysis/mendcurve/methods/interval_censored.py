"""Cumulative incidence where an end is known only to lie between two days (Turnbull's estimate, with other causes)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import lsq_linear

from mendcurve.errors import InputError
from mendcurve.methods.arrays import Floats

_SETTLED = 1e-7
"""Largest gain in mean log likelihood, by moving all mass to one span, at which the fit has settled."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IntervalIncidence:
    """Mass of each cause on the spans of days between which the data cannot tell.

    Attributes
    ----------
    causes : tuple of str, length C
    cause : ndarray of int, shape (m,)
        Place of the cause of each span in ``causes``.
    after, until : ndarray, shape (m,)
        The span is (after, until]. Unit: days since origin.
    mass : ndarray, shape (m,)
        Share of subjects that ended by the cause within the span; what is missing to 1 had not ended when last seen.
    subjects : float
    rounds : int
        Steps of the fit.
    """

    causes: tuple[str, ...]
    cause: NDArray[np.int64]
    after: Floats
    until: Floats
    mass: Floats
    subjects: float
    rounds: int

    def at(self, days: ArrayLike) -> tuple[Floats, Floats]:
        """Return the share ended by each day, shape (C, days): the least the data allow, and the most.

        Between the two the estimate is free: all of a span's mass may lie on its first day or on its last.
        """
        wanted = np.atleast_1d(np.asarray(days, dtype=float))
        least, most = np.zeros((2, len(self.causes), len(wanted)))
        for c in range(len(self.causes)):
            own = self.cause == c
            mass = self.mass[own, None]
            least[c] = (mass * (self.until[own, None] <= wanted)).sum(axis=0)
            most[c] = (mass * (self.after[own, None] < wanted)).sum(axis=0)
        return least, most


def interval_incidence(
    after: ArrayLike,
    until: ArrayLike,
    cause: ArrayLike,
    *,
    causes: tuple[str, ...] = ("event",),
    weight: ArrayLike | None = None,
) -> IntervalIncidence:
    """Fit cumulative incidence from ends known to lie in (after, until].

    Parameters
    ----------
    after, until : array_like, shape (n,)
        Last day not yet ended, first day known to have ended; ``until`` infinite (or not a number) where cut off, and
        ``after`` one whole day before ``until`` where the day is known. Unit: days since origin.
    cause : array_like of int, shape (n,)
        1, 2, ... in the order of ``causes``; 0 where cut off (the end may be of any cause).
    causes : tuple of str
    weight : array_like, shape (n,), optional

    Raises
    ------
    InputError
        For spans that end before they begin, unknown causes, or nobody.

    Notes
    -----
    Maximum likelihood with mass on the innermost spans of each cause (from memory: Peto 1973; Turnbull 1976; Hudgens,
    Satten and Longini 2001 for competing causes). All are
    taken as followed from their origin: leave out rows with delayed entry, and say so. With every day known it is the
    cumulative incidence of ``curves``, which a test holds it to.
    """
    low, high = np.asarray(after, dtype=float), np.asarray(until, dtype=float)
    why = np.asarray(cause, dtype="int64")
    high = np.where((why == 0) | ~np.isfinite(high), np.inf, high)
    _check(low, high, why, causes)
    given = np.ones(len(low)) if weight is None else np.asarray(weight, dtype=float)
    # equal spans are one line with the sum of their weights
    lines, place = np.unique(np.column_stack([low, high, why]), axis=0, return_inverse=True)
    heavy = np.asarray(np.bincount(place.ravel(), given, len(lines)), dtype=float)
    spans = _innermost(lines, len(causes))
    inside = (lines[:, :1] <= spans[:, 0]) & (spans[:, 1] <= lines[:, 1:2])
    inside &= (lines[:, 2:3] == 0) | (lines[:, 2:3] == spans[:, 2])
    mass, rounds = _maximised(inside.astype(float), heavy)
    ended = spans[:, 2] > 0
    return IntervalIncidence(
        causes=causes,
        cause=spans[ended, 2].astype("int64") - 1,
        after=spans[ended, 0],
        until=spans[ended, 1],
        mass=mass[ended],
        subjects=float(given.sum()),
        rounds=rounds,
    )


def _check(low: Floats, high: Floats, why: NDArray[np.int64], causes: tuple[str, ...]) -> None:
    if not len(low):
        raise InputError("Somebody must be under observation, but there is no row.", remedy="Give at least one.")
    if not (low < high).all():
        bad = int(np.flatnonzero(~(low < high))[0])
        raise InputError("A span must end after it begins.", [f"row {bad}: after {low[bad]:g}, until {high[bad]:g}"])
    if why.min() < 0 or why.max() > len(causes):
        raise InputError("A cause must be 0 (cut off) or the number of a name.", [f"names: {', '.join(causes)}"])
    if ((why > 0) & ~np.isfinite(high)).any():
        raise InputError("A row with a cause must have a day by which it had ended.", remedy="Give it, or cause 0.")


def _innermost(lines: Floats, causes: int) -> Floats:
    """Return spans (after, until, cause) on which mass can lie; the last, cause 0, is "later than all was seen"."""
    out = []
    cut = lines[lines[:, 2] == 0, 0]
    for c in range(1, causes + 1):
        own = lines[lines[:, 2] == c]
        if not len(own):
            continue
        left = np.unique(np.concatenate([own[:, 0], cut]))
        right = np.unique(own[:, 1])
        # a left end whose next end, of either kind, is a right one
        begins = left[np.searchsorted(left, right, side="left") - 1]
        ends, first = np.unique(begins, return_index=True)
        out += [(b, right[i], c) for b, i in zip(ends, first, strict=True)]
    if len(cut):
        out.append((cut.max(), np.inf, 0))
    return np.array(out, dtype=float).reshape(-1, 3)


def _maximised(inside: Floats, weight: Floats) -> tuple[Floats, int]:
    """Shares of the spans that maximise the likelihood: least squares without negative shares, then a step that rises.

    From memory: Wang 2008 (constrained Newton). At the maximum no span's gradient is above 0.
    """
    mass = np.full(inside.shape[1], 1.0 / inside.shape[1])
    share = weight / weight.sum()
    root = np.sqrt(share)[:, None]
    for rounds in range(1, 201):
        fit = inside @ mass
        slopes = inside / fit[:, None]
        if (share @ slopes).max() - 1 < _SETTLED:
            return mass, rounds
        # one heavy row keeps the sum at 1
        target = np.append(2 * root[:, 0], 30.0)
        rows = np.vstack([slopes * root, np.full(len(mass), 30.0)])
        new = np.maximum(lsq_linear(rows, target, bounds=(0.0, np.inf), method="bvls", tol=1e-12).x, 0.0)
        move = new / new.sum() - mass
        here, step = share @ np.log(fit), 1.0
        while share @ np.log(np.maximum(inside @ (mass + step * move), 1e-300)) < here and step > 1e-9:
            step /= 2
        mass = mass + step * move
    raise InputError("The shares did not settle in 200 steps.", remedy="Give fewer, wider spans.")
