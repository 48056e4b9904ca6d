"""What a finding changes in the reports, and how many animals it touches."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.records import load
from mendcurve.records.consequences import RULES
from mendcurve.records.findings import CHANGED, CORRECTED, DOUBTFUL, EFFECTS, NOTE, SET_ASIDE, alike, grouped
from mendcurve.records.schemas import TABLES

INTAKES = (
    "stay_id,animal_id,species,intake_date,intake_type,group_size,hatched_on\n"
    "S-1,A-1,sulcata tortoise,2026-03-02,stray,4,\nS-2,A-2,corn snake,2026-03-05,stray,,\n"
)
WEIGHED = "stay_id,weighed_on,weight\n"
OUT = "stay_id,outcome_date,outcome_type,animals\n"


@pytest.fixture
def changes(tmp_path):
    """Return a function that loads a small rescue and gives cell -> (what it changes, animals)."""

    def go(intakes=INTAKES, **files):
        for name, text in {"intakes": intakes, **files}.items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        (tmp_path / "records.toml").write_text(
            "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8"
        )
        cells = load(tmp_path).cells
        keys = cells["table"] + " " + cells["cell"]
        return dict(zip(keys, zip(cells["changes"], cells["animals"], strict=True), strict=True))

    return go


@pytest.mark.parametrize("effect", EFFECTS)
@pytest.mark.parametrize("table", TABLES)
def test_each_table_and_effect_has_a_rule(table, effect):
    always = [r for r in RULES if r.table in ("", table) and r.effect == effect and not r.when and not r.column]
    assert always
    # What is left out, or kept with a doubt, is told by a rule of the table's own.
    if effect in (SET_ASIDE, DOUBTFUL):
        assert always[0].table == table


def test_rules_name_tables_columns_and_effects_that_exist():
    for rule in RULES:
        assert rule.effect in (SET_ASIDE, DOUBTFUL, CHANGED, CORRECTED, NOTE)
        if rule.table and rule.table != "corrections":
            assert not rule.column or rule.column in TABLES[rule.table].names


def test_no_rule_is_hidden_by_one_before_it():
    for at, rule in enumerate(RULES):
        for earlier in RULES[:at]:
            wider = all(not e or e == r for e, r in ((earlier.table, rule.table), (earlier.column, rule.column)))
            assert not (wider and earlier.effect == rule.effect and not earlier.when), (earlier, rule)


def test_a_stay_set_aside_takes_its_group_and_its_rows_with_it(changes):
    said = changes(
        INTAKES.replace("2026-03-02", "sometime"),
        weighings=WEIGHED + "S-1,2026-03-02,300\nS-1,2026-03-09,301\n",
        outcomes=OUT + "S-1,2026-04-01,adopted,\n",
    )
    assert said["intakes D2"] == (
        "the stay of S-1 (4 sulcata tortoises) is missing from every figure, with 3 rows of other tables",
        4,
    )
    # Its animals are counted once, with the stay.
    assert said["weighings A2"] == ("not used, as its stay (S-1) is in no figure", 0)


def test_a_lost_outcome_leaves_the_animals_in_care(changes):
    said = changes(outcomes=OUT + "S-1,2026-02-01,adopted,\nS-2,2026-04-01,adopted,\n")
    assert said == {"outcomes B2": ("S-1 (4 sulcata tortoises) counted as still in care", 4)}


def test_a_second_outcome_set_aside_leaves_nobody_in_care(changes):
    said = changes(outcomes=OUT + "S-2,2026-04-01,adopted,\nS-2,2026-04-02,adopted,\n")
    assert said == {"outcomes B3": ("this outcome of S-2 (1 corn snake) is not counted; another one is", 1)}


def test_weights_are_counted_and_the_last_ones_are_called_so(changes):
    rows = WEIGHED + "".join(f"S-2,2026-03-{day:02d},{300 + day}\n" for day in range(6, 12))
    said = changes(weighings=rows + "S-2,2026-03-20,x\nS-2,2026-03-21,y\n")
    assert {text for text, _ in said.values()} == {"the last 2 of 8 weights of S-2 not used"}
    said = changes(weighings=WEIGHED + "S-2,2026-03-06,x\n" + rows.removeprefix(WEIGHED))
    assert {text for text, _ in said.values()} == {"1 of 7 weights of S-2 not used"}


def test_an_animal_without_a_weight_left_is_out_of_the_curves(changes):
    said = changes(weighings=WEIGHED + "S-2,2026-03-06,x\n")
    assert said == {"weighings C2": ("no weight of S-2 is left: 1 corn snake in no weight curve", 1)}


def test_a_doubtful_weight_is_left_out_of_the_curve(changes):
    rows = WEIGHED + "".join(f"S-2,2026-03-{day:02d},{300 + day}\n" for day in range(6, 12))
    said = changes(weighings=rows + "S-2,2026-03-12,3120\n" + "".join(f"S-2,2026-03-{d},312\n" for d in (13, 14)))
    assert said == {"weighings C8": ("1 of 9 weights of S-2 left out of the weight curve", 1)}


def test_doses_reach_their_stay_through_course_and_episode(changes):
    said = changes(
        conditions="episode_id,stay_id,condition,found_on\nE-1,S-1,mites,2026-03-03\n",
        courses="course_id,episode_id,interval_hours,first_dose_at\nC-1,E-1,24,2026-03-04 08:00\n",
        doses="course_id,given_at\nC-1,whenever\nC-1,2026-03-05 08:00\n",
    )
    assert said == {
        "doses B2": ("a dose of S-1 (4 sulcata tortoises) is not counted, neither as given nor as missed", 4)
    }


def test_a_row_that_repeats_changes_nothing(changes):
    said = changes(weighings=WEIGHED + "S-1,2026-03-02,300\nS-1,2026-03-02,300\n")
    assert said["weighings "] == ("nothing: the row that it repeats is used", 0)


def test_only_an_emptied_cell_is_called_unknown(changes):
    said = changes(INTAKES.replace("stray,,\n", "stray,,2027-01-01\n"))
    assert said == {"intakes G3": ("the age of S-2 (1 corn snake) is not known", 1)}


def test_money_touches_no_animal(changes):
    said = changes(spending="spent_on,amount,category\nsome day,5.00,medical\n")
    text, animals = said["spending A2"]
    assert text == "the amount is in no sum of money spent"
    assert animals is not None
    assert str(animals) == "<NA>"


def test_what_changes_most_comes_first(tmp_path):
    intakes = INTAKES.replace("2026-03-05", "x").replace("2026-03-02", "y")
    (tmp_path / "intakes.csv").write_text(intakes + "S-3,A-3,corn snake,2026-03-02,stray,,2027-01-01\n", "utf-8")
    (tmp_path / "records.toml").write_text("[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", "utf-8")
    found = load(tmp_path).findings
    assert found["effect"].tolist() == [SET_ASIDE, SET_ASIDE, CHANGED]
    assert found["animals"].tolist() == [4, 1, 1]


def test_rules_that_differ_by_their_values_only_are_one_group(tmp_path):
    outs = "".join(f"S-{i},2026-02-{i:02d},adopted,\n" for i in range(1, 13))
    ins = "".join(f"S-{i},A-{i},corn snake,2026-03-{i:02d},stray,{i},\n" for i in range(1, 13))
    (tmp_path / "intakes.csv").write_text(INTAKES.split("\n")[0] + "\n" + ins, "utf-8")
    (tmp_path / "outcomes.csv").write_text(OUT + outs, "utf-8")
    (tmp_path / "records.toml").write_text("[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", "utf-8")
    found = load(tmp_path).findings
    groups = grouped(found[found["effect"] == SET_ASIDE])
    assert groups["records"].tolist() == [12]
    assert groups["animals"].tolist() == [sum(range(1, 13))]


def test_values_are_taken_out_of_a_text():
    texts = pd.Series(['"a" is 3 g at S-1, 4 March 2025 (row 7)', '"b c" is 12.5 g at S-22, 14 May 2026 (row 8)'])
    assert len(set(alike(texts))) == 1
    snakes = pd.Series(["no corn snake weighs this", "no ball python weighs this"])
    assert len(set(alike(snakes))) == 2
    assert len(set(alike(snakes, ["corn snake", "ball python"]))) == 1
