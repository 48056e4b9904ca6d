"""What is true of a rescue, as clean tables, and the list of what is damaged in its files."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pandas as pd
from kept import Layout, as_text, columns_of
from world import Stay

FIXED_TIME = "2025-07-01T08:00:00Z"


def true_intakes(stays: Sequence[Stay], columns: Sequence[str]) -> pd.DataFrame:
    """Intakes with the columns this rescue keeps; the sex of a group is left blank unless wholly unknown."""
    rows = [
        {
            "stay_id": s.stay_id,
            "animal_id": s.animal_id,
            "species": s.species.common,
            "sex": s.sex if s.group == 1 else "",
            "life_stage": s.life_stage,
            "intake_date": s.intake,
            "intake_type": s.intake_type,
            "group_size": s.group,
        }
        for s in stays
    ]
    return columns_of(rows, columns)


def true_outcomes(stays: Sequence[Stay]) -> pd.DataFrame:
    """One outcome for each stay that is over."""
    rows = [{"stay_id": s.stay_id, "outcome_date": s.left, "outcome_type": s.outcome} for s in stays if s.left]
    return columns_of(rows, ["stay_id", "outcome_date", "outcome_type"])


def true_conditions(stays: Sequence[Stay], columns: Sequence[str]) -> pd.DataFrame:
    """Episodes; ``episode_id`` is the stay, a stroke and a number, as no rescue here numbers its episodes."""
    rows = [
        {
            "episode_id": f"{s.stay_id}/{number}",
            "stay_id": s.stay_id,
            "condition": e.condition,
            "severity": e.severity,
            "found_on": e.found_on,
            "vet_seen_on": e.vet_on,
            "ended_on": e.ended_on,
            "ended_as": e.ended_as,
        }
        for s in stays
        for number, e in enumerate(s.episodes, 1)
    ]
    return columns_of(rows, columns)


def true_weighings(stays: Sequence[Stay]) -> pd.DataFrame:
    """Weighings in grams."""
    rows = [
        {"stay_id": s.stay_id, "weighed_on": day, "weight": grams, "unit": "g"}
        for s in stays
        for day, grams in s.weights
    ]
    return columns_of(rows, ["stay_id", "weighed_on", "weight", "unit"])


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _facts(layout: Layout) -> str:
    inside = [s for s in layout.stays if s.left is None]
    lines = [
        "# What is true of this folder. Kinds of fault and the rest are explained in ../../README.md.",
        f"rescue = {_quoted(layout.rescue)}",
        f"language = {_quoted(layout.language)}",
        f"currency = {_quoted(layout.currency)}",
        f"date_order = {_quoted(layout.date_order)}",
        f"weight_unit = {_quoted(layout.weight_unit)}",
        f"records_start = {layout.plan.start.isoformat()}",
        f"last_day = {layout.plan.last_day.isoformat()}",
        f"stays = {len(layout.stays)}",
        f"animals = {sum(s.group for s in layout.stays)}",
        f"stays_in_care_at_last_day = {len(inside)}",
        f"animals_in_care_at_last_day = {sum(s.group for s in inside)}",
        f"stay_id_kept = {str(layout.stay_id_kept).lower()}",
        f"tables = [{', '.join(_quoted(name) for name in layout.truth)}]",
        "notes = [",
        *(f"    {_quoted(note)}," for note in layout.notes),
        "]",
        "",
        "[rows]",
        *(f"{name} = {len(frame)}" for name, frame in layout.truth.items()),
        "",
        "[scientific]",
        *(f"{_quoted(kind.common)} = {_quoted(kind.scientific)}" for kind in layout.plan.species),
    ]
    for sheet in layout.sheets:
        count = {
            what: sum(row.what == what for row in sheet.rows)
            for what in ("data", "heading", "blank", "total", "remark")
        }
        lines += [
            "",
            "[[source]]",
            f"file = {_quoted(sheet.file)}",
            f"sheet = {_quoted(sheet.sheet)}",
            f"tables = {_quoted(sheet.tables)}",
            f"heading_row = {sheet.heading_row}",
            f"first_column = {sheet.left}",
            f"last_row = {sheet.heading_row + len(sheet.rows)}",
            f"data_rows = {count['data']}",
            f"repeated_heading_rows = {count['heading']}",
            f"blank_rows = {count['blank']}",
            f"total_rows = {count['total']}",
            f"remark_rows = {count['remark']}",
        ]
    for fault in layout.faults:
        typed = fault.row.cells.get(fault.column) if fault.column else ""
        if fault.sheet.show is not None and not isinstance(typed, date):
            typed = fault.sheet.show(fault.column, typed)
        lines += [
            "",
            "[[fault]]",
            f"file = {_quoted(fault.sheet.file)}",
            f"sheet = {_quoted(fault.sheet.sheet)}",
            f"row = {fault.sheet.row_of(fault.row)}",
            f"column = {_quoted(fault.column)}",
            f"kind = {_quoted(fault.kind)}",
            f"typed = {_quoted(as_text(typed))}",
            f"truth = {_quoted(as_text(fault.truth))}",
            f"stay_id = {_quoted(fault.row.stay)}",
            f"can_be_seen = {_quoted(fault.seen)}",
        ]
    return "\n".join(lines) + "\n"


def write_truth(layout: Layout, folder: Path) -> None:
    """Write the true tables, how headings and words map, and facts.toml."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in layout.truth.items():
        frame.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
    heads = pd.DataFrame(layout.headings, columns=["file", "sheet", "table", "column", "heading"])
    heads.to_csv(folder / "headings.csv", index=False, lineterminator="\n")
    words = pd.DataFrame(layout.words, columns=["table", "column", "theirs", "ours"])
    words.to_csv(folder / "words.csv", index=False, lineterminator="\n")
    (folder / "facts.toml").write_text(_facts(layout), encoding="utf-8")


def settle(path: Path) -> None:
    """Rewrite a workbook's zip without the time it was made, so that the same seed gives the same bytes."""
    with zipfile.ZipFile(path) as book:
        parts = [(name, book.read(name)) for name in book.namelist()]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for name, data in parts:
            if name == "docProps/core.xml":
                data = re.sub(rb"(<dcterms:\w+[^>]*>)[^<]*(</dcterms)", rb"\g<1>" + FIXED_TIME.encode() + rb"\2", data)
            book.writestr(zipfile.ZipInfo(name, (2025, 7, 1, 8, 0, 0)), data, zipfile.ZIP_DEFLATED)
