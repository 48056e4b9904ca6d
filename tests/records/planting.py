"""Errors planted in clean records of the invented rescue, to see what a detector finds and what it flags falsely."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from mendcurve.demo import generating, truth
from mendcurve.records import from_frames
from mendcurve.records.findings import Ledger
from mendcurve.records.review import Review

AS_OF = pd.Timestamp(truth.AS_OF)


@cache
def clean(seed: int = 1):
    """Return clean records; the frames are not to be changed in place."""
    return from_frames(as_of=truth.AS_OF, **generating.generate(seed))


def review_of(records, **tables: pd.DataFrame) -> Review:
    """Return a review of ``records`` with ``tables`` in place of its own; a sheet a table."""
    frames = {name: tables.get(name, frame) for name, frame in records.tables.items()}
    frames = {name: frame.assign(source_file=f"{name}.csv") for name, frame in frames.items()}
    return Review(frames, records.species, Ledger())


@dataclass(frozen=True)
class Planted:
    """Changed tables, rows of one of them to be found, what each should be where known, and others that are wrong."""

    tables: dict[str, pd.DataFrame]
    table: str
    rows: set[int]
    meant: dict[int, str]
    also: frozenset[int] = frozenset()


def measured(planted: Planted, detect: Callable[[Review], None], seed: int = 1) -> dict[str, float]:
    """Return the share found, the share of those whose likely slip is right, and false flags per 1,000 rows."""
    records = clean(seed)
    review = review_of(records, **planted.tables)
    detect(review)
    lines = review.ledger.lines()
    lines = lines[lines["row"].notna() & (lines["table"] == planted.table)]
    flagged = set(lines["row"].astype(int))
    likely = lines.groupby(lines["row"].astype(int))["likely"].agg(lambda v: "; ".join(v.fillna("")))
    hit = flagged & planted.rows
    right = [row for row in hit if planted.meant.get(row, "") in likely[row]]
    return {
        "planted": len(planted.rows),
        "found": len(hit) / len(planted.rows),
        "likely": len(right) / max(len(hit), 1),
        "false": 1000 * len(flagged - planted.rows - planted.also) / len(records[planted.table]),
    }


def said(day: pd.Timestamp) -> str:
    """Return a day as findings write it."""
    return f"{day.day} {day:%B %Y}"


def replaced(frame: pd.DataFrame, at: np.ndarray, column: str, values: object) -> pd.DataFrame:
    """Return ``frame`` with ``column`` of the rows at places ``at`` replaced."""
    new = frame[column].to_numpy(copy=True)
    new[at] = values
    return frame.assign(**{column: pd.Series(new, index=frame.index, dtype=frame[column].dtype)})


def with_weights(frame: pd.DataFrame, at: np.ndarray, grams: np.ndarray) -> pd.DataFrame:
    """Return weighings with other weights in grams."""
    return replaced(replaced(frame, at, "weight", grams), at, "weight_g", grams)


def single_series(records, fewest: int) -> list[np.ndarray]:
    """Return the places of the weighings of each single animal with at least so many, in order of day."""
    frame = records["weighings"]
    stays = records["intakes"].set_index("stay_id")["group_size"]
    alone = ~frame["is_group_weight"] & (frame["stay_id"].map(stays) == 1)
    order = frame[alone].sort_values(["stay_id", "weighed_on", "source_row"], kind="stable")
    groups = order.groupby("stay_id", sort=True).indices
    places = order.index.to_numpy()
    return [places[found] for found in groups.values() if len(found) >= fewest]
