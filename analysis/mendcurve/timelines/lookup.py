"""Look values up and put frames together, whatever is empty."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd


def look_up(keys: pd.Series, table: pd.Series) -> pd.Series:
    """Return ``table``'s value for each key, on the index of ``keys``; missing where there is none.

    ``Series.map`` with an empty table turns dates into floats and fails; this keeps the dtype of ``table``.
    """
    found = table.reindex(pd.Index(keys.astype(object)))
    return pd.Series(found.array, index=keys.index, name=keys.name)


def stack(frames: Iterable[pd.DataFrame], dtypes: Mapping[str, Any]) -> pd.DataFrame:
    """Return the frames below each other with the columns and dtypes of ``dtypes``; missing columns are missing values.

    Each is given its dtypes first: pandas lets empty and all-missing columns decide a dtype, 2 and 3 differently.
    """
    typed = [frame.reindex(columns=list(dtypes)).astype(dict(dtypes)) for frame in frames]
    return pd.concat(typed, ignore_index=True)
