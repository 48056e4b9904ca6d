"""Tables as pages and as CSV: limits beside their estimate, every text harmless."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.documents.exporting import csv_text, safe
from mendcurve.documents.tables import public_sentence, public_table, table


def frame() -> pd.DataFrame:
    made = pd.DataFrame(
        {
            "condition": ["mites", "<script>alert(1)</script>", "=1+1"],
            "cleared": [7, 1, 0],
            "share": [0.7, float("nan"), 0.0],
            "low": [0.4, float("nan"), 0.0],
            "high": [0.9, float("nan"), 0.3],
            "median": [12.0, 3.0, 5.0],
            "median_low": [9.0, 2.0, 4.0],
            "median_high": [20.0, float("inf"), 6.0],
            "seen": pd.to_datetime(["2025-03-04", None, "2025-03-05"]),
        }
    )
    made.attrs = {"title": "Cleared", "units": {"share": "proportion", "median": "days", "cleared": "animals"}}
    return made


def test_limits_stand_in_the_cell_of_their_estimate():
    html = table(frame())._repr_html_().replace("\N{NO-BREAK SPACE}", " ")
    assert ">70 % (40 to 90 %)<" in html
    assert ">12 (9 to 20)<" in html
    assert ">3 (at least 2)<" in html
    assert "low<" not in html
    assert "In brackets: the 95 % interval." in html


def test_a_missing_value_is_a_dash_and_no_word_of_the_machine():
    html = table(frame())._repr_html_()
    assert not any(word in html for word in ("nan", "NaT", "inf", "None"))


def test_text_from_a_spreadsheet_is_never_markup():
    html = table(frame())._repr_html_()
    assert "<script>" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


def test_headers_have_scope_and_the_table_a_caption_and_units():
    html = table(frame())._repr_html_()
    assert html.count("<th ") == html.count('scope="')
    assert "<caption>Cleared</caption>" in html
    assert "median (days)" in html


def test_a_mapping_chooses_orders_and_renames():
    html = table(frame(), columns={"seen": "first seen", "share": "share cleared"})._repr_html_()
    html = html.replace("\N{NO-BREAK SPACE}", " ")
    assert html.index("first seen") < html.index("share cleared")
    assert "70 % (40 to 90 %)" in html
    assert "mites" not in html


def test_a_long_table_is_cut_on_the_page_and_whole_in_the_csv():
    long = table(pd.DataFrame({"a": range(50)}), "Many", rows=40)
    assert "10 more rows in the CSV file" in long._repr_html_()
    assert csv_text(long.data).count("\n") == 51


def test_an_empty_table_says_so():
    assert "nothing to list" in table(frame().head(0))._repr_html_()


def test_the_csv_keeps_numbers_whole_and_limits_apart():
    text = csv_text(table(frame()).data)
    assert text.splitlines()[0] == "condition,cleared,share,low,high,median,median_low,median_high,seen"
    assert "mites,7,0.7,0.4,0.9,12,9,20,2025-03-04" in text


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("=1+1", "'=1+1"),
        ("@x", "'@x"),
        ("+x", "'+x"),
        ("-x", "'-x"),
        ("\tx", "'\tx"),
        ("-5", "-5"),
        ("a=1", "a=1"),
        (-5, -5),
    ],
)
def test_no_csv_cell_is_a_formula(text, written):
    assert safe(text) == written


def test_csv_of_a_frame_escapes_formulas():
    assert "'=1+1," in csv_text(table(frame()).data)


def test_only_the_public_rendition_hides_small_counts_and_says_by_what_rule():
    counts = pd.DataFrame({"taxon": ["lizard", "frog"], "stray": [20, 3], "surrendered": [11, 9]})
    inside = public_table(counts, "Intakes", by="taxon", total="all", public=False, smallest=5)
    outside = public_table(counts, "Intakes", by="taxon", total="all", public=True, smallest=5)
    assert ">3<" in inside._repr_html_()
    assert ">3<" not in outside._repr_html_()
    assert "Inside this table counts from 1 to 4 are hidden" in outside._repr_html_()
    assert ",3," not in csv_text(outside.data)


class Came:
    def __init__(self, counts):
        self.counts = counts

    def to_frame(self):
        return self.counts

    def sentence(self):
        return "6 animals came in: 4 snakes and 2 lizards."

    def in_all(self):
        return "6 animals came in."

    def notes(self):
        return ()


def test_no_sentence_gives_a_total_that_the_table_below_hides():
    few = Came(pd.DataFrame({"taxon": ["stray"], "snake": [4], "lizard": [2]}))
    many = Came(pd.DataFrame({"taxon": ["stray", "returned"], "snake": [30, 10], "lizard": [10, 10]}))
    how = {"by": "taxon", "total": "all", "smallest": 5}
    assert "hidden" in public_table(few, public=True, **how).frame.iloc[-1].tolist()
    assert public_sentence(few, public=True, **how) == "6 animals came in."
    assert "4 snakes" in public_sentence(few, public=False, **how)
    assert "4 snakes" in public_sentence(many, public=True, **how)


def test_an_empty_table_without_a_caption_says_nothing():
    assert table(pd.DataFrame({"a": []}))._repr_html_() == ""
