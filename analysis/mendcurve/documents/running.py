"""Run a notebook's cells in this process and keep what each shows: no kernel is needed for a report."""

from __future__ import annotations

import ast
import builtins
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from mendcurve.documents import parameters
from mendcurve.documents.notebooks import Cell, Notebook
from mendcurve.errors import InputError

# What a cell may fail with; an interrupt and the end of the process pass through.
FAILURES = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    ImportError,
    LookupError,
    MemoryError,
    NameError,
    OSError,
    RuntimeError,
    TypeError,
    ValueError,
    Warning,
)


@dataclass(frozen=True, slots=True)
class Words:
    """Prose: the markdown ``text`` of a cell."""

    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """The ``value`` of a code cell's last line."""

    value: Any


@dataclass(frozen=True, slots=True)
class Failed:
    """A code cell that could not be run: ``why``, in words; ``trouble`` for whoever mends it."""

    why: str
    trouble: str


Block = Words | Shown | Failed


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """What a notebook showed.

    Attributes
    ----------
    notebook : Notebook
    blocks : tuple of Block
        In order: prose, values and failures.
    names : dict
        What the cells left behind.
    """

    notebook: Notebook
    blocks: tuple[Block, ...]
    names: dict[str, Any]

    @property
    def failures(self) -> tuple[Failed, ...]:
        """The cells that could not be run."""
        return tuple(block for block in self.blocks if isinstance(block, Failed))


@dataclass(slots=True)
class _State:
    names: dict[str, Any]
    lost: set[str] = field(default_factory=set)
    section_failed: bool = False


def run(
    notebook: Notebook, given: Mapping[str, Any], *, progress: Callable[[int, int], None] = lambda done, of: None
) -> Run:
    """Run every cell of ``notebook`` with the ``given`` parameters.

    A cell that fails stops no other: its place says what could not be made and why, and cells that need what it
    would have made are passed over, once a section.

    Parameters
    ----------
    notebook : Notebook
    given : mapping
        Parameters by name; the others keep the notebook's default.
    progress : callable
        Called with the cells done and the cells there are.

    Raises
    ------
    InputError
        If a parameter is unknown or of the wrong kind, before any cell is run.
    """
    values = parameters.check(notebook, given)
    state = _State({"__name__": notebook.name, "__builtins__": builtins})
    blocks: list[Block] = []
    for done, cell in enumerate(notebook.cells):
        progress(done, len(notebook.cells))
        block = _run_cell(cell, state, values)
        if block is not None:
            blocks.append(block)
    progress(len(notebook.cells), len(notebook.cells))
    return Run(notebook, tuple(blocks), state.names)


def _run_cell(cell: Cell, state: _State, values: Mapping[str, Any]) -> Block | None:
    if cell.kind != "code":
        # A new section starts with a clean sheet, so that its own failure is told of.
        state.section_failed = state.section_failed and not cell.text.lstrip().startswith("#")
        return Words(cell.text)
    if "parameters" in cell.tags:
        state.names.update(values)
        return None
    tree = ast.parse(cell.text)
    missing = sorted(_named(tree, ast.Load) & state.lost)
    if missing:
        state.lost |= _named(tree, ast.Store)
        return _fail(state, "It needs a result from above that could not be made.", f"needs {', '.join(missing)}")
    try:
        value = _execute(tree, state.names, cell.text)
    except FAILURES as error:
        state.lost |= _named(tree, ast.Store)
        return _fail(state, _in_words(error), f"{type(error).__name__}: {error}")
    state.lost -= _named(tree, ast.Store)
    return None if value is None or (isinstance(value, str) and not value) else Shown(value)


def _fail(state: _State, why: str, trouble: str) -> Failed | None:
    if state.section_failed:
        return None
    state.section_failed = True
    return Failed(why, trouble)


def _named(tree: ast.Module, how: type[ast.expr_context]) -> set[str]:
    return {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, how)}


def _execute(tree: ast.Module, names: dict[str, Any], text: str) -> Any:
    """Execute all statements but a last expression, which is evaluated and returned."""
    last = tree.body[-1] if tree.body else None
    shown = last.value if isinstance(last, ast.Expr) else None
    head = tree.body if shown is None else tree.body[:-1]
    where = text.splitlines()[0] if text else "cell"
    exec(compile(ast.Module(body=head, type_ignores=[]), f"<{where}>", "exec"), names)
    return None if shown is None else eval(compile(ast.Expression(shown), f"<{where}>", "eval"), names)


def _in_words(error: BaseException) -> str:
    if isinstance(error, InputError):
        return str(error)
    if isinstance(error, MemoryError):
        return "This computer has too little memory for it."
    return f"Mendcurve met a fault of its own ({type(error).__name__}): {error}"
