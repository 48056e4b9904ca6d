"""One column a weighing: each filled cell is a row, told of by its own row and heading."""

from __future__ import annotations

import pytest

from mendcurve.errors import InputError
from mendcurve.records import load

INTAKES = "stay_id,species,intake_date,intake_type\nA1,corn snake,2024-05-01,stray\nA2,corn snake,2024-05-02,stray\n"


def loaded(folder, weights, wide, more=""):
    (folder / "intakes.csv").write_text(INTAKES)
    (folder / "w.csv").write_text(weights)
    (folder / "records.toml").write_text(
        f'[tables.weighings]\nfile = "w.csv"\ncolumns = {{ stay_id = "id" }}\nwide = {{ {wide} }}\n{more}'
    )
    return load(folder)


DATES = 'into = "weighed_on", values = "weight", headings = "dates"'


def weighed(records):
    frame = records["weighings"]
    return list(
        zip(frame["stay_id"], frame["weighed_on"].astype(str), frame["weight_g"], frame["source_row"], strict=True)
    )


def test_each_filled_cell_is_a_weighing_and_the_account_balances(tmp_path):
    records = loaded(tmp_path, "id,13/05/2024,20/05/2024,27/05/2024\nA1,400,410 g,\nA2,,x,0.42 kg\n", DATES)
    assert weighed(records) == [
        ("A1", "2024-05-13", 400.0, 2),
        ("A1", "2024-05-20", 410.0, 2),
        ("A2", "2024-05-27", 420.0, 3),
    ]
    assert records.set_aside[["row", "table"]].to_numpy().tolist() == [[3, "weighings"]]
    told = records.findings[records.findings["file"] == "w.csv"].iloc[0]
    assert (told["row"], told["column"], told["cell"], told["value"]) == (3, "20/05/2024", "C3", "x")
    account = records.accounts.set_index("table").loc["weighings"].to_dict()
    # One row of headings, two records of three cells each: two cells are blank.
    assert (account["counted"], account["blank"], account["heading"]) == (7, 2, 1)
    assert (account["kept"], account["set_aside"]) == (3, 1)


def test_a_doubtful_cell_leaves_the_others_of_its_row_alone(tmp_path):
    head = ",".join(f"2024-05-{d:02d}" for d in range(10, 20))
    cells = ["400", "402", "404", "406", "40.8", "410", "412", "414", "416", "418"]
    records = loaded(tmp_path, f"id,{head}\nA1,{','.join(cells)}\n", DATES)
    assert records["weighings"]["doubtful"].tolist() == [c == "40.8" for c in cells]


def test_weeks_are_counted_from_the_start(tmp_path):
    wide = 'into = "weighed_on", values = "weight", headings = "weeks", start = "came", first = 1'
    records = loaded(tmp_path, "id,came,Week 1,wk 2,W4\nA1,2024-05-01,400,401,403\n", wide)
    assert [day for _, day, _, _ in weighed(records)] == ["2024-05-01", "2024-05-08", "2024-05-22"]
    late = loaded(tmp_path, "id,came,Week 0,Week 1\nA1,2024-05-01,400,401\n", wide.replace("first = 1", "first = 0"))
    assert [day for _, day, _, _ in weighed(late)] == ["2024-05-01", "2024-05-08"]


def test_pairs_take_the_date_beside(tmp_path):
    wide = 'into = "weighed_on", values = "weight", headings = "pairs", pairs = { "W in" = "D in", "W out" = "D out" }'
    records = loaded(tmp_path, "id,D in,W in,D out,W out\nA1,2024-05-01,400,2024-06-01,450\n", wide)
    assert [(day, grams) for _, day, grams, _ in weighed(records)] == [("2024-05-01", 400.0), ("2024-06-01", 450.0)]


def test_months_are_read_as_their_middle_and_doubtful(tmp_path):
    wide = 'into = "weighed_on", values = "weight", headings = "months", year = 2024'
    records = loaded(tmp_path, "id,May,June,Sept.\nA1,400,,410\n", wide)
    assert [day for _, day, _, _ in weighed(records)] == ["2024-05-15", "2024-09-15"]
    told = records.findings[records.findings["file"] == "w.csv"]
    assert told["rule"].str.contains("2 cells stand under 2 headings that name a month and no day").all()
    assert told["effect"].tolist() == ["kept, doubtful"]


REFUSED = [
    (DATES, "id,name\nA1,x\n", "", "no heading is"),
    (DATES, "id,05/04/2024,06/04/2024\nA1,4,5\n", "", "order unknown"),
    (DATES.replace("dates", "seasons"), "id,x\nA1,4\n", "", "headings must be one of"),
    (DATES.replace("dates", "months"), "id,May\nA1,4\n", "", "months need year"),
    (DATES.replace("dates", "weeks"), "id,x\nA1,4\n", "", "weeks need start"),
    (DATES + ', begin = "x"', "id,x\nA1,4\n", "", "is not a key of it"),
    (DATES.replace('"weight"', '"wheight"'), "id,x\nA1,4\n", "", "values must be a column"),
    (DATES.replace("dates", "days") + ', start = "came"', "id,Day 1\nA1,4\n", "", 'names "came"'),
]


@pytest.mark.parametrize(("wide", "weights", "more", "says"), REFUSED)
def test_refuses_and_says_what_it_found(tmp_path, wide, weights, more, says):
    with pytest.raises(InputError, match=says):
        loaded(tmp_path, weights, wide, more)
