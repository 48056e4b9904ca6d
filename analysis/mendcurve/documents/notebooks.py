"""Where the notebooks are, what they are called, and what is in one."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import nbformat

from mendcurve.errors import InputError, nearest

PACKAGE = Path(__file__).resolve().parents[1]
# In a wheel the notebooks lie inside the package, in a source checkout beside analysis/.
FOLDERS = (PACKAGE / "notebooks", PACKAGE.parents[1] / "notebooks")
# What the command calls the two reports.
SHORT = {"funder": "funder_report", "planning": "planning_report"}
REPORTS = ("funder", "planning")


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: ``kind`` is "markdown" or "code"; ``text`` its source; ``tags`` its tags."""

    kind: str
    text: str
    tags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Notebook:
    """A notebook: its ``name`` (as in the command) and its ``cells``."""

    name: str
    cells: tuple[Cell, ...]

    @property
    def title(self) -> str:
        """The question it answers: the first heading."""
        lines = (line for cell in self.cells if cell.kind == "markdown" for line in cell.text.splitlines())
        return next((line[2:].strip() for line in lines if line.startswith("# ")), self.name)


def folder() -> Path:
    """Return the folder the notebooks are in.

    Raises
    ------
    InputError
        If the installation has none.
    """
    for place in FOLDERS:
        if any(place.glob("*.ipynb")):
            return place
    raise InputError("The notebooks are part of Mendcurve, but none are installed.", remedy="Install Mendcurve again.")


def names() -> tuple[str, ...]:
    """Return what ``report`` can be asked for: the two reports first, then the questions by name."""
    found = {path.stem for path in folder().glob("*.ipynb")}
    return (*(short for short, stem in SHORT.items() if stem in found), *sorted(found - set(SHORT.values())))


def read(name: str) -> Notebook:
    """Read the notebook called ``name`` ("funder", "planning", or a file's name with or without its ending).

    Raises
    ------
    InputError
        If there is none of that name; the nearest known is named.
    """
    asked = name.removesuffix(".ipynb").replace("-", "_")
    stem = SHORT.get(asked, asked)
    path = folder() / f"{stem}.ipynb"
    if not path.is_file():
        known = names()
        raise InputError(
            f'There is no report called "{name}".',
            [f"known: {', '.join((*known, 'all'))}"],
            f"Use one of these names.{nearest(asked, (*known, 'all'))}",
        )
    raw = nbformat.read(path, as_version=4)
    cells = tuple(Cell(c.cell_type, c.source, tuple(c.metadata.get("tags", ()))) for c in raw.cells)
    back = {full: short for short, full in SHORT.items()}
    return Notebook(back.get(stem, stem), cells)
