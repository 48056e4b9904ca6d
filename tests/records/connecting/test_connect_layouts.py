"""Whole folders: what connect proposes is read as it is, without a line edited."""

from __future__ import annotations

from datetime import date, timedelta

from openpyxl import Workbook

from records.connecting.invented import SPECIES, connected, dmy, key, stays, write_csv


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
