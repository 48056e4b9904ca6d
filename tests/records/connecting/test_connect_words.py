"""Connect on whole folders: the demo, other languages, what is asked, what is never written."""

from __future__ import annotations

import shutil
from datetime import date

import pandas as pd
import pytest

from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.writing import write
from records.connecting.invented import REPO, connected, dmy, stays, write_csv


@pytest.mark.parametrize("kind", ["csv", "workbook"])
def test_the_demo_without_its_settings_gives_the_demos_own_tables(tmp_path, kind):
    folder = tmp_path / kind
    shutil.copytree(REPO / "data_demo" / kind, folder)
    (folder / "records.toml").unlink()
    write(propose(folder).body, folder / "records.toml")
    own, foreign = load(REPO / "data_demo" / kind), load(folder, as_of="2026-10-31")
    for name in own.tables:
        pd.testing.assert_frame_equal(own[name], foreign[name])


def test_the_invented_city_is_read_as_three_tables(tmp_path):
    shutil.copy(REPO / "tests" / "foreign" / "invented_city.csv", tmp_path)
    records, proposal = connected(tmp_path)
    assert proposal.tables == ("intakes", "outcomes", "conditions")
    assert 'id_from = { stay_id = ["animal_id", "intake_date"] }' in proposal.body
    assert '# ? wildlife = "..."  # 6 rows; not known' in proposal.body
    assert len(records["intakes"]) == 24  # until the words nobody knows are answered


def test_words_of_another_language_come_from_a_file_beside_the_records(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    why = {"Owner surrender": "Entrega", "Stray": "Hallado", "Seized": "Incautado"}
    write_csv(
        tmp_path / "Ingresos.csv",
        [["Código", "Especie", "Fecha de ingreso", "Motivo"]]
        + [[r["animal"], r["species"], dmy(r["came"]), why[r["why"]]] for r in rows],
    )
    write_csv(
        tmp_path / "Pesos.csv",
        [["Código", "Fecha", "Peso (g)"]]
        + [[r["animal"], dmy(r["came"]), f"{r['grams']}.5".replace(".", ",")] for r in rows],
    )
    (tmp_path / "synonyms.csv").write_text(
        "kind,table,column,ours,theirs\ntable,intakes,,,ingresos\ntable,weighings,,,pesos\n"
        "heading,*,stay_id,,código\nheading,intakes,species,,especie\nheading,intakes,intake_date,,fecha de ingreso\n"
        "heading,intakes,intake_type,,motivo\nheading,weighings,weighed_on,,fecha\nheading,weighings,weight,,peso\n"
        "word,intakes,intake_type,surrendered,entrega\nword,intakes,intake_type,stray,hallado\n"
        "word,intakes,intake_type,confiscated,incautado\n",
        encoding="utf-8",
    )
    records, proposal = connected(tmp_path)
    assert proposal.questions == 0, proposal.body
    assert not len(records.set_aside)
    assert records["intakes"]["intake_type"].value_counts().to_dict() == {
        "surrendered": 6,
        "stray": 6,
        "confiscated": 6,
    }
    assert records["weighings"]["weight_g"].tolist() == [r["grams"] + 0.5 for r in rows]


def test_dates_that_nothing_decides_are_a_question_that_can_be_answered_by_taking_the_mark_away(tmp_path):
    days = [date(2024, 1 + i, 2 + i) for i in range(9)]
    write_csv(
        tmp_path / "Animals.csv",
        [["ID", "Species", "Date in", "Reason"]]
        + [[f"R{i}", "corn snake", dmy(d), "Stray"] for i, d in enumerate(days[::-1])],
    )
    proposal = propose(tmp_path)
    assert proposal.questions == 1
    assert '# ? date_order = "dmy"' in proposal.body
    path = tmp_path / "records.toml"
    write(proposal.body, path)
    path.write_text(path.read_text().replace("# ? date_order", "date_order"))
    assert load(tmp_path)["intakes"]["intake_date"].dt.date.tolist() == days[::-1]


def test_a_copy_of_the_register_is_doubted(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    lines = [[r["animal"], r["species"], r["came"].isoformat(), r["why"]] for r in rows]
    head = ["ID", "Species", "Date in", "Reason"]
    write_csv(tmp_path / "Animals.csv", [head, *lines])
    write_csv(tmp_path / "Animals backup.csv", [head, *lines[:15]])
    assert "15 of its 15 stays stand in Animals.csv too" in propose(tmp_path).body


def test_a_heading_that_says_nothing_is_read_by_its_words(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    write_csv(
        tmp_path / "Animals.csv",
        [["ID", "Species", "Date in", "Box 7"]]
        + [[r["animal"], r["species"], r["came"].isoformat(), r["why"]] for r in rows],
    )
    records, proposal = connected(tmp_path)
    assert 'intake_type = "Box 7"  # 100% of its words are words for intake_type' in proposal.body
    assert len(records["intakes"]) == len(rows)


def test_nothing_of_a_persons_column_is_written(tmp_path):
    write_csv(
        tmp_path / "Animals.csv",
        [["ID", "Species", "Date in", "Reason", "Owner Name", "Phone"]]
        + [[f"R{i}", "corn snake", "2024-05-06", "Stray", "Zebediah Quux", "0555 123 4567"] for i in range(5)],
    )
    body = propose(tmp_path).body
    assert '"Owner Name", "Phone"' in body
    assert "Zebediah" not in body
    assert "0555" not in body


def test_the_same_folder_gives_the_same_text(tmp_path):
    shutil.copy(REPO / "tests" / "foreign" / "invented_city.csv", tmp_path)
    assert propose(tmp_path).body == propose(tmp_path).body


def test_a_column_for_each_month_takes_the_year_from_the_name(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    write_csv(
        tmp_path / "Animals.csv",
        [["ID", "Species", "Date in", "Reason"]]
        + [[r["animal"], r["species"], r["came"].isoformat(), r["why"]] for r in rows],
    )
    write_csv(
        tmp_path / "Monthly weights 2025.csv",
        [["ID", "Jan", "Feb", "March", "April"]] + [[r["animal"], r["grams"], "", r["grams"], ""] for r in rows],
    )
    records, proposal = connected(tmp_path)
    assert 'headings = "months", year = 2025' in proposal.body
    assert len(records["weighings"]) == 2 * len(rows)
    assert set(records["weighings"]["weighed_on"].dt.strftime("%Y-%m")) == {"2025-01", "2025-03"}


def test_those_that_left_may_stand_in_a_sheet_of_their_own_or_in_both(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    head = ["ID", "Species", "Date in", "Reason", "Date out", "Outcome"]
    lines = [[r["animal"], r["species"], r["came"].isoformat(), r["why"], r["left"] or "", r["how"]] for r in rows]
    left = [line for line in lines if line[4]]
    write_csv(tmp_path / "Current animals.csv", [head[:4], *(line[:4] for line in lines if not line[4])])
    write_csv(tmp_path / "Rehomed.csv", [head, *left])
    records, _ = connected(tmp_path)
    assert len(records["intakes"]) == len(rows)
    assert len(records["outcomes"]) == len(left)
    assert not len(records.set_aside)
    write_csv(tmp_path / "Current animals.csv", [head[:4], *(line[:4] for line in lines)])
    both, _ = connected(tmp_path)
    assert len(both["intakes"]) == len(rows)
    assert set(both["intakes"]["source_file"]) == {"Current animals.csv"}
    assert len(both["outcomes"]) == len(left)
    assert not len(both.set_aside)
