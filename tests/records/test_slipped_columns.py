from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.records.lost_zeros import FEWEST, with_zeros
from records.damage.clean import clean
from records.damage.drafts import CSV, Line, draft_of
from records.damage.running import read

PADDED = [f"{n:05d}" for n in range(95, 95 + FEWEST)]


def zeros(*ids):
    return with_zeros(pd.Series(ids, dtype=object)).tolist()


def test_an_id_with_fewer_figures_than_all_others_is_given_its_zeros():
    assert zeros(*PADDED, "88", None, "A-7") == [""] * FEWEST + ["00088", "", ""]


@pytest.mark.parametrize(
    "ids",
    [
        [*PADDED[: FEWEST - 2], "88"],  # too few to have a width
        [f"{n}" for n in range(995, 1015)],  # counted on, never padded
        [*PADDED, "88", "7"],  # two widths in use
        [f"{n:04d}" for n in range(5000, 5020)] + ["88"],  # none begins with a zero
    ],
)
def test_ids_of_several_widths_are_left_alone(ids):
    assert set(zeros(*ids)) == {""}


def lines_of(seed, order):
    draft = draft_of(clean(seed, 20), CSV, seed)
    sheet = draft.sheets["weighings"]
    head, rows = sheet.lines[0], sheet.rows
    sheet.lines = [head, *order(rows)]
    return draft, sheet


def told(draft) -> int:
    cells = read(draft).records.cells
    return int(cells["rule"].str.contains("sorted without the others").sum())


@pytest.mark.parametrize("down", (False, True))
def test_weights_sorted_without_the_rows_are_doubted_and_whole_rows_sorted_are_not(down):
    draft, sheet = lines_of(4, lambda rows: sorted(rows, key=lambda x: x.cells["weight"], reverse=down))
    assert told(draft) == 0
    draft, sheet = lines_of(4, list)
    assert told(draft) == 0
    weights = sorted((line.cells["weight"] for line in sheet.rows), reverse=down)
    for line, weight in zip(sheet.rows, weights, strict=True):
        line.cells["weight"] = weight
    assert told(draft) == len(sheet.rows)


def test_a_name_that_slipped_out_of_its_column_is_taken_out_and_told():
    draft = draft_of(clean(4, 12), CSV, 4)
    sheet = draft.sheets["outcomes"]
    sheet.columns.insert(1, "Adopter")
    sheet.headings["Adopter"] = "Adopter"
    for line in sheet.rows:
        line.cells["Adopter"] = "Zyxwina Qvarn"
    moved: Line = sheet.rows[3]
    moved.written = [None, *sheet.values(moved)[:-1]]
    reading = read(draft)
    records = reading.records
    place = reading.where[id(moved)]
    assert place in reading.named
    for frame in (records.cells, records.findings, records.set_aside, *records.tables.values()):
        assert not frame.astype(str).apply(lambda column: column.str.contains("Zyxwina").any()).any()
    assert records.cells["rule"].str.contains("a column about people holds").sum() == 1


def test_a_word_of_both_columns_stays_where_it_is():
    draft = draft_of(clean(4, 12), CSV, 4)
    draft.toml["tables.intakes"] = ['codes = { intake_type = { "Animal Control" = "confiscated" } }']
    sheet = draft.sheets["intakes"]
    sheet.columns.append("Brought in by")
    sheet.headings["Brought in by"] = "Brought in by"
    for line in sheet.rows[:1]:
        line.cells |= {"Brought in by": "Animal Control", "intake_type": "Animal Control"}
    assert (read(draft).records["intakes"]["intake_type"] == "confiscated").any()
