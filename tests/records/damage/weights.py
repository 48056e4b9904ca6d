"""Damage to numbers: units, decimals, weights of other animals, counts, and numbers no animal has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
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


@kind("two figures of a weight changed places", DETECTED, floor=0.25, missed="within what an animal gains or loses")
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
