"""Which episodes a recovery curve is made of, who is left out, and the cohorts it is set against."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.questions.spans import span
from mendcurve.questions.wording import count, listing, were
from mendcurve.records.records import Records
from mendcurve.timelines.clocks import CLOCKS, on_clock
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import LOST

ALL = "all records"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cohort:
    """Episodes under observation, and how many animals were left out, by why.

    Attributes
    ----------
    name : str
    rows : DataFrame
        First episodes of a condition in a stay, as ``timelines.episodes`` gives them.
    left_out : dict of str to int
        Animals.
    clock : str
        From which day days are counted, one of ``timelines.clocks.CLOCKS``.
    never : DataFrame
        Episodes without that day, which are left out.
    """

    name: str
    rows: pd.DataFrame
    left_out: dict[str, int]
    clock: str
    never: pd.DataFrame

    def notes(self) -> tuple[str, ...]:
        """Return who was left out and how ends were counted, one sentence each."""
        out = [
            "Every way an episode can end competes and stays in the denominator: cleared, managed for life, "
            "misdiagnosed, died, left uncleared, missing. Conditions were not assigned at random."
        ]
        parts = [f"{count(n, 'animal')} {why}" for why, n in self.left_out.items() if n]
        if parts:
            out.append(f"Not in the curves: {listing(parts)}.")
        lost = int(self.rows.loc[self.rows["end"] == LOST, "animals"].sum())
        if lost:
            out.append(
                f"{count(lost, 'animal').capitalize()} {were(lost)} lost track of and counted up to the last record."
            )
        unsaid = int(self.rows.loc[self.rows["end"] == "not recorded", "animals"].sum())
        if unsaid:
            out.append(
                f"For {count(unsaid, 'animal')} how or when the episode ended is not recorded: counted while open."
            )
        return tuple(out)


def cohort(frame: pd.DataFrame, name: str = ALL, period: Period | None = None, clock: str = "found") -> Cohort:
    """Return the episodes found in a period, or all, that a curve can be made of; ``frame`` is on that clock."""
    if period is not None:
        frame = frame[period.contains(frame["found_on"])]
    dead = frame["dead_on_arrival"]
    again = frame["relapse"] & ~frame["lifelong"] & ~dead
    reached = frame["reached"] if "reached" in frame else pd.Series(True, index=frame.index)
    never = ~reached & ~again & ~frame["lifelong"] & ~dead
    over = ~frame["used"] & ~frame["relapse"] & ~frame["lifelong"] & ~dead & ~never
    reasons = {
        "with a condition the rescue lists as lifelong": frame["lifelong"] & ~dead,
        "in a second or later episode of the condition in one stay (a relapse)": again,
        "dead on arrival": dead,
        f"whose episode ended, or is still open, without {CLOCKS[clock]}": never,
        "whose episode was over before the records start": over,
    }  # fmt: skip
    keep = frame["used"] & ~frame["lifelong"] & ~frame["relapse"]
    return Cohort(
        name=name, rows=frame[keep],
        left_out={why: int(frame.loc[which, "animals"].sum()) for why, which in reasons.items()},
        clock=clock, never=frame[never],
    )  # fmt: skip


def cohorts(records: Records, period: Period | None, clock: str | None = None) -> list[Cohort]:
    """Return all records, and with a period its cohort and that of the year before, followed as long.

    ``clock`` is one of ``CLOCKS``; not given, the rescue's own (``recovery.clock``).
    """
    clock = str(clock or records.settings["recovery.clock"])
    if clock not in CLOCKS:
        raise InputError(f'Days are counted from {listing(list(CLOCKS), joint="or")}, not from "{clock}".')
    found = episodes(records)
    frame = on_clock(records, found, clock)
    every = [cohort(frame, clock=clock)]
    if period is None:
        return every
    period = span(records, period)
    every.append(cohort(frame, "found in the period", period, clock))
    before = period.year_before()
    if before.start >= records.start_of("conditions"):
        cut_at = records.as_of - pd.DateOffset(years=1)
        cut = on_clock(records, _followed_to(found, cut_at), clock)
        every.append(cohort(cut, "found in the year before", before, clock))
    return every


def _followed_to(frame: pd.DataFrame, cut_at: pd.Timestamp) -> pd.DataFrame:
    """Cut every episode at a date: what ended later is open then."""
    last = (cut_at - frame["found_on"]).dt.days
    cut = frame["exit"] > last
    exit_day = frame["exit"].mask(cut, last)
    return frame.assign(
        exit=exit_day, last_day=exit_day, cause=frame["cause"].mask(cut, 0), end=frame["end"].mask(cut, "open"),
        used=frame["used"] & (exit_day > frame["entry"]),
    )  # fmt: skip
