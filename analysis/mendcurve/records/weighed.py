"""Weighings of single animals in order of animal and day, as plain arrays, and their neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.records.words import numbered


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighed:
    """Weights of single animals in order of stay, day and row.

    Attributes
    ----------
    place : ndarray of int, shape (n,)
        Position of each in the table it came from.
    stay : ndarray of int, shape (n,)
        A number for each stay.
    day : ndarray of int, shape (n,)
        Days since 1970.
    log : ndarray, shape (n,)
        Natural logarithm of the weight in grams.
    row : ndarray of int, shape (n,)
        Row in the sheet.
    size : int
        Rows of the table.
    """

    place: np.ndarray
    stay: np.ndarray
    day: np.ndarray
    log: np.ndarray
    row: np.ndarray
    size: int

    def beside(self, values: np.ndarray, n: int) -> np.ndarray:
        """Return the value ``n`` places back (below zero: ahead) in the same stay; missing where there is none."""
        out = np.full(len(values), np.nan)
        if abs(n) >= len(values):
            return out
        here, there = (slice(n, None), slice(None, -n)) if n > 0 else (slice(None, n), slice(-n, None))
        out[here] = np.where(self.stay[here] == self.stay[there], values[there], np.nan)
        return out

    def only(self, keep: np.ndarray) -> Weighed:
        """Return the weighings of ``keep``, a mask."""
        return Weighed(
            place=self.place[keep],
            stay=self.stay[keep],
            day=self.day[keep],
            log=self.log[keep],
            row=self.row[keep],
            size=self.size,
        )

    def spread(self, values: np.ndarray, empty: object, index: pd.Index) -> pd.Series:
        """Return ``values`` as a column of the table, ``empty`` in the rows that are not weights of single animals."""
        out = np.full(self.size, empty, dtype=values.dtype)
        out[self.place] = values
        return pd.Series(out, index=index)


def in_order(weighings: pd.DataFrame, together: pd.Series | None = None) -> Weighed:
    """Return the weighings of single animals in order.

    Parameters
    ----------
    weighings : DataFrame
        stay_id, weighed_on, weight_g, is_group_weight, source_row.
    together : Series of bool, optional
        Rows of stays of several animals: one of them may be on the scale today and another tomorrow.
    """
    use = ~weighings["is_group_weight"] & (weighings["weight_g"] > 0) & weighings["weighed_on"].notna()
    if together is not None:
        use = use & ~together
    at = np.flatnonzero(use.to_numpy(dtype=bool))
    stay = numbered(weighings["stay_id"])[0][at].astype("int64")
    day = weighings["weighed_on"].to_numpy().astype("datetime64[D]").astype("int64")[at]
    row = weighings["source_row"].to_numpy(dtype="int64")[at]
    order = np.lexsort((row, day, stay)) if (np.diff(row) < 0).any() else _by_stay_and_day(stay, day)
    log = np.log(weighings["weight_g"].to_numpy(dtype="float64")[at][order])
    return Weighed(place=at[order], stay=stay[order], day=day[order], log=log, row=row[order], size=len(weighings))


def _by_stay_and_day(stay: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Return the order by stay and day of rows that are in order already: one number is sorted faster than two."""
    first = day.min(initial=0)
    return np.argsort(stay * (day.max(initial=0) - first + 1) + day - first, kind="stable")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbours:
    """How far each weight is from those around it, on the log scale.

    Attributes
    ----------
    one, two : ndarray, shape (n,)
        From the weighing before and the one after; at an end, from the two next to it. Missing where there are not two.
    expected : ndarray, shape (n,)
        Logarithm of the weight expected between the two.
    near : ndarray, shape (n,)
        Days to the nearer of the weighings before and after.
    """

    one: np.ndarray
    two: np.ndarray
    expected: np.ndarray
    near: np.ndarray

    def apart(self) -> np.ndarray:
        """Return the lesser of the two distances where both have one sign, else 0."""
        same = np.sign(self.one) == np.sign(self.two)
        return np.where(same, np.fmin(np.abs(self.one), np.abs(self.two)), 0.0)


def neighbours(series: Weighed) -> Neighbours:
    """Compare each weight with its neighbours."""
    before, after = series.beside(series.log, 1), series.beside(series.log, -1)
    first = np.where(np.isnan(before), series.beside(series.log, -2), before)
    second = np.where(np.isnan(after), series.beside(series.log, 2), after)
    day = series.day.astype("float64")
    near = np.fmin(np.abs(series.beside(day, 1) - day), np.abs(series.beside(day, -1) - day))
    return Neighbours(one=series.log - first, two=series.log - second, expected=(first + second) / 2, near=near)
