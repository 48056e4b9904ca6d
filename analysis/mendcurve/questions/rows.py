"""The rows of a short table, one after another, for lines of words and pictures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd


def each(frame: pd.DataFrame) -> Iterator[Any]:
    """Return the rows as named tuples."""
    return iter(frame.itertuples())
