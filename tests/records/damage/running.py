"""Damage done, records read, and the table of what became of it."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from mendcurve.errors import InputError
from mendcurve.records import load
from records.damage import books, cells, dates, files, filled, rows, weights  # noqa: F401 - they enter their kinds
from records.damage.clean import clean
from records.damage.drafts import BOOK, CSV, Draft, draft_of, write
from records.damage.judging import OUTCOMES, Hit, Reading, check_whole, verdicts
from records.damage.kinds import KINDS, Kind

# Animals enough that each kind of damage finds one that no other has touched.
STAYS = 160
_SCOPES = ("alone", "sheet", "cell")


def damaged(seed: int, form: str, kinds: Iterable[Kind], stays: int) -> tuple[Draft, list[Hit]]:
    """Return a clean rescue with damage done to it, and what was damaged."""
    draft = draft_of(clean(seed, stays), form, seed)
    chosen = [kind for kind in kinds if form in kind.forms]
    chosen = [chosen[i] for i in draft.draw.permutation(len(chosen))]
    hits: list[Hit] = []
    for kind in sorted(chosen, key=lambda k: _SCOPES.index(k.scope)):
        hits += kind.hits(draft)
    return draft, hits


def read(draft: Draft) -> Reading:
    """Return the records of a draft as the reader reads them; any exception but InputError is a fault."""
    with tempfile.TemporaryDirectory() as folder:
        where = write(draft, Path(folder))
        try:
            return Reading(draft, where, load(folder))
        except InputError as refusal:
            return Reading(draft, where, None, refusal)


def table(seeds: int, lone_seeds: int) -> tuple[dict[str, Counter[str]], list[str]]:
    """Return by kind what became of its cells, and what did not hold that must."""
    found: dict[str, Counter[str]] = {name: Counter() for name in KINDS}
    wrong: list[str] = []
    together = [kind for kind in KINDS.values() if kind.scope != "alone"]
    runs = [
        *((CSV, seed, together) for seed in range(seeds)),
        *((BOOK, seed, together) for seed in range(500, 500 + seeds // 2)),
        *(
            (form, 1000 + seed, [kind])
            for kind in KINDS.values()
            for form in kind.forms[:1]
            for seed in range(lone_seeds)
            if kind.scope == "alone"
        ),
    ]
    for form, seed, kinds in runs:
        draft, hits = damaged(seed, form, kinds, STAYS)
        reading = read(draft)
        if reading.refusal is not None and len(kinds) > 1:
            wrong.append(f"{form} {seed}: refused: {reading.refusal}")
        wrong += [f"{form} {seed}: {line}" for line in check_whole(reading, hits)]
        for hit, outcome in verdicts(reading, hits):
            found[hit.kind][outcome] += 1
    return found, wrong


def printed(found: dict[str, Counter[str]]) -> str:
    """Return the table of damage kinds as text."""
    head = f"{'kind of damage':<76}{'cells':>6}" + "".join(f"{name:>10}" for name in OUTCOMES)
    lines = [head]
    for name, counts in found.items():
        numbers = "".join(f"{counts[outcome] or '':>10}" for outcome in OUTCOMES)
        lines.append(f"{KINDS[name].what[:75]:<76}{counts.total():>6}{numbers}")
    total: Counter[str] = sum(found.values(), Counter())
    lines.append(f"{f'{len(found)} kinds':<76}{total.total():>6}" + "".join(f"{total[o]:>10}" for o in OUTCOMES))
    return "\n".join(lines)
