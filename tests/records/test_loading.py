from __future__ import annotations

import json

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.findings import EFFECTS, grouped
from mendcurve.records.schemas import TABLES, schema
from records.folders import INTAKES, folder, says


def test_a_clean_folder_has_nothing_to_find(tmp_path):
    records = load(folder(tmp_path, outcomes="stay_id,outcome_date,outcome_type\nS-1,2026-04-01,Adopted\n"))
    assert len(records.findings) == 0
    assert len(records.set_aside) == 0
    assert records["outcomes"]["outcome_type"].tolist() == ["adopted"]
    assert records["intakes"]["source_row"].tolist() == [2, 3]
    assert records["intakes"]["source_file"].tolist() == ["intakes.csv"] * 2
    assert records.as_of == pd.Timestamp("2026-12-31")
    assert records.has("outcomes", "outcome_date")
    assert not records.has("weighings")
    assert len(records.digest) == 64


def test_an_as_of_date_before_the_records_start_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"on or after the first day of the records.\n.*as-of 2025-12-31"):
        load(folder(tmp_path), as_of="2025-12-31")


def test_every_table_has_its_dtypes_even_when_empty(tmp_path):
    records = load(folder(tmp_path))
    for name, table in TABLES.items():
        assert list(records[name].columns)[: len(table.columns)] == list(table.names)
        schema(name).validate(records[name])
        for column in table.columns:
            if column.kind in ("date", "datetime"):
                assert str(records[name][column.name].dtype) == "datetime64[s]"


# One row of each table that cannot be used: PITFALLS.md row 35, a canary in every table must be caught.
CANARIES = {
    "outcomes": ("stay_id,outcome_date,outcome_type", "S-1,2026-04-01,adopted", "S-9,2026-04-01,adopted"),
    "conditions": ("episode_id,stay_id,condition,found_on", "E-1,S-1,wound,2026-03-03", "E-2,S-1,wound,"),
    "checks": ("episode_id,checked_on,result", "E-1,2026-03-04,well", "E-1,2026-03-04,perhaps"),
    "courses": (
        "course_id,episode_id,interval_hours,first_dose_at",
        "C-1,E-1,24,2026-03-03 08:00",
        "C-2,E-1,0.1,2026-03-03",
    ),
    "doses": ("course_id,given_at,result", "C-1,2026-03-03 08:00,given", "C-9,2026-03-03 08:00,given"),
    "weighings": ("stay_id,weighed_on,weight", "S-1,2026-03-03,285", "S-1,2026-03-04,-61"),
    "targets": ("stay_id,target_g,set_on", "S-1,340,2026-03-03", "S-1,much,2026-03-03"),
    "periods": (
        "stay_id,what,from_date,to_date",
        "S-1,foster,2026-03-03,2026-03-09",
        "S-1,foster,2026-04-03,2026-03-09",
    ),
    "moves": ("stay_id,moved_on,zone", "S-1,2026-03-02,quarantine", "S-1,2026-03-02,"),
    "housing": ("zone,from_date,places", "quarantine,2026-01-01,4", "quarantine,soon,4"),
    "requests": ("asked_on,answer", "2026-03-01,taken in", "2026-03-01,hm"),
    "followups": ("stay_id,seen_on,status", "S-1,2026-05-01,well", "S-1,2026-05-01,gone"),
    "spending": ("spent_on,amount,category", "2026-03-03,12.50,medical", "2026-03-03,free,medical"),
    "grants": ("grant_id,funder,amount,awarded_on", "G-1,A fund,4000,2026-01-01", "G-1,Another fund,4000,2026-01-01"),
    "receipts": ("grant_id,received_on,amount", "G-1,2026-02-01,2000", "G-2,2026-02-01,2000"),
}


def test_the_canaries_cover_every_table():
    assert set(CANARIES) | {"intakes"} == set(TABLES)


