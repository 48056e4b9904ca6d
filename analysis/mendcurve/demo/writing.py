"""Write the demo records as CSV files or as one workbook, the same bytes every time."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from mendcurve.demo.generating import SEED, generate
from mendcurve.demo.settings import records_toml
from mendcurve.records.schemas import TABLES


def as_text(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the table as the text a person would have typed; blank for missing."""
    out = {}
    for column in TABLES[name].columns:
        values = frame[column.name]
        blank = values.isna()
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
        out[column.name] = text.astype("object").where(~blank, "")
    return pd.DataFrame(out, dtype="object")


def write(folder: str | Path, *, seed: int = SEED, kind: str = "csv", dirty: bool = True) -> Path:
    """Write the demo records."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in generate(seed).items():
        text = as_text(name, frame)
        text.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n", encoding="utf-8")
    (folder / "records.toml").write_bytes(records_toml().encode("utf-8"))
    return folder
