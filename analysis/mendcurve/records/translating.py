"""One sheet into one table's columns: headings, codes, dates, numbers; what cannot be read is set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records.building import TIMED
from mendcurve.records.codes import NOTHING_HERE, parse_codes, parse_lists, parse_yes_no, words_for
from mendcurve.records.dates import ORDERS, order_of, parse_dates
from mendcurve.records.findings import CHANGED, DOUBTFUL, SET_ASIDE, Ledger
from mendcurve.records.folding import folded
from mendcurve.records.numbers import conflict, parse_counts, parse_money, parse_numbers, parse_weights
from mendcurve.records.parsing import UNREADABLE, Parsed, Trouble
from mendcurve.records.privacy import masked, parse_free_text
from mendcurve.records.schemas import TABLES, Column
from mendcurve.records.settings import Settings
from mendcurve.records.sheets import Sheet, named
from mendcurve.records.sources import Source

# Identical rows that may both be true: two payments of one amount on one day, two askings, two doses without an hour.
_MAY_REPEAT = ("spending", "receipts", "requests", "doses")
_NO_OUTCOME = Trouble("outcome_type must not be empty; the day it left is kept, how it left is 'not recorded'",
                      "Write down how it left.", DOUBTFUL)
_EMPTY = Trouble("{} must not be empty", "Fill it in.")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Translated:
    """What one sheet gave one table.

    Attributes
    ----------
    frame : DataFrame
        Rows kept, with parsed columns, ``source_*`` and ``place`` (position in the sheet).
    aside : ndarray of int
        Positions of rows set aside.
    nothing_here, left_out : int
        Rows without anything for this table; rows outside the rescue's [keep].
    used : frozenset of str
        Headings that fed the table or decided about it.
    recorded : frozenset of str
        Columns that hold at least one value.
    """

    frame: pd.DataFrame
    aside: np.ndarray
    nothing_here: int
    left_out: int
    used: frozenset[str]
    recorded: frozenset[str]


def translate(
    sheet: Sheet, source: Source, *, settings: Settings, kept: np.ndarray, shared: bool, ledger: Ledger
) -> Translated:
    """Read ``source.table`` out of ``sheet``.

    Parameters
    ----------
    kept : ndarray of bool, shape (rows,)
        Rows that the rescue's [keep] lets in.
    shared : bool
        Other tables are read from this sheet too: a row without any of this table's required values is not theirs.

    Raises
    ------
    InputError
        If a required column has no heading, or records.toml names a heading that is not there.
    """
    table = TABLES[source.table]
    headings = _headings(sheet, source)
    barred = kept & _where(sheet, source.set_aside_where, "set_aside_where")
    repeated = kept & ~barred & (sheet.twin > 0) & (table.name not in _MAY_REPEAT)
    texts = _texts(sheet, source, headings)
    _number_ids(sheet, source, texts, kept & ~barred & ~repeated, ledger)
    parsed = _parsed(sheet, source, texts, settings)
    here = kept & (_where(sheet, source.only_where, "only_where") if source.only_where else True)
    here &= ~_nothing(table.columns, source, texts, parsed, shared)
    lines = Lines(sheet, source.table, texts, headings, ledger)
    bad = here & (barred | repeated | sheet.longer)
    lines.add(here & barred, "", "records.toml says to set this row aside", "Nothing, if that is right.", SET_ASIDE)
    lines.add(here & repeated, "", [f"a row must stand once; this repeats row {r} cell for cell" for r in
                                    sheet.twin[here & repeated]], "Delete one of them.", SET_ASIDE)
    lines.add(here & sheet.longer & ~barred & ~repeated, "", "a row must have no more cells than there are headings",
              "Look for a comma or semicolon inside a cell, or add the heading.", SET_ASIDE)
    sound = here & ~bad
    failed = np.zeros(len(sheet.row), dtype=bool)
    for column in table.columns:
        failed |= lines.troubles(column, parsed[column.name], sound)
    use = sound & ~failed
    frame = _frame(sheet, source, parsed, np.flatnonzero(use))
    decided = {h for rule in (source.only_where, source.set_aside_where) for h in rule}
    decided |= {h for parts in source.id_from.values() for h in parts} | set(source.ignore)
    return Translated(
        frame=frame, aside=np.flatnonzero(here & ~use), nothing_here=int((kept & ~here).sum()),
        left_out=int((~kept).sum()),
        used=frozenset({*headings.values(), *(named(list(sheet.cells.columns), h) or h for h in decided)}),
        recorded=frozenset(n for n in texts if n in frame.columns and n not in source.constant
                           and frame[n].notna().any()) | frozenset(source.constant),
    )


class Lines:
    """Writes findings about rows of one sheet, for one table."""

    def __init__(self, sheet: Sheet, table: str, texts: Mapping[str, pd.Series], headings: Mapping[str, str],
                 ledger: Ledger):
        self.sheet, self.table, self.texts, self.headings, self.ledger = sheet, table, texts, headings, ledger

    def add(self, mask: np.ndarray, column: str, rule: Any, what_to_do: Any, effect: Any) -> None:
        """Add a finding for each row of ``mask``."""
        place = np.flatnonzero(mask)
        if not len(place):
            return
        stay = self.texts.get("stay_id")
        text = self.texts.get(column)
        value = "" if text is None else shown(text.iloc[place])
        where = pd.DataFrame({"source_file": self.sheet.file, "source_sheet": self.sheet.sheet,
                              "source_row": self.sheet.row[place],
                              "stay_id": None if stay is None else stay.iloc[place].to_numpy()})
        self.ledger.add(where, table=self.table, column=self.headings.get(column, column),
                        value=value if isinstance(value, str) else pd.Series(value, dtype=object),
                        rule=pd.Series(rule, index=where.index, dtype=object) if isinstance(rule, list) else rule,
                        what_to_do=pd.Series(what_to_do, dtype=object) if isinstance(what_to_do, list) else what_to_do,
                        effect=pd.Series(effect, dtype=object) if isinstance(effect, list) else effect)

    def troubles(self, column: Column, parsed: Parsed, sound: np.ndarray) -> np.ndarray:
        """Report the troubles of a column; return the rows that cannot be used because of them."""
        empty = sound & np.equal(parsed.found, None) & np.equal(parsed.troubles, None)
        failed = np.zeros(len(sound), dtype=bool)
        if column.required and column.default is None:
            failed = empty
            self.add(empty, column.name, _EMPTY.rule.format(column.name), _EMPTY.what_to_do, SET_ASIDE)
        place = np.flatnonzero(sound & ~np.equal(parsed.troubles, None))
        found = parsed.troubles[place]
        named_ = [t is not NOTHING_HERE for t in found]
        place, found = place[named_], found[named_]
        lost = np.array([t.effect in (UNREADABLE, SET_ASIDE) for t in found], dtype=bool)
        aside = np.array([t.effect == SET_ASIDE or (column.required and t.effect == UNREADABLE) for t in found],
                         dtype=bool)
        effects = [SET_ASIDE if a else CHANGED if gone else t.effect
                   for t, a, gone in zip(found, aside, lost, strict=True)]
        rules = [t.rule if a or not gone else f"{t.rule}; it is read as empty"
                 for t, a, gone in zip(found, aside, lost, strict=True)]
        mask = np.zeros(len(sound), dtype=bool)
        mask[place] = True
        self.add(mask, column.name, rules, [t.what_to_do for t in found], effects)
        failed = failed.copy()
        failed[place[aside]] = True
        return failed


def shown(text: pd.Series) -> list[str]:
    """Return values as findings may show them: short, people's details taken out."""
    clean = {word: masked(word)[0].strip()[:120] for word in text.unique()}
    return [clean[word] for word in text]