def test_one_bad_row_in_each_table_is_set_aside_and_the_good_one_kept(tmp_path):
    files = {name: "\n".join(lines) + "\n" for name, lines in CANARIES.items()}
    records = load(folder(tmp_path, intakes=INTAKES + "S-3,A-3,beardie,2026-03-09,hm\n", **files))
    aside = records.set_aside.set_index("table")
    assert sorted(aside.index) == sorted(TABLES)
    for name in CANARIES:
        assert len(records[name]) == 1, name
        assert aside.loc[name, "row"] == 3
        assert aside.loc[name, "file"] == f"{name}.csv"
        assert aside.loc[name, "reason"]
        head, bad = CANARIES[name][0].split(","), CANARIES[name][2].split(",")
        assert json.loads(aside.loc[name, "text"]) == {h: v for h, v in zip(head, bad, strict=True) if v}
    accounts = records.accounts.set_index("table")
    assert (accounts["set_aside"] == 1).all()
    assert (accounts["counted"] == accounts.drop(columns=["file", "sheet", "counted"]).sum(axis=1)).all()


def test_ids_and_texts_are_kept_as_typed(tmp_path):
    text = "stay_id,animal_id,species,intake_date,intake_type,note\n007,1E5,NA,2026-03-02,stray,null\n"
    records = load(folder(tmp_path, intakes=text))
    row = records["intakes"].iloc[0]
    assert (row["stay_id"], row["animal_id"], row["species"], row["note"]) == ("007", "1E5", "NA", "null")


def test_missing_is_an_empty_cell_or_a_declared_text(tmp_path):
    text = INTAKES.replace("A-1", "n/a")
    assert load(folder(tmp_path, intakes=text))["intakes"]["animal_id"].tolist() == ["n/a", "A-2"]
    records = load(folder(tmp_path, '[tables.intakes]\nmissing = ["N/A"]\n', intakes=text))
    assert records["intakes"]["animal_id"].isna().tolist() == [True, False]


def test_one_line_a_record_however_many_columns_are_wrong(tmp_path):
    text = "stay_id,weighed_on,weight,unit,circumstance\nS-1,2026-13-03,heavy,stone,flew\n"
    records = load(folder(tmp_path, weighings=text))
    mine = records.findings[records.findings["table"] == "weighings"]
    assert len(mine) == 1
    assert mine.iloc[0]["effect"] == "set aside"
    assert mine.iloc[0]["row"] == 2
    assert mine.iloc[0]["stay_id"] == "S-1"
    for word in ("weighed_on", "weight", "unit", "circumstance"):
        assert word in mine.iloc[0]["column"]
    for value in ("2026-13-03", "heavy", "stone", "flew"):
        assert value in mine.iloc[0]["value"]


# Nine faults: PITFALLS.md row 7. Each is found once, at the row the spreadsheet shows; mended, none is left.
NINE = (
    "stay_id,weighed_on,weight,unit\nS-1,2026-03-03,285,g\nS-1,2026-03-04,,g\nS-1,2026-03-05,abc,g\n"
    "S-1,2026-03-06,-1,g\nS-1,2026-03-07,0,g\nS-9,2026-03-08,285,g\n,2026-03-09,285,g\nS-1,,285,g\n"
    "S-1,2026-02-30,285,g\nS-1,2026-03-11,285,stone\n"
)


def test_nine_faults_are_nine_findings_at_their_rows(tmp_path):
    records = load(folder(tmp_path, weighings=NINE))
    assert sorted(records.findings["row"]) == list(range(3, 12))
    assert records.findings["effect"].tolist() == ["set aside"] * 9
    mended = "\n".join(line for i, line in enumerate(NINE.splitlines()) if i in (0, 1)) + "\n"
    assert len(load(folder(tmp_path, weighings=mended)).findings) == 0


def test_people_are_dropped_and_their_details_taken_out_everywhere(tmp_path):
    text = (
        "stay_id,species,intake_date,intake_type,note,adopter,Owner phone\n"
        "S-1,beardie,2026-03-02,stray,ring 0161 496 0123,Person A,0161 496 0124\n"
        "S-1,beardie,2026-03-02,stray,mail p@example.org,Person B,0161 496 0125\n"
    )
    records = load(folder(tmp_path, intakes=text))
    everything = " ".join(str(f.to_dict()) for f in (*records.tables.values(), records.findings, records.set_aside))
    for secret in ("0123", "0124", "0125", "Person A", "Person B", "p@example"):
        assert secret not in everything
    assert len(says(records, "dropped as they were read")) == 1
    assert len(says(records, "people's details")) == 2


def test_a_person_typed_into_a_number_column_does_not_leak(tmp_path):
    text = "stay_id,weighed_on,weight\nS-1,2026-03-03,ring 0161 496 0123\n"
    records = load(folder(tmp_path, weighings=text))
    assert "0123" not in records.findings.to_string() + records.set_aside.to_string()


