"""Notebooks as they are kept: thin, in order, without output, found by looking."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest

from mendcurve.documents import notebooks
from mendcurve.documents.parameters import parameters

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
FILES = sorted(FOLDER.glob("*.ipynb"))
QUESTIONS = [path for path in FILES if path.stem not in ("funder_report", "planning_report")]

# REPORTS.md, "Funder report" and "Planning report", in its order.
SECTIONS = {
    "funder_report": [
        "What happened", "Who came in", "How they recovered", "Weight regained", "Where they went", "Care given",
        "What it cost", "One animal’s path", "What we know and do not know", "Cautions",
    ],
    "planning_report": [
        "Today", "Animals to look at", "Cages next quarter", "What if", "Flow", "Recovery by condition",
        "Weights by condition", "Data to mend", "Method, assumptions, cautions",
    ],
}  # fmt: skip
ORDER = ["Answer", "How sure are we", "What is not in here", "Method and source", "Cautions"]
LOGIC = (ast.FunctionDef, ast.Lambda, ast.ClassDef, ast.For, ast.While, ast.If, ast.IfExp, ast.Try, ast.With,
         ast.ListComp, ast.DictComp, ast.SetComp, ast.GeneratorExp)  # fmt: skip


def raw(path):
    return json.loads(path.read_text(encoding="utf-8"))


def code(path):
    return [cell for cell in raw(path)["cells"] if cell["cell_type"] == "code"]


def headings(path, level):
    text = "\n".join("".join(cell["source"]) for cell in raw(path)["cells"] if cell["cell_type"] == "markdown")
    return [line[level + 1 :] for line in text.splitlines() if line.startswith("#" * level + " ")]


def test_there_are_notebooks():
    assert {"funder_report", "planning_report"} < {path.stem for path in FILES}
    assert len(QUESTIONS) >= 6


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_is_kept_without_output_in_one_canonical_form(path):
    made = raw(path)
    assert all(cell["outputs"] == [] and cell["execution_count"] is None for cell in code(path))
    ids = [cell["id"] for cell in made["cells"]]
    assert len(set(ids)) == len(ids)
    text = json.dumps(made, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_code_cell_is_short_and_holds_no_logic(path):
    for cell in code(path):
        source = "".join(cell["source"])
        assert len(source.splitlines()) <= 12, source
        assert not [node for node in ast.walk(ast.parse(source)) if isinstance(node, LOGIC)], source
        assert max(map(len, source.splitlines())) <= 120, source


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_parameters_come_first_and_every_later_cell_shows_something(path):
    first, *rest = code(path)
    assert first["metadata"]["tags"] == ["parameters"]
    known = parameters(notebooks.read(path.stem))
    assert list(known)[:3] == ["source", "settings", "as_of"]
    for cell in rest:
        assert isinstance(ast.parse("".join(cell["source"])).body[-1], ast.Expr)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_has_one_title_cautions_and_where_the_numbers_come_from(path):
    assert len(headings(path, 1)) == 1
    sources = ["".join(cell["source"]) for cell in code(path)]
    assert "mc.cautions()" in sources
    assert "mc.provenance(records)" in sources
    assert "quality.findings(records)" in sources[1]


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_second_level_heading_opens_its_cell_and_a_cell_has_one_at_most(path):
    for cell in raw(path)["cells"]:
        if cell["cell_type"] == "markdown":
            lines = "".join(cell["source"]).splitlines()
            tops = [i for i, line in enumerate(lines) if line.startswith(("# ", "## "))]
            assert tops in ([], [0])


@pytest.mark.parametrize("stem", SECTIONS)
def test_a_report_has_every_section_in_order(stem):
    found = headings(FOLDER / f"{stem}.ipynb", 2)
    assert found[: len(SECTIONS[stem])] == SECTIONS[stem]


@pytest.mark.parametrize("path", QUESTIONS, ids=lambda p: p.stem)
def test_a_question_is_one_and_its_answer_comes_first(path):
    assert headings(path, 1)[0].endswith("?")
    assert headings(path, 2)[: len(ORDER)] == ORDER


def test_the_command_knows_every_notebook_by_name():
    assert set(notebooks.names()) == {"funder", "planning", *(path.stem for path in QUESTIONS)}
    assert notebooks.names()[:2] == ("funder", "planning")
