"""A small rescue on disk and a shelf of notebooks of our own, so that building is tested without the demo."""

from __future__ import annotations

import json

import pytest

from mendcurve.documents import notebooks

PARAMETERS = "source: str = ''\nsettings: str | None = None\nas_of: str | None = None\n"
SPAN = "start: str | None = None\nend: str | None = None\npublic: bool = True\n"
LOAD = "import mendcurve as mc\nrecords = mc.load(source, settings=settings, as_of=as_of)"


def cell(text, tags=()):
    kind = "markdown" if text.startswith("#") else "code"
    made = {"cell_type": kind, "id": f"c{abs(hash(text))}", "metadata": {"tags": list(tags)}, "source": text}
    return made | ({"outputs": [], "execution_count": None} if kind == "code" else {})


@pytest.fixture
def shelf(tmp_path, monkeypatch):
    """Return a function that puts a notebook with the given cells on an otherwise empty shelf."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    monkeypatch.setattr(notebooks, "FOLDERS", (folder,))

    def put(name, *cells, parameters=PARAMETERS + SPAN):
        made = [cell("# A question"), cell(parameters, ["parameters"]), cell(LOAD), *map(cell, cells)]
        raw = {"cells": made, "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
        (folder / f"{name}.ipynb").write_text(json.dumps(raw), encoding="utf-8")

    return put


@pytest.fixture
def rescue(tmp_path):
    """Return a folder with two tables, one of whose texts would like to be markup and one a formula."""
    folder = tmp_path / "records"
    folder.mkdir()
    rows = ["stay_id,species,intake_date,intake_type"]
    rows += [f"S-{i},corn snake,2025-{1 + i % 12:02d}-05,surrendered" for i in range(30)]
    rows += ["S-90,<script>alert(1)</script>,2025-06-05,stray", "S-91,=1+1,2025-07-05,stray"]
    (folder / "intakes.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    outcomes = ["stay_id,outcome_date,outcome_type"]
    outcomes += [f"S-{i},2025-12-{1 + i % 28:02d},adopted" for i in range(20)]
    (folder / "outcomes.csv").write_text("\n".join(outcomes) + "\n", encoding="utf-8")
    toml = '[rescue]\nname = "Rescue <b>bold</b> & co"\n[dates]\nas_of = 2025-12-31\nrecords_start = 2025-01-01\n'
    (folder / "records.toml").write_text(toml, encoding="utf-8")
    return folder
