"""Write the demo records as CSV files or as one workbook, the same bytes every time."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from mendcurve.demo.dirt import dirtied
from mendcurve.demo.generating import SEED, generate
from mendcurve.demo.settings import records_toml
from mendcurve.demo.workbook import write_workbook
from mendcurve.errors import InputError
from mendcurve.records.schemas import TABLES

WORKBOOK = "Saltmarsh Lane.xlsx"


def as_text(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return a clean table as the text a person would have typed; blank for missing."""
    out = {}
    for column in TABLES[name].columns:
        values = frame[column.name]
        if column.kind == "date":
            text = values.dt.strftime("%Y-%m-%d")
        elif column.kind == "datetime":
            text = values.dt.strftime("%Y-%m-%d %H:%M")
        elif column.kind == "yes_no":
            text = values.map({True: "yes", False: ""})
        elif column.kind == "number":
            text = values.map("{:.10g}".format)
        elif column.kind == "money":
            text = values.map("{:.2f}".format)
        else:
            text = values.astype("object").map(str)
        out[column.name] = text.astype("object").where(values.notna(), "")
    return pd.DataFrame(out, dtype="object")


def texts(*, seed: int = SEED, dirty: bool = True) -> dict[str, pd.DataFrame]:
    """Return every table as text, with the planted faults unless ``dirty`` is False."""
    clean = {name: as_text(name, frame) for name, frame in generate(seed).items()}
    return dirtied(clean) if dirty else clean


def write(folder: str | Path, *, seed: int = SEED, kind: str = "csv", dirty: bool = True) -> Path:
    """Write the demo records into ``folder``, with their records.toml.

    Parameters
    ----------
    folder : path
        Made if it is not there; files of the same names are written over.
    seed : int
        The same seed writes the same bytes.
    kind : {"csv", "workbook"}
        One CSV file a table, or one workbook with one sheet a table.
    dirty : bool
        With the faults listed in ``dirt.PLANTED``.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        For another kind.
    """
    if kind not in ("csv", "workbook"):
        raise InputError(f'kind must be "csv" or "workbook", but it is {kind!r}.', remedy='Write kind="csv".')
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    tables = texts(seed=seed, dirty=dirty)
    if kind == "workbook":
        write_workbook(folder / WORKBOOK, tables)
    else:
        for name, table in tables.items():
            (folder / f"{name}.csv").write_bytes(table.to_csv(index=False, lineterminator="\n").encode("utf-8"))
    (folder / "records.toml").write_bytes(records_toml().encode("utf-8"))
    return folder
