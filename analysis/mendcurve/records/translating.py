"""One sheet into one table's columns: headings, codes, dates, numbers; what cannot be read is set aside."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.records.building import TIMED
from mendcurve.records.clock import EVENTS
from mendcurve.records.codes import NOTHING_HERE
from mendcurve.records.columns import headings_of, number_ids, parsed_columns, rows_where, texts_of
from mendcurve.records.dose_times import times_of
from mendcurve.records.findings import CHANGED, CORRECTED, DOUBTFUL, SET_ASIDE, Ledger
from mendcurve.records.meanings import meanings_taken
from mendcurve.records.merging import fill_merged
from mendcurve.records.months import assumed, rule_of, told_once
from mendcurve.records.parsing import BLANK, TAKEN, UNREADABLE, Parsed, Trouble
from mendcurve.records.privacy import masked
from mendcurve.records.schemas import TABLES, Column
from mendcurve.records.settings import Settings
from mendcurve.records.sheets import Sheet, named
from mendcurve.records.sources import Source
from mendcurve.records.unknown_words import unknown_codes
from mendcurve.records.wide import plain_rows
from mendcurve.records.words import one_text, text_array

# Identical rows that may both be true: two payments of one amount on one day, two askings, two doses without an hour.
_MAY_REPEAT = ("spending", "receipts", "requests", "doses")
_SECOND = (
    "a second table seems to begin in this row; this row and those below it are not used",
    "Put the second table on a sheet of its own, or its rows under the headings of the first.",
)
_EMPTY = Trouble("{} must not be empty", "Fill it in.")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Translated:
    """What one sheet gave one table.

    Attributes
    ----------
    frame : DataFrame
        Rows kept, with parsed columns and ``source_*``.
    aside : ndarray of int
        Positions of rows set aside.
    nothing_here, left_out : int
        Rows without anything for this table; rows outside the rescue's [keep].
    used : frozenset of str
        Headings that fed the table or decided about it.
    headings : mapping of column to heading
    recorded : frozenset of str
        Columns that hold at least one value.
    assumed : ndarray of int
        Row numbers of which only the month of what happened is known.
    unknown : Counter of (table, column, word)
        Rows that write each word no column of codes knows.
    """

    frame: pd.DataFrame
    aside: np.ndarray
    nothing_here: int
    left_out: int
    used: frozenset[str]
    headings: Mapping[str, str]
    recorded: frozenset[str]
    assumed: np.ndarray
    unknown: Counter[tuple[str, str, str]] = field(default_factory=Counter)


def translate(
    sheet: Sheet, source: Source, *, settings: Settings, kept: np.ndarray, others: Sequence[Source], ledger: Ledger
) -> Translated:
    """Read ``source.table`` out of ``sheet``.

    Parameters
    ----------
    kept : ndarray of bool, shape (rows,)
        Rows that the rescue's [keep] lets in.
    others : sequence of Source
        What else is read from this sheet: a row without any of this table's own required values is not its row. The
        day of arrival, read by intakes too, is not its own.

    Raises
    ------
    InputError
        If a required column has no heading, or records.toml names a heading that is not there.
    """
    table = TABLES[source.table]
    headings = headings_of(sheet, source)
    taken = kept & np.isin(plain_rows(pd.Series(sheet.row)), sorted(sheet.taken_out))
    below = kept & _below(sheet)
    barred = kept & ~taken & ~below & rows_where(sheet, source.set_aside_where, "set_aside_where")
    repeated = kept & ~barred & ~taken & ~below & (sheet.twin > 0) & (table.name not in _MAY_REPEAT)
    texts = texts_of(sheet, source, headings)
    fill_merged(sheet.merges, source.table, headings, texts, ledger, (sheet.file, sheet.sheet, sheet.row))
    number_ids(sheet, source, texts, kept & ~below & ~taken & ~barred & ~repeated, ledger)
    parsed = parsed_columns(sheet, source, texts, settings)
    if table.name == "doses":
        parsed["given_at"] = times_of(parsed)
    here = kept & (rows_where(sheet, source.only_where, "only_where") if source.only_where else True)
    here &= ~_nothing(_own(source, headings, sheet, others), source, texts, parsed, shared=bool(others))
    here |= below
    lines = Lines(sheet, source.table, texts, ledger)
    lines.add(below & (np.cumsum(below) == 1), "", *_SECOND, SET_ASIDE)
    bad = here & (below | taken | barred | repeated | sheet.longer)
    lines.add(here & taken & ~below, "", "taken out by the rescue, as it should not be there", "Nothing.", CORRECTED)
    lines.add(here & barred, "", "records.toml says to set this row aside", "Nothing, if that is right.", SET_ASIDE)
    lines.add(
        here & repeated,
        "",
        [f"a row must stand once; this repeats row {r} cell for cell" for r in sheet.twin[here & repeated]],
        "Delete one of them.",
        SET_ASIDE,
    )
    lines.add(
        here & sheet.longer & ~below & ~taken & ~barred & ~repeated,
        "",
        "a row must have no more cells than there are headings",
        "Look for a comma or semicolon inside a cell, or add the heading.",
        SET_ASIDE,
    )
    sound = here & ~bad
    failed = np.zeros(len(sheet.row), dtype=bool)
    happened = EVENTS.get(table.name, "")
    months = assumed(parsed[happened]) if happened else failed
    if source.wide is not None and (sound & assumed(parsed[source.wide.into])).any():
        of = sound & assumed(parsed[source.wide.into])
        rule = rule_of(int(of.sum()), texts[source.wide.into][of].nunique())
        do = "Nothing, if the days are not known. If they are, write them in the headings."
        ledger.note(
            sheet.file,
            sheet.sheet,
            table=table.name,
            column=source.wide.into,
            rule=rule,
            what_to_do=do,
            effect=DOUBTFUL,
        )
        parsed[source.wide.into] = told_once(parsed[source.wide.into])
    for column in table.columns:
        failed |= lines.troubles(column, parsed[column.name], sound)
    for name, rule, what_to_do in meanings_taken(source, texts, parsed, sound):
        ledger.note(sheet.file, sheet.sheet, table=table.name, column=name, rule=rule, what_to_do=what_to_do)
    use = sound & ~failed
    frame = _frame(sheet, source, parsed, np.flatnonzero(use))
    decided = {h for rule in (source.only_where, source.set_aside_where) for h in rule}
    decided |= {h for parts in source.id_from.values() for h in parts} | set(source.ignore)
    return Translated(
        frame=frame,
        aside=np.flatnonzero(here & ~use),
        nothing_here=int((kept & ~here).sum()),
        left_out=int((~kept).sum()),
        assumed=sheet.row[months],
        headings=headings,
        used=frozenset({*headings.values(), *(named(list(sheet.cells.columns), h) or h for h in decided)}),
        recorded=frozenset(
            n for n in texts if n in parsed and n not in source.constant and parsed[n].has_value[use].any()
        )
        | frozenset(source.constant),
        unknown=unknown_codes(source, texts, parsed, sound),
    )


class Lines:
    """Writes findings about rows of one sheet, for one table."""

    def __init__(self, sheet: Sheet, table: str, texts: Mapping[str, pd.Series], ledger: Ledger):
        self.sheet, self.table, self.texts, self.ledger = sheet, table, texts, ledger

    def add(self, mask: np.ndarray, column: str, rule: Any, what_to_do: Any, effect: Any) -> None:
        """Add a finding for each row of ``mask``."""
        place = np.flatnonzero(mask)
        if not len(place):
            return
        stay = self.texts.get("stay_id")
        text = self.texts.get(column)
        value = "" if text is None else shown(text.iloc[place])
        where = pd.DataFrame(
            {
                "source_file": self.sheet.file,
                "source_sheet": self.sheet.sheet,
                "source_row": self.sheet.row[place],
                "stay_id": None if stay is None else stay.iloc[place].to_numpy(),
            }
        )
        self.ledger.add(
            where,
            table=self.table,
            column=column,
            value=value if isinstance(value, str) else pd.Series(value, dtype=object),
            rule=pd.Series(rule, index=where.index, dtype=object) if isinstance(rule, list) else rule,
            what_to_do=pd.Series(what_to_do, dtype=object) if isinstance(what_to_do, list) else what_to_do,
            effect=pd.Series(effect, dtype=object) if isinstance(effect, list) else effect,
        )

    def troubles(self, column: Column, parsed: Parsed, sound: np.ndarray) -> np.ndarray:
        """Report the troubles of a column; return the rows that cannot be used because of them."""
        blank = blanks(parsed)
        empty = sound & (parsed.empty | blank)
        failed = np.zeros(len(sound), dtype=bool)
        if column.required and column.default is None:
            failed = empty
            self.add(empty, column.name, _EMPTY.rule.format(column.name), _EMPTY.what_to_do, SET_ASIDE)
        else:
            self.told_once(column.name, sound & blank)
        told = [t is not None and t is not NOTHING_HERE and t.effect not in (BLANK, TAKEN) for t in parsed.faults]
        place = np.flatnonzero(sound & np.array(told, dtype=bool)[parsed.places])
        found = parsed.faults[parsed.places[place]]
        lost = np.array([t.effect in (UNREADABLE, SET_ASIDE) for t in found], dtype=bool)
        aside = np.array(
            [t.effect == SET_ASIDE or (column.required and t.effect == UNREADABLE) for t in found], dtype=bool
        )
        effects = [
            SET_ASIDE if a else CHANGED if gone else t.effect for t, a, gone in zip(found, aside, lost, strict=True)
        ]
        rules = [
            t.rule if a or not gone else f"{t.rule}; it is read as empty"
            for t, a, gone in zip(found, aside, lost, strict=True)
        ]
        mask = np.zeros(len(sound), dtype=bool)
        mask[place] = True
        self.add(mask, column.name, rules, [t.what_to_do for t in found], effects)
        failed = failed.copy()
        failed[place[aside]] = True
        return failed

    def told_once(self, column: str, mask: np.ndarray) -> None:
        """Say of each word for nothing (from a short list of ours, so no person's detail) how often it stands."""
        if not mask.any():
            return
        for word, times in self.texts[column][mask].str.strip().value_counts().items():
            self.ledger.note(
                self.sheet.file,
                self.sheet.sheet,
                table=self.table,
                column=column,
                value=str(word),
                rule=f'{times} cell{"s hold" if times > 1 else " holds"} "{word}", which is read as an empty cell',
                what_to_do="Nothing, if that is what it means; an empty cell says the same.",
            )


def _below(sheet: Sheet) -> np.ndarray:
    """Return the rows of a second table below the first."""
    rows = plain_rows(pd.Series(sheet.row)).to_numpy()
    return rows >= sheet.second if sheet.second else np.zeros(len(rows), dtype=bool)


def blanks(parsed: Parsed) -> np.ndarray:
    """Return where a word for nothing stands."""
    return np.array([t is not None and t.effect == BLANK for t in parsed.faults], dtype=bool)[parsed.places]


def shown(text: pd.Series) -> list[str]:
    """Return values as findings may show them: short, people's details taken out."""
    clean = {word: masked(word)[0].strip()[:120] for word in text.unique()}
    return [clean[word] for word in text]


def _own(source: Source, headings: Mapping[str, str], sheet: Sheet, others: Sequence[Source]) -> tuple[Column, ...]:
    """Return the columns of the table that do not stand under a heading of intakes, if intakes share the sheet."""
    columns = TABLES[source.table].columns
    intakes = [other for other in others if other.table == "intakes"]
    if source.table == "intakes" or not intakes:
        return columns
    theirs = {heading for other in intakes for heading in headings_of(sheet, other).values()}
    return tuple(column for column in columns if headings.get(column.name) not in theirs)


def _nothing(
    columns: tuple[Column, ...],
    source: Source,
    texts: Mapping[str, pd.Series],
    parsed: Mapping[str, Parsed],
    *,
    shared: bool,
) -> np.ndarray:
    """Rows with a required word that means nothing here, or (in a shared sheet) without any required value."""
    needed = [
        c.name
        for c in columns
        if c.required
        and c.name in texts
        and c.name not in source.constant
        and c.name not in source.id_from
        and not c.name.endswith("_id")
    ]
    out = np.zeros(len(next(iter(texts.values()))), dtype=bool)
    for name in needed:
        out |= parsed[name].rows_with(NOTHING_HERE)
    if shared and needed:
        dates = [n for n in needed if n.endswith(("_date", "_on", "_at"))]
        blank = [
            (texts[n].str.strip().to_numpy() == "") | blanks(parsed[n])
            for n in (dates or needed if source.table == "outcomes" else needed)
        ]
        out |= np.logical_and.reduce(blank)
    return out


def _frame(sheet: Sheet, source: Source, parsed: Mapping[str, Parsed], place: np.ndarray) -> pd.DataFrame:
    out: dict[str, Any] = {}
    for column in TABLES[source.table].columns:
        given = parsed[column.name]
        places, values = given.places[place], given.distinct
        if column.kind in ("date", "datetime"):
            out[column.name] = np.array([None if v is None else v[0] for v in values], dtype="datetime64[s]")[places]
            if column.name in TIMED.get(source.table, ()):
                hour = np.array([v is not None and v[1] for v in values], dtype=bool)
                out[f"{column.name}_has_time"] = hour[places]
        elif column.kind == "money":
            out[column.name] = values[places]
        elif column.kind in ("number", "count"):
            out[column.name] = np.array([np.nan if v is None else v for v in values], dtype="float64")[places]
        elif column.kind == "yes_no":
            out[column.name] = np.array([v is True for v in values], dtype=bool)[places]
        else:
            out[column.name] = text_array(places, values)
    out |= {
        "source_file": one_text(sheet.file, len(place)),
        "source_sheet": one_text(sheet.sheet, len(place)),
        "source_row": sheet.row[place],
    }
    return pd.DataFrame(out, index=pd.RangeIndex(len(place)))
