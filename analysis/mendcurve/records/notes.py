"""What is found while a file, row or cell is opened, before it is known which table it is of."""

from __future__ import annotations

from dataclasses import dataclass

from mendcurve.records.findings import CHANGED

# What a spreadsheet shows in a cell it cannot work out, and writes into text files.
ERRORS = frozenset(
    (
        "#N/A",
        "#REF!",
        "#VALUE!",
        "#DIV/0!",
        "#NAME?",
        "#NUM!",
        "#NULL!",
        "#SPILL!",
        "#CALC!",
        "Err:502",
        "Err:508",
        "Err:522",
    )
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Note:
    """Something found while a cell, row or file was opened."""

    rule: str
    what_to_do: str
    row: int | None = None
    column: str = ""
    value: str = ""
    effect: str = "note"


def error_note(row: int, column: str, value: str) -> Note:
    """Return the finding of a cell that holds an error."""
    return Note(
        row=row,
        column=column,
        value=value,
        effect=CHANGED,
        rule="a cell must hold a value; this one shows an error and is read as empty",
        what_to_do="Correct the formula, or type the value.",
    )
