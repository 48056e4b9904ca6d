"""The written records, read by the data layer: clean ones are what was generated, dirty ones are found out."""

from collections import Counter
from pathlib import Path

import pandas as pd
import pytest

from mendcurve.demo import dirt, generating, truth, writing
from mendcurve.records import from_frames, load

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def book():
    return load(ROOT / "data_demo" / "workbook")


def _same(one, two):
    for name in one.tables:
        keep = [c for c in one[name].columns if not c.startswith("source_")]
        pd.testing.assert_frame_equal(one[name][keep], two[name][keep], obj=name)


def test_csv_and_workbook_load_to_equal_tables_and_findings(demo, book):
    _same(demo, book)
    said = [
        sorted(zip(r.findings["rule"].astype(str), r.findings["effect"].astype(str), strict=True)) for r in (demo, book)
    ]
    assert len(said[0]) == len(said[1]) and Counter(e for _, e in said[0]) == Counter(e for _, e in said[1])


def test_clean_records_load_without_a_finding_to_what_was_generated(tmp_path):
    loaded = load(writing.write(tmp_path, dirty=False))
    assert loaded.set_aside.empty
    # The invented rescue takes in more than it has places for: that is true of it, and noted.
    full = (loaded.findings["table"] == "housing") & (loaded.findings["effect"] == "note")
    assert full.sum() > 0
    assert loaded.findings[~full].empty, loaded.findings[~full].to_string()
    made = from_frames(
        as_of=truth.AS_OF, records_start=truth.RECORDS_START, settings=loaded.settings, **generating.generate()
    )
    assert loaded.as_of == made.as_of and loaded.records_start == made.records_start
    for name in loaded.tables:
        assert len(loaded[name]) == len(made[name]), name
        for column in made[name].columns:
            if not column.startswith("source_") and column in loaded[name]:
                one, two = loaded[name][column], made[name][column]
                assert one.isna().tolist() == two.isna().tolist(), (name, column)
                assert one.dropna().tolist() == two.dropna().tolist(), (name, column)


def test_every_planted_fault_is_met_as_said(demo):
    then = Counter(p.then for p in dirt.PLANTED)
    totals = demo.accounts[["blank", "total", "left_out", "set_aside"]].sum()
    assert totals["set_aside"] == then["set aside"] == len(demo.set_aside)
    assert totals["left_out"] == then["left out"]
    again = demo.accounts["heading"].sum() - len(demo.accounts)
    assert totals["blank"] + totals["total"] + again == then["nothing"]
    aside = Counter(p.table for p in dirt.PLANTED if p.then == "set aside")
    assert Counter(demo.set_aside["table"]) == aside
    for plant in dirt.PLANTED:
        if plant.then == "doubt":
            found = demo.findings[demo.findings["file"] == f"{plant.table}.csv"]
            assert (found["column"] == plant.column).any(), plant.what


def test_what_can_be_read_is_read(demo):
    made = generating.generate()
    clean = made["intakes"].set_index("stay_id")
    loaded = demo["intakes"].set_index("stay_id")
    assert len(loaded) == len(clean)
    assert (loaded["intake_type"] == clean["intake_type"].reindex(loaded.index)).all()
    assert (loaded["sex"] == clean["sex"].reindex(loaded.index)).all()
    dragons = clean.index[clean["species"] == "bearded dragon"]
    assert (loaded.loc[dragons, "species"] == "bearded dragon").all()
    assert (loaded["species"] == "corn snek").sum() == 1
    assert demo["followups"]["seen_on"].tolist() == made["followups"]["seen_on"].tolist()
    assert not any("surrender" in c for c in demo["intakes"].columns)
    slipped = {"weighings": 2}  # kilograms and ounces are kept as typed
    one = demo["weighings"].merge(made["weighings"], on=["stay_id", "weighed_on"], suffixes=("", "_true"))
    assert (one["weight"] != one["weight_true"]).sum() == slipped["weighings"]
