"""Corrections of a rescue's own: applied to the cell they name and to no other, said, and never written anywhere."""

from __future__ import annotations

import hashlib

import pytest
from openpyxl import Workbook

from mendcurve.errors import InputError
from mendcurve.records import load

INTAKES = (
    "stay_id,species,intake_date,intake_type\n"
    "S-1,bearded dragon,2026-03-02,stray\nS-2,corn snake,2026-03-05,stray\nS-3,corn snake,2026-03-06,stray\n"
)
WEIGHINGS = (
    "stay_id,weighed_on,weight\n"
    "S-1,2026-03-02,300\nS-1,2026-03-09,3050\nS-1,2026-03-16,310\nS-1,2026-03-23,312\n"
    "S-2,2026-03-06,12x\nS-2,2026-03-13,120\n"
)
HEAD = "file,sheet,row,column,typed,now,who,when,why,record\n"


@pytest.fixture
def rescue(tmp_path):
    """Return a function that loads a small rescue with the given lines of corrections."""

    def go(lines="", head=HEAD, weighings=WEIGHINGS, **more):
        for name, text in {"intakes": INTAKES, "weighings": weighings, **more}.items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        (tmp_path / "records.toml").write_text(
            "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8"
        )
        (tmp_path / "corrections.csv").write_text(head + lines, encoding="utf-8")
        return load(tmp_path)

    return go


def weight(records, row):
    frame = records["weighings"]
    return frame.loc[frame["source_row"] == row, "weight_g"].tolist()


def at(records, row, file="weighings.csv"):
    return records.findings[(records.findings["file"] == file) & (records.findings["row"] == row)]


def test_the_records_have_the_faults_the_other_tests_mend(rescue):
    records = rescue()
    assert at(records, 3)["effect"].tolist() == ["kept, doubtful"]
    assert at(records, 6)["effect"].tolist() == ["set aside"]
    assert records.corrections.empty


def test_a_corrected_cell_is_read_as_corrected_and_said(rescue):
    records = rescue("weighings.csv,,6,weight,12x,121,Kim,2026-12-01,read off the card,\n")
    assert weight(records, 6) == [121]
    assert records.set_aside.empty
    found = at(records, 6)
    assert found["effect"].tolist() == ["corrected"]
    assert found["cell"].tolist() == ["C6"]
    assert found["value"].tolist() == ["12x"]
    assert found["rule"].tolist() == ['corrected by the rescue: "12x" is read as "121"']
    kept = records.corrections.iloc[0]
    assert kept[["who", "when", "why", "state"]].tolist() == ["Kim", "2026-12-01", "read off the card", "corrected"]


def test_who_and_why_stand_in_the_frame_of_corrections_and_nowhere_else(rescue):
    records = rescue(
        "weighings.csv,,6,weight,12x,121,Kim Vole,2026-12-01,read off the card,\n"
        "weighings.csv,,3,weight,9,10,Kim Vole,2026-12-01,read off the card,\n"
        "weighings.csv,,3,weight,3050,3050,Kim Vole,2026-12-01,read off the card,\n"
    )
    assert records.corrections["state"].tolist() == ["corrected", "not applied", "looked at"]
    elsewhere = (records.findings, records.cells, records.set_aside, records.accounts, *records.tables.values())
    text = " ".join(str(frame.to_dict()) for frame in elsewhere)
    assert "Vole" not in text
    assert "the card" not in text


def test_details_of_people_are_taken_out_of_who_and_why(rescue):
    records = rescue("weighings.csv,,6,weight,12x,121,kim@example.org,,rang 0123 456 7890,\n")
    assert "@" not in records.corrections.loc[0, "who"]
    assert "456" not in records.corrections.loc[0, "why"]


def test_the_originals_are_not_touched_and_the_digest_knows_the_corrections(rescue, tmp_path):
    before = rescue()
    digest = hashlib.sha256((tmp_path / "weighings.csv").read_bytes()).hexdigest()
    after = rescue("weighings.csv,,6,weight,12x,121,Kim,,card,\n")
    assert hashlib.sha256((tmp_path / "weighings.csv").read_bytes()).hexdigest() == digest
    assert before.digest != after.digest


