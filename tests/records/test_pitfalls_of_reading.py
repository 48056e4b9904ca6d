"""The promises of PITFALLS.md rows 1, 22, 23 and 24, kept through ``load`` and the command."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from mendcurve.errors import InputError
from mendcurve.records import load

HEAD = ["stay_id", "species", "intake_date", "intake_type"]
SETTINGS = "[dates]\nas_of = 2024-12-31\nrecords_start = 2024-01-01\n"


def text(folder, days, toml="", species="corn snake", ids=None):
    rows = [f"{ids[i] if ids else f'S-{i}'},{species},{day},stray" for i, day in enumerate(days)]
    (folder / "intakes.csv").write_text("\n".join([",".join(HEAD), *rows]) + "\n", encoding="utf-8")
    (folder / "records.toml").write_text(toml + SETTINGS, encoding="utf-8")
    return load(folder)


def workbook(folder, name, rows, change=lambda out, sheet: None):
    out = Workbook()
    sheet = out.active
    sheet.title = "intakes"
    for row in [HEAD, *rows]:
        sheet.append(row)
    change(out, sheet)
    (folder / name).mkdir()
    out.save(folder / name / "r.xlsx")
    (folder / name / "records.toml").write_text(SETTINGS, encoding="utf-8")
    return load(folder / name)


# Row 1: readers in use give 3 February and 13 March for one column, or 3 February for an ISO date.
def test_the_order_of_dates_is_never_guessed(tmp_path):
    with pytest.raises(InputError, match="day/month order unknown"):
        text(tmp_path, ["02/03/2024", "04/05/2024"])
    with pytest.raises(InputError, match=r"(?s)row 2, .*13/03/2024.*row 3, .*03/13/2024"):
        text(tmp_path, ["13/03/2024", "03/13/2024"])
    declared = text(tmp_path, ["02/03/2024", "04/05/2024"], '[rescue]\ndate_order = "dmy"\n')
    assert declared["intakes"]["intake_date"].astype(str).tolist() == ["2024-03-02", "2024-05-04"]
    iso = text(tmp_path, ["2024-03-02", "13/03/2024"])
    assert iso["intakes"]["intake_date"].astype(str).tolist() == ["2024-03-02", "2024-03-13"]


# Row 22: a day number is no day of 1970, whatever the book counts from; and each oddity is one finding.
def test_oddities_of_workbooks_are_one_finding_each_and_no_date_is_of_1970(tmp_path):
    day = dt.date(2024, 3, 2)

    def mac(out, sheet):
        out.epoch = CALENDAR_MAC_1904

    def padded(out, sheet):
        sheet["A2"] = 8
        sheet["A2"].number_format = "000"

    def merge(out, sheet):
        sheet.merge_cells("A2:A3")

    def hide(out, sheet):
        sheet.row_dimensions[3].hidden = True

    two = [["S-1", "corn snake", day, "stray"], ["S-2", "corn snake", day, "stray"]]
    books = {
        "serial": (workbook(tmp_path, "h", [["S-1", "corn snake", 45353, "stray"]]), ["changed"]),
        "serial of 1904": (workbook(tmp_path, "m", [["S-1", "corn snake", 45353 - 1462, "stray"]], mac), ["changed"]),
        "formula": (workbook(tmp_path, "g", [["S-1", "=A1", day, "stray"]]), ["set aside"]),
        "merged": (workbook(tmp_path, "k", [two[0], [None, *two[1][1:]]], merge), ["set aside"]),
        "hidden": (workbook(tmp_path, "i", two, hide), ["note"]),
        "padded": (workbook(tmp_path, "p", [two[0]], padded), []),
    }
    for name, (records, effects) in books.items():
        assert records.findings["effect"].tolist() == effects, name
        assert (records["intakes"]["intake_date"] == pd.Timestamp(2024, 3, 2)).all(), name
    assert "is merged over rows 2 to 3" in books["merged"][0].findings["rule"].iloc[0]
    assert "never calculated" in books["formula"][0].findings["rule"].iloc[0]
    assert books["padded"][0]["intakes"]["stay_id"].tolist() == ["008"]


# Row 23: 007 becomes 7, an empty cell makes 7.0, and "NA" is lost in readers in use.
def test_ids_are_echoed_exactly(tmp_path):
    ids = ["007", "1E5", "NA", "None", "null", "7"]
    records = text(tmp_path, ["2024-03-02"] * 6, ids=ids)
    assert records["intakes"]["stay_id"].tolist() == ids
    assert records["intakes"]["animal_id"].isna().all()
    assert len(records.set_aside) == 0


# Row 24: four spellings, one with a no-break space, are one species; an unknown word is listed, with the nearest.
def test_labels_that_look_the_same_are_one(tmp_path):
    spelt = ["corn snake", "Corn snake ", "corn\u00a0snake", "CORN SNAKE"]
    rows = [f"S-{i},{word},2024-03-02,stray" for i, word in enumerate(spelt)]
    (tmp_path / "intakes.csv").write_text("\n".join([",".join(HEAD), *rows]) + "\n", encoding="utf-8")
    (tmp_path / "records.toml").write_text(SETTINGS, encoding="utf-8")
    assert load(tmp_path)["intakes"]["species"].unique().tolist() == ["corn snake"]
    (tmp_path / "outcomes.csv").write_text(
        "stay_id,outcome_date,outcome_type\nS-0,2024-03-09,Adopted \nS-1,2024-03-09,adoptd\n", encoding="utf-8"
    )
    records = load(tmp_path)
    assert records["outcomes"]["outcome_type"].tolist() == ["adopted"]
    assert records.set_aside["row"].tolist() == [3]
    assert records.findings["what_to_do"].str.contains('Did you mean "adopted"', regex=False).sum() == 1
