"""Columns in which several dates fit only with day and month swapped: two people wrote them in two orders."""

from __future__ import annotations

from mendcurve.records.likely import SWAPPED
from mendcurve.records.review import Review

# One swapped date is a slip; as many as this in a column are a habit.
FEWEST = 3
_SHOWN = 5


def check_mixed_orders(review: Review) -> None:
    """Note each column of a sheet in which the findings so far name several dates with day and month swapped."""
    lines = review.ledger.lines()
    likely = lines["likely"].fillna("")
    # Where another slip fits as well, it is no proof.
    lines = lines[lines["row"].notna() & likely.str.endswith(SWAPPED) & ~likely.str.contains("; or ", regex=False)]
    lines = lines.drop_duplicates(["file", "sheet", "table", "column", "row"])
    for (file, sheet, table, column), rows in lines.groupby(
        ["file", "sheet", "table", "column"], sort=True, dropna=False
    ):
        if len(rows) < FEWEST:
            continue
        shown = ", ".join(str(int(r)) for r in sorted(rows["row"])[:_SHOWN])
        more = " and more" if len(rows) > _SHOWN else ""
        review.ledger.note(
            str(file),
            str(sheet),
            table=str(table),
            column=str(column),
            rule=f"{len(rows)} dates of this column fit only if day and month are swapped (rows {shown}{more}): "
            "some may be written with the month first, others with the day first",
            what_to_do="Look for who wrote these rows; write dates as 2024-03-31.",
            likely="two orders of dates in one column",
        )