@pytest.mark.parametrize(
    ("line", "why_not"),
    [
        ("weighings.csv,,6,weight,13x,121,Kim,,card,\n", 'no longer holds "13x", but "12x"'),
        ("weighings.csv,,60,weight,12x,121,Kim,,card,\n", "no longer there"),
        ("weighings.csv,,6,wieght,12x,121,Kim,,card,\n", "no such column"),
        ("weighing.csv,,6,weight,12x,121,Kim,,card,\n", "no file and sheet"),
        (",,6,weight,12x,121,Kim,,card,\n", "several files"),
        ("weighings.csv,,6,weight,12x,121,,,card,\n", "who is missing"),
        ("weighings.csv,,6,weight,12x,121,Kim,,,\n", "why is missing"),
        ("weighings.csv,,6,weight,12x,,Kim,,card,\n", r"write \(empty\)"),
        ("weighings.csv,,6,weight,12x,121,Kim,yesterday,card,\n", '"yesterday" under "when" is no date'),
        ("weighings.csv,,6,weight,12x,121,Kim,31/02/2026,card,\n", "is no date; write the day like 2026-03-31"),
        ("weighings.csv,,6,weight,13x,(delete),Kim,,card,\n", 'no longer holds "13x"'),
        ("weighings.csv,,6,,,(delete),Kim,,card,S-2\n", "repeats no other"),
    ],
)
def test_a_line_that_does_not_fit_or_is_incomplete_is_said_and_not_applied(rescue, line, why_not):
    records = rescue(line)
    assert weight(records, 6) == []
    assert records.corrections["state"].tolist() == ["not applied"]
    found = at(records, 2, "corrections.csv")
    assert found["rule"].str.contains(why_not).all()
    assert len(found) == 1
    assert found["changes"].tolist() == ["the cell is used as it stands in the file"]


def test_lines_nobody_filled_in_say_nothing(rescue):
    records = rescue("weighings.csv,,6,weight,12x,,,,,\nweighings.csv,,3,weight,3050,,,,,\n")
    assert records.corrections.empty
    assert at(records, 2, "corrections.csv").empty


def test_a_row_that_has_moved_is_found_by_its_own_id_and_text(rescue):
    moved = WEIGHINGS.replace("S-1,2026-03-02,300\n", "S-1,2026-03-01,299\nS-1,2026-03-02,300\n")
    line = "weighings.csv,,6,weight,12x,121,Kim,,card,S-2\n"
    records = rescue(line, weighings=moved)
    assert weight(records, 7) == [121]
    assert records.corrections["row"].tolist() == [7]
    without_id = rescue(line.replace("S-2\n", "\n"), weighings=moved)
    assert without_id.corrections["state"].tolist() == ["not applied"]
    twice = rescue(line, weighings=moved + "S-2,2026-03-20,12x\n")
    assert twice.corrections["state"].tolist() == ["not applied"]


def test_the_same_text_in_the_row_of_another_animal_is_left_alone(rescue):
    weighings = "stay_id,weighed_on,weight\nS-1,2026-03-02,12x\nS-2,2026-03-06,120\n"
    records = rescue("weighings.csv,,2,weight,12x,121,Kim,,card,S-2\n", weighings=weighings)
    assert weight(records, 2) == []
    assert records.corrections["state"].tolist() == ["not applied"]


def test_writing_the_same_again_settles_the_doubt(rescue):
    assert rescue()["weighings"]["doubtful"].tolist() == [False, True, False, False, False]
    records = rescue("weighings.csv,,3,weight,3050,3050,Kim,,ate a whole melon,\n")
    assert not records["weighings"]["doubtful"].any()
    found = at(records, 3)
    assert found["effect"].tolist() == ["note"]
    assert "looked at by the rescue" in found.iloc[0]["rule"]
    assert "says it is right: the weight is" in found.iloc[0]["rule"]
    assert found["changes"].tolist() == [""]


