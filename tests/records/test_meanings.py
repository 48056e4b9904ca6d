"""A meaning taken without asking is told once a column, with its cells."""

from __future__ import annotations

from decimal import Decimal

from mendcurve.records import load

INTAKES = "stay_id,species,intake_date,intake_type\nS-1,corn snake,2026-03-01,stray\n"
SPENDING = (
    "spent_on,amount,category\n2026-03-02,(20.00),food\n2026-03-03,(5.00),food\n2026-03-04,7.50-,medical\n"
    "2026-03-05,-3.00,Medical\n2026-03-06,4.00,running\n"
)


def read(tmp_path, toml="", **files):
    for name, text in {"intakes": INTAKES, **files}.items():
        (tmp_path / f"{name}.csv").write_text(text)
    (tmp_path / "records.toml").write_text(f"[dates]\nas_of = 2026-03-31\nrecords_start = 2026-01-01\n{toml}")
    return load(tmp_path)


def said(records):
    return dict(zip(records.findings["rule"], records.findings["column"], strict=True))


def test_brackets_and_words_are_told_once_a_column_with_their_cells(tmp_path):
    records = read(tmp_path, spending=SPENDING)
    assert records["spending"]["amount"].tolist()[:3] == [Decimal("-20.00"), Decimal("-5.00"), Decimal("-7.50")]
    assert said(records) == {
        "2 cells hold an amount in brackets, which is read as below zero": "amount",
        "1 cell holds an amount with a minus behind it, which is read as below zero": "amount",
        '2 cells hold a word that is read as one of ours: "food" as "running" (2)': "category",
    }
    assert set(records.findings["effect"]) == {"note"}
    assert records.findings["row"].isna().all()


def test_a_word_the_rescue_has_explained_is_told_nowhere(tmp_path):
    toml = '[tables.spending]\ncodes.category = {food = "running"}\n'
    records = read(tmp_path, toml, spending=SPENDING)
    assert "category" not in said(records).values()


def test_gr_may_be_grains_and_is_told(tmp_path):
    records = read(tmp_path, weighings="stay_id,weighed_on,weight\nS-1,2026-03-02,38 gr\nS-1,2026-03-09,38 g\n")
    assert records["weighings"]["weight_g"].tolist() == [38, 38]
    assert said(records) == {"1 cell holds a weight in gr, which is read as grams": "weight"}
    assert not records["weighings"]["doubtful"].any()
