"""Damage to dates: their writing, their order, slips of day, month and year, and days that cannot be."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

from mendcurve.records.schemas import TABLES
from records.damage.drafts import BOOK, CSV, Draft, Line, Shown
from records.damage.judging import ASIDE, DETECTED, REFUSED, REPAIRED, Hit
from records.damage.kinds import any_of, change, kind, place_in, sheet_for, witnesses

PLACES = (
    ("intakes", "intake_date"),
    ("outcomes", "outcome_date"),
    ("conditions", "found_on"),
    ("checks", "checked_on"),
    ("weighings", "weighed_on"),
    ("moves", "moved_on"),
)
TEXT = (CSV,)
EPOCH = date(1899, 12, 30)


def _one(
    draft: Draft, new: Callable[[Any], Any], fits: Callable[[Any], bool] = lambda v: True, times: int = 1
) -> list[Hit]:
    table, column = place_in(draft, PLACES)
    return change(draft, table, column, new, fits=lambda line: fits(line.truth[column]), times=times)


def _all(draft: Draft, new: Callable[[Any], Any], order: str | None = None) -> list[Hit]:
    """Write every date of a sheet anew; ``order`` "" takes the declaration of the order away."""
    sheet = sheet_for(draft, [t for t, _ in PLACES] + ["periods", "requests"], close=True)
    if sheet is None:
        return []
    if order is not None:
        # Under the table, so that the other sheets keep theirs.
        draft.toml[f"tables.{sheet.table}"] = [f'date_order = "{order}"']
    _rewrite(sheet.lines, sheet.table, new)
    return witnesses(draft, sheet)


def _rewrite(lines: list[Line], table: str, new: Callable[[Any], Any]) -> None:
    columns = [c.name for c in TABLES[table].columns if c.kind == "date"]
    for line in lines:
        for column in columns:
            if line.sort == "row" and isinstance(line.cells.get(column), date):
                line.cells[column] = new(line.cells[column])


@kind("every date of a sheet with the day first, as declared", REPAIRED, scope="sheet")
def day_first(draft: Draft) -> list[Hit]:
    sign = any_of(draft, "/-. ")
    return _all(draft, lambda d: d.strftime(f"%d{sign}%m{sign}%Y"))


@kind("every date of a sheet with the month first, as declared", REPAIRED, scope="sheet")
def month_first(draft: Draft) -> list[Hit]:
    return _all(draft, lambda d: d.strftime("%m/%d/%Y"), "mdy")


@kind("every date of a sheet with a year of two digits", REPAIRED, scope="sheet")
def short_year(draft: Draft) -> list[Hit]:
    return _all(draft, lambda d: d.strftime("%d/%m/%y"))


@kind("every date of a sheet in words", REPAIRED, scope="sheet")
def month_in_words(draft: Draft) -> list[Hit]:
    how = any_of(draft, ("%d %B %Y", "%d-%b-%y", "%B %d, %Y", "%a %d %b %Y", "%dth of %B %Y"))
    return _all(draft, lambda d: d.strftime(how))


@kind("every date of a sheet as a spreadsheet's day number", REPAIRED, scope="sheet")
def serials(draft: Draft) -> list[Hit]:
    as_number = draft.form == BOOK
    return _all(draft, lambda d: (d - EPOCH).days if as_number else str((d - EPOCH).days))


@kind(
    "order of day and month neither declared nor proved by a day above 12", REPAIRED, REFUSED, forms=TEXT, scope="alone"
)
def order_open(draft: Draft) -> list[Hit]:
    draft.toml["rescue"] = [line for line in draft.toml["rescue"] if "date_order" not in line]
    sheet = draft.sheets["followups"]
    sheet.lines = [x for x in sheet.lines if x.sort != "row" or x.cells["seen_on"].day <= 12]
    order = any_of(draft, ("%d/%m/%Y", "%m/%d/%Y"))
    _rewrite(sheet.lines, "followups", lambda d: d.strftime(order))
    return [Hit("", "followups", line) for line in sheet.rows]


@kind("order of day and month not declared, proved by days above 12", REPAIRED, forms=TEXT, scope="alone")
def order_proved(draft: Draft) -> list[Hit]:
    draft.toml["rescue"] = [line for line in draft.toml["rescue"] if "date_order" not in line]
    order = any_of(draft, ("%d/%m/%Y", "%m/%d/%Y"))
    sheet = draft.sheets["weighings"]
    _rewrite(sheet.lines, "weighings", lambda d: d.strftime(order))
    return [Hit("", "weighings", line) for line in sheet.rows[::25]]


@kind("half of a sheet's dates with the month first", REPAIRED, ASIDE, DETECTED, REFUSED, forms=TEXT, scope="alone")
def order_mixed(draft: Draft) -> list[Hit]:
    draft.toml["rescue"] = [line for line in draft.toml["rescue"] if "date_order" not in line]
    sheet = draft.sheets["weighings"]
    half = len(sheet.rows) // 2
    _rewrite(sheet.rows[:half], "weighings", lambda d: d.strftime("%d/%m/%Y"))
    _rewrite(sheet.rows[half:], "weighings", lambda d: d.strftime("%m/%d/%Y"))
    draft.busy |= {line.who for line in sheet.rows}
    return [Hit("", "weighings", x, "weighed_on", judged=n % 10 == 0) for n, x in enumerate(sheet.rows[half:])]


@kind(
    "half of a sheet's dates with the month first, day first declared",
    ASIDE,
    DETECTED,
    forms=TEXT,
    scope="alone",
    floor=0.9,
    missed="a date whose day and month can change places and that still lies in its stay and its order",
)
def order_mixed_declared(draft: Draft) -> list[Hit]:
    sheet = draft.sheets["checks"]
    half = len(sheet.rows) // 2
    _rewrite(sheet.rows[:half], "checks", lambda d: d.strftime("%d/%m/%Y"))
    _rewrite(sheet.rows[half:], "checks", lambda d: d.strftime("%m/%d/%Y"))
    draft.busy |= {line.who for line in sheet.rows}
    swapped = [x for x in sheet.rows[half:] if x.truth["checked_on"].day != x.truth["checked_on"].month]  # type: ignore[index]
    return [Hit("", "checks", line, "checked_on", judged=n % 4 == 0) for n, line in enumerate(swapped)]


@kind("one date as a spreadsheet's day number", REPAIRED)
def serial(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: str((d - EPOCH).days))


@kind("a day number with a fraction", REPAIRED)
def serial_fraction(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: f"{(d - EPOCH).days}.4375")


@kind("one date written otherwise than the rest", REPAIRED)
def other_writing(draft: Draft) -> list[Hit]:
    how = any_of(draft, ("%d.%m.%Y", "%d %b %Y", "%Y/%m/%d", "%Y%m%d", "%d-%m-%y", "%B %d, %Y", "%d/%m/%Y"))
    return _one(draft, lambda d: d.strftime(how))


@kind("a date with a time, and with a zone", REPAIRED)
def with_time(draft: Draft) -> list[Hit]:
    how = any_of(
        draft, ("%Y-%m-%dT09:30:00Z", "%Y-%m-%d 09:30", "%d/%m/%Y 9.30 am", "%Y-%m-%dT23:40:00+02:00", "%d/%m/%Y 14:05")
    )
    return _one(draft, lambda d: d.strftime(how))


@kind("a month without a day", DETECTED, ASIDE)
def month_only(draft: Draft) -> list[Hit]:
    how = any_of(draft, ("%B %Y", "%Y-%m", "%m/%Y", "%b %y"))
    return _one(draft, lambda d: d.strftime(how))


@kind("a question mark behind a date", REPAIRED)
def date_doubted(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: f"{d}?")


@kind("a day that is in no calendar", ASIDE)
def no_such_day(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: any_of(draft, ("31/02/2024", "2024-06-31", "30.2.24", "00/05/2024", "2024-13-02")))


@kind("words where a date must be", ASIDE)
def date_in_words(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: any_of(draft, ("last Tuesday", "Easter", "with the vet", "?? March")))


@kind("two dates in one cell", ASIDE, DETECTED)
def two_dates(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: f"{d} - {d + timedelta(days=1)}")


SWAP_MISSED = "the other date lies in its stay too, or in no order of rows (a stay's first day, rows added late)"


@kind("day and month changed places", DETECTED, ASIDE, floor=0.6, missed=SWAP_MISSED)
def day_month_swapped(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: d.replace(day=d.month, month=d.day), lambda d: d.day <= 12 and d.day != d.month)


@kind("a year too late or too early", DETECTED, ASIDE, floor=0.9, missed="an intake a year early is a long stay")
def year_slipped(draft: Draft) -> list[Hit]:
    by = any_of(draft, (-1, 1))
    return _one(draft, lambda d: d.replace(year=d.year + by), lambda d: (d.month, d.day) != (2, 29))


@kind("a digit of the year mistyped", DETECTED, ASIDE)
def year_mistyped(draft: Draft) -> list[Hit]:
    return _one(
        draft,
        lambda d: any_of(
            draft, (f"20244-{d:%m-%d}", f"0024-{d:%m-%d}", f"2204-{d:%m-%d}", f"1024-{d:%m-%d}", f"2042-{d:%m-%d}")
        ),
    )


@kind("an intake a year early, its other dates right", DETECTED, ASIDE, floor=0.9, missed="a long stay may be true")
def intake_year_early(draft: Draft) -> list[Hit]:
    return change(draft, "intakes", "intake_date", lambda d: d - timedelta(days=365))


@kind("a date of many years in the future", DETECTED, ASIDE)
def far_future(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: d.replace(year=d.year + 40, day=min(d.day, 28)))


@kind("an outcome before its intake", ASIDE, DETECTED)
def outcome_before_intake(draft: Draft) -> list[Hit]:
    came = {x.truth["stay_id"]: x.truth["intake_date"] for x in draft.sheets["intakes"].rows if x.truth}
    table = "outcomes"
    hits = []
    for line in draft.free(table)[:1]:
        line.cells["outcome_date"] = came[line.truth["stay_id"]] - timedelta(days=5)  # type: ignore[index]
        draft.busy.add(line.who)
        hits.append(Hit("", table, line, "outcome_date"))
    return hits


@kind("a weighing after the animal's death", DETECTED)
def weighed_after_death(draft: Draft) -> list[Hit]:
    dead = {
        x.truth["stay_id"]: x.truth["outcome_date"]
        for x in draft.free("outcomes")
        if x.truth and x.truth["outcome_type"] == "died" and x.truth["animals"] is None
    }
    for line in draft.free("weighings"):
        left = dead.get(line.truth["stay_id"])  # type: ignore[index]
        if left is not None:
            line.cells["weighed_on"] = left + timedelta(days=6)
            draft.busy.add(line.who)
            return [Hit("", "weighings", line, "weighed_on")]
    return []


@kind("a check before its condition was found", DETECTED, ASIDE)
def check_before_found(draft: Draft) -> list[Hit]:
    found = {x.truth["episode_id"]: x.truth["found_on"] for x in draft.sheets["conditions"].rows if x.truth}
    hits = []
    for line in draft.free("checks")[:1]:
        line.cells["checked_on"] = found[line.truth["episode_id"]] - timedelta(days=9)  # type: ignore[index]
        draft.busy.add(line.who)
        hits.append(Hit("", "checks", line, "checked_on"))
    return hits


@kind("an episode that ended before it was found", ASIDE)
def ended_before_found(draft: Draft) -> list[Hit]:
    hits = []
    for line in draft.free("conditions", "ended_on")[:1]:
        line.cells["ended_on"] = line.truth["found_on"] - timedelta(days=3)  # type: ignore[index]
        draft.busy.add(line.who)
        hits.append(Hit("", "conditions", line, "ended_on"))
    return hits


@kind("a whole workbook that counts from 1904", REPAIRED, forms=(BOOK,), scope="alone")
def epoch_1904(draft: Draft) -> list[Hit]:
    draft.epoch_1904 = True
    return [hit for name in ("intakes", "doses") for hit in witnesses(draft, draft.sheets[name], 2)]


@kind("dates as text in a workbook", REPAIRED, forms=(BOOK,), scope="sheet")
def text_dates(draft: Draft) -> list[Hit]:
    return _all(draft, lambda d: d.strftime("%d/%m/%Y"))


@kind("a date shown as a number, or a number shown as a date", REPAIRED, forms=(BOOK,))
def shown_otherwise(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, PLACES)
    if draft.epoch_1904:  # its numbers would be other days
        return []
    return change(
        draft, table, column, lambda d: Shown((d - EPOCH).days, any_of(draft, ("General", "dd/mm/yyyy", "0")))
    )


@kind("a date with a time of day behind it", REPAIRED, forms=(BOOK,))
def hidden_time(draft: Draft) -> list[Hit]:
    return _one(draft, lambda d: Shown(datetime(d.year, d.month, d.day, 9, 30), "dd/mm/yyyy"))
