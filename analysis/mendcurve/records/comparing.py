"""Two snapshots of one register held against each other: what the newer says otherwise about the same days."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.chronology import ends
from mendcurve.records.cutting import CUTS
from mendcurve.records.findings import SET_ASIDE
from mendcurve.records.locating import LONGEST, record_column
from mendcurve.records.records import Records
from mendcurve.records.schemas import TABLES

GONE, ASIDE, REUSED = "gone", "set aside now", "another animal"
CHANGED, REOPENED, BACKDATED, NEWS = "changed", "open again", "written in afterwards", "news"
# What shakes the reports most, first.
KINDS = (REUSED, GONE, ASIDE, REOPENED, CHANGED, BACKDATED, NEWS)
COLUMNS = ("kind", "table", "record", "column", "older", "newer", "file", "sheet", "row", "older_row")
_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)
# Never shown: free text.
_NEVER = ("note",)
# What a row without an id of its own is known by, beside its id of another table and its day.
_ALSO = {"periods": ("what",), "housing": ("zone", "room"), "requests": ("species",), "spending": ("category",)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference:
    """What two snapshots say otherwise.

    Attributes
    ----------
    frame : DataFrame, columns ``COLUMNS``
        One line a row, or a cell where two rows are of one thing. ``older`` and ``newer`` are what each says ("" where
        it says nothing); ``file``, ``sheet`` and ``row`` are the newer's, or the older's where the row is gone.
    until : Timestamp
        The last day the older records speak of: the newer are held against them as they were known then.
    news : mapping of table to int
        Rows of the newer records dated that day or later that the older do not hold: ordinary news, not in ``frame``.
    """

    frame: pd.DataFrame
    until: pd.Timestamp
    news: Mapping[str, int]


def compare(new: Records, old: Records) -> Difference:
    """Hold ``new`` against ``old``, an earlier snapshot of the same register.

    Notes
    -----
    The newer records are cut at the last day the older speak of, so that what has happened since is no difference.
    Rows with an id of their own are matched by it; others by the id they name and their day, those that are the same
    in everything first. A stay_id whose species and whose animal or day of intake are different names another animal.

    Raises
    ------
    InputError
        If ``new`` ends before ``old`` does.
    """
    until = _until(old)
    if new.as_of < until:
        raise InputError(
            "The newer records must reach at least as far as the older ones.",
            [f"the newer end on {new.as_of:%Y-%m-%d}, the older on {until:%Y-%m-%d}"],
            "Give the newer records first, and the older after --against.",
        )
    then = new.cut(until)
    parts = {name: _table(name, then, old, until) for name in TABLES}
    frame = pd.concat([*(lines for lines, _ in parts.values()), _reopened(then, old)], ignore_index=True)
    frame = _named_aside(frame, new)
    frame = frame.assign(rank=frame["kind"].map({kind: i for i, kind in enumerate(KINDS)}))
    order = ["rank", "table", "file", "sheet", "row", "column"]
    frame = frame.sort_values(order, kind="stable", ignore_index=True)
    news = {name: _later(new[name], CUTS[name].known_on, until) + on_the_day for name, (_, on_the_day) in parts.items()}
    return Difference(frame=frame[list(COLUMNS)], until=until, news={k: n for k, n in news.items() if n})


def _until(records: Records) -> pd.Timestamp:
    """Return the last day the records speak of: a stated as-of date may lie long after it."""
    days = [records[name][rule.known_on].max() for name, rule in CUTS.items()]
    known = [day for day in days if not pd.isna(day)]
    return min([records.as_of, *([max(known).normalize()] if known else [])])


def _later(frame: pd.DataFrame, column: str, until: pd.Timestamp) -> int:
    return int((frame[column].dt.floor("D") > until).sum())


def _table(name: str, then: Records, old: Records, until: pd.Timestamp) -> tuple[pd.DataFrame, int]:
    """Return the differences of one table, and how many rows of the last day are new."""
    newer, older = _texts(name, then[name]), _texts(name, old[name])
    columns = [c for c in TABLES[name].names if c not in _NEVER]
    newer, older = _unmatched(newer, older, columns), _unmatched(older, newer, columns)
    if not len(newer) and not len(older):
        return _typed(pd.DataFrame(columns=list(COLUMNS))), 0
    by = _identity(name)
    newer = newer.assign(nth=newer.groupby(by, dropna=False).cumcount())
    older = older.assign(nth=older.groupby(by, dropna=False).cumcount())
    both = newer.merge(older, how="outer", on=[*by, "nth"], suffixes=("_new", "_old"), indicator=True)
    gone = both[both["_merge"] == "right_only"]
    come = both[both["_merge"] == "left_only"]
    late = come[come["day_new"] < f"{until:%Y-%m-%d}"]
    on_the_day = int((come["day_new"] == f"{until:%Y-%m-%d}").sum())
    same = both[both["_merge"] == "both"]
    rest = [c for c in columns if c not in by]
    told_by = [c.name for c in TABLES[name].columns if c.required and c.name in rest] or rest[:3]
    out = [
        _lines(gone, name, GONE, older=_summary(gone, told_by, "_old"), newer=""),
        _lines(late, name, BACKDATED, older="", newer=_summary(late, told_by, "_new")),
    ]
    if name == "intakes":
        other = (same["species_new"] != same["species_old"]) & (
            (same["animal_id_new"] != same["animal_id_old"]) | (same["intake_date_new"] != same["intake_date_old"])
        )
        told = same[other]
        words = ("species", "intake_date", "animal_id")
        out.append(_lines(told, name, REUSED, older=_summary(told, words, "_old"), newer=_summary(told, words, "_new")))
        same = same[~other]
    for column in rest:
        now, was = same[f"{column}_new"], same[f"{column}_old"]
        changed = same[now != was]
        if len(changed):
            out.append(_lines(changed, name, CHANGED, column=column, older=was[now != was], newer=now[now != was]))
    return pd.concat(out, ignore_index=True), on_the_day


def _texts(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows as text, with their day, record and place."""
    out = {}
    for column in TABLES[name].columns:
        if column.name in _NEVER:
            continue
        values = frame[column.name]
        if pd.api.types.is_datetime64_any_dtype(values.dtype):
            text = values.dt.strftime("%Y-%m-%d %H:%M" if column.kind == "datetime" else "%Y-%m-%d")
        elif pd.api.types.is_float_dtype(values.dtype):
            text = values.map(lambda v: f"{v:.10g}", na_action="ignore")
        else:
            text = values.map(str, na_action="ignore") if column.kind != "text" else values
        out[column.name] = text.astype(_TEXT).fillna("").str.removesuffix(" 00:00").str.slice(0, LONGEST)
    own = record_column(name)
    out["record"] = out[own] if own else pd.Series("", index=frame.index, dtype=_TEXT)
    out["day"] = frame[CUTS[name].known_on].dt.strftime("%Y-%m-%d").astype(_TEXT)
    place = {f"source_{n}": frame[f"source_{n}"] for n in ("file", "sheet", "row")}
    return pd.DataFrame({**out, **place}).reset_index(drop=True)


