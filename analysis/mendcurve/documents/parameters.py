"""The parameters cell of a notebook: a typed, closed list."""

from __future__ import annotations

import ast
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mendcurve.documents.notebooks import Notebook
from mendcurve.errors import InputError, nearest

TYPES: dict[str, type] = {"str": str, "int": int, "bool": bool, "float": float, "None": type(None)}
WORDS = {str: "text", int: "a whole number", bool: "yes or no", float: "a number", type(None): "left out"}


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter: its ``name``, the ``kinds`` of value it takes and its ``default``."""

    name: str
    kinds: tuple[type, ...]
    default: Any


def parameters(notebook: Notebook) -> dict[str, Parameter]:
    """Return the parameters of ``notebook`` by name, from its cell tagged "parameters".

    Raises
    ------
    ValueError
        If the cell holds anything but lines ``name: type = value``: a mistake in the notebook.
    """
    cells = [cell for cell in notebook.cells if "parameters" in cell.tags]
    if len(cells) != 1:
        raise ValueError(f'Notebook "{notebook.name}" must have one cell tagged "parameters".')
    return {p.name: p for p in map(_parameter, ast.parse(cells[0].text).body)}


def _parameter(line: ast.stmt) -> Parameter:
    if not (isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name) and line.value is not None):
        raise ValueError(f"A parameter is written 'name: type = value', not {ast.unparse(line)!r}.")
    kinds = tuple(TYPES[word.strip()] for word in ast.unparse(line.annotation).split("|"))
    return Parameter(line.target.id, kinds, ast.literal_eval(line.value))


def check(notebook: Notebook, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return the value of every parameter: the given ones checked, the others at their default.

    Raises
    ------
    InputError
        For a name the notebook does not have (the nearest known is named) or a value of the wrong kind.
    """
    known = parameters(notebook)
    for name, value in given.items():
        if name not in known:
            raise InputError(
                f'The report "{notebook.name}" takes no "{name}".',
                [f"it takes: {', '.join(known)}"],
                f"Leave it out or correct its name.{nearest(name, known)}",
            )
        if type(value) not in known[name].kinds:
            kinds = " or ".join(WORDS[kind] for kind in known[name].kinds)
            raise InputError(
                f'"{name}" of the report "{notebook.name}" must be {kinds}.', [f"{value!r} was given"], "Correct it."
            )
    return {name: given.get(name, parameter.default) for name, parameter in known.items()}
