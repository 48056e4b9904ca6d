"""Whole folders: what connect proposes is read as it is, without a line edited."""

from __future__ import annotations

import csv
import shutil
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook

from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.writing import write

REPO = Path(__file__).parents[3]
SPECIES = ("Leopard gecko", "Corn snake", "Bearded dragon")
GRAMS = {"Leopard gecko": 55, "Corn snake": 480, "Bearded dragon": 350}


def stays(n: int = 18) -> list[dict]:
    """Invented stays: three of them of animals that came back."""
    out = []
    for i in range(n):
        came = date(2024, 1, 3) + timedelta(days=23 * i)
        kind = SPECIES[i % 3]
        left = came + timedelta(days=40 + i) if i % 4 else None
        how = ("Rehomed", "Died", "Transfer")[i % 3] if left else ""
        out.append(
            {
                "animal": f"R{i + 1:03d}",
                "species": kind,
                "sex": "MFU"[i % 3],
                "came": came,
                "why": ("Owner surrender", "Stray", "Seized")[i % 3],
                "left": left,
                "how": how,
                "ill": "Mites" if i % 3 == 0 else "",
                "grams": GRAMS[kind] + i,
            }
        )
    for first in (out[1], out[2], out[3]):
        came = first["left"] + timedelta(days=30)
        out.append({**first, "came": came, "why": "Returned", "left": came + timedelta(days=20), "how": "Rehomed"})
    return sorted(out, key=lambda stay: stay["came"])


def dmy(day: date | None) -> str:
    return f"{day:%d/%m/%Y}" if day else ""


def write_csv(path: Path, rows: list[list]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)


def connected(folder: Path):
    """Propose, write and read; the records and the proposal."""
    proposal = propose(folder)
    write(proposal.body, folder / "records.toml")
    return load(folder), proposal


def key(frame: pd.DataFrame, *columns: str) -> list[tuple]:
    return sorted(map(tuple, frame[list(columns)].astype(str).to_numpy().tolist()))


def test_files_that_link_by_animal_find_the_stay_of_the_day(tmp_path):
    rows = stays()
    write_csv(
        tmp_path / "Animals.csv",
        [["ID No", "Common name", "Gender", "Date in", "Reason in", "Owner Name"]]
        + [[r["animal"], r["species"], r["sex"], dmy(r["came"]), r["why"], "A Person"] for r in rows],
    )
    write_csv(
        tmp_path / "Leavers.csv",
        [["ID No", "Date left", "Where to"]] + [[r["animal"], dmy(r["left"]), r["how"]] for r in rows if r["left"]],
    )
    write_csv(
        tmp_path / "Weights.csv",
        [["ID No", "Date", "Weight (g)"]]
        + [[r["animal"], dmy(r["came"] + timedelta(days=7 * k)), r["grams"] + k] for r in rows for k in range(3)],
    )
    write_csv(
        tmp_path / "Vet log.csv",
        [["ID No", "Problem", "First noticed", "All clear"]]
        + [[r["animal"], r["ill"], dmy(r["came"]), dmy(r["came"] + timedelta(days=9))] for r in rows if r["ill"]],
    )
    records, proposal = connected(tmp_path)
    assert proposal.questions == 0
    assert not len(records.set_aside)
    truth = {f"{r['animal']}-{dmy(r['came'])}": r for r in rows}
    stay = records["intakes"].set_index("stay_id")
    assert set(stay.index) == set(truth)
    assert key(records["outcomes"], "stay_id", "outcome_date") == sorted(
        (s, str(r["left"])) for s, r in truth.items() if r["left"]
    )
    assert key(records["weighings"], "stay_id", "weight_g") == sorted(
        (s, f"{float(r['grams'] + k)}") for s, r in truth.items() for k in range(3)
    )
    assert set(records["conditions"]["stay_id"]) == {s for s, r in truth.items() if r["ill"]}
    assert records["outcomes"]["outcome_type"].value_counts()["adopted"] == sum(r["how"] == "Rehomed" for r in rows)


