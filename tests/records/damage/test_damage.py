"""Records damaged in known ways: the clean ones come back, or a finding at each damaged cell."""

from __future__ import annotations

import csv
import io
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from mendcurve.__main__ import app
from mendcurve.records import load
from mendcurve.records.schemas import TABLES
from records.damage.clean import clean
from records.damage.drafts import BOOK, CSV, draft_of, write
from records.damage.judging import Hit, check_whole, wrong_cells
from records.damage.kinds import KINDS, any_of
from records.damage.running import damaged, printed, read, table

FORMS = st.sampled_from((CSV, BOOK))
SEEDS = st.integers(0, 2**31)
DEMO = Path(__file__).resolve().parents[3] / "data_demo" / "csv"


def ci(examples: int) -> settings:
    """Return the settings of every test here: the same few examples each time; shrinking one would take minutes."""
    return settings(
        max_examples=examples,
        derandomize=True,
        deadline=None,
        database=None,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
    )


def test_there_are_kinds_enough_and_each_says_what_it_misses():
    assert len(KINDS) >= 35
    for kind in KINDS.values():
        assert kind.right
        assert (kind.floor < 1) == bool(kind.missed), kind.name


def test_every_column_of_every_table_is_used_in_clean_records():
    rows = clean(1).rows
    for name, known in TABLES.items():
        for column in known.names:
            assert any(row[column] not in (None, False) for row in rows[name]), (name, column)


@ci(4)
@given(seed=SEEDS, form=FORMS, stays=st.integers(3, 50))
def test_clean_records_come_back_as_they_are_with_nothing_to_find(seed, form, stays):
    draft = draft_of(clean(seed, stays), form, seed)
    reading = read(draft)
    assert reading.refusal is None
    assert check_whole(reading, []) == []
    assert not reading.named
    assert not reading.aside
    for name, sheet in draft.sheets.items():
        assert len(reading.tables[name]) == len(sheet.rows)
        for line in sheet.rows:
            assert wrong_cells(reading, line, reading.tables[name].loc[reading.where[id(line)][2]]) == []


@ci(10)
@given(
    seed=SEEDS,
    form=FORMS,
    stays=st.integers(6, 40),
    kinds=st.lists(st.sampled_from(sorted(KINDS)), min_size=1, max_size=12, unique=True),
)
def test_whatever_the_damage_no_row_is_lost_and_no_other_cell_changes(seed, form, stays, kinds):
    draft, hits = damaged(seed, form, [KINDS[name] for name in kinds], stays)
    assert check_whole(read(draft), hits) == []


# Texts that parsers of numbers, dates and codes stumble over.
NASTY = r"""
inf nan NaN -0 0x10 1_000 1e5 1E400 ½ ² ٣ ١٢/٠٣/٢٠٢٤ Ⅷ 0000-00-00 9999-12-31 1900-02-29 99/99/99 1/1/1 24:00 12:30
2024-W05 29/2/2023 1.2.3.4.5 -- ( ) [] {} {0} %s %d \ \n ' "" ;;; ,,, ||| => += -1 +1 #N/A #REF! TRUE false None null
1,5,5 1.234.567,8 12'34 €5 5€ (5) 5- kg 5kgkg 5lb5 5lb5oz5 0lb0oz 2-3-4 3-2 1.0.0 ?.?.? ~ ~~5 5?? 🦎 龟 ́ 1⁄2
"""
TEXTS = st.one_of(
    st.sampled_from(NASTY.split()),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12),
    st.from_regex(r"[-+~]?[0-9.,'/ -]{1,12}(kg|g|oz|lb|am|h|Z)?[?]?", fullmatch=True),
    st.just("x" * 1_000),
)


@ci(4)
@given(seed=SEEDS, form=FORMS, texts=st.lists(TEXTS, min_size=20, max_size=60))
def test_any_text_in_any_cell_is_no_error_and_changes_no_other_cell(seed, form, texts):
    draft = draft_of(clean(seed, 12), form, seed)
    hits = []
    for text in texts:
        sheet = any_of(draft, [sheet for sheet in draft.sheets.values() if sheet.rows])
        line, column = any_of(draft, sheet.rows), any_of(draft, sheet.columns)
        line.cells[column] = text
        draft.busy |= {other.who for other in sheet.rows}
        hits.append(Hit("", sheet.table, line, column))
    assert check_whole(read(draft), hits) == []