def _headings(sheet: Sheet, source: Source) -> dict[str, str]:
    present = list(sheet.cells.columns)
    ignored = {named(present, h) for h in source.ignore}
    out: dict[str, str] = {}
    for column in TABLES[source.table].columns:
        given = source.columns.get(column.name)
        if given == "" or column.name in source.constant or column.name in source.id_from:
            continue
        heading = named(present, column.name if given is None else given)
        if given and heading is None:
            raise _no_heading(sheet, source.table, column.name, given)
        if heading is not None and (given or heading not in ignored):
            out[column.name] = heading
    missing = [c for c in TABLES[source.table].columns if c.required and c.default is None
               and c.name not in (*out, *source.constant, *source.id_from)]
    if missing:
        names = ", ".join(c.name for c in missing)
        raise InputError(
            f"{sheet.where}: {source.table} needs the column{'s' * (len(missing) > 1)} {names}, which no heading names.",
            [f"headings: {', '.join(present)}"],
            f'In records.toml, under [tables.{source.table}], write columns = {{{missing[0].name} = "the heading"}}, '
            f'or constant = {{{missing[0].name} = "..."}} if it is the same for every row.')
    return out


def _no_heading(sheet: Sheet, table: str, column: str, heading: str) -> InputError:
    if named(sheet.people, heading):
        return InputError(f'{sheet.where}: "{heading}" looks like a person\'s details, so it was not read.',
                          remedy=f"Take it out of [tables.{table}] columns; if it holds no person, rename the heading.")
    return InputError(f'{sheet.where}: records.toml reads {column} of {table} from "{heading}", but there is no such '
                      "heading.", [f"headings: {', '.join(sheet.cells.columns)}"],
                      "Correct it." + nearest(heading, sheet.cells.columns))


