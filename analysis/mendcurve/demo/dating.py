"""Days counted from records start, and the dates they stand for."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.demo import truth

START = pd.Timestamp(truth.RECORDS_START)


def plain_dates(days: list | np.ndarray | pd.Series) -> pd.Series:
    """Return the dates of ``days``, those after the as-of date too."""
    t = np.asarray(days, dtype="float64")
    after = np.full(len(t), np.timedelta64("NaT"), dtype="timedelta64[s]")
    known = ~np.isnan(t)  # whole seconds: pandas 2 warns of a float that is missing
    after[known] = np.round(t[known] * 86400).astype("int64").astype("timedelta64[s]")
    return pd.Series(START.to_datetime64().astype("datetime64[s]") + after)


def dates(days: list | np.ndarray | pd.Series) -> pd.Series:
    """Return the dates of ``days``; what lies after the as-of date is not known yet and missing."""
    t = pd.Series(days, dtype="float64").reset_index(drop=True)
    return plain_dates(t.where(t <= truth.LAST_DAY))


def stamp(minutes: float | None) -> pd.Timestamp | None:
    """Return the local time ``minutes`` after the first moment of records start."""
    return None if minutes is None else START + pd.Timedelta(minutes=int(minutes))
