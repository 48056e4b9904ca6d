"""Where a document's numbers come from: no clock time, no user's name, no path."""

from __future__ import annotations

from html import escape
from importlib.metadata import version

from mendcurve.documents.html import Html
from mendcurve.questions.wording import day
from mendcurve.records import Records


def provenance(records: Records) -> Html:
    """Return as-of date, first day, rows read, kept and set aside, digest of the inputs and package version."""
    rows = "".join(f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in facts(records))
    return Html(f'<dl class="provenance">{rows}</dl>')


def facts(records: Records) -> tuple[tuple[str, str], ...]:
    """Return the same as (name, value)."""
    read, aside = rows_read(records)
    return (
        ("As-of date", f"{day(records.as_of)}: the last day on which the records are complete"),
        ("Records start", f"{day(records.records_start)}: the first day on which the records are complete"),
        ("Rows read", f"{read:,}, of which {read - aside:,} are used and {aside:,} set aside"),
        ("Digest of the inputs", f"SHA-256 {records.digest}" if records.digest else "not read from files"),
        ("Made with", f"Mendcurve {version('mendcurve')}"),
    )


def rows_read(records: Records) -> tuple[int, int]:
    """Return how many source rows held a record, and how many of these are set aside.

    Notes
    -----
    A source row that feeds several tables is one row. Blank, heading and total rows are not records.
    """
    accounts = records.accounts
    if accounts.empty:
        return sum(len(table) for table in records.tables.values()), len(records.set_aside)
    sheets = accounts.groupby(["file", "sheet"], dropna=False)[["counted", "blank", "heading", "total"]].max()
    read = int(sheets["counted"].sum() - sheets[["blank", "heading", "total"]].to_numpy().sum())
    aside = records.set_aside.drop_duplicates(["file", "sheet", "row"])
    return read, len(aside)