def test_a_register_below_a_title_and_a_summary_feeds_five_tables(tmp_path):
    rows = stays()
    book = Workbook()
    sheet = book.active
    sheet.title = "Master list"
    for line in (["An invented rescue"], [], ["Animals so far", len(rows)], ["Still here", 5], []):
        sheet.append(line)
    sheet.append(["", "", "Arrival", "", "Departure", "", "", "", ""])
    sheet.merge_cells("C6:D6")
    sheet.merge_cells("E6:F6")
    sheet.append(
        [
            "Ref",
            "Species",
            "Date",
            "Reason",
            "Date",
            "Outcome",
            "Condition on arrival",
            "Weight in (g)",
            "Target weight",
        ]
    )
    for n, r in enumerate(rows):
        target = r["grams"] + 40 if n % 2 else None
        sheet.append(
            [
                f"S{n}",
                r["species"],
                r["came"],
                r["why"],
                r["left"],
                r["how"] or None,
                r["ill"] or None,
                r["grams"],
                target,
            ]
        )
    sheet.append(["Total", len(rows)])
    book.create_sheet("Ideas").append(["a thing to buy"])
    book.save(tmp_path / "Rescue book.xlsx")
    records, proposal = connected(tmp_path)
    assert proposal.questions == 0, proposal.body
    assert not len(records.set_aside)
    assert {name: len(frame) for name, frame in records.tables.items() if len(frame)} == {
        "intakes": 21,
        "outcomes": sum(r["left"] is not None for r in rows),
        "conditions": sum(bool(r["ill"]) for r in rows),
        "weighings": 21,
        "targets": 10,
    }
    assert records["weighings"]["weight_g"].tolist() == [float(r["grams"]) for r in rows]
    assert records["weighings"]["source_row"].tolist() == list(range(8, 29))
    assert (records.accounts["counted"] == records.accounts[records.accounts.columns[4:]].sum(axis=1)).all()


def test_a_sheet_a_year_whose_numbers_begin_anew(tmp_path):
    rows = [r for r in stays(30) if r["why"] != "Returned"]
    book = Workbook()
    book.remove(book.active)
    for year in (2024, 2025):
        sheet = book.create_sheet(str(year))
        sheet.append(["No.", "Animal", "Arrived", "Why", "Left", "Went to"])
        for n, r in enumerate((r for r in rows if r["came"].year == year), start=1):
            sheet.append([n, r["species"], r["came"], r["why"], r["left"], r["how"]])
    book.save(tmp_path / "Log.xlsx")
    records, proposal = connected(tmp_path)
    assert len(records["intakes"]) == len(rows)
    assert len(records["outcomes"]) == sum(r["left"] is not None for r in rows)
    assert records["intakes"]["animal_id"].isna().all()
    assert "begin anew" in proposal.body
    assert not len(records.set_aside)