def test_what_cannot_be_used_is_not_settled_by_looking(rescue):
    records = rescue("weighings.csv,,6,weight,12x,12x,Kim,,it says so,\n")
    assert weight(records, 6) == []
    assert at(records, 6)["effect"].tolist() == ["set aside"]


def test_a_second_line_about_a_cell_follows_on_the_first(rescue):
    first = "weighings.csv,,6,weight,12x,1210,Kim,,card,\n"
    assert weight(rescue(first + "weighings.csv,,6,weight,1210,121,Lou,,scale,\n"), 6) == [121]
    assert weight(rescue("weighings.csv,,6,weight,1210,121,Lou,,scale,\n" + first), 6) == [121]
    both = rescue(first + "weighings.csv,,6,weight,12x,121,Lou,,scale,\n")
    assert weight(both, 6) == [1210]
    assert both.corrections["state"].tolist() == ["corrected", "not applied"]


def test_a_cell_can_be_emptied_and_one_can_be_filled(rescue):
    outcomes = "stay_id,outcome_date,outcome_type,animals\nS-1,2026-04-01,adopted,9\nS-2,,adopted,\n"
    records = rescue(
        "outcomes.csv,,2,animals,9,(empty),Kim,,slip,\noutcomes.csv,,3,outcome_date,,2026-05-01,Kim,,diary,\n",
        outcomes=outcomes,
    )
    assert records["outcomes"]["animals"].isna().all()
    assert len(records["outcomes"]) == 2
    assert records.corrections["state"].tolist() == ["corrected", "corrected"]


@pytest.mark.parametrize("day", ["", "2026-12-01", "1/12/2026", "12/31/2026", "1 December 2026"])
def test_a_day_in_any_order_says_when(rescue, day):
    assert weight(rescue(f"weighings.csv,,6,weight,12x,121,Kim,{day},card,\n"), 6) == [121]


def test_what_a_corrected_cell_is_understood_as_is_told(rescue):
    records = rescue(
        "weighings.csv,,3,weight,3050,305.0,Kim,,card,\n"
        "weighings.csv,,6,weighed_on,2026-03-06,7 Mar 2026,Kim,,card,\n"
        "weighings.csv,,7,weighed_on,2026-03-13,14 March 2026,Kim,,card,\n"
        "weighings.csv,,5,weight,312,light,Kim,,card,\n"
    )
    told = dict(zip(records.corrections["now"], records.corrections["understood"], strict=True))
    unusable = "cannot be used: see the findings"
    assert told == {"305.0": "305", "7 Mar 2026": unusable, "14 March 2026": "2026-03-14", "light": unusable}


@pytest.mark.parametrize("word", ["delete", "(delete)", "Delete"])
def test_a_row_that_should_not_be_is_set_aside_as_taken_out(rescue, tmp_path, word):
    records = rescue(f"weighings.csv,,6,weight,12x,{word},Kim,,weighed another,S-2\n")
    assert records.corrections["state"].tolist() == ["taken out"]
    assert at(records, 6)[["effect", "rule", "changes"]].to_numpy().tolist() == [
        ["corrected", "taken out by the rescue, as it should not be there", "this row is in no figure"]
    ]
    assert records.set_aside[["row", "reason"]].to_numpy().tolist() == [
        [6, "taken out by the rescue, as it should not be there"]
    ]
    assert "12x" in records.set_aside["text"].iloc[0]
    line = records.accounts.set_index("table").loc["weighings"]
    assert (line["kept"], line["set_aside"], line["left_out"]) == (5, 1, 0)
    assert "12x" in (tmp_path / "weighings.csv").read_text(encoding="utf-8")


def test_of_two_rows_alike_the_one_that_is_left_counts(rescue):
    again = "stay_id,weighed_on,weight\n" + "S-2,2026-03-06,120\n" * 3
    line = "weighings.csv,,{},,,(delete),Kim,,twice,S-2\n"
    for rows, kept, aside in (((2,), [3], [2, 4]), ((3, 4), [2], [3, 4]), ((2, 3), [4], [2, 3])):
        records = rescue("".join(map(line.format, rows)), weighings=again)
        assert records.corrections["state"].tolist() == ["taken out"] * len(rows)
        assert records["weighings"]["source_row"].tolist() == kept
        assert sorted(records.set_aside["row"]) == aside
    every = rescue("".join(map(line.format, (2, 3, 4))), weighings=again)
    assert every.corrections["state"].tolist() == ["taken out", "taken out", "not applied"]
    assert every["weighings"]["source_row"].tolist() == [4]


