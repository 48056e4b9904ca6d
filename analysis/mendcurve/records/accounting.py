"""Where every source row went, counted twice by code that shares nothing."""

from __future__ import annotations

import pandas as pd

COLUMNS = ("file", "sheet", "table", "counted", "blank", "heading", "total", "left_out", "nothing_here", "kept",
           "set_aside")


def empty() -> pd.DataFrame:
    """Return accounts without lines."""
    return pd.DataFrame({name: pd.Series(dtype="str" if name in COLUMNS[:3] else "int64") for name in COLUMNS})
