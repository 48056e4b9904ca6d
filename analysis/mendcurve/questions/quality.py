"""How good are the records, and what should be mended first?"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.wording import count, listing, were
from mendcurve.records.findings import CHANGED, CORRECTED, DOUBTFUL, EFFECTS, NOTE, SET_ASIDE, tally
from mendcurve.records.records import Records

WORDS = {
    SET_ASIDE: "set aside",
    DOUBTFUL: "kept but doubtful",
    CHANGED: "changed in reading",
    CORRECTED: "corrected by the rescue",
    NOTE: "to know",
}
# What most numbers rest on, first; other tables follow in the order of their name.
RESTS_ON = ("intakes", "outcomes", "conditions", "weighings", "spending", "doses", "courses", "moves")
_PLACE = ("file", "sheet", "column", "first_row", "records")
_GROUP = ["file", "sheet", "table", "column", "effect", "what_to_do"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Findings(Answer):
    """How many findings there are, by what became of the record."""

    frame: pd.DataFrame
    set_aside: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row an effect: findings."""
        return self.frame

    def sentence(self) -> str:
        """Return the count of findings and of rows set aside."""
        n = int(self.frame["findings"].sum())
        if not n and not self.set_aside:
            return "Checking the records found nothing to mend; no row is set aside."
        counted = zip(self.frame["effect"], self.frame["findings"], strict=True)
        parts = [f"{number:,} {WORDS[effect]}" for effect, number in counted if number]
        aside = f"{count(self.set_aside, 'row')} {were(self.set_aside)} set aside"
        aside += " and used in no number" if self.set_aside else ""
        return f"Checking the records gave {count(n, 'finding')} ({listing(parts)}); {aside}."

    def notes(self) -> tuple[str, ...]:
        """Return what is counted, and where all of them stand."""
        return (
            "A finding is a record with anything found in it, counted once under the worst of it, or a remark about a "
            "whole file, sheet or column; a row that feeds two tables is a record of each.",
            "All findings, with file, sheet and row: the command check writes them, a line each, into findings.csv.",
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class ToMend(Answer):
    """The findings to mend first."""

    frame: pd.DataFrame
    found: int
    kinds: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row a kind of finding: where it is, what is wrong, what to do, in how many records."""
        return self.frame

    def sentence(self) -> str:
        """Return how many findings these are of all."""
        if not self.kinds:
            return "Nothing to mend was found in the records."
        shown = len(self.frame)
        which = f"the first {shown} follow" if shown < self.kinds else f"{'it follows' if shown == 1 else 'all follow'}"
        return f"{count(self.found, 'finding')} of {count(self.kinds, 'kind')} {were(self.found)} made; {which}."

    def notes(self) -> tuple[str, ...]:
        """Return the order."""
        return (
            "Order: records set aside before doubtful ones, before those changed as they were read; then by the table "
            "that most numbers rest on (intakes, outcomes, conditions, weighings), then by the number of records.",
        )


def findings(records: Records) -> Findings:
    """Count the findings by what became of the record, as ``check`` counts them."""
    by = tally(records.findings)
    frame = pd.DataFrame({"effect": list(by.index), "findings": by.to_list()})
    frame.attrs.update(title="Findings", units={"findings": "findings"})
    aside = records.set_aside.drop_duplicates(["file", "sheet", "row"])
    return Findings(frame=frame, set_aside=len(aside))


def to_mend(records: Records, most: int = 10) -> ToMend:
    """List the ``most`` kinds of finding that would change the report most; notes that ask for nothing are left out."""
    found = records.findings[~records.findings["effect"].isin([NOTE, CORRECTED])]
    text = found.fillna(dict.fromkeys((*_GROUP, "rule", "value"), ""))
    groups = text.groupby(_GROUP, sort=True).agg(
        records=("rule", "size"), first_row=("row", "min"), what_is_wrong=("rule", "first")
    )
    frame = groups.reset_index()
    frame["worst"] = frame["effect"].map({effect: i for i, effect in enumerate(EFFECTS)}).astype("float64")
    order = {table: i for i, table in enumerate(RESTS_ON)}
    frame["rests"] = [order.get(str(table), len(order)) for table in frame["table"]]
    frame = frame.sort_values(
        ["worst", "rests", "records", *_GROUP], ascending=[True, True, False, *[True] * len(_GROUP)]
    )
    kinds = len(frame)
    frame["where"] = [_where(*place) for place in zip(*(frame[c] for c in _PLACE), strict=True)]
    columns = ["effect", "where", "records", "what_is_wrong", "what_to_do"]
    frame = frame.head(most)[columns].reset_index(drop=True)
    frame.attrs.update(title="To mend first", units={"records": "records"})
    return ToMend(frame=frame, found=len(found), kinds=kinds)


def _where(file: str, sheet: str, column: str, first_row: float | None, records: int) -> str:
    """Return 'intakes.csv, sheet "In", row 43 and others, stay id'."""
    row = "" if pd.isna(first_row) else f"row {int(first_row)}{' and others' if records > 1 else ''}"
    return ", ".join(filter(None, (file, f'sheet "{sheet}"' if sheet else "", row, column.replace("_", " "))))
