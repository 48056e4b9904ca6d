"""Dates that break the order of their sheet: a year that slipped in January, a day and month swapped."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.chronology import stay_of
from mendcurve.records.likely import candidates, in_words
from mendcurve.records.review import Review, worded
from mendcurve.records.words import TEXT, numbered, pair

# Table, date, and the tables to go through to reach the stay (None: rows belong to no stay).
_DATES: tuple[tuple[str, str, tuple[str, ...] | None], ...] = (
    ("intakes", "intake_date", None),
    ("outcomes", "outcome_date", None),
    ("conditions", "found_on", ()),
    ("weighings", "weighed_on", ()),
    ("moves", "moved_on", ()),
    ("checks", "checked_on", ("conditions",)),
    ("doses", "given_at", ("courses", "conditions")),
    ("requests", "asked_on", None),
    ("followups", "seen_on", None),
    ("spending", "spent_on", None),
    ("receipts", "received_on", None),
)
# A sheet goes by date if this share of its rows is not before the row above.
IN_ORDER, FEWEST = 0.9, 20
# Rows on each side that say where a date belongs: few for a lone slip, more for several rows in a row.
REACH = (3, 7)
SLACK = 7
FAR = 25
# A block of rows, as of a January, this far below the rows before it; and how long after the last good row of a sheet
# such rows may be.
YEAR_FALLEN, MOST_FALLEN, END_DAYS = 250, 0.3, 62
# Share of the rows around that must be in order, and of a block that must lie a year back.
TIDY = 0.75
# A place between dates further apart than this is no place.
WIDEST = 124


def check_order_of_rows(review: Review) -> None:
    """Doubt dates that break the order of their sheet, and keep it if one slip is mended; note columns with several."""
    for table, column, path in _DATES:
        frame = review.tables[table]
        if len(frame) < FEWEST:
            continue
        sheet = pair(numbered(frame["source_file"])[0], numbered(frame["source_sheet"])[0])[0]
        day = frame[column].dt.floor("D")
        found = out_of_place(day, sheet, frame["source_row"].to_numpy(dtype="int64"), sheet)
        if path is not None:
            stay = numbered(stay_of(review.tables, frame, path).astype(TEXT))[0].astype("int64")
            inside = out_of_place(day, stay, frame["source_row"].to_numpy(dtype="int64"), sheet)
            found = found.combine_first(inside) if len(inside) else found
        if len(found):
            _tell(review, table, column, found)


def _tell(review: Review, table: str, column: str, found: pd.DataFrame) -> None:
    frame = review.tables[table]
    bad = pd.Series(frame.index.isin(found.index), index=frame.index)
    rule = worded(
        "the rows around go up by date, from {low} (row {above}) to {high} (row {below}), and {day} does not fit",
        bad,
        low=found["low"],
        above=found["above"].astype("int64"),
        high=found["high"],
        below=found["below"].astype("int64"),
        day=frame[column].dt.floor("D"),
    )
    likely = found["likely"].reindex(frame.index, fill_value="")
    review.doubt(table, bad, column, rule, "Correct the date, or leave it if the row was added late.", likely)


def out_of_place(day: pd.Series, group: np.ndarray, row: np.ndarray, sheet: np.ndarray) -> pd.DataFrame:
    """Return the dates that break the order of the rows and would keep it, had day and month or the year not slipped.

    Parameters
    ----------
    day : Series of datetime
    group : ndarray of int
        Rows of one group follow each other: a sheet, or a stay.
    row : ndarray of int
        Row in the sheet.
    sheet : ndarray of int
        Only sheets whose groups are in order are looked at.

    Returns
    -------
    DataFrame
        By index of ``day``: ``low``, ``high`` (dates it should lie between), ``above``, ``below`` (rows of them),
        ``likely`` (text).
    """
    none = pd.DataFrame(columns=["low", "high", "above", "below", "likely"])
    at = np.flatnonzero(day.notna().to_numpy() & (group >= 0))
    at = at[np.lexsort((row[at], sheet[at], group[at]))]
    days = day.to_numpy().astype("datetime64[D]").astype("int64")[at]
    key, of, n = group[at], sheet[at], len(at)
    if n < FEWEST:
        return none
    within = (key[1:] == key[:-1]) & (of[1:] == of[:-1])
    down = within & (days[1:] < days[:-1])
    steps, falls = (np.bincount(of[1:], weights=w, minlength=of.max() + 1) for w in (within, down))
    tidy = (steps >= FEWEST - 1) & (falls <= (1 - IN_ORDER) * steps)
    if not (down & tidy[of[1:]]).any():
        return none
    rest = np.flatnonzero(tidy[of])
    years = _years_back(days, key, of, rest)
    rest = np.setdiff1d(rest, years.index.to_numpy())
    parts = [_around(days, key, of, rest, reach) for reach in REACH]
    both = pd.concat([years, *parts]).groupby(level=0, sort=True).first()
    place = at[both.index.to_numpy()]
    return _likely(day, row, at, both.set_axis(day.index[place]))


def _years_back(days: np.ndarray, key: np.ndarray, sheet: np.ndarray, rest: np.ndarray) -> pd.DataFrame:
    """Return rows, however many follow each other, that lie a year before the rows above and below them."""
    spikes = _around(days, key, sheet, rest, REACH[0])
    spikes = spikes[days[spikes.index.to_numpy()] > spikes["high"]]
    use = np.setdiff1d(rest, spikes.index.to_numpy())
    frame = pd.DataFrame({"key": key[use], "day": days[use], "place": use, "sheet": sheet[use]})
    top = frame.groupby("key")["day"].cummax()
    fallen = frame["day"] < top - YEAR_FALLEN
    # Where most have fallen, it is the top that is wrong.
    fallen &= fallen.groupby(frame["sheet"]).transform("mean") <= MOST_FALLEN
    if not fallen.any():
        return pd.DataFrame(
            columns=["low", "high", "above", "below"], index=pd.Index([], dtype="int64"), dtype="float64"
        )
    # A slip takes the whole block down by a year; rows added late lie anywhere.
    back = top - SLACK - 366 <= frame["day"]
    back &= frame["day"] <= top - 365 + END_DAYS
    block = (fallen != fallen.shift()).cumsum()
    fallen &= back.groupby(block).transform("mean") >= TIDY
    good = frame[["day", "place"]].where(~fallen)
    before, after = good.groupby(frame["key"]).ffill()[fallen], good.groupby(frame["key"]).bfill()[fallen]
    # The last rows of a sheet have nothing below them.
    high = after["day"].fillna(before["day"] + END_DAYS)
    out = pd.DataFrame(
        {
            "low": before["day"],
            "high": high,
            "above": before["place"].astype("int64"),
            "below": after["place"].fillna(before["place"]).astype("int64"),
        }
    )
    # Rows above and below that are themselves out of order say nothing.
    sure = (out["low"] >= top[fallen] - FAR) & (out["high"] >= top[fallen] - FAR)
    return out.set_axis(frame.loc[fallen, "place"].to_numpy())[sure.to_numpy()]


def _around(days: np.ndarray, key: np.ndarray, sheet: np.ndarray, rest: np.ndarray, reach: int) -> pd.DataFrame:
    """Return those of ``rest`` near a break that are far from between the medians around them, and these."""
    n = len(rest)
    breaks = np.flatnonzero((np.diff(days[rest]) < 0) & (np.diff(key[rest]) == 0))
    near = np.unique((breaks[:, None] + np.arange(-reach, reach + 2)[None, :]).clip(0, max(n - 1, 0)))
    beside = near[:, None] + np.r_[-reach:0, 1 : reach + 1][None, :]
    inside = (beside >= 0) & (beside < n)
    near, beside = rest[near], rest[beside.clip(0, n - 1)]
    inside &= (key[beside] == key[near][:, None]) & (sheet[beside] == sheet[near][:, None])
    full = inside.all(axis=1)
    near, beside = near[full], beside[full]
    low = np.median(days[beside[:, :reach]], axis=1)
    high = np.median(days[beside[:, reach:]], axis=1)
    room = np.maximum(FAR, high - low)
    others = days[beside]
    # Rows added late stand in no order: there is no place a date should have there.
    tidy = ((others >= (low - room)[:, None]) & (others <= (high + room)[:, None])).mean(axis=1) >= TIDY
    off = tidy & (low <= high) & (high - low <= WIDEST) & ((days[near] < low - room) | (days[near] > high + room))
    mid = beside[off][:, [reach // 2, reach + reach // 2]] if off.any() else np.zeros((0, 2), dtype=int)
    return pd.DataFrame({"low": low[off], "high": high[off], "above": mid[:, 0], "below": mid[:, 1]}, index=near[off])


def _likely(day: pd.Series, row: np.ndarray, at: np.ndarray, found: pd.DataFrame) -> pd.DataFrame:
    low, high = _days(found["low"]), _days(found["high"])
    slack = pd.Timedelta(days=SLACK)
    said = pd.Series("", index=found.index, dtype=object)
    for meant, why in candidates(day.loc[found.index])[:3]:
        fits = (meant >= low - slack) & (meant <= high + slack) & (said == "")
        words = pd.Series(in_words(meant), index=found.index, dtype=object) + ", " + why
        said = said.mask(fits, words)
    out = found.assign(
        low=low,
        high=high,
        above=row[at[found["above"].to_numpy(dtype="int64")]],
        below=row[at[found["below"].to_numpy(dtype="int64")]],
        likely=said,
    )
    return out[out["likely"] != ""]


def _days(number: pd.Series) -> pd.Series:
    return pd.Series(number.round().astype("int64").to_numpy().astype("datetime64[D]"), index=number.index).astype(
        "datetime64[s]"
    )
