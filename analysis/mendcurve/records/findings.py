"""Findings: what is wrong or doubtful, where it stands and how to mend it."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np
import pandas as pd

# What a detector says; ``column`` is ours.
SAID = ("file", "sheet", "row", "table", "stay_id", "column", "value", "rule", "what_to_do", "effect", "likely")
# What the person reads; ``column`` is the heading in the sheet, ``value`` the text as typed.
COLUMNS = (
    "file",
    "sheet",
    "row",
    "cell",
    "table",
    "stay_id",
    "column",
    "value",
    "rule",
    "likely",
    "what_to_do",
    "effect",
    "changes",
    "animals",
)
SET_ASIDE = "set aside"
DOUBTFUL = "kept, doubtful"
CHANGED = "changed"
CORRECTED = "corrected"
NOTE = "note"
# Worst first: a record with several findings has the worst effect of them.
EFFECTS = (SET_ASIDE, DOUBTFUL, CHANGED, CORRECTED, NOTE)
ROWS = ("file", "sheet", "row", "table", "text", "reason")
_PLACE = ["file", "sheet", "row", "table"]
_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)
_WHOLE = ("row", "animals")
_ALWAYS_TEXT = ["file", "sheet", "cell", "column", "value", "likely", "changes"]
_MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
# In a rule's text: what is quoted, days, and words with a digit in them (ids, rows, amounts).
_VALUES = re.compile(rf'"[^"]*"|\b\d{{1,2}} (?:{_MONTHS}) \d{{4}}\b|[^\s,;:()]*\d[^\s,;:()]*')


def empty() -> pd.DataFrame:
    """Return a findings frame without lines."""
    return typed(pd.DataFrame(columns=list(COLUMNS)))


def no_rows() -> pd.DataFrame:
    """Return a set-aside frame without rows."""
    return typed(pd.DataFrame(columns=list(ROWS)))


def typed(frame: pd.DataFrame) -> pd.DataFrame:
    """Return ``frame`` with its rows and animals as Int64 and everything else as text."""
    return frame.astype({name: "Int64" if name in _WHOLE else _TEXT for name in frame.columns})


class Ledger:
    """Collects findings while files are read; it is emptied into a frame once, at the end."""

    def __init__(self) -> None:
        self._lines: list[pd.DataFrame] = []

    def add(
        self,
        where: pd.DataFrame,
        *,
        table: str,
        column: str = "",
        value: pd.Series | str = "",
        rule: pd.Series | str,
        what_to_do: pd.Series | str,
        effect: str | pd.Series,
        likely: pd.Series | str = "",
    ) -> None:
        """Add one finding for each row of ``where``, which has ``source_*`` and perhaps ``stay_id``.

        ``likely`` names the slip that probably happened, and perhaps what was meant ("a year may have slipped: 2025").
        """
        if not len(where):
            return
        self._lines.append(
            pd.DataFrame(
                {
                    "file": where["source_file"],
                    "sheet": where["source_sheet"],
                    "row": where["source_row"],
                    "table": table,
                    "stay_id": where["stay_id"] if "stay_id" in where.columns else None,
                    "column": column,
                    "value": value,
                    "rule": rule,
                    "what_to_do": what_to_do,
                    "effect": effect,
                    "likely": likely,
                },
                index=where.index,
                columns=list(SAID),
            ).astype(object)
        )

    def note(  # noqa: PLR0913 - one argument a column of the findings
        self,
        file: str,
        sheet: str,
        *,
        table: str = "",
        column: str = "",
        value: str = "",
        rule: str,
        what_to_do: str,
        effect: str = NOTE,
        row: int | None = None,
        likely: str = "",
    ) -> None:
        """Add one finding about a whole file, sheet or column (or about one row of it)."""
        self._lines.append(
            pd.DataFrame(
                [
                    {
                        "file": file,
                        "sheet": sheet,
                        "row": row,
                        "table": table,
                        "stay_id": None,
                        "column": column,
                        "value": value,
                        "rule": rule,
                        "what_to_do": what_to_do,
                        "effect": effect,
                        "likely": likely,
                    }
                ],
                columns=list(SAID),
            ).astype(object)
        )

    def lines(self) -> pd.DataFrame:
        """Return everything said so far, columns ``SAID``, each line once, in the order it was said."""
        if not self._lines:
            return typed(pd.DataFrame(columns=list(SAID)))
        lines = typed(pd.concat(self._lines, ignore_index=True))
        return lines.fillna(dict.fromkeys(SAID[:2] + SAID[5:], "")).drop_duplicates(ignore_index=True)


def one_a_record(lines: pd.DataFrame) -> pd.DataFrame:
    """Return ``lines`` (columns ``COLUMNS``) with those of one record joined into one, what changes most first.

    Notes
    -----
    Order: the worst effect; then the most animals; then file, sheet and row.
    """
    lines = typed(lines[list(COLUMNS)])
    lines = lines.fillna(dict.fromkeys(_ALWAYS_TEXT, "")).drop_duplicates()
    several = lines.duplicated(_PLACE, keep=False) & lines["row"].notna()
    alone, many = lines[~several], lines[several]
    if len(many):
        how = {name: _joined for name in COLUMNS if name not in _PLACE}
        how |= {"stay_id": "first", "effect": _worst, "animals": "max"}  # type: ignore[dict-item]
        # The worst line of a record speaks first.
        many = many.assign(rank=_ranks(many)).sort_values("rank", kind="stable")
        joined = many.groupby(_PLACE, sort=False, dropna=False).agg(how).reset_index()
        alone = pd.concat([alone, typed(joined[list(COLUMNS)])], ignore_index=True)
    return in_order(alone)


def in_order(lines: pd.DataFrame) -> pd.DataFrame:
    """Return findings with those that change the reports most first."""
    keyed = lines.assign(_rank=_ranks(lines), _animals=-lines["animals"].fillna(0))
    keyed = keyed.sort_values(["_rank", "_animals", *_PLACE], kind="stable", na_position="first", ignore_index=True)
    return keyed.drop(columns=["_rank", "_animals"])


def tally(findings: pd.DataFrame) -> pd.Series:
    """Return how many findings there are of each effect, worst first: the one way in which they are counted.

    Notes
    -----
    A finding is a line of ``findings`` (and of findings.csv): a record with anything found in it, under the worst of
    it, or a remark about a whole file, sheet or column. A row that feeds two tables is a record of each, and each
    weighing of a row that holds several. What was found in the corrections themselves is not in the records.
    """
    of_records = findings["table"] != "corrections"
    return findings.loc[of_records, "effect"].value_counts().reindex(list(EFFECTS), fill_value=0)


def _ranks(lines: pd.DataFrame) -> pd.Series:
    return lines["effect"].map({effect: i for i, effect in enumerate(EFFECTS)}).astype("int64")


def _joined(words: pd.Series) -> str:
    return "; ".join(dict.fromkeys(str(word) for word in words if str(word)))


def _worst(effects: pd.Series) -> str:
    return min(effects, key=EFFECTS.index)


def alike(texts: pd.Series, words: Iterable[str] = ()) -> pd.Series:
    """Return texts with the values taken out of them, so that what says the same of two records is the same.

    Parameters
    ----------
    words : iterable of str, optional
        Further values, such as the names of species.
    """
    known = sorted({word for word in words if word}, key=len, reverse=True)
    more = re.compile(rf"\b(?:{'|'.join(map(re.escape, known))})\b") if known else None
    unique = {}
    for text in texts.dropna().unique():
        plain = _VALUES.sub("…", text)
        unique[text] = more.sub("…", plain) if more else plain
    return texts.map(unique).astype(_TEXT)


def grouped(findings: pd.DataFrame, words: Iterable[str] = ()) -> pd.DataFrame:
    """Return findings grouped by what to do about them, worst effect and most animals first.

    Parameters
    ----------
    findings : DataFrame, columns ``COLUMNS``
    words : iterable of str, optional
        See ``alike``.

    Returns
    -------
    DataFrame
        One row a group: ``effect``, ``file``, ``sheet``, ``table``, ``column``; ``rule``, ``likely``, ``what_to_do``
        and ``changes`` of its first record; ``records`` (rows of the sheet, each once); ``cells``; ``animals`` (sum
        over its stays, each once); ``places`` (positions of its cells in ``findings``).
    """
    keys = ["effect", "file", "sheet", "table", "column"]
    out = [*keys, "rule", "likely", "what_to_do", "changes", "records", "cells", "animals", "places"]
    if not len(findings):
        return pd.DataFrame(columns=out)
    words = list(words)
    lines = findings.reset_index(drop=True).fillna(dict.fromkeys([*keys, "rule", "what_to_do"], ""))
    lines = lines.assign(_rule=alike(lines["rule"], words), _do=alike(lines["what_to_do"], words), places=lines.index)
    # A remark about a whole file has no row, and stands for itself.
    lines = lines.assign(_row=lines["row"].fillna(-1 - lines["places"]))
    by = [*keys, "_rule", "_do"]
    # A stay with ten odd weights is one stay's animals.
    once = lines.groupby([*by, lines["stay_id"].fillna("")], sort=False)["animals"].max()
    animals = once.groupby(level=list(range(len(by))), sort=False).sum()
    groups = lines.groupby(by, sort=False).agg(
        rule=("rule", "first"),
        likely=("likely", "first"),
        what_to_do=("what_to_do", "first"),
        changes=("changes", "first"),
        records=("_row", "nunique"),
        cells=("places", "size"),
        places=("places", list),
    )
    groups = groups.assign(animals=animals).reset_index()
    groups = groups.assign(rank=_ranks(groups))
    groups = groups.sort_values(["rank", "animals", "records"], ascending=[True, False, False], kind="stable")
    return groups[out].reset_index(drop=True)
