"""Damage to numbers: units, decimals, weights of other animals, counts, and numbers no animal has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from records.damage.drafts import Draft, Line
from records.damage.judging import ASIDE, DETECTED, REPAIRED, Hit
from records.damage.kinds import any_of, change, kind

OUNCE, POUND = 28.349523125, 453.59237
ROUND = 0.02  # ounces to a tenth, pounds to a hundredth


def _weight(
    draft: Draft,
    new: Callable[[float], Any],
    *,
    inside: bool = False,
    fits: Callable[[float], bool] = lambda g: True,
    near: float = 1e-9,
    times: int = 1,
) -> list[Hit]:
    """Change a weight of a single animal; ``inside``: one with weighings before and after it."""
    within = _inside(draft) if inside else None
    return change(
        draft,
        "weighings",
        "weight",
        new,
        fits=lambda line: fits(line.truth["weight"]) and (within is None or id(line) in within),  # type: ignore[index]
        near=near,
        times=times,
    )


def _series(draft: Draft) -> list[list[Line]]:
    """Return the weighings of each animal by itself that has four or more, in order."""
    by: dict[str, list[Line]] = {}
    for line in draft.sheets["weighings"].rows:
        if line.truth is not None and not line.truth["is_group_weight"]:
            by.setdefault(line.truth["stay_id"], []).append(line)
    return [sorted(lines, key=lambda x: x.truth["weighed_on"]) for lines in by.values() if len(lines) >= 4]  # type: ignore[index]


def _inside(draft: Draft) -> set[int]:
    return {id(line) for lines in _series(draft) for line in lines[1:-1]}


def _ends(draft: Draft) -> set[int]:
    return {id(lines[-1]) for lines in _series(draft)}


@kind("the unit typed behind the weight: g, kg", REPAIRED)
def unit_typed(draft: Draft) -> list[Hit]:
    return _weight(
        draft,
        lambda g: any_of(draft, (f"{g} g", f"{g:g}g", f"{g / 1000:.4f} kg", f"{g} grams", f"{g / 1000:.4f}Kg.")),
        near=1e-3,
        times=2,
    )


@kind("the unit typed behind the weight: oz, lb, lb and oz", REPAIRED)
def imperial_typed(draft: Draft) -> list[Hit]:
    def written(g: float) -> str:
        pounds, ounces = divmod(g / OUNCE, 16)
        return any_of(
            draft,
            (
                f"{g / OUNCE:.2f} oz",
                f"{g / POUND:.3f} lbs",
                f"{int(pounds)} lb {ounces:.2f} oz",
                f"{int(pounds)}lb{ounces:.2f}oz",
            ),
        )

    return _weight(draft, written, near=ROUND, times=2)


@kind("another unit typed behind the weight than its unit column has", REPAIRED, DETECTED)
def unit_conflict(draft: Draft) -> list[Hit]:
    return change(
        draft,
        "weighings",
        "weight",
        lambda g: f"{g / 1000:.4f} kg",
        fits=lambda line: line.truth["unit"] == "g",  # type: ignore[index]
        near=1e-3,
    )


@kind("a decimal comma in one weight", REPAIRED, ASIDE)
def one_comma(draft: Draft) -> list[Hit]:
    return _weight(draft, lambda g: str(g).replace(".", ","))


@kind("thousands set apart in one weight", REPAIRED, ASIDE)
def one_thousands(draft: Draft) -> list[Hit]:
    return _weight(draft, lambda g: f"{g:,.1f}", fits=lambda g: g >= 1000)


@kind('a weight that is said to be about right, "~412", "412?"', REPAIRED)
def about(draft: Draft) -> list[Hit]:
    return _weight(draft, lambda g: any_of(draft, (f"~{g}", f"ca. {g}", f"{g}?", f"about {g}", f"approx {g} g")))


@kind("kilograms written where grams stand", DETECTED)
def kilos_as_grams(draft: Draft) -> list[Hit]:
    return _weight(draft, lambda g: round(g / 1000, 3), inside=True)


@kind("ounces, or pounds, written where grams stand", DETECTED)
def ounces_as_grams(draft: Draft) -> list[Hit]:
    unit = any_of(draft, (OUNCE, POUND))
    return _weight(draft, lambda g: round(g / unit, 2), inside=True, fits=lambda g: g > 100)


@kind("a decimal point moved by one place", DETECTED)
def tenfold(draft: Draft) -> list[Hit]:
    by = any_of(draft, (10, 0.1))
    return _weight(draft, lambda g: round(g * by, 2), inside=True)


@kind("a decimal point moved by one place in an animal's last weight", DETECTED)
def tenfold_last(draft: Draft) -> list[Hit]:
    ends = _ends(draft)
    return change(draft, "weighings", "weight", lambda g: round(g * 10, 1), fits=lambda line: id(line) in ends)


@kind("two figures of a weight changed places", DETECTED, floor=0.4, missed="within what an animal gains or loses")
def figures_swapped(draft: Draft) -> list[Hit]:
    def swapped(g: float) -> float:
        whole = str(int(g))
        return float(whole[1] + whole[0] + whole[2:])

    return _weight(draft, swapped, inside=True, fits=lambda g: g >= 100 and str(g)[0] != str(g)[1] and str(g)[1] != "0")


@kind("the weights of two animals changed places", DETECTED)
def weights_swapped(draft: Draft) -> list[Hit]:
    inside = _inside(draft)
    lines = [x for x in draft.free("weighings") if id(x) in inside]
    for line in lines[:60]:
        for other in lines:
            assert line.truth and other.truth
            same_day = other.truth["weighed_on"] == line.truth["weighed_on"] and other.who != line.who
            if same_day and not 0.6 < other.truth["weight"] / line.truth["weight"] < 1.6:
                line.cells["weight"], other.cells["weight"] = other.truth["weight"], line.truth["weight"]
                draft.busy |= {line.who, other.who}
                return [Hit("", "weighings", x, "weight") for x in (line, other)]
    return []


@kind("a weight written down again and again", DETECTED)
def carried_forward(draft: Draft) -> list[Hit]:
    by: dict[str, list[Line]] = {}
    for line in draft.free("weighings"):
        assert line.truth is not None
        if line.truth["weight"] > 100 and not line.truth["is_group_weight"]:
            by.setdefault(line.truth["stay_id"], []).append(line)
    long = [lines for lines in by.values() if len(lines) >= 7]
    if not long:
        return []
    lines = sorted(long[0], key=lambda x: x.truth["weighed_on"])  # type: ignore[index]
    draft.busy.add(lines[0].who)
    for line in lines[2:6]:
        line.cells["weight"] = lines[1].cells["weight"]
    return [Hit("", "weighings", line, "weight") for line in lines[2:6]]


@kind("a weight below zero, or of nothing", ASIDE)
def no_weight(draft: Draft) -> list[Hit]:
    return _weight(draft, lambda g: any_of(draft, (-g, 0, f"−{g}", "0.0 g")))


@kind("a number too large to be true", ASIDE, DETECTED)
def huge(draft: Draft) -> list[Hit]:
    table, column = any_of(
        draft,
        (
            ("weighings", "weight"),
            ("weighings", "length_mm"),
            ("intakes", "group_size"),
            ("spending", "amount"),
            ("targets", "target_g"),
            ("courses", "interval_hours"),
        ),
    )
    hits = change(
        draft,
        table,
        column,
        lambda v: any_of(draft, ("1e30", "99999999999999999999", "9" * 400, "9" * 5000, "4E+88", "123456789012345")),
    )
    return [replace(hit, told=True) for hit in hits]


@kind("a letter for a figure, words for a number", ASIDE, DETECTED)
def letter_for_figure(draft: Draft) -> list[Hit]:
    table, column = any_of(draft, (("weighings", "weight"), ("spending", "amount"), ("targets", "target_g")))
    return change(
        draft, table, column, lambda v: any_of(draft, (f"l{v}", f"{v}O", "twelve", "see card", "4..5", "1,2,3"))
    )


@kind("a group by sex, 1.2.3", REPAIRED)
def by_sex(draft: Draft) -> list[Hit]:
    def split(size: int) -> str:
        males = int(draft.draw.integers(0, size + 1))
        females = int(draft.draw.integers(0, size - males + 1))
        return f"{males}.{females}.{size - males - females}"

    return change(draft, "intakes", "group_size", split, fits=lambda line: line.truth["group_size"] > 1)  # type: ignore[index,operator]


@kind("a group by sex that a spreadsheet turned into a date", DETECTED)
def by_sex_date(draft: Draft) -> list[Hit]:
    turned = any_of(draft, ("2003-02-01 00:00:00", "01/02/2003", "1-Feb-03"))
    return change(draft, "intakes", "group_size", lambda v: turned, fits=lambda line: line.truth["group_size"] > 1)  # type: ignore[index,operator]


@kind('a range for a number, "2-3"', DETECTED)
def range_for_number(draft: Draft) -> list[Hit]:
    hits = (
        _weight(draft, lambda g: f"{g:.0f}-{g * 1.1:.0f}", fits=lambda g: g > 100)
        if any_of(draft, (True, False))
        else change(draft, "requests", "animals", lambda v: f"{v}-{v + 2}")
    )
    return [replace(hit, told=True) for hit in hits]


@kind("a count with decimals or words", REPAIRED)
def count_written(draft: Draft) -> list[Hit]:
    how = any_of(draft, ("{}.0", "{} animals", " {}", "{}.00"))
    return change(draft, "intakes", "group_size", how.format)


@kind("an amount with its currency", REPAIRED)
def currency(draft: Draft) -> list[Hit]:
    how = any_of(draft, ("£{}", "{} EUR", "$ {}", "€{}"))
    return change(draft, "spending", "amount", how.format, times=2)


@kind("more animals left than there were", DETECTED, ASIDE)
def too_many_left(draft: Draft) -> list[Hit]:
    return change(draft, "outcomes", "animals", lambda v: 9, blank=True)


@kind("weights filled down by a spreadsheet: 412, 413, 414", DETECTED, scope="sheet")
def weights_filled(draft: Draft) -> list[Hit]:
    return _filled(draft, "weighings", "weight", 10, lambda first, nth: round(first) + nth)


@kind(
    "dates filled down by a spreadsheet, a day a row",
    DETECTED,
    ASIDE,
    scope="sheet",
    floor=0.5,
    missed="a day book with an animal nearly every day rises so by itself",
)
def dates_filled(draft: Draft) -> list[Hit]:
    table, column = any_of(
        draft,
        (
            ("outcomes", "outcome_date"),
            ("requests", "asked_on"),
            ("conditions", "found_on"),
            ("weighings", "weighed_on"),
        ),
    )
    return _filled(draft, table, column, 12, lambda first, nth: first + timedelta(days=nth))


@kind("numbers of animals filled down by a spreadsheet: 1, 2, 3", DETECTED, scope="sheet")
def counts_filled(draft: Draft) -> list[Hit]:
    return _filled(draft, "requests", "animals", 10, lambda first, nth: 1 + nth)


def _filled(draft: Draft, table: str, column: str, rows: int, new: Callable[[Any, int], Any]) -> list[Hit]:
    sheet = draft.sheets[table]
    lines = sheet.rows
    if table in draft.closed or len(lines) < rows + 5 or table in draft.sheets_taken:
        return []
    draft.sheets_taken.add(table)
    for _ in range(20):
        start = int(draft.draw.integers(0, len(lines) - rows))
        some = lines[start : start + rows]
        if all(line.who not in draft.busy and line.truth is not None for line in some):
            break
    else:
        return []
    first = some[0].truth[column]  # type: ignore[index]
    hits = []
    for nth, line in enumerate(some[1:], start=1):
        line.cells[column] = new(first, nth)
        draft.busy.add(line.who)
        if line.cells[column] != line.truth[column]:  # type: ignore[index]
            hits.append(Hit("", table, line, column))
    return hits


@kind("a value that fills a column as a form left it", DETECTED, ASIDE, scope="sheet")
def default_filled(draft: Draft) -> list[Hit]:
    table, column, value = any_of(
        draft,
        (
            ("intakes", "life_stage", "adult"),
            ("conditions", "severity", "mild"),
            ("weighings", "circumstance", "fed"),
            ("weighings", "score_scale", "1-5"),
        ),
    )
    if column == "score_scale":
        column, value = "condition_score", 3.0
    sheet = draft.sheets[table]
    if len(sheet.rows) < 50 or table in draft.closed:
        return []
    hits = []
    for line in sheet.rows:
        if line.truth is None or line.cells.get(column) == value:
            continue
        line.cells[column] = value
        hits.append(Hit("", table, line, column, judged=len(hits) < 3))
    return hits


@kind("one date in a third of the rows, for 'not known'", DETECTED, ASIDE, scope="sheet")
def one_date_fills(draft: Draft) -> list[Hit]:
    lines = [line for line in draft.sheets["intakes"].rows if line.truth is not None]
    if len(lines) < 60 or "intakes" in draft.closed:
        return []
    hits = []
    for line in lines:
        if line.truth["hatched_on"] is None and line.truth["species"]:  # type: ignore[index]
            line.cells["hatched_on"] = date(2020, 1, 1)
            hits.append(Hit("", "intakes", line, "hatched_on", judged=len(hits) < 3))
    return hits
