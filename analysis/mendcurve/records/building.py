"""Bring tables to the fixed columns and dtypes of the schemas, and build Records from plain frames."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records import accounting, findings
from mendcurve.records.records import Records
from mendcurve.records.schemas import SOURCE, TABLES, Column, Table
from mendcurve.records.settings import Settings, settings_by_path
from mendcurve.records.species import reference, translate, with_unknown
from mendcurve.records.words import TEXT, coded, one_text, text_array

GRAMS = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
# Date-times that say whether the hour was written down, in a column of their own.
TIMED = {"courses": ("first_dose_at",), "doses": ("given_at",)}
# Kinds of column that hold text.
_TEXTS = ("id", "text", "code", "list")
YES = frozenset({"yes", "true", "1", "y", "1.0"})


def from_frames(
    *,
    as_of: str | date | pd.Timestamp,
    records_start: str | date | pd.Timestamp | None = None,
    settings: Mapping[str, Any] | None = None,
    **tables: pd.DataFrame,
) -> Records:
    """Make Records from frames that are already in Mendcurve's words; nothing is checked between tables.

    Parameters
    ----------
    as_of : date
        Last day on which the records are complete.
    records_start : date, optional
        First such day. Default: the earliest intake date, or ``as_of`` where there is none.
    settings : mapping of str to value, optional
        Setting paths and values, such as ``{"watch.drop_percent": 8.0}``.
    **tables : DataFrame
        By table name; any subset of the schema's columns. Dates as ISO text or Timestamps, amounts as numbers
        or Decimals, weights in ``unit`` (default grams, from settings).

    Raises
    ------
    InputError
        For an unknown table or column, or a required column that is missing.
    """
    chosen = settings if isinstance(settings, Settings) else settings_by_path(settings or {})
    for name in tables:
        if name not in TABLES:
            raise InputError(
                f'"{name}" is not a table of Mendcurve.', remedy=f"Known: {', '.join(TABLES)}." + nearest(name, TABLES)
            )
    known = reference()
    frames = {name: finish(table, _named(table, tables.get(name)), chosen) for name, table in TABLES.items()}
    for name in ("intakes", "requests"):
        frames[name] = frames[name].assign(species=translate(frames[name]["species"], known))
    species = with_unknown(known, frames["intakes"]["species"])
    recorded = frozenset(
        (name, column)
        for name, frame in tables.items()
        for column in frame.columns
        if column in TABLES[name].names and frame[column].notna().any()
    )
    first = frames["intakes"]["intake_date"].min()
    start = pd.Timestamp(records_start) if records_start is not None else (as_of if pd.isna(first) else first)
    return Records(
        tables=frames,
        settings=chosen,
        species=species,
        findings=findings.empty(),
        set_aside=findings.no_rows(),
        accounts=accounting.empty(),
        recorded=recorded,
        as_of=pd.Timestamp(as_of).normalize(),
        records_start=pd.Timestamp(start).normalize(),
    )


def _named(table: Table, frame: pd.DataFrame | None) -> pd.DataFrame:
    if frame is None:
        return pd.DataFrame(index=pd.RangeIndex(0))
    allowed = {*table.names, *SOURCE, *extras(table)}
    for column in frame.columns:
        if column not in allowed:
            raise InputError(
                f'{table.name}: "{column}" is not a column of this table.',
                remedy=f"Known: {', '.join(table.names)}.{nearest(str(column), table.names)}",
            )
    missing = [c.name for c in table.columns if c.required and c.name not in frame.columns]
    if missing and len(frame.columns):
        raise InputError(f"{table.name}: {', '.join(missing)} is required.", remedy="Add the column.")
    return frame.reset_index(drop=True)


def extras(table: Table) -> tuple[str, ...]:
    """Return the names of the columns a validated table has beyond its schema and its source."""
    timed = tuple(f"{name}_has_time" for name in TIMED.get(table.name, ()))
    return (*timed, "weight_g", "doubtful") if table.name == "weighings" else timed


def finish(table: Table, frame: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return ``frame`` with every column of ``table``, in order, in its fixed dtype, defaults filled in.

    Notes
    -----
    ``weighings`` gains ``weight_g`` (grams) and ``doubtful`` (bool: a finding calls the weight doubtful); date-times
    of doses and courses gain ``<column>_has_time`` (bool: an hour was written down).
    """
    index = frame.index
    out: dict[str, pd.Series] = {}
    for column in table.columns:
        out[column.name] = typed(frame[column.name], column) if column.name in frame.columns else _empty(column, index)
    for name in TIMED.get(table.name, ()):
        flag = f"{name}_has_time"
        out[flag] = frame[flag].astype(bool) if flag in frame.columns else _has_time(frame, name, out[name])
    if table.name == "intakes":
        out["group_size"] = out["group_size"].astype("int64")
    if table.name == "weighings":
        unit = coded(out["unit"])
        words = [settings["weights.unit"] if word is None else word for word in unit.words]
        out["unit"] = pd.Series(text_array(unit.places, words), index=index)
        grams = np.array([GRAMS.get(word, np.nan) for word in words], dtype="float64")
        out["weight_g"] = out["weight"] * grams[unit.places]
        doubtful = frame["doubtful"] if "doubtful" in frame.columns else pd.Series(False, index=index)
        out["doubtful"] = doubtful.astype(bool)
    for name in SOURCE[:2]:
        out[name] = _text(frame[name]) if name in frame.columns else pd.Series(one_text("", len(index)), index=index)
    row = frame[SOURCE[2]] if SOURCE[2] in frame.columns else pd.Series(np.arange(2, len(index) + 2), index=index)
    out[SOURCE[2]] = row.astype("int64")
    return pd.DataFrame(out, index=index).reset_index(drop=True)


