"""Doses that were missed or refused were given at no time: the time they were due stands for it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mendcurve.records.parsing import BLANK, Parsed, Trouble

NOT_GIVEN = ("missed", "refused")
_NEVER = Trouble(
    "a dose that was missed or refused needs the time it was due, under due_at; given_at may then stay empty",
    "Fill in due_at. Do not invent a time under given_at.",
)


def times_of(parsed: Mapping[str, Parsed]) -> Parsed:
    """Return ``given_at`` of the doses; where it is empty and the dose was missed or refused, ``due_at`` instead.

    Notes
    -----
    Such a dose without ``due_at`` gets a trouble that asks for it: to ask for ``given_at`` would ask for an invention.
    """
    given, due, result = parsed["given_at"], parsed["due_at"], parsed["result"]
    missed = np.array([word in NOT_GIVEN for word in result.distinct], dtype=bool)[result.places]
    blank = np.array([fault is not None and fault.effect == BLANK for fault in given.faults], dtype=bool)
    empty = missed & (given.empty | blank[given.places])
    moved = empty & due.has_value
    # What is doubtful about due_at is told of under due_at.
    out = Parsed(
        np.where(moved, due.places.astype("int64") + len(given.distinct), given.places.astype("int64")),
        np.concatenate([given.distinct, due.distinct]),
        np.concatenate([given.faults, np.full(len(due.distinct), None, dtype=object)]),
    )
    return out.changed(empty & ~moved, None, _NEVER)
