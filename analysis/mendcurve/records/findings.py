"""Findings: what is wrong or doubtful, where it stands and how to mend it; and the rows set aside."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

COLUMNS = ("file", "sheet", "row", "table", "stay_id", "column", "value", "rule", "what_to_do", "effect", "likely")
SET_ASIDE = "set aside"
DOUBTFUL = "kept, doubtful"
CHANGED = "changed"
NOTE = "note"
# Worst first: a record with several findings has the worst effect of them.
EFFECTS = (SET_ASIDE, DOUBTFUL, CHANGED, NOTE)
ROWS = ("file", "sheet", "row", "table", "text", "reason")
_PLACE = ["file", "sheet", "row", "table"]
_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)


def empty() -> pd.DataFrame:
    """Return a findings frame without lines."""
    return typed(pd.DataFrame(columns=list(COLUMNS)))


def no_rows() -> pd.DataFrame:
    """Return a set-aside frame without rows."""
    return typed(pd.DataFrame(columns=list(ROWS)))


def typed(frame: pd.DataFrame) -> pd.DataFrame:
    """Return ``frame`` with its rows as Int64 and everything else as text."""
    return frame.astype({name: "Int64" if name == "row" else _TEXT for name in frame.columns})


class Ledger:
    """Collects findings while files are read; it is emptied into frames once, at the end."""

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
                columns=list(COLUMNS),
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
                columns=list(COLUMNS),
            ).astype(object)
        )

    def frame(self, headings: Mapping[tuple[str, str, str], Mapping[str, str]] | None = None) -> pd.DataFrame:
        """Return the findings, one line a record, in the order of files, sheets and rows.

        Parameters
        ----------
        headings : mapping of (file, sheet, table) to (column to heading), optional
            A finding names the column as the person sees it in the sheet.
        """
        if not self._lines:
            return empty()
        lines = typed(pd.concat(self._lines, ignore_index=True))
        shown = ["file", "sheet", "column", "value", "likely"]
        lines[shown] = lines[shown].fillna("")
        for (file, sheet, table), names in (headings or {}).items():
            mine = (lines["file"] == file) & (lines["sheet"] == sheet) & (lines["table"] == table)
            lines.loc[mine, "column"] = lines.loc[mine, "column"].replace(dict(names))
        return folded_lines(lines)

    def doubtful(self, table: str, column: str) -> pd.DataFrame:
        """Return file, sheet and row of the rows of ``table`` whose ``column`` is kept, but doubtful."""
        kept = [
            line.loc[(line["table"] == table) & (line["column"] == column) & (line["effect"] == DOUBTFUL)]
            for line in self._lines
        ]
        frame = pd.concat([line for line in kept if len(line)], ignore_index=True) if any(map(len, kept)) else empty()
        return typed(frame)[["file", "sheet", "row"]].drop_duplicates()


def folded_lines(lines: pd.DataFrame) -> pd.DataFrame:
    """Return ``lines`` with those of one record joined into one, in the order of files, sheets and rows."""
    lines = lines.drop_duplicates()
    of_row = lines["row"].notna()
    several = lines.duplicated(_PLACE, keep=False) & of_row
    alone, many = lines[~several], lines[several]
    if len(many):
        joined = (
            many.groupby(_PLACE, sort=False, dropna=False)
            .agg(
                {
                    "stay_id": "first",
                    "column": _joined,
                    "value": _joined,
                    "rule": _joined,
                    "what_to_do": _joined,
                    "effect": _worst,
                    "likely": _joined,
                }
            )
            .reset_index()
        )
        alone = pd.concat([alone, typed(joined[list(COLUMNS)])], ignore_index=True)
    return alone.sort_values([*_PLACE[:3], "table"], kind="stable", na_position="first", ignore_index=True)


def _joined(words: pd.Series) -> str:
    return "; ".join(dict.fromkeys(str(word) for word in words if str(word)))


def _worst(effects: pd.Series) -> str:
    return min(effects, key=EFFECTS.index)


def grouped(findings: pd.DataFrame) -> pd.DataFrame:
    """Return findings grouped by what to do about them, worst effect and most rows first.

    Returns
    -------
    DataFrame
        ``effect``, ``table``, ``column``, ``rule`` (of the first record), ``what_to_do``, ``records`` (how many),
        ``where`` (the first three places, as file, sheet, row and value).
    """
    columns = ["effect", "table", "column", "what_to_do"]
    if not len(findings):
        return pd.DataFrame(columns=[*columns[:3], "rule", "what_to_do", "records", "where"])
    lines = findings.assign(place=places(findings), rank=findings["effect"].map(EFFECTS.index))
    out = (
        lines.groupby(["rank", *columns], dropna=False, sort=False)
        .agg(rule=("rule", "first"), records=("place", "size"), where=("place", lambda p: "; ".join(p.head(3))))
        .reset_index()
    )
    out = out.sort_values(["rank", "records"], ascending=[True, False], kind="stable")
    return out[[*columns[:3], "rule", "what_to_do", "records", "where"]].reset_index(drop=True)


def places(findings: pd.DataFrame) -> pd.Series:
    """Return 'Outcomes.xlsx, sheet "Out", row 17: S-0231, 4 March' for each finding."""
    sheet = findings["sheet"].fillna("").map(lambda s: f', sheet "{s}"' if s else "")
    row = findings["row"].map(lambda r: "" if pd.isna(r) else f", row {int(r)}").astype(object)
    value = findings["value"].fillna("").map(lambda v: f': "{v}"' if v else "")
    return findings["file"].fillna("").astype(object) + sheet.astype(object) + row + value.astype(object)


def write_csv(frame: pd.DataFrame, path: str | Path) -> Path:
    """Write findings or set-aside rows as CSV that opens in any spreadsheet, no cell of it a formula."""
    path = Path(path)
    safe = frame.copy()
    for name in safe.columns:
        if name != "row":
            text = safe[name].astype(object).where(safe[name].notna(), "").map(str)
            safe[name] = text.map(lambda v: "'" + v if v[:1] in "=+-@\t\r" and v else v)
    # The byte-order mark makes spreadsheets read the file as UTF-8.
    safe.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")
    return path