@pytest.mark.slow
def test_the_table_of_damage_kinds():
    found, wrong = table(seeds=6, lone_seeds=1)
    print("\n" + printed(found))
    assert wrong == []
    short = {}
    for name, counts in found.items():
        kind = KINDS[name]
        assert counts.total(), name
        share = sum(counts[outcome] for outcome in kind.right) / counts.total()
        if share < kind.floor:
            short[name] = dict(counts)
    assert short == {}


@pytest.mark.parametrize("form", (CSV, BOOK))
def test_nothing_of_a_person_is_in_what_check_prints_and_writes(form, tmp_path):
    names = ("person_in_note", "person_in_code", "people_column", "duplicated_row", "code_unknown", "newline_in_note")
    draft, _ = damaged(3, form, [KINDS[name] for name in names], 12)
    assert draft.secrets
    write(draft, tmp_path / "records")
    done = CliRunner().invoke(app, ["check", str(tmp_path / "records"), "--out", str(tmp_path / "out")])
    assert done.exit_code in (0, 1), done.output
    written = [path for path in (tmp_path / "out").rglob("*") if path.is_file()]
    assert written
    texts = {path.name: _all_text(path) for path in written} | {"printed": done.output}
    for secret in draft.secrets:
        assert [name for name, text in texts.items() if secret in text] == []


def _all_text(path: Path) -> str:
    if not zipfile.is_zipfile(path):
        return path.read_text(encoding="utf-8")
    with zipfile.ZipFile(path) as book:
        return "".join(book.read(name).decode("utf-8", errors="replace") for name in book.namelist())


def _rows(change: Callable[[list[list[str]]], list[list[str]]]) -> Callable[[bytes], bytes]:
    def on_bytes(raw: bytes) -> bytes:
        out = io.StringIO()
        csv.writer(out).writerows(change(list(csv.reader(io.StringIO(raw.decode("utf-8"), newline="")))))
        return out.getvalue().encode("utf-8")

    return on_bytes


def _delimited(raw: bytes, sign: str) -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=sign).writerows(csv.reader(io.StringIO(raw.decode("utf-8"), newline="")))
    return out.getvalue().encode("utf-8")


# Damage to whole files that must change nothing at all.
HARMLESS: tuple[Callable[[bytes], bytes], ...] = (
    lambda raw: raw.decode("utf-8").encode("utf-16"),
    lambda raw: b"\xef\xbb\xbf" + raw,
    lambda raw: raw.replace(b"\r\n", b"\n").replace(b"\n", b"\r"),
    lambda raw: _delimited(raw, ";"),
    lambda raw: _delimited(raw, "\t"),
    _rows(lambda rows: [[f" {cell}\u00a0" if cell else cell for cell in row] for row in rows]),
    _rows(lambda rows: [[cell.upper().replace("_", "  ") for cell in rows[0]], *rows[1:]]),
    _rows(lambda rows: [["Our animals"], [], *rows]),
    _rows(lambda rows: [*rows[:4], [], [], *rows[4:]]),
    _rows(lambda rows: [*rows[:9], rows[0], *rows[9:]]),
    _rows(lambda rows: [[*row[::-1]] for row in rows]),
    _rows(lambda rows: [*rows, [""] * len(rows[0]), []]),
)


@pytest.mark.parametrize("seed", range(2))
def test_damaged_copies_of_the_demo_give_the_same_records_and_findings(seed, demo, tmp_path):
    draw = np.random.default_rng(seed)
    shutil.copy(DEMO / "records.toml", tmp_path)
    order = draw.permutation(len(HARMLESS))
    for nth, path in enumerate(sorted(DEMO.glob("*.csv"))):
        (tmp_path / path.name).write_bytes(HARMLESS[order[nth % len(order)]](path.read_bytes()))
    found = load(tmp_path)
    for name in TABLES:
        ours, theirs = (r[name].drop(columns=["source_row"]) for r in (found, demo))
        assert ours.equals(theirs), name
    assert len(found.set_aside) == len(demo.set_aside)
    assert _said(found) == _said(demo)


def _said(records) -> list[tuple[str, ...]]:
    rows = records.cells[~records.cells["rule"].str.contains("UTF-8|heading|row", regex=True)]
    return sorted(zip(rows["table"], rows["column"].str.casefold(), rows["value"], rows["effect"], strict=True))
