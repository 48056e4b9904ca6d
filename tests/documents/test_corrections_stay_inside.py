"""Who corrected the records, and why, is for the rescue's own eyes: no question, figure or notebook may ask."""

from __future__ import annotations

from pathlib import Path

import mendcurve
from mendcurve.documents import notebooks
from mendcurve.questions import quality
from mendcurve.records import load

PACKAGE = Path(mendcurve.__file__).parent
# They write for the rescue itself.
MAY = {"checking.py", "mending_list.py"}


def test_only_check_reads_the_frame_of_corrections():
    asked = [PACKAGE / layer for layer in ("timelines", "methods", "questions", "figures", "documents")]
    files = [file for folder in asked for file in folder.rglob("*.py") if file.name not in MAY]
    files += [file for folder in notebooks.FOLDERS for file in folder.glob("*.ipynb")]
    assert len(files) > 100
    assert [file.name for file in files if ".corrections" in file.read_text(encoding="utf-8")] == []


def test_what_the_reports_say_of_the_records_names_nobody(tmp_path):
    rows = "stay_id,species,intake_date,intake_type\nS-1,corn snake,someday,stray\nS-2,corn snake,2026-03-01,stray\n"
    (tmp_path / "intakes.csv").write_text(rows, encoding="utf-8")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8"
    )
    lines = "file,row,column,typed,now,who,why\n"
    lines += "intakes.csv,2,intake_date,someday,2026-03-02,Jane Smith,the green diary\n"
    lines += "intakes.csv,3,intake_date,2026-04-01,2026-03-02,Jane Smith,the green diary\n"
    (tmp_path / "corrections.csv").write_text(lines, encoding="utf-8")
    records = load(tmp_path)
    assert records.corrections["who"].tolist() == ["Jane Smith"] * 2
    for answer in (quality.findings(records), quality.to_mend(records)):
        told = " ".join([answer.sentence(), *answer.notes(), answer.to_frame().to_string()])
        assert "Smith" not in told
        assert "diary" not in told
    assert "1 corrected by the rescue" in quality.findings(records).sentence()