def _unmatched(mine: pd.DataFrame, other: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """Return the rows of ``mine`` that ``other`` does not have, each as often as it is missing there."""
    here = pd.util.hash_pandas_object(mine[columns], index=False)
    there = pd.util.hash_pandas_object(other[columns], index=False).value_counts()
    nth = here.groupby(here).cumcount()
    return mine[(nth >= here.map(there).fillna(0)).to_numpy()].astype(object).reset_index(drop=True)


def _identity(name: str) -> list[str]:
    table = TABLES[name]
    if table.key:
        return list(table.key)
    # A stay mostly ends once: a changed day of an outcome is a change, not a row gone and a row come.
    day = () if name == "outcomes" else (CUTS[name].known_on,)
    own = record_column(name)
    return list(dict.fromkeys([*((own,) if own else ()), *day, *_ALSO.get(name, ())]))


def _summary(frame: pd.DataFrame, columns: list[str] | tuple[str, ...], side: str) -> pd.Series:
    """Return what a row says, in one text."""
    parts = [frame[f"{c}{side}"].fillna("") if f"{c}{side}" in frame.columns else frame[c].fillna("") for c in columns]
    if not len(frame):
        return pd.Series("", index=frame.index, dtype=_TEXT)
    rows = zip(*parts, strict=True)
    return pd.Series([", ".join(filter(None, row)) for row in rows], index=frame.index, dtype=_TEXT)


def _lines(
    frame: pd.DataFrame, table: str, kind: str, *, older: pd.Series | str, newer: pd.Series | str, column: str = ""
) -> pd.DataFrame:
    """Return the lines of ``COLUMNS`` for merged rows."""
    side = "_old" if kind == GONE else "_new"
    own = record_column(table)
    record = frame[own] if own and own in frame.columns else frame[f"record{side}"]
    return _typed(
        pd.DataFrame(
            {
                "kind": kind,
                "table": table,
                "record": record.fillna(""),
                "column": column,
                "older": older,
                "newer": newer,
                "file": frame[f"source_file{side}"],
                "sheet": frame[f"source_sheet{side}"].fillna(""),
                "row": frame[f"source_row{side}"],
                "older_row": frame["source_row_old"],
            },
            index=frame.index,
            columns=list(COLUMNS),
        )
    )


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.astype({c: "Int64" if c in ("row", "older_row") else _TEXT for c in COLUMNS})


def _reopened(then: Records, old: Records) -> pd.DataFrame:
    """Return the stays that had ended and are open again."""
    before, now = (ends(r["intakes"], r["outcomes"]) for r in (old, then))
    closed = before[before["end"].notna()]
    open_again = closed[closed.index.isin(now.index[now["end"].isna()])]
    place = then["intakes"].drop_duplicates("stay_id").set_index("stay_id").loc[open_again.index]
    days = open_again["end"].map(lambda day: f"{day:%Y-%m-%d}").astype(object)
    ended = days + ", " + open_again["outcome"].astype(object).where(open_again["outcome"].notna(), "")
    frame = pd.DataFrame(
        {
            "kind": REOPENED,
            "table": "intakes",
            "record": open_again.index,
            "column": "",
            "older": ended,
            "newer": "in care",
            "file": place["source_file"],
            "sheet": place["source_sheet"].fillna(""),
            "row": place["source_row"],
            "older_row": open_again["row"],
        }
    )
    return _typed(frame)


def _named_aside(frame: pd.DataFrame, new: Records) -> pd.DataFrame:
    """Return ``frame`` with rows called set aside, not gone, where the newer set aside as many of that record."""
    cells = new.cells
    if not len(cells):
        return frame
    aside = cells[(cells["effect"] == SET_ASIDE) & cells["row"].notna()].drop_duplicates(
        ["file", "sheet", "row", "table"]
    )
    n_aside = aside.groupby(["table", "record"]).size()
    gone = frame[frame["kind"] == GONE]
    n_gone = gone.groupby(["table", "record"]).size()
    covered = n_gone.index[(n_aside.reindex(n_gone.index).fillna(0) >= n_gone).to_numpy(dtype=bool)]
    at = (
        pd.MultiIndex.from_frame(frame[["table", "record"]]).isin(covered)
        & (frame["kind"] == GONE)
        & (frame["record"] != "")
    )
    return frame.assign(kind=frame["kind"].mask(at.astype(bool), ASIDE))
