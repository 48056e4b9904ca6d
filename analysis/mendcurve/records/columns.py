"""Our columns in a sheet: under which heading each stands, its text, and what the text says."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from mendcurve.errors import InputError, nearest
from mendcurve.records.codes import parse_codes, parse_lists, parse_yes_no, words_for
from mendcurve.records.dates import ORDERS, order_of, parse_dates
from mendcurve.records.findings import DOUBTFUL, Ledger
from mendcurve.records.folding import folded
from mendcurve.records.ids import parse_ids
from mendcurve.records.merging import over_merged
from mendcurve.records.numbers import conflict, parse_counts, parse_money, parse_numbers, parse_weights
from mendcurve.records.parsing import Parsed, Trouble, none, nothing
from mendcurve.records.privacy import parse_free_text
from mendcurve.records.schemas import TABLES, Column
from mendcurve.records.settings import Settings
from mendcurve.records.sheets import Sheet, named
from mendcurve.records.sources import Source
from mendcurve.records.words import emptied, pair

_NO_OUTCOME = Trouble(
    "outcome_type must not be empty; the day it left is kept, how it left is 'not recorded'",
    "Write down how it left.",
    DOUBTFUL,
)
_NO_UNIT = Trouble("a weight must be in a known unit (g, kg, oz, lb)", "Correct the unit, or write it with the weight.")


def headings_of(sheet: Sheet, source: Source) -> dict[str, str]:
    """Return our column -> heading, by records.toml or by name; refuse a required column that nothing names."""
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
    missing = [
        c
        for c in TABLES[source.table].columns
        if c.required and c.default is None and c.name not in (*out, *source.constant, *source.id_from)
    ]
    if missing:
        names = ", ".join(c.name for c in missing)
        raise InputError(
            f"{sheet.where}: {source.table} needs {names}, which no heading names.",
            [f"headings: {', '.join(present)}"],
            f'In records.toml, under [tables.{source.table}], write columns = {{{missing[0].name} = "the heading"}}, '
            f'or constant = {{{missing[0].name} = "..."}} if it is the same for every row.',
        )
    return out


def _no_heading(sheet: Sheet, table: str, column: str, heading: str) -> InputError:
    if named(sheet.people, heading):
        return InputError(
            f'{sheet.where}: "{heading}" looks like a person\'s details, so it was not read.',
            remedy=f"Take it out of [tables.{table}] columns; if it holds no person, rename the heading.",
        )
    return InputError(
        f'{sheet.where}: records.toml reads {column} of {table} from "{heading}", but there is no such heading.',
        [f"headings: {', '.join(sheet.cells.columns)}"],
        "Correct it." + nearest(heading, sheet.cells.columns),
    )


def rows_where(sheet: Sheet, rule: Mapping[str, tuple[str, ...]], key: str) -> np.ndarray:
    """Return the rows in which a heading of ``rule`` has one of its texts."""
    mask = np.zeros(len(sheet.row), dtype=bool)
    for heading, words in rule.items():
        at = named(list(sheet.cells.columns), heading)
        if at is None:
            raise InputError(
                f'{sheet.where}: {key} in records.toml names "{heading}", but there is no such heading.',
                remedy="Correct it." + nearest(heading, sheet.cells.columns),
            )
        wanted = {folded(word) for word in words}
        fits = {word for word in sheet.cells[at].unique() if folded(word) in wanted}
        mask |= sheet.cells[at].isin(fits).to_numpy()
    return mask


def texts_of(sheet: Sheet, source: Source, headings: Mapping[str, str]) -> dict[str, pd.Series]:
    """Return the text of each of our columns, from headings, constants and joined ids; declared blanks emptied."""
    blank = {folded(word) for word in source.missing}
    out: dict[str, pd.Series] = {}
    for column in TABLES[source.table].names:
        if column in source.constant:
            out[column] = pd.Series(str(source.constant[column]), index=sheet.cells.index, dtype=object)
        elif column in source.id_from:
            out[column] = joined(sheet, source.id_from[column])
        elif column in headings:
            text = sheet.cells[headings[column]]
            out[column] = emptied(text, [w for w in text.unique() if folded(w) in blank]) if blank else text
    return out


def joined(sheet: Sheet, headings: tuple[str, ...]) -> pd.Series:
    """Return ids made of several columns; empty where one of them is."""
    parts = []
    for heading in headings:
        at = named(list(sheet.cells.columns), heading)
        if at is None:
            raise InputError(
                f'{sheet.where}: id_from in records.toml names "{heading}", but there is no such heading.',
                remedy="Correct it." + nearest(heading, sheet.cells.columns),
            )
        parts.append(over_merged(sheet.cells[at], [m for m in sheet.merges if m.heading == at], sheet.row).str.strip())
    joined = parts[0]
    for part in parts[1:]:
        joined = joined + "-" + part
    # An id with a missing part would be shared by strangers.
    whole = np.logical_and.reduce([part.to_numpy() != "" for part in parts])
    return joined.where(whole, "")


def number_ids(sheet: Sheet, source: Source, texts: dict[str, pd.Series], use: np.ndarray, ledger: Ledger) -> None:
    """Number the repeats of ids made of other columns, in place, with a finding for each of the table's own ids."""
    if not source.number_repeats:
        return
    for column in source.id_from:
        text = texts[column]
        nth = text[use].groupby(text[use]).cumcount().reindex(text.index, fill_value=0)
        again = (nth > 0) & (text != "")
        texts[column] = text.where(~again, text + "-" + (nth + 1).astype(str)).astype(object)
        if column == TABLES[source.table].key[:1][0] if TABLES[source.table].key else False:
            where = pd.DataFrame(
                {
                    "source_file": sheet.file,
                    "source_sheet": sheet.sheet,
                    "source_row": sheet.row[again],
                    "stay_id": texts[column][again].to_numpy(),
                }
            )
            ledger.add(
                where,
                table=source.table,
                column=column,
                value=pd.Series(text[again].to_numpy(), dtype=object),
                rule="an id made of other columns must be one row's only; this row's was numbered",
                what_to_do="Check that these are two stays and not one written twice.",
                effect=DOUBTFUL,
            )