def _where(sheet: Sheet, rule: Mapping[str, tuple[str, ...]], key: str) -> np.ndarray:
    mask = np.zeros(len(sheet.row), dtype=bool)
    for heading, words in rule.items():
        at = named(list(sheet.cells.columns), heading)
        if at is None:
            raise InputError(f'{sheet.where}: {key} in records.toml names "{heading}", but there is no such heading.',
                             remedy="Correct it." + nearest(heading, sheet.cells.columns))
        wanted = {folded(word) for word in words}
        fits = {word for word in sheet.cells[at].unique() if folded(word) in wanted}
        mask |= sheet.cells[at].isin(fits).to_numpy()
    return mask


def _texts(sheet: Sheet, source: Source, headings: Mapping[str, str]) -> dict[str, pd.Series]:
    blank = {folded(word) for word in source.missing}
    out: dict[str, pd.Series] = {}
    for column in TABLES[source.table].names:
        if column in source.constant:
            out[column] = pd.Series(str(source.constant[column]), index=sheet.cells.index, dtype=object)
        elif column in source.id_from:
            out[column] = _joined(sheet, source.id_from[column])
        elif column in headings:
            text = sheet.cells[headings[column]]
            gone = [word for word in text.unique() if folded(word) in blank] if blank else []
            out[column] = text.where(~text.isin(gone), "") if gone else text
    return out


def _joined(sheet: Sheet, headings: tuple[str, ...]) -> pd.Series:
    parts = []
    for heading in headings:
        at = named(list(sheet.cells.columns), heading)
        if at is None:
            raise InputError(f'{sheet.where}: id_from in records.toml names "{heading}", but there is no such heading.',
                             remedy="Correct it." + nearest(heading, sheet.cells.columns))
        parts.append(sheet.cells[at].str.strip())
    joined = parts[0].str.cat(parts[1:], sep="-") if len(parts) > 1 else parts[0]
    # An id with a missing part would be shared by strangers.
    whole = np.logical_and.reduce([part.to_numpy() != "" for part in parts])
    return joined.where(whole, "")


def _number_ids(sheet: Sheet, source: Source, texts: dict[str, pd.Series], use: np.ndarray, ledger: Ledger) -> None:
    if not source.number_repeats:
        return
    for column in source.id_from:
        text = texts[column]
        nth = text[use].groupby(text[use]).cumcount().reindex(text.index, fill_value=0)
        again = (nth > 0) & (text != "")
        texts[column] = text.where(~again, text + "-" + (nth + 1).astype(str)).astype(object)
        if column == TABLES[source.table].key[:1][0] if TABLES[source.table].key else False:
            where = pd.DataFrame({"source_file": sheet.file, "source_sheet": sheet.sheet,
                                  "source_row": sheet.row[again], "stay_id": texts[column][again].to_numpy()})
            ledger.add(where, table=source.table, column=column, value=pd.Series(text[again].to_numpy(), dtype=object),
                       rule="an id made of other columns must be one row's only; this row's was numbered",
                       what_to_do="Check that these are two stays and not one written twice.", effect=DOUBTFUL)


