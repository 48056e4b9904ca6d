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
    read, aside, left_out = rows_read(records)
    apart = f", and {left_out:,} left out by the rescue's own rule or dated after the as-of date" if left_out else ""
    return (
        ("As-of date", f"{day(records.as_of)}: the last day on which the records are complete"),
        ("Records start", f"{day(records.records_start)}: the first day on which the records are complete"),
        ("Rows read", f"{read:,}, of which {read - aside - left_out:,} are used and {aside:,} set aside{apart}"),
        ("Digest of the inputs", f"SHA-256 {records.digest}" if records.digest else "not read from files"),
        ("Made with", f"Mendcurve {version('mendcurve')}"),
    )


def rows_read(records: Records) -> tuple[int, int, int]:
    """Return how many source rows held a record, how many of these are set aside, and how many are left out.

    Notes
    -----
    A source row that feeds several tables is one row. Blank, heading and total rows are not records. Left out: dated
    after the as-of date, or not kept by the rescue's own rule; of a sheet that feeds several tables, what is left out
    of all of them.
    """
    accounts = records.accounts
    if accounts.empty:
        return sum(len(table) for table in records.tables.values()), len(records.set_aside), 0
    by_sheet = accounts.groupby(["file", "sheet"], dropna=False)
    sheets = by_sheet[["counted", "blank", "heading", "total"]].max()
    read = int(sheets["counted"].sum() - sheets[["blank", "heading", "total"]].to_numpy().sum())
    aside = records.set_aside.drop_duplicates(["file", "sheet", "row"])
    return read, len(aside), int(by_sheet["left_out"].min().sum())