def test_an_unknown_species_is_kept_and_told_once_with_its_count(tmp_path):
    text = (
        INTAKES.replace("beardie", "corn snek")
        + "S-3,A-3,Corn  Snek,2026-03-06,stray\nS-4,A-4,corn snek,2026-03-07,stray\n"
    )
    records = load(folder(tmp_path, intakes=text))
    found = says(records, "not in the reference table")
    assert len(found) == 1
    assert "3 rows name" in found["rule"].iloc[0]
    assert 'Did you mean "corn snake"' in found["what_to_do"].iloc[0]
    assert records.species.set_index("name").loc["corn snek", "taxon"] == "unknown"
    assert len(records["intakes"]) == 4


def test_a_rescue_adds_species_and_its_own_come_first(tmp_path):
    toml = '[[species]]\nname = "beardie"\ntaxon = "lizard"\nlow_g = 2\nhigh_g = 900\naliases = ["dragon"]\n'
    records = load(folder(tmp_path, toml, intakes=INTAKES.replace("corn snake", "Dragon")))
    assert records["intakes"]["species"].tolist() == ["beardie", "beardie"]
    assert records.species.set_index("name").loc["beardie", "high_g"] == 900


def test_an_unknown_heading_is_told_with_the_nearest(tmp_path):
    records = load(folder(tmp_path, intakes=INTAKES.replace("animal_id", "animl_id")))
    found = says(records, "not a column of Mendcurve's")
    assert found["column"].tolist() == ["animl_id"]
    assert 'Did you mean "animal_id"' in found["what_to_do"].iloc[0]
    assert not len(load(folder(tmp_path, '[tables.intakes]\nignore = ["animl_id"]\n')).findings)


def test_a_blank_outcome_type_with_a_date_is_kept_as_not_recorded(tmp_path):
    records = load(folder(tmp_path, outcomes="stay_id,outcome_date,outcome_type\nS-1,2026-04-01,\n"))
    assert records["outcomes"]["outcome_type"].tolist() == ["not recorded"]
    assert says(records, "not recorded")["effect"].tolist() == ["kept, doubtful"]


def test_one_file_feeds_several_tables(tmp_path):
    text = (
        "ref,kind,came,how,gone,why,state\n1,beardie,2026-03-02,found,2026-04-01,new home,ok\n"
        "2,corn snake,2026-03-03,given,,,ill\n3,cat,2026-03-03,given,,,ill\n3,corn snake,2026-03-05,void,,,ok\n"
    )
    (tmp_path / "book.csv").write_text(text)
    (tmp_path / "records.toml").write_text("""
[dates]
as_of = 2026-12-31
records_start = 2026-01-01
[keep]
heading = "kind"
where = ["beardie", "corn snake"]
[tables.intakes]
file = "book.csv"
columns = { stay_id = "ref", species = "kind", intake_date = "came", intake_type = "how" }
set_aside_where = { how = ["void"] }
[tables.intakes.codes.intake_type]
found = "stray"
given = "surrendered"
[tables.outcomes]
file = "book.csv"
columns = { stay_id = "ref", outcome_date = "gone", outcome_type = "why" }
codes.outcome_type = { "new home" = "adopted" }
set_aside_where = { how = ["void"] }
[tables.conditions]
file = "book.csv"
id_from = ["ref"]
columns = { condition = "state", found_on = "came" }
only_where = { state = ["ill"] }
""")
    records = load(tmp_path)
    accounts = records.accounts.set_index("table")
    assert accounts["counted"].tolist() == [5, 5, 5]
    assert accounts["left_out"].tolist() == [1, 1, 1]
    assert accounts["kept"].to_dict() == {"intakes": 2, "outcomes": 1, "conditions": 1}
    assert accounts["nothing_here"].to_dict() == {"intakes": 0, "outcomes": 2, "conditions": 2}
    assert accounts["set_aside"].to_dict() == {"intakes": 1, "outcomes": 0, "conditions": 0}
    assert records["conditions"]["episode_id"].tolist() == ["2"]


def test_rows_after_the_as_of_date_are_left_out_and_counted(tmp_path):
    weighings = "stay_id,weighed_on,weight\nS-1,2026-03-03,285\nS-1,2062-03-04,285\n"
    records = load(folder(tmp_path, weighings=weighings))
    assert len(records["weighings"]) == 1
    assert records.accounts.set_index("table").loc["weighings", "left_out"] == 1
    assert "row 3" in says(records, "after the as-of date")["rule"].iloc[0]
    assert len(load(tmp_path, as_of="2026-03-03")["intakes"]) == 1


