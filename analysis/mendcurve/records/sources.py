"""The sections of records.toml that say how files are read: which file is which table, which heading which column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from mendcurve.errors import InputError, nearest
from mendcurve.records.more import MEANING as MORE_MEANING
from mendcurve.records.more import More, more_from
from mendcurve.records.schemas import TABLES
from mendcurve.records.wide import Wide, wide_from

_ORDERS = ("", "dmy", "mdy", "ymd")
_WORDS = Mapping[str, tuple[str, ...]]
ANIMAL_AND_DATE = "animal and date"


@dataclass(frozen=True, slots=True)
class ReadingKey:
    """One key of a ``[tables.NAME]`` section: its kind, default and meaning."""

    name: str
    kind: type | tuple[type, ...]
    default: Any
    meaning: str
    choices: tuple[str, ...] = ()


TABLE_KEYS: tuple[ReadingKey, ...] = (
    ReadingKey("file", str, "", "File in the folder. Not set: the file, or sheet, named as the table."),
    ReadingKey("sheet", str, "", "Sheet of the workbook. Not set: the sheet named as the table, or the only one."),
    ReadingKey("heading_row", int, None, "Row that holds the headings. Not set: the first row with text in two cells."),
    ReadingKey(
        "columns",
        dict,
        {},
        'Our column = "their heading". Headings named as ours need no line; an empty text says not to read one.',
    ),
    ReadingKey(
        "codes", dict, {}, 'By our column: "their word" = "our word"; "" for nothing to read here; "set aside".'
    ),
    ReadingKey("constant", dict, {}, "Our column = one value for every row."),
    ReadingKey("unit", str, "", "Unit of weights in this file that name none.", ("", "g", "kg", "oz", "lb")),
    ReadingKey("date_order", str, "", "Order of dates in this file that are not ISO.", _ORDERS),
    ReadingKey("decimal", str, "", "The sign that marks decimals in this file.", ("", ".", ",")),
    ReadingKey("missing", list, [], 'Texts that mean an empty cell, such as "NA" or "-".'),
    ReadingKey(
        "id_from",
        (list, dict),
        [],
        "Headings joined to make stay_id (and the table's own id) where the file "
        "has none; or, by our column, a list of headings.",
    ),
    ReadingKey(
        "number_repeats",
        bool,
        False,
        'A second row with the same id made by id_from becomes "...-2". Every '
        "table of the file must say it, with the same id_from and set_aside_where.",
    ),
    ReadingKey("only_where", dict, {}, "Heading = list of texts: other rows have nothing to read for this table."),
    ReadingKey("set_aside_where", dict, {}, "Heading = list of texts: rows with one of them are set aside."),
    ReadingKey("ignore", list, [], "Headings that are known and not read."),
    ReadingKey(
        "stay_by",
        str,
        "",
        "How the stay is found where the file names the animal and not the stay: the text under stay_id's heading is "
        "an animal_id of intakes, and the stay is the one of that animal on the row's date.",
        ("", ANIMAL_AND_DATE),
    ),
    ReadingKey("more_from", (dict, list), {}, MORE_MEANING),
    ReadingKey(
        "wide",
        dict,
        {},
        "One column a weighing: into = the date column, values = the value column, headings = what the headings say "
        "(dates, months, weeks, days, pairs).",
    ),
)
_BY_NAME = {key.name: key for key in TABLE_KEYS}
FILES_KEYS = {"ignore": "Files in the folder that are not read."}
KEEP_KEYS = {"heading": "Heading that decides which rows are the rescue's to report.", "where": "Its texts to keep."}


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One table's share of one file or sheet; fields as in TABLE_KEYS."""

    table: str
    file: str = ""
    sheet: str = ""
    heading_row: int | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    codes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    constant: Mapping[str, Any] = field(default_factory=dict)
    unit: str = ""
    date_order: str = ""
    decimal: str = ""
    missing: tuple[str, ...] = ()
    id_from: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    number_repeats: bool = False
    only_where: _WORDS = field(default_factory=dict)
    set_aside_where: _WORDS = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    stay_by: str = ""
    wide: Wide | None = None
    more_from: tuple[More, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """All that records.toml says about reading."""

    sources: tuple[Source, ...] = ()
    ignored_files: tuple[str, ...] = ()
    keep_heading: str = ""
    keep: tuple[str, ...] = ()
    species: tuple[Mapping[str, Any], ...] = ()


def plan_from(config: Mapping[str, Any], where: str) -> Plan:
    """Return the plan in a parsed records.toml.

    Raises
    ------
    InputError
        For an unknown table or key (naming the nearest), or a value of the wrong kind.
    """
    sources = []
    for table, content in _mapping(config.get("tables", {}), "tables", where).items():
        if table not in TABLES:
            raise InputError(
                f'{where}: [tables.{table}]: "{table}" is not a table of Mendcurve.',
                remedy=f"Known: {', '.join(TABLES)}.{nearest(table, TABLES)}",
            )
        for entry in content if isinstance(content, list) else [content]:
            sources.append(_source(table, _mapping(entry, f"tables.{table}", where), where))
    files = _known(config.get("files", {}), FILES_KEYS, "files", where)
    keep = _known(config.get("keep", {}), KEEP_KEYS, "keep", where)
    if keep and not (keep.get("heading") and keep.get("where")):
        raise InputError(f"{where}: [keep] needs both heading and where.", remedy="Add the one that is missing.")
    species = config.get("species", [])
    if not isinstance(species, list):
        raise InputError(
            f"{where}: species must be written as [[species]], one section a species.", remedy="Double the brackets."
        )
    return Plan(
        sources=tuple(sources),
        ignored_files=_texts(files.get("ignore", [])),
        keep_heading=str(keep.get("heading", "")),
        keep=_texts(keep.get("where", [])),
        species=tuple(species),
    )


def _mapping(value: Any, name: str, where: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise InputError(f"{where}: {name} must be a section, such as [{name}].", remedy="See the settings listed.")
    return value


def _known(value: Any, keys: Mapping[str, str], name: str, where: str) -> Mapping[str, Any]:
    content = _mapping(value, name, where)
    for key in content:
        if key not in keys:
            raise InputError(
                f'{where}: [{name}]: "{key}" is not a key of this section.',
                remedy=f"Known: {', '.join(keys)}.{nearest(key, keys)}",
            )
    return content


def _source(table: str, entry: Mapping[str, Any], where: str) -> Source:
    place = f"{where}: [tables.{table}]"
    for name, value in entry.items():
        if name not in _BY_NAME:
            raise InputError(
                f'{place}: "{name}" is not a key of this section.',
                remedy=f"Known: {', '.join(_BY_NAME)}.{nearest(name, _BY_NAME)}",
            )
        key = _BY_NAME[name]
        if not isinstance(value, key.kind) or (isinstance(value, bool) and key.kind is not bool):
            raise InputError(f'{place}: "{name}" is of the wrong kind: {value!r}.', remedy=key.meaning)
        if key.choices and value not in key.choices:
            raise InputError(
                f'{place}: "{name}" must be one of {", ".join(map(repr, key.choices))}, but it is {value!r}.',
                remedy=key.meaning,
            )
    names = TABLES[table].names
    for section in ("columns", "codes", "constant"):
        for column in entry.get(section, {}):
            if column not in names:
                raise InputError(
                    f'{place}: {section}: "{column}" is not a column of {table}.',
                    remedy=f"Known: {', '.join(names)}.{nearest(column, names)}",
                )
    plain = {
        k: v
        for k, v in entry.items()
        if k not in ("id_from", "only_where", "set_aside_where", "missing", "ignore", "wide", "more_from")
    }
    if entry.get("stay_by") and "stay_id" not in names:
        raise InputError(f"{place}: stay_by: {table} has no stay_id.", remedy="Take the line out.")
    return Source(
        table=table,
        **plain,
        id_from=_ids(table, entry.get("id_from", []), place),
        only_where={h: _texts(v) for h, v in entry.get("only_where", {}).items()},
        set_aside_where={h: _texts(v) for h, v in entry.get("set_aside_where", {}).items()},
        missing=_texts(entry.get("missing", [])),
        ignore=_texts(entry.get("ignore", [])),
        wide=wide_from(entry["wide"], TABLES[table], place) if entry.get("wide") else None,
        more_from=more_from(entry["more_from"], place) if entry.get("more_from") else (),
    )


def _ids(table: str, given: Any, place: str) -> dict[str, tuple[str, ...]]:
    names = TABLES[table].names
    if isinstance(given, Mapping):
        for column in given:
            if column not in names:
                raise InputError(
                    f'{place}: id_from: "{column}" is not a column of {table}.',
                    remedy=f"Known: {', '.join(names)}.{nearest(column, names)}",
                )
        return {column: _texts(headings) for column, headings in given.items()}
    if not given:
        return {}
    wanted = dict.fromkeys((*TABLES[table].key, *(n for n in names if n == "stay_id")))
    return {column: _texts(given) for column in wanted}


def _texts(value: Any) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(map(str, value))
