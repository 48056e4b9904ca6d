"""A day book: one line for each thing that happened, read as intakes, outcomes, conditions and weighings."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.writing import write


def lines(n=8, came="Arrived"):
    """Return invented lines: each animal comes, is ill, weighed twice and leaves; the first comes back."""
    out = []
    for i in range(n):
        day = date(2024, 1, 10) + timedelta(days=11 * i)
        pet = f"T{i + 1:02d}"
        out += [
            (day, pet, came, ("found in garden", "handed in")[i % 2], f"{200 + i} g"),
            (day + timedelta(days=2), pet, "Noticed", ("mites, severe", "burn (mild)")[i % 2], ""),
            (day + timedelta(days=3), pet, "Pills", "as the vet says", "1 dose"),
            (day + timedelta(days=9), pet, "Weighed", "", f"{210 + i} g"),
            (day + timedelta(days=30), pet, ("Adopted", "Died")[i % 2], "", ("\u00a320", "")[i % 2]),
        ]
    day = date(2024, 6, 1)
    out += [(day, "T01", came, "found in garden", "230 g"), (day + timedelta(days=4), "T01", "wieghed", "", "236 g")]
    return sorted(out)


def folder(tmp_path, **more):
    body = [f'{day:%d/%m/%Y},{pet},{event},"{detail}",{amount}' for day, pet, event, detail, amount in lines(**more)]
    (tmp_path / "Log.csv").write_text("\n".join(["When,Tag,What happened,Detail,Amount", *body]))
    kinds = [f"T{i + 1:02d},{('corn snake', 'axolotl')[i % 2]},f" for i in range(8)]
    (tmp_path / "animals.csv").write_text("\n".join(["Tag,Kind,Sex", *kinds]))
    return tmp_path


def test_each_kind_of_event_feeds_its_table(tmp_path):
    proposal = propose(folder(tmp_path))
    assert proposal.tables == ("intakes", "outcomes", "conditions", "weighings")
    assert '"Pills" (8)' in proposal.body
    write(proposal.body, tmp_path / "records.toml")
    records = load(tmp_path)
    assert not len(records.set_aside)
    intakes = records["intakes"].sort_values("intake_date")
    assert len(intakes) == 9
    assert intakes["species"].tolist() == ["corn snake", "axolotl"] * 4 + ["corn snake"]
    assert intakes["intake_type"].tolist() == ["stray", "surrendered"] * 4 + ["stray"]
    assert records["outcomes"]["outcome_type"].tolist() == ["adopted", "died"] * 4
    assert sorted(records["weighings"]["weight_g"]) == sorted([*range(200, 208), *range(210, 218), 230, 236])
    second = records["weighings"].query("weight_g == 236")["stay_id"].tolist()
    assert second == ["T01-01/06/2024"]
    assert records["conditions"]["condition"].tolist() == ["mites", "burn"] * 4
    assert records["conditions"]["severity"].tolist() == ["severe", "mild"] * 4


def test_a_day_book_without_a_known_arrival_says_what_it_is_and_what_to_do(tmp_path):
    (told, *_) = [t for t in propose(folder(tmp_path, came="Hello")).told if t.look.file == "Log.csv"]
    (said,) = told.taken.doubts
    assert "day book" in told.taken.reasons[0]
    assert '"Hello" (9)' in said
    assert "event,intakes,,,Hello" in said


def test_a_word_of_the_rescues_own_can_be_given_as_an_event(tmp_path):
    folder(tmp_path, came="Hello")
    (tmp_path / "synonyms.csv").write_text("kind,table,column,ours,theirs\nevent,intakes,,,Hello\n")
    proposal = propose(tmp_path)
    write(proposal.body, tmp_path / "records.toml")
    assert len(load(tmp_path)["intakes"]) == 9


@pytest.mark.parametrize("head", ["Tag,Kind,Date in,Reason in,Date out,Outcome"])
def test_a_register_with_outcomes_is_no_day_book(tmp_path, head):
    rows = [f"T{i},axolotl,{i + 1:02d}/03/2024,stray,{i + 13}/04/2024,adopted" for i in range(9)]
    (tmp_path / "Log.csv").write_text("\n".join([head, *rows]))
    proposal = propose(tmp_path)
    assert "only_where" not in proposal.body
    assert proposal.tables == ("intakes", "outcomes")
