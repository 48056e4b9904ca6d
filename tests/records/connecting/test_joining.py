"""Species and sex on a sheet of animals, days on a sheet of admissions: connect proposes more_from."""

from __future__ import annotations

from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.writing import write

KINDS = ("corn snake", "axolotl", "leopard gecko")


def folder(tmp_path, *, lost=0):
    """Twenty animals, each with one stay, three with a second; ``lost`` of them without a row among the animals."""
    animals = [f"A{i:02d},{KINDS[i % 3]},{'fm'[i % 2]},{i}" for i in range(lost, 20)]
    stays = [(f"A{i:02d}", f"{1 + i:02d}/03/2024", "stray") for i in range(20)]
    stays += [(f"A{i:02d}", f"{14 + i}/05/2024", "returned") for i in (1, 2, 3)]
    lines = [f"S{n},{animal},{day},{why}" for n, (animal, day, why) in enumerate(stays, start=1)]
    (tmp_path / "Animals.csv").write_text("\n".join(["Animal No,Kind,Sex,Page", *animals]))
    (tmp_path / "Admissions.csv").write_text("\n".join(["Adm No,Animal No,Date in,Reason in", *lines]))
    weights = ["Animal No,Date,Weight (g)", "A01,20/03/2024,55", "A01,20/05/2024,57"]
    (tmp_path / "Weights.csv").write_text("\n".join(weights))
    return tmp_path


def test_species_and_sex_are_looked_up_on_the_sheet_of_animals(tmp_path):
    proposal = propose(folder(tmp_path))
    assert 'more_from = { file = "Animals.csv", match = { "Animal No" = "Animal No" } }' in proposal.body
    assert "Admissions.csv looks up its columns" in proposal.body
    assert proposal.questions == 0
    write(proposal.body, tmp_path / "records.toml")
    records = load(tmp_path)
    intakes = records["intakes"].set_index("stay_id")
    assert len(intakes) == 23
    assert not len(records.set_aside)
    assert intakes.loc["S2", ["animal_id", "species", "sex"]].tolist() == ["A01", "axolotl", "male"]
    assert intakes.loc["S21", "species"] == "axolotl"
    # The weights name the animal: each goes to the stay of its day.
    assert records["weighings"]["stay_id"].tolist() == ["S2", "S21"]


def test_sheets_that_share_too_few_keys_are_not_joined(tmp_path):
    proposal = propose(folder(tmp_path, lost=4))
    assert "more_from" not in proposal.body
