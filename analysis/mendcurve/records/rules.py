"""How untidy spreadsheets are read: one rule for each thing that may be found (``rules.csv``). Each has a
proof in the tests."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from importlib import resources
from io import StringIO

from mendcurve.records.findings import CHANGED, DOUBTFUL, NOTE, SET_ASIDE

NOTHING_SAID = "read"
ASKED = "asked"
MEANING = {
    NOTHING_SAID: "can be read in one way only, and nothing is said",
    NOTE: "read as it stands, and said",
    CHANGED: "read as something else than is typed (often as an empty cell), and said",
    DOUBTFUL: "kept and marked: have a look",
    SET_ASIDE: "the row is in no report; it is listed with its text",
    ASKED: "nothing is read until you say what is meant",
}


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of reading.

    Attributes
    ----------
    name : str
    found : str
        What may be found.
    example : str
        For a rule about cells, a cell as it is typed; else a description.
    read : str
        How it is read.
    effect : str
        One of ``MEANING``.
    """

    name: str
    found: str
    example: str
    read: str
    effect: str


def _rules() -> tuple[Rule, ...]:
    text = resources.files("mendcurve.records").joinpath("rules.csv").read_text(encoding="utf-8")
    return tuple(Rule(**line) for line in csv.DictReader(StringIO(text, newline="")))


RULES: tuple[Rule, ...] = _rules()


def rules_text() -> str:
    """Return the rules as plain text for a terminal: name, what may be found, how it is read, effect."""
    lines = ["How untidy spreadsheets are read", ""]
    for rule in RULES:
        lines += [f"{rule.name}: {rule.found}", f"    e.g. {_plain(rule.example)}", f"    {rule.read}  [{rule.effect}]"]
    return "\n".join([*lines, "", *(f"[{effect}] {meaning}" for effect, meaning in MEANING.items())])


def rules_table() -> str:
    """Return the rules as a table in Markdown."""
    rows = [
        "| rule | what may be found | for example | how it is read | effect |",
        "| --- | --- | --- | --- | --- |",
    ]
    for rule in RULES:
        cells = (rule.name, rule.found, f"`{_plain(rule.example)}`", rule.read, rule.effect)
        rows.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(rows)


def _plain(example: str) -> str:
    return example.replace("\n", "\u21b5").replace("\u00a0", " ").strip()
