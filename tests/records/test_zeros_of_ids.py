"""Leading zeros that stand in one sheet and not in another are one cause, named once for all rows."""

from __future__ import annotations

from mendcurve.records import load

HEAD = "stay_id,species,intake_date,intake_type\n"


def read(tmp_path, intakes, weighings):
    (tmp_path / "intakes.csv").write_text(HEAD + intakes)
    (tmp_path / "weighings.csv").write_text("stay_id,weighed_on,weight\n" + weighings)
    (tmp_path / "records.toml").write_text("[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n")
    return load(tmp_path).findings


def test_rows_set_aside_for_zeros_name_the_one_cause(tmp_path):
    intakes = "".join(f"{n:04d},corn snake,2026-03-01,stray\n" for n in range(1, 5))
    found = read(tmp_path, intakes, "1,2026-03-02,40\n2,2026-03-03,400\n77,2026-03-02,41\nX1,2026-03-02,41\n")
    told = found[found["rule"].str.contains("other leading zeros than in intakes")]
    assert told["row"].tolist() == [2, 3]
    assert told["rule"].nunique() == 1
    assert told["what_to_do"].str.contains("mends all such rows").all()
    assert told["likely"].str.startswith("000").all()
    assert found[~found.index.isin(told.index)]["rule"].tolist() == ["stay_id must be one of intakes"] * 2


def test_ids_of_intakes_that_differ_by_zeros_only_are_doubtful(tmp_path):
    intakes = "0001,corn snake,2026-03-01,stray\n1,ball python,2026-05-01,stray\n2,corn snake,2026-06-01,stray\n"
    found = read(tmp_path, intakes, "0001,2026-03-02,40\n")
    assert found["row"].tolist() == [3]
    assert "differ by leading zeros only; row 2 has 0001" in found["rule"].iloc[0]
    assert found["effect"].tolist() == ["kept, doubtful"]