def test_a_column_for_each_weighing_day_is_turned_long_cell_by_cell(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    write_csv(
        tmp_path / "intakes.csv",
        [["Animal ID", "Species", "Date in", "Intake type"]]
        + [[r["animal"], r["species"], r["came"].isoformat(), r["why"]] for r in rows],
    )
    days = [date(2025, 3, 3) + timedelta(days=7 * k) for k in range(5)]
    cells = [[r["animal"], *(r["grams"] + k if k % 2 == 0 else "" for k in range(5))] for r in rows]
    cells[2][3] = "heavy"
    write_csv(tmp_path / "weekly weights.csv", [["Animal ID", *map(dmy, days)], *cells])
    records, proposal = connected(tmp_path)
    assert 'wide = { into = "weighed_on", values = "weight", headings = "dates" }' in proposal.body
    weighed = records["weighings"]
    assert len(weighed) == 3 * len(rows) - 1
    third = weighed[weighed["stay_id"] == rows[2]["animal"]]
    assert third["weighed_on"].dt.date.tolist() == [days[0], days[4]]
    assert set(third["source_row"]) == {4}
    told = records.findings[records.findings["value"] == "heavy"].iloc[0]
    assert (told["row"], told["column"], told["cell"]) == (4, "17/03/2025", "D4")
    account = records.accounts.set_index("table").loc["weighings"]
    assert account["kept"] + account["set_aside"] == 3 * len(rows)
    assert account["counted"] == 1 + 5 * len(rows)


def test_weights_and_dates_in_pairs_and_by_week(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    later = [r["came"] + timedelta(days=8) for r in rows]
    write_csv(
        tmp_path / "register.csv",
        [["Tag", "Species", "Date of intake", "Source", "Wt 1", "Date 1", "Wt 2", "Date 2", "Wt 3", "Date 3"]]
        + [
            [
                r["animal"],
                r["species"],
                dmy(r["came"]),
                r["why"],
                r["grams"],
                dmy(r["came"]),
                r["grams"] + 3,
                dmy(d),
                "",
                "",
            ]
            for r, d in zip(rows, later, strict=True)
        ],
    )
    write_csv(
        tmp_path / "gecko weights.csv",
        [["Tag", "Date in", "Week 1", "Week 2", "Week 4"]]
        + [[r["animal"], dmy(r["came"]), 50, "", 52] for r in rows if "gecko" in r["species"]],
    )
    records, proposal = connected(tmp_path)
    weighed = records["weighings"]
    assert proposal.questions == 1  # which day the first week is
    assert "first = 1" in proposal.body
    geckos = [r for r in rows if "gecko" in r["species"]]
    assert len(weighed) == 2 * len(rows) + 2 * len(geckos)
    weekly = weighed[weighed["source_file"] == "gecko weights.csv"]
    first = weekly[weekly["stay_id"] == geckos[0]["animal"]]
    assert first["weighed_on"].dt.date.tolist() == [geckos[0]["came"], geckos[0]["came"] + timedelta(days=21)]


def test_tables_side_by_side_or_stacked_are_refused_and_the_others_go_on(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    book = Workbook()
    sheet = book.active
    sheet.title = "Intake"
    sheet.append(["Animal ID", "Species", "Date in", "Intake type"])
    both = book.create_sheet("Both")
    both.append(["Animal ID", "Date", "Weight", None, "Animal ID", "Date moved", "Room"])
    stack = book.create_sheet("Stack")
    stack.append(["Animal ID", "Date weighed", "Weight"])
    for r in rows:
        sheet.append([r["animal"], r["species"], r["came"], r["why"]])
        both.append([r["animal"], r["came"], r["grams"], None, r["animal"], r["came"], "A"])
        stack.append([r["animal"], r["came"], r["grams"]])
    stack.append([])
    stack.append(["Animal ID", "Diagnosis", "Date found", "Cleared"])
    stack.append(["R001", "Mites", date(2024, 2, 2), None])
    book.save(tmp_path / "records.xlsx")
    records, proposal = connected(tmp_path)
    assert len(records["intakes"]) == len(rows)
    assert not len(records["weighings"])
    refused = {one.look.name: one.look.refused for one in proposal.told if one.look.refused}
    assert f"columns E to G, rows 1 to {len(rows) + 1} (Animal ID, Date moved, Room)" in refused["Both"]
    assert f"second table begins in row {len(rows) + 3}," in refused["Stack"]
    assert proposal.questions == 2


def test_files_without_ids_get_made_ones(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    rows[1] = {**rows[1], "species": rows[0]["species"], "came": rows[0]["came"]}
    write_csv(
        tmp_path / "animals.csv",
        [["Species", "Date in", "How came", "Date out", "Outcome", "Sex"]]
        + [[r["species"], dmy(r["came"]), r["why"], dmy(r["left"]), r["how"], r["sex"]] for r in rows],
    )
    records, proposal = connected(tmp_path)
    assert len(records["intakes"]) == len(rows)
    assert len(records["outcomes"]) == sum(r["left"] is not None for r in rows)
    assert "number_repeats = true" in proposal.body
    assert set(records["outcomes"]["stay_id"]) <= set(records["intakes"]["stay_id"])


def test_a_file_for_each_species_takes_the_species_from_its_name(tmp_path):
    rows = [r for r in stays() if r["why"] != "Returned"]
    for kind in SPECIES:
        write_csv(
            tmp_path / f"{kind}s.csv",
            [["Animal no", "Sex", "Date in", "Reason", "Date out", "Fate"]]
            + [
                [r["animal"], r["sex"], dmy(r["came"]), r["why"], dmy(r["left"]), r["how"]]
                for r in rows
                if r["species"] == kind
            ],
        )
    records, _ = connected(tmp_path)
    got = records["intakes"].set_index("animal_id")["species"].to_dict()
    assert got == {r["animal"]: r["species"].lower() for r in rows}


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
