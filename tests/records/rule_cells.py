"""Files that show a reading rule; and, for rules about cells, a row with "?" for the cell and what comes of it."""

from __future__ import annotations

from decimal import Decimal

import pandas as pd
from openpyxl import Workbook

from mendcurve.records import load

HEAD = ["stay_id", "species", "intake_date", "intake_type", "note"]


ROW = ["S-1", "corn snake", "2026-03-02", "stray", "well"]


BASE = ",".join(HEAD) + "\n" + ",".join(ROW) + "\n"


SETTINGS = "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n"


def loaded(folder, toml="", **files):
    """Load a folder of files; bytes are written as they are."""
    for name, content in {"intakes": BASE, **files}.items():
        raw = content.encode() if isinstance(content, str) else content
        (folder / f"{name}.csv").write_bytes(raw)
    (folder / "records.toml").write_text(toml + SETTINGS, encoding="utf-8")
    return load(folder)


def booked(folder, rows, change=lambda out, sheet: None):
    out = Workbook()
    sheet = out.active
    sheet.title = "intakes"
    for row in rows:
        sheet.append(row)
    change(out, sheet)
    out.save(folder / "r.xlsx")
    (folder / "records.toml").write_text(SETTINGS, encoding="utf-8")
    return load(folder / "r.xlsx")


def effects(records, row=2):
    found = records.findings
    return found.loc[(found["row"] == row).fillna(False) | found["row"].isna(), "effect"].tolist()


def said(records, text, effect):
    found = records.findings
    return ((found["effect"] == effect) & found["rule"].str.contains(text, regex=False)).any()


# Rules about a cell: table, columns of the row (the example stands for "?"), column that is read, what it holds.
# Other cells of the column, where the rule needs any, follow.
WEIGHED = ("weighings", ["stay_id", "weighed_on", "weight"], ["S-1", "2026-03-05", "?"])
CAME = ("intakes", ["stay_id", "species", "intake_date", "intake_type"], ["S-1", "corn snake", "?", "stray"])
GROUP = ("intakes", [*CAME[1], "group_size"], ["S-1", "corn snake", "2026-03-02", "stray", "?"])
DOSED = ("courses", ["course_id", "episode_id", "interval_hours", "first_dose_at"], ["C-1", "E-1", "12", "?"])
STAY = ("intakes", CAME[1], ["?", "corn snake", "2026-03-02", "stray"])
PAID = ("spending", ["spent_on", "amount", "category"], ["2026-03-05", "?", "running"])
DAY = pd.Timestamp(2026, 3, 2)
CELLS = {
    "ISO dates": (CAME, "intake_date", DAY, []),
    "months in words": (CAME, "intake_date", DAY, []),
    "day or month first": (CAME, "intake_date", DAY, ["13/03/2026"]),
    "the other order": (CAME, "intake_date", None, ["13/03/2026"]),
    "day numbers": (CAME, "intake_date", DAY, []),
    "months alone": (CAME, "intake_date", pd.Timestamp(2026, 3, 15), []),
    "month and two digits": (CAME, "intake_date", None, []),
    "years of two digits": (CAME, "intake_date", pd.Timestamp(2026, 3, 13), []),
    "dates in doubt": (CAME, "intake_date", DAY, []),
    "times": (DOSED, "first_dose_at", pd.Timestamp(2026, 3, 2, 20, 30), []),
    "time zones": (DOSED, "first_dose_at", pd.Timestamp(2026, 3, 2, 8, 30), []),
    "decimal commas": (WEIGHED, "weight_g", 43.0, []),
    "thousands": (WEIGHED, "weight_g", 1234.5, []),
    "comma unknown": (WEIGHED, "weight_g", None, []),
    "units": (WEIGHED, "weight_g", 43.0, []),
    "pounds and ounces": (WEIGHED, "weight_g", 538.64, []),
    "about": (WEIGHED, "weight_g", 43.0, []),
    "ranges": (WEIGHED, "weight_g", 42.5, []),
    "wide ranges": (WEIGHED, "weight_g", None, []),
    "ranges of animals": (GROUP, "group_size", 2, []),
    "groups by sex": (GROUP, "group_size", 6, []),
    "counts that became dates": (GROUP, "group_size", 1, []),
    "counts too large": (GROUP, "group_size", 1, []),
    "money": (PAID, "amount", Decimal("-1234.50"), []),
    "leading zeros": (STAY, "stay_id", "007", ["8"]),
    "ids like none": (STAY, "stay_id", "NA", ["S-2"]),
    "ids that became numbers": (STAY, "stay_id", "1.00E+05", ["S-2"]),
    "ids with decimals": (STAY, "stay_id", "12", ["13.0"]),
    "ids that became dates": (STAY, "stay_id", "2003-02-01", ["1-2-4"]),
    "names like NA": (("intakes", [*CAME[1], "housing_kind"], [*ROW[:4], "?"]), "housing_kind", "NA", []),
    "one word in many spellings": (
        ("intakes", CAME[1], ["S-1", "?", "2026-03-02", "stray"]),
        "species",
        "bearded dragon",
        ["Bearded dragon"],
    ),
    "unknown words": (
        ("outcomes", ["stay_id", "outcome_date", "outcome_type"], ["S-1", "2026-03-09", "?"]),
        "outcome_type",
        None,
        [],
    ),
}
UNITS = {"pounds and ounces": 'unit = "oz"\n', "units": 'unit = "kg"\n'}
ORDERED = {"the other order": '[rescue]\ndate_order = "dmy"\n'}
