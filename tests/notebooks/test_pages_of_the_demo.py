"""Every notebook run on the demo records, and the page it makes read as a browser and a reader would."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from mendcurve.documents import CAUTIONS, notebooks
from mendcurve.documents.building import build

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data_demo" / "csv"
# The planning report and the back-test take the longest: they are proofs too.
SLOW = {"planning", "how_good_are_our_intervals", "stay_and_capacity"}
NAMES = [pytest.param(name, marks=pytest.mark.slow) if name in SLOW else name for name in notebooks.names()]


class Page(HTMLParser):
    """What a page holds: tags with their attributes in order, and its visible text."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.words, self._hidden = [], [], 0
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._hidden += tag == "style"

    def handle_endtag(self, tag):
        self._hidden -= tag == "style"

    def handle_data(self, data):
        if not self._hidden:
            self.words.append(data)

    def all(self, *names):
        return [(tag, attrs) for tag, attrs in self.tags if tag in names]

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="session")
def shelf_of_pages(tmp_path_factory):
    """Return a function that builds a notebook on the demo once and keeps it."""
    out, made = tmp_path_factory.mktemp("pages"), {}

    def get(name):
        if name not in made:
            built = build(name, DEMO, out=out)
            made[name] = (built, (built.folder / "report.html").read_text(encoding="utf-8"))
        return made[name]

    return get


@pytest.mark.parametrize("name", NAMES)
def test_every_part_could_be_made(name, shelf_of_pages):
    built, _ = shelf_of_pages(name)
    assert [failure.trouble for failure in built.failures] == []


@pytest.mark.parametrize("name", NAMES)
def test_the_page_needs_nothing_from_outside_and_runs_nothing(name, shelf_of_pages):
    _, html = shelf_of_pages(name)
    page = Page(html)
    assert not page.all("script", "link", "iframe", "object", "embed", "form")
    for tag, attrs in page.tags:
        assert not [key for key in attrs if key.startswith("on")]
        for key in ("src", "href"):
            if key in attrs:
                assert attrs[key].startswith("data:image/svg+xml;base64," if tag == "img" else "#"), attrs[key]
    assert not re.search(r"url\(|@import", html)


@pytest.mark.parametrize("name", NAMES)
def test_the_page_can_be_heard_and_found_through(name, shelf_of_pages):
    _, html = shelf_of_pages(name)
    page = Page(html)
    assert page.all("html")[0][1]["lang"] == "en"
    levels = [int(tag[1]) for tag, _ in page.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
    assert all(len(attrs["alt"]) > 20 for _, attrs in page.all("img"))
    assert all(attrs.get("scope") in ("col", "row") for _, attrs in page.all("th"))
    assert len(page.all("caption")) == len(page.all("table"))
    assert len(page.all("figcaption")) == len(page.all("figure")) == len(page.all("img"))
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(set(ids)) == len(ids)
    assert all(attrs["href"][1:] in ids for _, attrs in page.all("a"))


@pytest.mark.parametrize("name", NAMES)
def test_no_word_of_the_machine_is_read(name, shelf_of_pages):
    _, html = shelf_of_pages(name)
    found = re.findall(r"\b(?:nan|NaN|inf|NaT|None|<NA>|Traceback|dtype|True|False)\b", Page(html).text)
    assert found == []
    assert str(ROOT) not in html


@pytest.mark.parametrize("name", NAMES)
def test_every_caution_is_on_every_page(name, shelf_of_pages):
    _, html = shelf_of_pages(name)
    text = Page(html).text.replace("’", "'")
    assert all(caution.replace("’", "'") in text for caution in CAUTIONS)
    assert "SHA-256" in text
    assert "As-of date 31 October 2026" in text


def test_the_public_report_hides_small_counts_by_type_of_intake(shelf_of_pages):
    public, _ = shelf_of_pages("funder")
    table = next((public.folder / "tables").glob("*intakes-by-taxon*")).read_text(encoding="utf-8")
    cells = [line.split(",")[1:-1] for line in table.splitlines()[1:-1]]
    assert any("hidden" in row for row in cells)
    assert not [cell for row in cells for cell in row if cell in ("1", "2", "3", "4")]


def test_the_public_report_tells_no_story_that_may_not_be_told(tmp_path, demo):
    stays = demo["intakes"]
    silent = stays.loc[~stays["story_ok"], "stay_id"].iloc[0]
    built = build("one_animal", DEMO, out=tmp_path, animal=silent, public=True)
    text = Page((built.folder / "report.html").read_text(encoding="utf-8")).text
    assert "may not be told outside the rescue" in text


def test_built_in_another_order_it_is_the_same_byte_for_byte(shelf_of_pages, tmp_path):
    first, _ = shelf_of_pages("treatment")
    second = build("treatment", DEMO, out=tmp_path)
    files = sorted(p.relative_to(first.folder) for p in first.folder.rglob("*") if p.is_file())
    assert files == sorted(p.relative_to(second.folder) for p in second.folder.rglob("*") if p.is_file())
    assert all((first.folder / f).read_bytes() == (second.folder / f).read_bytes() for f in files)
