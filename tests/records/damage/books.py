"""Damage only a workbook can have: merged, hidden and struck cells, formulas, errors, typed cells."""

from __future__ import annotations

from copy import copy

from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet

from records.damage.drafts import BOOK, Draft, Formula, Shown
from records.damage.judging import ASIDE, DETECTED, REPAIRED, Hit
from records.damage.kinds import any_of, change, kind

ONLY = (BOOK,)


@kind("cells merged over two rows", ASIDE, DETECTED, REPAIRED, forms=ONLY, scope="sheet")
def merged_cells(draft: Draft) -> list[Hit]:
    table, column = any_of(draft, (("intakes", "species"), ("outcomes", "outcome_date"), ("moves", "zone")))
    sheet = draft.sheets[table]
    for first in draft.free(table):
        at = sheet.lines.index(first)
        second = sheet.lines[at + 1] if at + 1 < len(sheet.lines) else None
        fine = second is not None and second.sort == "row" and second.truth is not None
        if fine and second.who != first.who and second.who not in draft.busy:  # type: ignore[union-attr]
            break
    else:
        return []
    assert second is not None
    second.cells[column] = None
    draft.busy |= {first.who, second.who}

    def merge(page: Worksheet, rows: dict[int, int]) -> None:
        place = sheet.columns.index(column) + 1
        if rows[id(second)] == rows[id(first)] + 1:
            page.merge_cells(start_row=rows[id(first)], end_row=rows[id(second)], start_column=place, end_column=place)

    sheet.format_book.append(merge)
    return [Hit("", table, second, column)]


def _hide(draft: Draft, *, filtered: bool) -> list[Hit]:
    table = any_of(draft, ("intakes", "outcomes", "weighings", "conditions"))
    sheet = draft.sheets[table]
    lines = draft.free(table)[:1]
    for line in lines:
        draft.busy.add(line.who)

        def hide(page: Worksheet, rows: dict[int, int], line: object = line) -> None:
            page.row_dimensions[rows[id(line)]].hidden = True
            if filtered:
                page.auto_filter.ref = page.dimensions

        sheet.format_book.append(hide)
    return [Hit("", table, line) for line in lines]


@kind("a hidden row", REPAIRED, forms=ONLY)
def hidden_row(draft: Draft) -> list[Hit]:
    return _hide(draft, filtered=False)


@kind("a row that a filter hides", REPAIRED, forms=ONLY)
def filtered_row(draft: Draft) -> list[Hit]:
    return _hide(draft, filtered=True)


@kind("a row struck out", DETECTED, ASIDE, forms=ONLY)
def struck_row(draft: Draft) -> list[Hit]:
    table = any_of(draft, ("intakes", "outcomes", "weighings"))
    sheet = draft.sheets[table]
    lines = draft.free(table)[:1]
    for line in lines:
        draft.busy.add(line.who)

        def strike(page: Worksheet, rows: dict[int, int], line: object = line) -> None:
            for cell in page[rows[id(line)]]:
                font = copy(cell.font)
                cell.font = Font(name=font.name, size=font.size, strike=True)

        sheet.format_book.append(strike)
    return [Hit("", table, line, told=True) for line in lines]


@kind("an error in a cell", ASIDE, DETECTED, forms=ONLY)
def error_cell(draft: Draft) -> list[Hit]:
    table, column = any_of(
        draft, (("weighings", "weight"), ("intakes", "note"), ("outcomes", "outcome_date"), ("targets", "target_g"))
    )
    error = any_of(draft, ("#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?"))
    return change(draft, table, column, lambda v: error)


@kind("a formula that was never calculated", ASIDE, DETECTED, forms=ONLY)
def formula_open(draft: Draft) -> list[Hit]:
    table, column = any_of(draft, (("weighings", "weight"), ("weighings", "length_mm"), ("outcomes", "animals")))
    return change(draft, table, column, lambda v: Formula("=200+12"))


@kind("a formula with its result", REPAIRED, forms=ONLY)
def formula_saved(draft: Draft) -> list[Hit]:
    return change(draft, "weighings", "weight", lambda v: Formula("=A1+1", saved=f"{v}"), times=2)


@kind("ids as numbers, shown with their zeros", REPAIRED, forms=ONLY)
def id_number_shown(draft: Draft) -> list[Hit]:
    return change(draft, "intakes", "animal_id", lambda v: Shown(int(v), "00000"), times=2)


@kind("ids as numbers, shown without their zeros", REPAIRED, DETECTED, forms=ONLY)
def id_number(draft: Draft) -> list[Hit]:
    return change(draft, "intakes", "animal_id", int)


@kind("ids of figures as numbers", REPAIRED, forms=ONLY)
def id_plain_number(draft: Draft) -> list[Hit]:
    return change(draft, any_of(draft, ("courses", "doses")), "course_id", int, times=2)


@kind("ids of figures as numbers with decimals", REPAIRED, forms=ONLY)
def id_float_cell(draft: Draft) -> list[Hit]:
    return change(draft, "doses", "course_id", lambda v: Shown(float(v), "0.00"), times=2)


@kind("numbers as text in a workbook", REPAIRED, forms=ONLY)
def numbers_as_text(draft: Draft) -> list[Hit]:
    return change(draft, "weighings", "weight", lambda v: f"{v}", times=2)


@kind("yes and no as a tick box's TRUE", REPAIRED, forms=ONLY)
def tick_box(draft: Draft) -> list[Hit]:
    return change(draft, "conditions", "primary", bool, fits=lambda line: line.truth["primary"])  # type: ignore[index]
