"""Numbers and dates that rise by one from row to row: a cell dragged down where it should repeat or vary."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.chronology import stay_of
from mendcurve.records.review import Review, as_text, worded

# Columns that do not count the rows of their sheet.
NUMBERS = {
    "intakes": ("group_size",),
    "outcomes": ("animals",),
    "conditions": ("animals",),
    "courses": ("interval_hours", "doses_planned", "weight_used_g"),
    "weighings": ("weight", "length_mm"),
    "targets": ("target_g",),
    "moves": ("animals",),
    "housing": ("places", "minutes_per_animal_day"),
    "requests": ("animals",),
    "spending": ("amount",),
    "receipts": ("amount",),
}
# Dates of rows that are about different animals; what is given or spent daily may rise by a day.
DATES = {
    "intakes": ("intake_date", "hatched_on"),
    "outcomes": ("outcome_date",),
    "conditions": ("found_on", "vet_seen_on"),
    "weighings": ("weighed_on",),
    "moves": ("moved_on",),
    "requests": ("asked_on",),
    "followups": ("seen_on",),
}
# Rows in a run; more where the column rises by one of itself so often that a run could be chance.
FEWEST = 6
# Busy weeks bring an animal a day without anybody dragging a cell.
FEWEST_DAYS = 8
FEWEST_ONE_ANIMAL = 9
# Share of the steps of a run that must lead to another animal.
OTHERS = 0.3
CHANCE = 0.001


def check_runs(review: Review) -> None:
    """Doubt runs of numbers that rise by one, and of dates that rise by a day, from row to row."""
    for table, columns in NUMBERS.items():
        for column in columns:
            frame = review.tables[table]
            if frame[column].notna().sum() >= FEWEST:
                stay = frame["stay_id"] if table == "weighings" else None
                values = frame[column].astype("float64").to_numpy()
                _tell(review, table, column, rising(frame, values, stay), "one")
    for table, columns in DATES.items():
        for column in columns:
            frame = review.tables[table]
            if frame[column].notna().sum() >= FEWEST:
                found = rising(frame, _days(frame[column]), _animals(review, table), FEWEST_DAYS)
                _tell(review, table, column, found, "one day")


def _animals(review: Review, table: str) -> pd.Series | None:
    frame = review.tables[table]
    return None if table in ("intakes", "requests") else stay_of(review.tables, frame, ())


def _days(values: pd.Series) -> np.ndarray:
    days = values.to_numpy().astype("datetime64[D]")
    return np.where(np.isnat(days), np.nan, days.astype("int64").astype("float64"))


def rising(frame: pd.DataFrame, values: np.ndarray, stay: pd.Series | None, fewest: int = FEWEST) -> pd.DataFrame:
    """Return the rows of runs that rise by one and are too long to be chance.

    Parameters
    ----------
    frame : DataFrame
        source_file, source_sheet, source_row.
    values : ndarray of float, shape (rows,)
    stay : Series, optional
        A run within one stay must be longer: an animal may gain a gram a week.
    fewest : int
        Rows a run has at least.

    Returns
    -------
    DataFrame
        By index of ``frame``, the first row of each run left out: ``first`` (index of that), ``length``.

    Notes
    -----
    Chance: the share of rows after no rise that begin one, as if rises were independent.
    """
    sheet = pd.factorize(frame["source_file"] + "\x00" + frame["source_sheet"])[0]
    row = frame["source_row"].to_numpy(dtype="int64")
    tidy = len(row) < 2 or bool(((sheet[1:] > sheet[:-1]) | ((sheet[1:] == sheet[:-1]) & (row[1:] > row[:-1]))).all())
    at = np.arange(len(row)) if tidy else np.lexsort((row, sheet))
    ordered, of = values[at], sheet[at]
    up = np.r_[False, (np.abs(ordered[1:] - ordered[:-1] - 1) < 1e-9) & (of[1:] == of[:-1])]
    none = pd.DataFrame({"first": pd.Series(dtype="int64"), "length": pd.Series(dtype="int64")})
    if up.sum() < fewest - 1:
        return none
    tried = ~np.r_[False, up[:-1]]
    p = np.clip((up & tried).sum() / max(tried.sum(), 1), 1e-3, 0.99)
    needed = max(fewest - 1, int(np.ceil(np.log(CHANCE / len(up)) / np.log(p))))
    begin = np.maximum.accumulate(np.where(up, 0, np.arange(len(up))))
    length = np.bincount(begin, minlength=len(up))[begin]
    hit = up & (length - 1 >= needed)
    if stay is not None and hit.any():
        hit &= _of_several(stay.to_numpy(dtype=object)[at], begin, length, up)
    index = frame.index.to_numpy()[at]
    return pd.DataFrame({"first": index[begin[hit]], "length": length[hit]}, index=index[hit])


def _of_several(stay: np.ndarray, begin: np.ndarray, length: np.ndarray, up: np.ndarray) -> np.ndarray:
    """Return rows of runs that go from animal to animal, and of long ones of one animal."""
    code = pd.factorize(stay)[0]
    changed = np.r_[False, code[1:] != code[:-1]] & up
    others = np.bincount(begin, weights=changed, minlength=len(up))[begin]
    return (others >= OTHERS * (length - 1)) | ((others == 0) & (length >= FEWEST_ONE_ANIMAL))


def _tell(review: Review, table: str, column: str, found: pd.DataFrame, step: str) -> None:
    if not len(found):
        return
    frame = review.tables[table]
    bad = pd.Series(frame.index.isin(found.index), index=frame.index)
    at = found["first"].sort_index()
    first = as_text(frame.loc[at.to_numpy(), column]).set_axis(at.index)
    rule = worded(
        f"{column} rises by {step} from row to row, {{n}} rows from row {{row}} on: it may have been filled down",
        bad,
        n=found["length"],
        row=frame.loc[at.to_numpy(), "source_row"].set_axis(at.index),
    )
    likely = worded("{first}, if the first cell was dragged down", bad, first=first)
    review.doubt(table, bad, column, rule, "Look at the paper record; type the value again.", likely)


def filled_ids(ids: pd.Series, lost: pd.Series) -> pd.Series:
    """Return, for lost ids that count on from a known one row by row, that one in words; empty for the others.

    Notes
    -----
    At least two lost rows in the run: G-1, G-2, G-3 where only G-1 is a grant.
    """
    out = pd.Series("", index=ids.index, dtype=object)
    if lost.sum() < 2:
        return out
    gone = lost.to_numpy(dtype=bool)
    near = gone | np.r_[gone[1:], False]
    places, words = pd.factorize(ids[near])
    parts = pd.Series(words).astype(str).str.extract(r"^(.*?)([0-9]{1,9})$")
    number, stem = np.full(len(ids), np.nan), np.full(len(ids), -1)
    number[near] = np.r_[pd.to_numeric(parts[1]).to_numpy(dtype="float64"), np.nan][places]
    stem[near] = np.r_[pd.factorize(parts[0])[0], -1][places]
    up = np.r_[False, (number[1:] == number[:-1] + 1) & (stem[1:] == stem[:-1])]
    # Each row's run begins at the last known id before it.
    up &= gone
    begin = np.maximum.accumulate(np.where(up, 0, np.arange(len(up))))
    length = np.bincount(begin, minlength=len(up))[begin]
    hit = up & (length >= 3) & ~gone[begin]
    first = ids.iloc[begin[hit]].to_numpy(dtype=object)
    said = [f"{word}, if the first cell was dragged down" for word in first]
    out.loc[hit] = pd.Series(said, index=ids.index[hit], dtype=object)
    return out
