"""A notebook run without a kernel: what it shows, and what happens when a cell fails."""

from __future__ import annotations

import pytest

from mendcurve.documents.notebooks import Cell, Notebook
from mendcurve.documents.parameters import check, parameters
from mendcurve.documents.running import Failed, Shown, Words, run
from mendcurve.errors import InputError

PARAMETERS = Cell(
    "code", 'start: str | None = None\nsince_days: int = 7\npublic: bool = True\nname: str = "x"', ("parameters",)
)


def notebook(*cells: str) -> Notebook:
    """Cells beginning with # are prose."""
    return Notebook("fake", (PARAMETERS, *(Cell("markdown" if c.startswith("#") else "code", c) for c in cells)))


def shown(done) -> list[object]:
    return [block.value for block in done.blocks if isinstance(block, Shown)]


def test_only_a_last_expression_is_shown_and_names_pass_from_cell_to_cell():
    done = run(notebook("# Title", "a = 2\na + 1", "b = a * 10", "a\nb"), {})
    assert shown(done) == [3, 20]
    assert done.blocks[0] == Words("# Title")


def test_given_parameters_replace_the_defaults():
    assert shown(run(notebook("since_days", "name"), {"since_days": 14})) == [14, "x"]


def test_nothing_and_empty_text_show_nothing():
    assert shown(run(notebook("None", '""'), {})) == []


def test_a_failing_cell_stops_nothing_else_and_says_why():
    done = run(notebook("## One", "1 / 0", "## Two", "2"), {})
    assert [type(b) for b in done.blocks] == [Words, Failed, Words, Shown]
    assert "division by zero" in done.failures[0].why
    assert done.failures[0].trouble.startswith("ZeroDivisionError")


def test_what_needs_a_lost_result_is_passed_over_once_a_section():
    done = run(notebook("## One", "a = 1 / 0", "a", "a + 1", "## Two", "a", "a", "3"), {})
    assert [f.why.split(" ")[0] for f in done.failures] == ["Mendcurve", "It"]
    assert shown(done) == [3]


def test_a_lost_result_made_again_is_there_again():
    assert shown(run(notebook("## One", "a = 1 / 0", "a = 4", "a"), {})) == [4]


def test_an_input_error_in_a_cell_is_told_in_its_own_words():
    text = 'from mendcurve.errors import InputError\nraise InputError("Grants must be recorded.", ["none is"])'
    done = run(notebook("## One", text), {})
    assert done.failures[0].why == "Grants must be recorded.\n  none is"


def test_progress_ends_at_all_cells():
    calls = []
    run(notebook("1", "2"), {}, progress=lambda done, of: calls.append((done, of)))
    assert calls == [(0, 3), (1, 3), (2, 3), (3, 3)]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"periodstart": "2025-01-01"}, 'takes no "periodstart"'),
        ({"since": 7}, 'Did you mean "since_days"'),
        ({"since_days": "7"}, '"since_days" of the report "fake" must be a whole number'),
        ({"since_days": True}, "must be a whole number"),
        ({"public": 1}, "must be yes or no"),
        ({"start": 2025}, "must be text or left out"),
    ],
)
def test_a_wrong_parameter_is_refused_before_any_cell_runs(given, says):
    ran = []
    with pytest.raises(InputError, match=says):
        run(notebook("1"), given, progress=lambda done, of: ran.append(done))
    assert ran == []


@pytest.mark.parametrize("line", ["a = 1", "a: int", "a: int = 1 + 1", "import os"])
def test_a_parameters_cell_holds_only_typed_values(line):
    with pytest.raises(ValueError):
        parameters(Notebook("fake", (Cell("code", line, ("parameters",)),)))


def test_parameters_keep_the_order_of_the_cell():
    assert list(check(notebook("1"), {})) == ["start", "since_days", "public", "name"]