def parsed_columns(
    sheet: Sheet, source: Source, texts: Mapping[str, pd.Series], settings: Settings
) -> dict[str, Parsed]:
    """Return every column of the table parsed by its kind."""
    columns = TABLES[source.table].columns
    blank = nothing(len(sheet.row))
    dated = {
        c.name: (texts[c.name], pd.Series(sheet.row))
        for c in columns
        if c.kind in ("date", "datetime") and c.name in texts
    }
    order = (
        order_of(dated, source.date_order or settings["rescue.date_order"], sheet.where, _beside(sheet, dated))
        if dated
        else "dmy"
    )
    out = {c.name: _column(sheet, source, c, texts[c.name], order) if c.name in texts else blank for c in columns}
    if source.table == "weighings":
        out["weight"], out["unit"] = _weights(out["weight"], out["unit"], source.unit or settings["weights.unit"])
    if source.table == "outcomes" and "outcome_date" in texts:
        blank_type = out["outcome_date"].has_value & out["outcome_type"].empty
        out["outcome_type"] = out["outcome_type"].changed(blank_type, "not recorded", _NO_OUTCOME)
    return out


def _beside(sheet: Sheet, dated: Mapping[str, object]) -> dict[str, tuple[pd.Series, pd.Series]]:
    rows = pd.Series(sheet.row)
    return {str(heading): (text, rows) for heading, text in sheet.cells.items() if heading not in dated}


def _column(sheet: Sheet, source: Source, column: Column, text: pd.Series, order: str) -> Parsed:
    own = source.codes.get(column.name, {})
    place = f"records.toml: [tables.{source.table}]"
    if column.kind in ("date", "datetime"):
        return parse_dates(text, order, epoch=sheet.epoch, order_shown=ORDERS[order])
    if source.table == "weighings" and column.name == "weight":
        return parse_weights(text, decimal=source.decimal)
    if column.kind == "number":
        return parse_numbers(text, unit=_unit(column), decimal=source.decimal, low=column.low, high=column.high)
    if column.kind == "count":
        return parse_counts(text, low=column.low, high=column.high, unit=column.unit)
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
        return parse_ids(text)
    return parse_free_text(text)


def _unit(column: Column) -> str:
    return "mm" if column.name.endswith("_mm") else column.unit


def _weights(weight: Parsed, unit: Parsed, default: str) -> tuple[Parsed, Parsed]:
    """Split (number, unit) pairs; the unit in the cell wins over the unit column, that over the file's."""
    places, weights, columns = pair(weight.places, unit.places)
    values, units, troubles = weight.distinct[weights], unit.distinct[columns], weight.faults[weights]
    faults = unit.faults[columns]
    for place in np.flatnonzero(~none(values)):
        values[place], own = values[place]
        if own and units[place] and own != units[place]:
            troubles[place] = conflict(own, units[place])
        if not own and faults[place] is not None:
            # What it weighs is not known: the default would be a guess.
            values[place], troubles[place] = None, _NO_UNIT
        units[place] = own or units[place] or default
    return Parsed(places, values, troubles), Parsed(places, units, faults)
