"""A reporting period: from one day to another, both counted."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.errors import InputError


@dataclass(frozen=True, slots=True)
class Period:
    """First and last day of a period, both inside it."""

    start: pd.Timestamp
    end: pd.Timestamp

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise InputError("A period must end on or after its first day.",
                             [f"from {self.start:%Y-%m-%d}, to {self.end:%Y-%m-%d}"], "Exchange --from and --to.")

    @property
    def days(self) -> int:
        """Length in days, both ends counted."""
        return (self.end - self.start).days + 1

    def contains(self, dates: pd.Series) -> pd.Series:
        """Which dates fall inside; missing dates do not."""
        return dates.between(self.start, self.end)

    def year_before(self) -> Period:
        """Return the same days a year earlier."""
        year = pd.DateOffset(years=1)
        return Period(self.start - year, self.end - year)

    def previous(self) -> Period:
        """Return the period of the same length just before."""
        return Period(self.start - pd.Timedelta(days=self.days), self.start - pd.Timedelta(days=1))


def period(start: str | pd.Timestamp, end: str | pd.Timestamp) -> Period:
    """Make a Period from two dates (ISO text or timestamps)."""
    return Period(pd.Timestamp(start).as_unit("s"), pd.Timestamp(end).as_unit("s"))
