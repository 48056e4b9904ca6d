"""Whatever lies in a folder: a proposal that is valid TOML, or an InputError; never anything else."""

from __future__ import annotations

import csv
import random
import tomllib

import pytest

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.telling import lines_of
from mendcurve.records.connecting.vocabulary import load_vocabulary
from mendcurve.records.connecting.writing import sealed, untouched

HEADINGS = [w for columns in load_vocabulary().headings.values() for words in columns.values() for w in words[:4]]
HEADINGS += ["", "Date", "Date", "ID", "12/03/2024", "Week 1", "Week 2", "Jan", "Feb", "Mar", "Owner name"]
CELLS = ["", "A1", "A2", "12", "3.5", "1,5", "12/03/2024", "2024-03-05", "5/31/24", "corn snake", "stray", "adopted"]
CELLS += ["yes", "-", "n/a", "Total", "#REF!", "é;ü", "1.2.3", "41 g", "=A1", 'q"q', "Week 1", "a\nb", "Jan", "\x07"]
NAMES = ["Animals", "Weights", "Vet log", "Leavers", "Stuff", "moves", "grants", "2024"]


def fill(folder, draw):
    for n in range(draw.randint(1, 3)):
        width = draw.randint(1, 9)
        rows = [
            [draw.choice(CELLS + HEADINGS) for _ in range(draw.randint(0, width))] for _ in range(draw.randint(0, 2))
        ]
        rows.append([draw.choice(HEADINGS) for _ in range(width)])
        columns = [draw.sample(CELLS, 4) for _ in range(width)]
        for _ in range(draw.randint(0, 12)):
            spare = [draw.choice(CELLS)] if draw.random() < 0.05 else []
            rows.append([draw.choice(column) for column in columns] + spare)
        with (folder / f"{draw.choice(NAMES)} {n}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)


@pytest.mark.parametrize("seed", range(25))
def test_a_folder_of_anything(tmp_path, seed):
    fill(tmp_path, random.Random(seed))
    try:
        proposal = propose(tmp_path)
    except InputError as error:
        assert "could be read as records" in str(error)
        return
    assert untouched(sealed(proposal.body))
    tomllib.loads(proposal.body)
    assert lines_of(proposal)
    (tmp_path / "records.toml").write_text(sealed(proposal.body), encoding="utf-8")
    try:
        load(tmp_path)
    except InputError:
        assert proposal.questions
