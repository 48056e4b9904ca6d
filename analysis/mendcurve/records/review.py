"""The tables under review: what the cross-checks drop, doubt or change, each with its finding."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from mendcurve.records.findings import CHANGED, DOUBTFUL, SET_ASIDE, Ledger
from mendcurve.records.schemas import TABLES
from mendcurve.records.words import TEXT, matched, numbered, numbered_still


class Review:
    """Validated tables while they are held against each other.

    Attributes
    ----------
    tables : dict of str to DataFrame
        Current tables; rows set aside are gone.
    aside : list of DataFrame
        ``source_file``, ``source_sheet``, ``source_row``, ``table`` of rows set aside.
    species : DataFrame
        Reference table.
    """

    def __init__(self, tables: Mapping[str, pd.DataFrame], species: pd.DataFrame, ledger: Ledger):
        self.tables = dict(tables)
        self.species = species
        self.ledger = ledger
        self.aside: list[pd.DataFrame] = []
        # Ids before anything is set aside: a row that names one of them has lost its parent, not misspelt it.
        self.ids_at_first = {name: self.tables[name][t.key[0]] for name, t in TABLES.items() if t.key}

    def set_aside(
        self,
        table: str,
        mask: pd.Series,
        column: str,
        rule: pd.Series | str,
        what_to_do: pd.Series | str,
        likely: pd.Series | str = "",
    ) -> None:
        """Take the rows of ``mask`` out of ``table`` and say why."""
        if mask.any():
            self.report(table, mask, column, rule, what_to_do, SET_ASIDE, likely)
            self.drop(table, mask)

    def drop(self, table: str, mask: pd.Series) -> None:
        """Take the rows of ``mask`` out of ``table``; the reason has been reported."""
        frame = self.tables[table]
        self.aside.append(frame.loc[mask, ["source_file", "source_sheet", "source_row"]].assign(table=table))
        self.tables[table] = without(frame, mask)

    def doubt(
        self,
        table: str,
        mask: pd.Series,
        column: str,
        rule: pd.Series | str,
        what_to_do: pd.Series | str,
        likely: pd.Series | str = "",
    ) -> None:
        """Keep the rows of ``mask``, and say what is doubtful about them."""
        self.report(table, mask, column, rule, what_to_do, DOUBTFUL, likely)

    def blank(
        self,
        table: str,
        mask: pd.Series,
        column: str,
        rule: pd.Series | str,
        what_to_do: pd.Series | str,
        likely: pd.Series | str = "",
    ) -> None:
        """Empty ``column`` in the rows of ``mask``, and say so."""
        if mask.any():
            self.report(table, mask, column, rule, what_to_do, CHANGED, likely)
            frame = self.tables[table]
            self.tables[table] = frame.assign(**{column: frame[column].where(~mask)})

    def report(
        self,
        table: str,
        mask: pd.Series,
        column: str,
        rule: pd.Series | str,
        what_to_do: pd.Series | str,
        effect: str,
        likely: pd.Series | str = "",
    ) -> None:
        """Add a finding for each row of ``mask``."""
        if not mask.any():
            return
        rows = self.tables[table].loc[mask]
        value = as_text(rows[column]) if column in rows.columns else ""
        self.ledger.add(
            rows,
            table=table,
            column=column,
            value=value,
            rule=of_rows(rule, mask),
            what_to_do=of_rows(what_to_do, mask),
            effect=effect,
            likely=of_rows(likely, mask),
        )


def without(frame: pd.DataFrame, mask: pd.Series) -> pd.DataFrame:
    """Return ``frame`` without the rows of ``mask``; its ids keep their numbers."""
    rest = frame[~mask].reset_index(drop=True)
    for name in frame.columns:
        if name.endswith("_id"):
            numbered_still(frame[name], rest[name], ~mask.to_numpy(dtype=bool))
    return rest


def standing(frame: pd.DataFrame, places: pd.DataFrame) -> pd.Series:
    """Return which rows of ``frame`` stand at one of ``places``: three columns of file, sheet and row."""
    near = frame["source_row"].isin(places.iloc[:, 2].astype("int64"))
    rows = pd.MultiIndex.from_frame(frame.loc[near, ["source_file", "source_sheet", "source_row"]])
    near.loc[near] = rows.isin(pd.MultiIndex.from_frame(places.astype({places.columns[2]: "int64"})))
    return near


def of_rows(words: pd.Series | str, mask: pd.Series) -> pd.Series | str:
    """Return the words of the rows of ``mask``, or the one text for all of them."""
    return words.loc[mask] if isinstance(words, pd.Series) else words


def as_text(values: pd.Series) -> pd.Series:
    """Return values as findings show them; dates as ISO."""
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        return values.dt.strftime("%Y-%m-%d").astype(object).where(values.notna(), "")
    if pd.api.types.is_float_dtype(values.dtype):
        return values.map(lambda v: f"{v:g}", na_action="ignore").astype(object)
    return values.astype(object).where(values.notna(), "").map(str)


def worded(pattern: str, mask: pd.Series, **columns: pd.Series) -> pd.Series:
    """Return ``pattern`` filled in for each row of ``mask`` (dates as "4 March 2025"), empty elsewhere."""
    out = pd.Series("", index=mask.index, dtype=object)
    if mask.any():
        # By label: a column may hold the rows of ``mask`` only.
        texts = {name: series.loc[mask.index[mask]].map(_word) for name, series in columns.items()}
        rows = zip(*texts.values(), strict=True)
        said = [pattern.format(**dict(zip(texts, row, strict=True))) for row in rows]
        out.loc[mask] = pd.Series(said, index=mask.index[mask], dtype=object)
    return out


def _word(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value.day} {value:%B %Y}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def looked_up(ids: pd.Series, by: pd.Series) -> pd.Series:
    """Return ``by`` at each of ``ids`` (missing where it has none), in the dtype of ``by`` even where there are none.

    ``map`` would give text for an empty column of text.
    """
    if ids.dtype != TEXT or not len(by):
        return pd.Series(by.reindex(ids.to_numpy(dtype=object)).array, index=ids.index)
    keys = by.index.to_series().astype(TEXT)
    if not _each_once(keys):
        raise ValueError("an id that is looked up must be there once")
    held = by.to_numpy() if isinstance(by.dtype, np.dtype) and by.dtype.kind not in "mM" else by.array
    return pd.Series(pd.api.extensions.take(held, positions(ids, keys), allow_fill=True), index=ids.index)


def _each_once(ids: pd.Series) -> bool:
    """Whether no id is missing and none stands twice."""
    places, known = numbered(ids)
    if not len(places):
        return True
    return int(places.min()) >= 0 and int(np.bincount(places, minlength=len(known)).max()) <= 1


def by_id(frame: pd.DataFrame, key: str) -> pd.DataFrame:
    """Return the first row of each id of ``key``, with the ids as index."""
    once = len(frame) and frame[key].dtype == TEXT and _each_once(frame[key])
    return (frame if once else frame.drop_duplicates(key)).set_index(key)


def positions(ids: pd.Series, others: pd.Series) -> np.ndarray:
    """Return the position in ``others`` of the first text equal to each of ``ids``; -1 where there is none."""
    places, known = numbered(ids)
    theirs, texts = numbered(others)
    first = np.full(len(texts) + 1, -1, dtype="int64")
    # Written backwards, the first of the rows of a text is the last to be written; the missing go where nothing is.
    first[theirs[::-1]] = np.arange(len(theirs) - 1, -1, -1)
    first[-1] = -1
    return np.append(first[matched(known, texts)], -1)[places]


def among(ids: pd.Series, others: Iterable[object]) -> pd.Series:
    """Whether each of ``ids`` is one of ``others``; each distinct text is asked once."""
    if ids.dtype != TEXT:
        known = others.to_numpy(dtype=object) if isinstance(others, pd.Series) else list(others)
        return pd.Series(ids.to_numpy(dtype=object), index=ids.index, dtype=object).isin(known)
    texts = others if isinstance(others, pd.Series) else pd.Series(list(others), dtype=object)
    return pd.Series(positions(ids, texts.astype(TEXT)) >= 0, index=ids.index)