def _empty(column: Column, index: pd.Index) -> pd.Series:
    blank = (
        pd.Series(one_text(None, len(index)), index=index)
        if column.kind in _TEXTS
        else pd.Series(None, index=index, dtype="object")
    )
    return typed(blank, column)


def typed(values: pd.Series, column: Column) -> pd.Series:
    """Return ``values`` in the dtype of ``column``, its default filled in where it has one."""
    if column.kind in _TEXTS:
        out = _text(values)
        if column.kind == "list":
            return _listed(out)
    elif column.kind in ("date", "datetime"):
        out = _dates(values, keep_time=column.kind == "datetime")
    elif column.kind == "yes_no":
        return _yes(values)
    elif column.kind == "money":
        return values.map(_decimal, na_action="ignore").astype(object).where(values.notna(), None)
    elif column.kind == "count":
        out = _numbers(values).astype("Int64")
    else:
        out = _numbers(values)
    return out if column.default is None else out.fillna(column.default)  # type: ignore[arg-type]


def _numbers(values: pd.Series) -> pd.Series:
    plain = values if pd.api.types.is_numeric_dtype(values.dtype) else pd.to_numeric(values.astype(object))
    return plain.astype("float64")


def _text(values: pd.Series) -> pd.Series:
    if values.dtype == TEXT:
        return values
    if pd.api.types.is_string_dtype(values.dtype) and not pd.api.types.is_object_dtype(values.dtype):
        return values.astype(TEXT)
    return values.map(str, na_action="ignore").astype(object).where(values.notna(), None).astype(TEXT)


def _dates(values: pd.Series, *, keep_time: bool) -> pd.Series:
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        out = values
    else:
        unique = values.dropna().unique()
        known = {value: pd.Timestamp(value) for value in unique}
        out = pd.to_datetime(values.map(known)) if known else pd.Series(pd.NaT, index=values.index)
    out = out.astype("datetime64[s]")
    if keep_time or not (out.to_numpy()[out.notna()].astype("int64") % 86400).any():
        return out
    return out.dt.floor("D").astype("datetime64[s]")


def _yes(values: pd.Series) -> pd.Series:
    if pd.api.types.is_bool_dtype(values.dtype) and not values.isna().any():
        return values.astype(bool)
    return values.map(lambda v: str(v).strip().lower() in YES, na_action="ignore").eq(True).astype(bool)


def _listed(text: pd.Series) -> pd.Series:
    held = coded(text)
    words = ["; ".join(sorted({w.strip() for w in (v or "").split(";") if w.strip()})) for v in held.words]
    return pd.Series(text_array(held.places, words), index=text.index)


def _decimal(value: Any) -> Decimal:
    return value if isinstance(value, Decimal) else Decimal(str(value))


def _has_time(frame: pd.DataFrame, name: str, parsed: pd.Series) -> pd.Series:
    if name not in frame.columns:
        return pd.Series(False, index=frame.index)
    given = frame[name]
    if pd.api.types.is_datetime64_any_dtype(given.dtype):
        return parsed.notna() & (parsed != parsed.dt.floor("D"))
    return given.map(lambda v: ":" in str(v), na_action="ignore").eq(True).astype(bool)