def _parsed(sheet: Sheet, source: Source, texts: Mapping[str, pd.Series], settings: Settings) -> dict[str, Parsed]:
    columns = TABLES[source.table].columns
    nothing = Parsed(np.full(len(sheet.row), None, dtype=object), np.full(len(sheet.row), None, dtype=object))
    dated = {c.name: (texts[c.name], pd.Series(sheet.row)) for c in columns
             if c.kind in ("date", "datetime") and c.name in texts}
    order = order_of(dated, source.date_order or settings["rescue.date_order"], sheet.where) if dated else "dmy"
    out = {c.name: _column(sheet, source, c, texts[c.name], order) if c.name in texts else nothing for c in columns}
    if source.table == "weighings":
        out["weight"], out["unit"] = _weights(out["weight"], out["unit"], source.unit or settings["weights.unit"])
    if source.table == "outcomes" and "outcome_date" in texts:
        left = ~np.equal(out["outcome_date"].found, None)
        blank = left & np.equal(out["outcome_type"].found, None) & np.equal(out["outcome_type"].troubles, None)
        out["outcome_type"].found[blank] = "not recorded"
        out["outcome_type"].troubles[blank] = _NO_OUTCOME
    return out


def _column(sheet: Sheet, source: Source, column: Column, text: pd.Series, order: str) -> Parsed:
    own = source.codes.get(column.name, {})
    place = f"records.toml: [tables.{source.table}]"
    if column.kind in ("date", "datetime"):
        return parse_dates(text, order, epoch=sheet.epoch, order_shown=ORDERS[order])
    if source.table == "weighings" and column.name == "weight":
        return parse_weights(text, decimal=source.decimal)
    if column.kind == "number":
        return parse_numbers(text, unit=_unit(column), decimal=source.decimal, low=column.low)
    if column.kind == "count":
        return parse_counts(text, low=column.low, unit=column.unit)
    if column.kind == "money":
        return parse_money(text, decimal=source.decimal)
    words = words_for(column, own, place)
    if column.kind == "yes_no":
        return parse_yes_no(text, words)
    if column.kind == "list":
        return parse_lists(text, column, words)
    if column.kind == "code" or own:
        return parse_codes(text, column, words)
    if column.kind == "id":
        trimmed = text.str.strip().astype(object)
        return Parsed(trimmed.where(trimmed != "", None).to_numpy(dtype=object, copy=True),
                      np.full(len(text), None, dtype=object))
    return parse_free_text(text)


def _unit(column: Column) -> str:
    return "mm" if column.name.endswith("_mm") else column.unit


def _weights(weight: Parsed, unit: Parsed, default: str) -> tuple[Parsed, Parsed]:
    """Split (number, unit) pairs; the unit in the cell wins over the unit column, that over the file's."""
    numbers, units = np.full_like(weight.found, None), unit.found.copy()
    troubles = weight.troubles.copy()
    for place in np.flatnonzero(~np.equal(weight.found, None)):
        numbers[place], own = weight.found[place]
        if own and units[place] and own != units[place]:
            troubles[place] = conflict(own, units[place])
        units[place] = own or units[place] or default
    return Parsed(numbers, troubles), Parsed(units, unit.troubles)


def _nothing(
    columns: tuple[Column, ...], source: Source, texts: Mapping[str, pd.Series], parsed: Mapping[str, Parsed], shared: bool
) -> np.ndarray:
    """Rows with a required word that means nothing here, or (in a shared sheet) without any required value."""
    needed = [c.name for c in columns if c.required and c.name in texts and c.name not in source.constant
              and c.name not in source.id_from and not c.name.endswith("_id")]
    out = np.zeros(len(next(iter(texts.values()))), dtype=bool)
    for name in needed:
        out |= np.array([t is NOTHING_HERE for t in parsed[name].troubles], dtype=bool)
    if shared and needed:
        dates = [n for n in needed if n.endswith(("_date", "_on", "_at"))]
        blank = [texts[n].str.strip().to_numpy() == "" for n in (dates if source.table == "outcomes" else needed)]
        out |= np.logical_and.reduce(blank)
    return out


def _frame(sheet: Sheet, source: Source, parsed: Mapping[str, Parsed], place: np.ndarray) -> pd.DataFrame:
    out: dict[str, Any] = {}
    for column in TABLES[source.table].columns:
        values = parsed[column.name].found[place]
        if column.kind in ("date", "datetime"):
            day = np.array([None if v is None else v[0] for v in values], dtype="datetime64[s]")
            out[column.name] = day
            if column.name in TIMED.get(source.table, ()):
                out[f"{column.name}_has_time"] = np.array([v is not None and v[1] for v in values], dtype=bool)
        else:
            out[column.name] = pd.Series(values, dtype=object)
    out |= {"source_file": sheet.file, "source_sheet": sheet.sheet, "source_row": sheet.row[place], "place": place}
    return pd.DataFrame(out, index=pd.RangeIndex(len(place)))
