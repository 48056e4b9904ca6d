"""Findings: what is wrong or doubtful, where it stands and how to mend it; and the rows set aside."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

COLUMNS = ("file", "sheet", "row", "table", "stay_id", "column", "value", "rule", "what_to_do", "effect")
SET_ASIDE = "set aside"
DOUBTFUL = "kept, doubtful"
CHANGED = "changed"
NOTE = "note"
EFFECTS = (SET_ASIDE, DOUBTFUL, CHANGED, NOTE)
ROWS = ("file", "sheet", "row", "table", "text", "reason")
_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)


def empty() -> pd.DataFrame:
    """Return a findings frame without lines."""
    return _typed(pd.DataFrame(columns=list(COLUMNS)))


def no_rows() -> pd.DataFrame:
    """Return a set-aside frame without rows."""
    return _typed(pd.DataFrame(columns=list(ROWS)))


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    kinds = {name: "Int64" if name == "row" else _TEXT for name in frame.columns}
    return frame.astype(kinds)
