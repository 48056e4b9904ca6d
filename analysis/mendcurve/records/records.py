"""Records: every validated table of one rescue, with what was found wrong and what was set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from mendcurve.records import cutting
from mendcurve.records.settings import Settings


@dataclass(frozen=True, kw_only=True, eq=False)
class Records:
    """The rescue's records up to the as-of date.

    Attributes
    ----------
    tables : mapping of str to DataFrame
        Every table of ``schemas.TABLES``, all its columns, empty where the rescue keeps none. Each row carries
        ``source_file``, ``source_sheet`` and ``source_row`` (as the spreadsheet shows it). ``weighings`` has
        ``weight_g`` besides; ``doses`` and ``courses`` have ``given_at_has_time`` and ``first_dose_at_has_time``.
    settings : Settings
    species : DataFrame
        Reference table: name, scientific, aliases, taxon, low_g, high_g, gut_days.
    findings : DataFrame
        One line a record, what changes the reports most first: see ``findings.COLUMNS``.
    cells : DataFrame
        The same, one line a cell, with ``record`` (the row's own id, or its stay's): what the mending list is made of.
    words : DataFrame
        Words nobody knows, each once, as rows for the rescue's dictionary: see ``unknown_words.COLUMNS``.
    corrections : DataFrame
        Corrections of the rescue's own and what became of them, with who and why: see ``corrections.FRAME``. For the
        rescue's eyes: no document shows it.
    set_aside : DataFrame
        Rows not used, verbatim: file, sheet, row, table, text, reason.
    accounts : DataFrame
        One line for each file, sheet and table: counted, blank, heading, total, left_out, nothing_here, kept,
        set_aside; the first is the sum of the others.
    recorded : frozenset of (table, column)
        Columns that a source fed with at least one value.
    as_of, records_start : Timestamp
        Last and first day on which the records are complete.
    digest : str
        SHA-256 over the input files and settings.
    """

    tables: Mapping[str, pd.DataFrame]
    settings: Settings
    species: pd.DataFrame
    findings: pd.DataFrame
    set_aside: pd.DataFrame
    accounts: pd.DataFrame
    recorded: frozenset[tuple[str, str]]
    as_of: pd.Timestamp
    records_start: pd.Timestamp
    digest: str = ""
    cells: pd.DataFrame = field(default_factory=pd.DataFrame)
    words: pd.DataFrame = field(default_factory=pd.DataFrame)
    corrections: pd.DataFrame = field(default_factory=pd.DataFrame)

    def __getitem__(self, table: str) -> pd.DataFrame:
        return self.tables[table]

    def has(self, table: str, column: str | None = None) -> bool:
        """Whether the rescue records this table (and this column of it) at all."""
        if column is None:
            return any(name == table for name, _ in self.recorded)
        return (table, column) in self.recorded

    def start_of(self, table: str) -> pd.Timestamp:
        """First day on which ``table`` is complete."""
        start = self.settings["dates.starts"].get(table)
        return max(self.records_start, pd.Timestamp(start)) if start else self.records_start

    def cut(self, as_of: str | pd.Timestamp) -> Records:
        """Return the records as they were known at the end of ``as_of``: the only way to report "as at" or back-test.

        Rows dated later are gone, and what they closed is open again. Findings and accounts stay those of the reading.
        """
        return cutting.cut(self, as_of)
