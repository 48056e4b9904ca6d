"""Small folders of records, for the tests of loading."""

from __future__ import annotations

INTAKES = (
    "stay_id,animal_id,species,intake_date,intake_type\n"
    "S-1,A-1,beardie,2026-03-02,stray\nS-2,A-2,corn snake,2026-03-05,surrender\n"
)


def folder(tmp_path, toml="", **files):
    for name, text in {"intakes": INTAKES, **files}.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n" + toml, encoding="utf-8"
    )
    return tmp_path


def says(records, text):
    return records.findings[records.findings["rule"].str.contains(text, regex=False)]
