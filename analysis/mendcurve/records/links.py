"""Checks of links: an id names one row, and every row names a row that is there."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.identities import meant
from mendcurve.records.lost_zeros import zeros_lost
from mendcurve.records.review import Review, among, by_id, looked_up, worded
from mendcurve.records.runs import filled_ids
from mendcurve.records.schemas import TABLES

_STAY_TABLES = ("outcomes", "conditions", "weighings", "targets", "periods", "moves", "followups")
# Table, column, and the table whose key it names. Parents come before their children.
PARENTS = (
    *((table, "stay_id", "intakes") for table in _STAY_TABLES),
    ("checks", "episode_id", "conditions"),
    ("courses", "episode_id", "conditions"),
    ("doses", "course_id", "courses"),
    ("receipts", "grant_id", "grants"),
)
_OPTIONAL = (
    ("spending", "stay_id", "intakes"),
    ("spending", "episode_id", "conditions"),
    ("spending", "grant_id", "grants"),
    ("intakes", "split_from", "intakes"),
)

# Rows that say the same of one animal are one, whatever their ids.
_ONE_OF = {
    "conditions": ("stay_id", "condition", "found_on"),
    "courses": ("episode_id", "medicine", "route", "first_dose_at"),
}


# One cause for many rows: the same ids, under two number formats.
_ZEROS = "a spreadsheet shows zeros by a number format in one sheet and not in the other"
_ZEROS_DO = (
    "Format the column as it is in {}, or write the ids as text with their zeros in both. That mends all such rows."
)


def check_keys(review: Review) -> None:
    """Set aside later rows with an id that an earlier row has."""
    for name, table in TABLES.items():
        if not table.key:
            continue
        key = table.key[0]
        frame = review.tables[name]
        again = frame.duplicated(key, keep="first")
        first = frame[~again & frame[key].notna()].set_index(key)["source_row"]
        rule = worded(
            f"{key} must name one row of {name} only; row {{first}} has it already", again, first=frame[key].map(first)
        )
        do = f"Give one of them another {key}, or delete it if it is the same one twice."
        review.set_aside(name, again, key, rule, do, _twice_or_two(frame, again, key, table.columns[_TELLS[name]].name))


# Place, among its columns, of the one that tells two rows with one id apart.
_TELLS = {"intakes": 2, "conditions": 1, "courses": 1, "grants": 1}


def _twice_or_two(frame: pd.DataFrame, again: pd.Series, key: str, other: str) -> pd.Series:
    """Return whether later rows with an id are the same thing written twice, or two with one id."""
    first = looked_up(frame[key], by_id(frame, key)[other])
    same = (first == frame[other]).fillna(False).astype(bool)
    what = key.removesuffix("_id")
    out = pd.Series(f"one {key} for two", index=frame.index, dtype=object)
    return out.mask(same, f"one {what} written twice").where(again, "")


def check_links(review: Review) -> None:
    """Set aside rows that name a stay, episode, course or grant that is not there; doubt loose links of spending."""
    for child, column, parent in PARENTS:
        frame = review.tables[child]
        lost = ~among(frame[column], review.tables[parent][column])
        if not lost.any():
            continue
        gone = lost & among(frame[column], review.ids_at_first[parent])
        rule = pd.Series(f"{column} must be one of {parent}", index=frame.index, dtype=object)
        rule = rule.mask(gone, f"the row of {parent} with this {column} was set aside")
        do = pd.Series(f"Correct the {column}, or add the missing row to {parent}.", index=frame.index, dtype=object)
        zeros = lost & ~gone
        zeros.loc[zeros] = zeros_lost(frame.loc[zeros, column], review.tables[parent][column]) != ""
        do = do.mask(zeros, _ZEROS_DO.format(parent))
        rule = rule.mask(zeros, f"{column} is written with other leading zeros than in {parent}; {_ZEROS}")
        review.set_aside(child, lost, column, rule, do, _likely_id(review, child, column, parent, lost))
    for child, column, parent in _OPTIONAL:
        frame = review.tables[child]
        key = TABLES[parent].key[0]
        lost = frame[column].notna() & ~among(frame[column], review.tables[parent][key])
        review.doubt(
            child,
            lost,
            column,
            f"{column} must be one of {parent}, or empty",
            f"Correct the {column}, or add the missing row to {parent}.",
            _likely_id(review, child, column, parent, lost),
        )


def _likely_id(review: Review, child: str, column: str, parent: str, lost: pd.Series) -> pd.Series:
    """Return which id was meant by those that name nothing: mistyped, or the first of a cell dragged down."""
    ids = review.tables[child][column]
    out = pd.Series("", index=ids.index, dtype=object)
    if not lost.any():
        return out
    key = TABLES[parent].key[0]
    out.loc[lost] = meant(ids[lost], review.tables[parent][key])
    filled = filled_ids(ids, lost)
    return out.mask(filled != "", filled)


def check_repeats(review: Review) -> None:
    """Set aside a dose written twice to the minute; doubt payments that are the same in everything.

    Notes
    -----
    Two doses of one day without an hour, and two askings, may both be true and are told of nowhere. Rows of other
    tables that repeat cell for cell were set aside as they were read.
    """
    frame = review.tables["doses"]
    again, first = _again(frame, "doses")
    rule = worded("a dose must stand once; this repeats row {first}", again & frame["given_at_has_time"], first=first)
    review.set_aside("doses", again & frame["given_at_has_time"], "given_at", rule, "Delete one of them.")
    for table in ("spending", "receipts"):
        again, first = _again(review.tables[table], table)
        rule = worded(
            "this is the same as row {first} in everything: it may have been written twice", again, first=first
        )
        do = "Delete one of them, if it was one payment."
        review.doubt(table, again, "amount", rule, do, "written twice")
    for table, columns in _ONE_OF.items():
        _doubt_again(review, table, columns)


def _doubt_again(review: Review, table: str, columns: tuple[str, ...]) -> None:
    """Doubt later rows that say with another id what an earlier one says."""
    frame = review.tables[table]
    full = frame[list(columns)].notna().all(axis=1)
    again = frame.duplicated(list(columns), keep="first") & full
    if not again.any():
        return
    first = frame[full].groupby(list(columns), sort=False)["source_row"].transform("first").reindex(frame.index)
    said = ", ".join(columns)
    rule = worded(
        f"row {{first}} has the same {said}: it may have been written twice", again, first=first.astype("Int64")
    )
    review.doubt(table, again, columns[-1], rule, "Delete one of them, if they are one.", "written twice")


def _again(frame: pd.DataFrame, table: str) -> tuple[pd.Series, pd.Series]:
    names = list(TABLES[table].names)
    first = (
        frame.groupby(names, dropna=False, sort=False)["source_row"].transform("first")
        if len(frame)
        else (frame["source_row"])
    )
    return frame.duplicated(names, keep="first"), first
