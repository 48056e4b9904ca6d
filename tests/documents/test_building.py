"""From a name and a folder to a report in its place: whole or not at all, the same bytes, nothing from outside."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pandas as pd
import pytest

from mendcurve.documents.building import build
from mendcurve.documents.periods import reporting_period, twelve_months
from mendcurve.documents.provenance import facts, rows_read
from mendcurve.errors import InputError
from mendcurve.records import load

TABLE = 'mc.table(records["intakes"], "Everything that came in", columns=["stay_id", "species"], rows=99)'


def digests(folder):
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()
    }


def test_writes_a_page_and_its_tables_into_a_folder_named_for_the_period(shelf, rescue, tmp_path):
    shelf("funder_report", "## What came", TABLE)
    built = build("funder", rescue, out=tmp_path / "out")
    assert built.folder.name == "funder-2025-01-to-2025-12"
    assert set(digests(built.folder)) == {"report.html", "tables/01-everything-that-came-in.csv"}
    assert [p.name for p in (tmp_path / "out").iterdir()] == [built.folder.name]


def test_built_twice_it_is_the_same_byte_for_byte(shelf, rescue, tmp_path):
    picture = (
        "from mendcurve.figures import style\nfigure, axes = style.new()\naxes.plot([0, 1], [0, 1])\n"
        "axes.set_xlabel('days')\naxes.set_ylabel('animals')\n"
        "style.finish(figure, name='x', title='Title', subtitle='Subtitle', alt='Alt')"
    )
    shelf("funder_report", "## What came", TABLE, picture)
    first, second = (digests(build("funder", rescue, out=tmp_path / name).folder) for name in "ab")
    assert first == second
    assert {"figures/01-x.svg", "figures/01-x.png"} < set(first)


def test_a_fault_leaves_the_whole_report_of_an_earlier_run_as_it_was(shelf, rescue, tmp_path):
    shelf("funder_report", "## What came", TABLE)
    before = build("funder", rescue, out=tmp_path / "out")
    kept = digests(before.folder)
    shelf("funder_report", "## What came", TABLE, "1 / 0")
    after = build("funder", rescue, out=tmp_path / "out")
    assert after.failures
    assert after.folder.name == "funder-2025-01-to-2025-12-incomplete"
    assert "This part could not be made." in (after.folder / "report.html").read_text(encoding="utf-8")
    assert digests(before.folder) == kept


def test_a_whole_report_takes_the_place_of_the_one_before(shelf, rescue, tmp_path):
    shelf("funder_report", "## What came", TABLE)
    build("funder", rescue, out=tmp_path / "out")
    shelf("funder_report", "## Nothing now")
    folder = build("funder", rescue, out=tmp_path / "out").folder
    assert set(digests(folder)) == {"report.html"}


def test_text_from_the_records_stays_text_on_the_page_and_in_the_csv(shelf, rescue, tmp_path):
    shelf("funder_report", "## What came", TABLE)
    folder = build("funder", rescue, out=tmp_path / "out").folder
    html = (folder / "report.html").read_text(encoding="utf-8")
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "Rescue &lt;b&gt;bold&lt;/b&gt; &amp; co" in html
    csv = next((folder / "tables").iterdir()).read_text(encoding="utf-8")
    assert "S-91,'=1+1" in csv


def test_an_unknown_parameter_is_refused_and_nothing_is_written(shelf, rescue, tmp_path):
    shelf("funder_report", "## What came")
    with pytest.raises(InputError, match='takes no "grnat"'):
        build("funder", rescue, out=tmp_path / "out", grnat="G-1")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"end": "2026-03-01"}, "must end on or before the as-of date"),
        ({"start": "01.02.2025"}, '"from" must be a day written year-month-day'),
        ({"start": "2025-06-01", "end": "2025-05-01"}, "must end on or after its first day"),
    ],
)
def test_a_period_that_cannot_be_is_refused(shelf, rescue, tmp_path, given, says):
    shelf("funder_report", "## What came")
    with pytest.raises(InputError, match=says):
        build("funder", rescue, out=tmp_path / "out", **given)


@pytest.mark.parametrize(
    ("as_of", "first", "last"),
    [
        ("2026-10-31", "2025-11-01", "2026-10-31"),
        ("2026-10-30", "2025-10-01", "2026-09-30"),
        ("2024-02-29", "2023-03-01", "2024-02-29"),
        ("2025-03-15", "2024-03-01", "2025-02-28"),
    ],
)
def test_the_usual_period_is_the_last_twelve_whole_months(as_of, first, last):
    found = twelve_months(pd.Timestamp(as_of))
    assert (f"{found.start:%Y-%m-%d}", f"{found.end:%Y-%m-%d}") == (first, last)


def test_a_period_that_is_no_whole_months_is_named_by_its_days(shelf, rescue, tmp_path):
    shelf("funder_report", "## What came")
    built = build("funder", rescue, out=tmp_path / "out", start="2025-02-03", end="2025-04-30")
    assert built.folder.name == "funder-2025-02-03-to-2025-04-30"


def test_reporting_period_keeps_what_is_given(shelf, rescue):
    from mendcurve.documents import load

    found = reporting_period(load(rescue), "2025-02-01", "2025-03-31")
    assert found.days == 59


def test_an_unknown_report_names_the_nearest(shelf, rescue, tmp_path):
    shelf("funder_report", "## What came")
    with pytest.raises(InputError, match='no report called "fundr"') as caught:
        build("fundr", rescue, out=tmp_path / "out")
    assert 'Did you mean "funder"?' in str(caught.value)


def test_records_that_are_not_there_are_refused(shelf, tmp_path):
    shelf("funder_report", "## What came")
    with pytest.raises(InputError, match="must be a folder or a workbook that exists"):
        build("funder", tmp_path / "nowhere", out=tmp_path / "out")


def test_provenance_counts_rows_and_names_no_path_and_no_time(shelf, rescue, tmp_path):
    shelf("funder_report", "## Where from", "mc.provenance(records)")
    html = (build("funder", rescue, out=tmp_path / "out").folder / "report.html").read_text(encoding="utf-8")
    assert "52, of which 52 are used and 0 set aside" in html
    assert str(tmp_path) not in html
    assert "SHA-256" in html


def test_rows_left_out_by_the_rescues_own_rule_are_not_called_used(tmp_path):
    foreign = Path(__file__).parents[1] / "foreign"
    shutil.copy(foreign / "invented_city.csv", tmp_path / "longbeach.csv")
    records = load(tmp_path, settings=foreign / "longbeach_reptiles.toml")
    read, aside, left_out = rows_read(records)
    kept = records.accounts.set_index("table").loc["intakes", "kept"]
    assert left_out > 0
    assert read == kept + aside + left_out
    assert f"{left_out:,} left out" in dict(facts(records))["Rows read"]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"start": "2024-01-01", "end": "2024-12-31"}, "the records begin on 1 January 2025"),
        ({"end": "2024-12-31"}, "from 1 January 2024 to 31 December 2024"),
        ({"start": "2026-01-05"}, "as of 31 December 2025"),
    ],
)
def test_a_period_outside_the_records_is_refused_with_the_dates_and_nothing_is_written(
    shelf, rescue, tmp_path, given, says
):
    shelf("funder_report", "## What came")
    with pytest.raises(InputError, match=says):
        build("funder", rescue, out=tmp_path / "out", **given)
    assert not (tmp_path / "out").exists()


def test_a_period_that_begins_before_the_records_is_cut_to_them_and_the_page_says_so(shelf, rescue, tmp_path):
    tell = "from mendcurve.questions import summary\nperiod = mc.reporting_period(records, start, end)\n"
    shelf("funder_report", "## What came", tell + "summary.what_happened(records, period).sentence()")
    says = "The records begin on 1 January 2025, so what happened before is not in these figures."
    built = build("funder", rescue, out=tmp_path / "out", start="2024-07-01", end="2025-06-30")
    html = (built.folder / "report.html").read_text(encoding="utf-8")
    assert built.folder.name == "funder-2025-01-to-2025-06"
    assert html.count(says) == 2  # at the top and in the summary
    assert "asked for from 1 July 2024 on" in html
    by_default = build("funder", rescue, out=tmp_path / "out", as_of="2025-06-30")
    assert by_default.folder.name == "funder-2025-01-to-2025-06"
    later = build("funder", rescue, out=tmp_path / "out", start="2025-02-01", end="2025-06-30")
    assert says not in (later.folder / "report.html").read_text(encoding="utf-8")


def test_records_of_less_than_a_month_are_told_whole(shelf, rescue, tmp_path):
    toml = "[dates]\nas_of = 2025-12-20\nrecords_start = 2025-12-03\n"
    (rescue / "records.toml").write_text(toml, encoding="utf-8")
    shelf("funder_report", "## What came")
    assert build("funder", rescue, out=tmp_path / "out").folder.name == "funder-2025-12-03-to-2025-12-20"


@pytest.mark.parametrize(
    ("given", "says"),
    [({"grant": "G-1"}, "grants are not recorded"), ({"animal": "S-1x"}, 'No stay and no animal is called "S-1x"')],
)
def test_a_grant_or_an_animal_that_is_not_there_is_refused_and_nothing_is_written(shelf, rescue, tmp_path, given, says):
    more = "source: str = ''\nsettings: str | None = None\nas_of: str | None = None\ngrant: str | None = None\n"
    shelf("funder_report", "## What came", parameters=more + "animal: str | None = None\n")
    with pytest.raises(InputError, match=says):
        build("funder", rescue, out=tmp_path / "out", **given)
    assert not (tmp_path / "out").exists()
    assert build("funder", rescue, out=tmp_path / "out", animal="S-1").folder.is_dir()