def test_a_cell_reference_does_instead_of_row_and_column(rescue):
    records = rescue("weighings.csv,C6,12x,121,Kim,card\n", head="file,cell,typed,now,who,why\n")
    assert weight(records, 6) == [121]


def test_a_repeated_row_that_is_corrected_counts(rescue):
    again = "stay_id,weighed_on,weight\n" + "S-2,2026-03-06,120\n" * 3
    assert len(rescue(weighings=again)["weighings"]) == 1
    first = rescue("weighings.csv,,2,weight,120,119,Kim,,card,\n", weighings=again)
    assert first["weighings"]["weight_g"].tolist() == [119, 120]
    assert first.set_aside["row"].tolist() == [4]
    second = rescue("weighings.csv,,3,weighed_on,2026-03-06,2026-03-07,Kim,,card,\n", weighings=again)
    assert second["weighings"]["source_row"].tolist() == [2, 3]


def test_a_text_kept_from_running_as_a_formula_is_the_text_itself(rescue):
    records = rescue(
        "weighings.csv,,6,weight,'=12,121,Kim,,card,\n",
        weighings="stay_id,weighed_on,weight\n" * 1 + "S-2,2026-03-06,1\n" * 4 + "S-2,2026-03-09,=12\n",
    )
    assert weight(records, 6) == [121]


def test_a_workbook_with_typed_dates_and_numbers_serves_as_well(rescue, tmp_path):
    rescue()
    (tmp_path / "corrections.csv").unlink()
    book = Workbook()
    book.active.append(["About this list"])
    sheet = book.create_sheet("Mending list")
    sheet.append(["File", "Row", "Column", "Typed", "Now", "Who", "When", "Why"])
    sheet.append(["weighings.csv", 6, "weight", "12x", 121, "Kim", None, "card"])
    book.save(tmp_path / "corrections.xlsx")
    assert weight(load(tmp_path), 6) == [121]


@pytest.mark.parametrize("head", ["file,row,typed,now,who,why\n", "file,row,column,now,who,why\n"])
def test_a_file_without_its_columns_is_refused(rescue, head):
    with pytest.raises(InputError, match="must have the columns typed, now, who, why, and either cell"):
        rescue(head=head)


def test_two_files_of_corrections_are_refused(rescue, tmp_path):
    rescue()
    Workbook().save(tmp_path / "corrections.xlsx")
    with pytest.raises(InputError, match="from one file, but there are two"):
        load(tmp_path)


def test_a_sheet_with_one_column_a_weighing_is_corrected_under_its_own_heading(rescue, tmp_path):
    wide = "stay_id,2026-03-06,2026-03-13\nS-1,300,310\nS-2,12x,120\n"
    rescue(weighings=wide.replace("2026-03-06", "weighed_on").replace("2026-03-13", "weight"))
    (tmp_path / "weighings.csv").write_text(wide, encoding="utf-8")
    toml = '[tables.weighings]\nfile = "weighings.csv"\n'
    toml += 'wide = {into = "weighed_on", values = "weight", headings = "dates"}\n'
    with (tmp_path / "records.toml").open("a", encoding="utf-8") as file:
        file.write(toml)
    before = at(load(tmp_path), 3)
    assert before[["cell", "column", "value"]].to_numpy().tolist() == [["B3", "2026-03-06", "12x"]]
    line = "weighings.csv,,3,2026-03-06,12x,121,Kim,,card,S-2\n"
    (tmp_path / "corrections.csv").write_text(HEAD + line, encoding="utf-8")
    after = load(tmp_path)
    assert weight(after, 3) == [121, 120]
    assert at(after, 3)[["cell", "effect"]].to_numpy().tolist() == [["B3", "corrected"]]