def test_as_of_and_start_are_proposed_by_rule_with_a_finding(tmp_path):
    (tmp_path / "intakes.csv").write_text(
        "stay_id,species,intake_date,intake_type\n"
        + "".join(f"S-{i},beardie,2026-{i:02d}-10,stray\n" for i in range(1, 13))
    )
    (tmp_path / "outcomes.csv").write_text(
        "stay_id,outcome_date,outcome_type\n"
        + "".join(f"S-{i},2026-{i:02d}-20,adopted\n" for i in range(3, 12))
        + "S-12,2062-12-20,adopted\n"
    )
    records = load(tmp_path)
    assert records.as_of == pd.Timestamp("2026-12-10")  # the lone slip of 2062 is not the end
    assert records.records_start == pd.Timestamp("2026-03-01")
    assert len(says(records, "not declared")) == 2


def test_the_same_files_give_the_same_records(tmp_path):
    folder(tmp_path, weighings=NINE)
    one, two = load(tmp_path), load(tmp_path)
    assert one.digest == two.digest
    pd.testing.assert_frame_equal(one.findings, two.findings)
    (tmp_path / "weighings.csv").write_text(NINE + "S-1,2026-03-12,285,g\n")
    assert load(tmp_path).digest != one.digest


def test_settings_can_lie_elsewhere(tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "came in.csv").write_text(INTAKES)
    toml = tmp_path / "mine.toml"
    toml.write_text('[tables.intakes]\nfile = "came in.csv"\n[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n')
    assert len(load(tmp_path / "data", settings=toml)["intakes"]) == 2
    assert len(load(tmp_path / "data" / "came in.csv", settings=toml)["intakes"]) == 2


def test_findings_group_by_what_to_do(tmp_path):
    records = load(folder(tmp_path, weighings=NINE + "=1+1,2026-03-12,5,g\n"))
    groups = grouped(records.findings)
    assert groups["records"].sum() == len(records.findings)
    ranks = [EFFECTS.index(e) for e in groups["effect"]]
    assert ranks == sorted(ranks)


def test_one_word_is_one_word_however_it_is_written(tmp_path):
    moves = "stay_id,moved_on,zone\nS-1,2026-03-02,Quarantine\nS-1,2026-03-09,hot  Room\nS-2,2026-03-09,hot room\n"
    moves += "S-2,2026-03-12,hot room\n"
    housing = "zone,from_date,places\nQUARANTINE,2026-01-01,4\nHot Room,2026-01-01,4\n"
    records = load(folder(tmp_path, moves=moves, housing=housing))
    assert records["moves"]["zone"].tolist() == ["quarantine", "hot room", "hot room", "hot room"]
    assert records["housing"]["zone"].tolist() == ["quarantine", "hot room"]
    assert len(says(records, "read as one word")) == 4


def test_one_table_of_several_files_each_with_its_own_units(tmp_path):
    toml = """
[[tables.weighings]]
file = "grams.csv"
[[tables.weighings]]
file = "ounces.csv"
unit = "oz"
columns = { weighed_on = "date", weight = "oz" }
date_order = "mdy"
"""
    records = load(
        folder(
            tmp_path,
            toml,
            grams="stay_id,weighed_on,weight\nS-1,13/03/2026,285\n",
            ounces="stay_id,date,oz\nS-1,04/03/2026,10\n",
        )
    )
    assert records["weighings"]["weight_g"].round(1).tolist() == [285.0, 283.5]
    assert records["weighings"]["weighed_on"].dt.strftime("%Y-%m-%d").tolist() == ["2026-03-13", "2026-04-03"]
    assert records["weighings"]["source_file"].tolist() == ["grams.csv", "ounces.csv"]


def test_an_unknown_unit_is_not_taken_for_the_default(tmp_path):
    records = load(
        folder(
            tmp_path, weighings="stay_id,weighed_on,weight,unit\nS-1,2026-03-03,2,stone\nS-1,2026-03-04,9 oz,stone\n"
        )
    )
    assert records.set_aside["row"].tolist() == [2]
    assert records["weighings"]["unit"].tolist() == ["oz"]
