"""Look values up by key, whatever is empty."""

from __future__ import annotations

import pandas as pd


def look_up(keys: pd.Series, table: pd.Series) -> pd.Series:
    """Return ``table``'s value for each key, on the index of ``keys``; missing where there is none.

    ``Series.map`` with an empty table turns dates into floats and fails; this keeps the dtype of ``table``.
    """
    found = table.reindex(pd.Index(keys.astype(object)))
    return pd.Series(found.array, index=keys.index, name=keys.name)
