"""Workbooks that LibreOffice has saved: one kept in the repository, and new ones where the program is installed."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook
from openpyxl.styles import Font

from mendcurve.records import load

KEPT = Path(__file__).parent / "files" / "saved_by_libreoffice.xlsx"
HEAD = ["stay_id", "species", "intake_date", "intake_type", "group_size", "hatched_on", "note"]


def made(path):
    """A workbook with what LibreOffice writes in its own way: results, errors, formats, merges, what is hidden."""
    out = Workbook()
    sheet = out.active
    sheet.title = "intakes"
    sheet.append(["Intakes of an invented rescue"])
    sheet.append([])
    sheet.append(HEAD)
    day = dt.date(2026, 3, 2)
    sheet.append([7, "corn snake", day, "stray", "1.2.3", None, '=IF(1=2,"x","")'])
    sheet.append([8, "corn snake", day, "stray", 1, dt.date(2025, 3, 1), '="corn "&"snake"'])
    sheet.append([9, "corn snake", day, "stray", 1, None, "=1/0"])
    sheet.append([10, "corn snake", None, "stray", 1, None, "São"])
    sheet.append([11, "corn snake", 46083, "stray", 1, "March 2025", "=A4+1"])
    sheet["G12"] = '=IF(A12="","","x")'
    for row in range(4, 9):
        sheet.cell(row, 1).number_format = '"S-"000'
    for row in range(4, 7):
        sheet.cell(row, 3).number_format = "dd/mm/yyyy"
    sheet["F5"].number_format = "mmmm yyyy"
    sheet.merge_cells("A1:G1")
    sheet.merge_cells("C6:C7")
    sheet.row_dimensions[5].hidden = True
    sheet.column_dimensions["D"].hidden = True
    for cell in sheet[4]:
        cell.font = Font(strike=True)
    out.save(path)
    return path


def reads(path, folder):
    shutil.copy(path, folder / "r.xlsx")
    (folder / "records.toml").write_text("[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8")
    records = load(folder / "r.xlsx")
    frame = records["intakes"]
    assert frame["stay_id"].tolist() == ["S-007", "S-008", "S-009", "S-010", "S-011"]
    assert frame["intake_date"].tolist() == [pd.Timestamp(2026, 3, 2)] * 5
    assert frame["group_size"].tolist() == [6, 1, 1, 1, 1]
    assert frame["hatched_on"].dropna().to_dict() == {1: pd.Timestamp(2025, 3, 15), 4: pd.Timestamp(2025, 3, 15)}
    assert frame["note"].fillna("").tolist() == ["", "corn snake", "", "São", "8"]
    # A title, a row of an empty result, and nothing lost.
    counts = records.accounts[["counted", "blank", "heading", "kept", "set_aside"]].to_numpy().tolist()
    assert counts == [[8, 1, 2, 5, 0]]
    said = records.findings.set_index("row", drop=False)["rule"].astype(str)
    for row, text in {
        4: "struck through",
        5: "is hidden",
        6: "shows an error",
        7: "is merged",
        8: "day number",
    }.items():
        assert text in said[row]
    assert said[8].count("only the month is given") == 1
    assert records.findings["rule"].str.contains("column D is hidden").any()
    assert not records.findings["rule"].str.contains("never calculated").any()


def test_a_workbook_saved_by_libreoffice_reads(tmp_path):
    reads(KEPT, tmp_path)


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_a_workbook_libreoffice_saves_now_reads(tmp_path):
    reads(saved(made(tmp_path / "made.xlsx"), tmp_path, "xlsx:Calc MS Excel 2007 XML"), tmp_path)


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_a_text_file_libreoffice_saves_now_reads(tmp_path):
    # Filter options: semicolon, quotation mark, Windows Western European, from row 1; text as it is shown.
    made(tmp_path / "made.xlsx")
    shutil.move(
        saved(tmp_path / "made.xlsx", tmp_path, "csv:Text - txt - csv (StarCalc):59,34,1,1"), tmp_path / "intakes.csv"
    )
    (tmp_path / "made.xlsx").unlink()
    (tmp_path / "records.toml").write_text(
        '[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n[rescue]\ndate_order = "dmy"\n'
    )
    frame = load(tmp_path)["intakes"]
    assert frame["stay_id"].tolist() == ["S-007", "S-008", "S-009", "S-011"]
    assert frame["intake_date"].tolist() == [pd.Timestamp(2026, 3, 2)] * 4
    assert frame["note"].fillna("").tolist() == ["", "corn snake", "", "8"]


def saved(path, folder, form):
    """Have LibreOffice open a file and save it."""
    out = folder / "saved"
    home = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    program = str(shutil.which("soffice"))
    subprocess.run(
        [program, home, "--headless", "--convert-to", form, "--outdir", str(out), str(path)],
        check=True,
        capture_output=True,
        timeout=180,
    )
    return out / f"{path.stem}.{form.split(':')[0]}"
