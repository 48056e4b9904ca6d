"""Damage to rows: written twice, under one id, overlapping, pasted again."""

from __future__ import annotations

from datetime import timedelta

from records.damage.drafts import Draft, Line
from records.damage.judging import ASIDE, DETECTED, REPAIRED, Hit
from records.damage.kinds import add, any_of, kind, sheet_for, witnesses


@kind("a row written twice", ASIDE)
def duplicated_row(draft: Draft) -> list[Hit]:
    table = any_of(draft, ("intakes", "outcomes", "weighings", "conditions", "moves", "targets", "followups"))
    return _again(draft, table)


@kind("a dose with its hour written twice, or a payment", ASIDE, DETECTED)
def duplicated_payment(draft: Draft) -> list[Hit]:
    return _again(draft, any_of(draft, ("spending", "receipts", "doses")))


def _again(draft: Draft, table: str) -> list[Hit]:
    for line in draft.free(table)[:1]:
        copy = Line(dict(line.cells), who=line.who)
        add(draft, table, copy, line)
        draft.busy.add(line.who)
        return [Hit("", table, copy)]
    return []


@kind("a row written twice, one cell of it otherwise", ASIDE, DETECTED)
def nearly_duplicated(draft: Draft) -> list[Hit]:
    table, column, new = any_of(
        draft,
        (
            ("outcomes", "outcome_type", "missing"),
            ("weighings", "weight", 1234.5),
            ("intakes", "note", "written twice"),
            ("conditions", "severity", None),
        ),
    )
    for line in draft.free(table)[:1]:
        copy = Line({**line.cells, column: new}, who=line.who)
        add(draft, table, copy, line)
        draft.busy.add(line.who)
        return [Hit("", table, copy)]
    return []


@kind("a block of rows pasted again at the end", ASIDE)
def block_pasted(draft: Draft) -> list[Hit]:
    table = any_of(draft, ("moves", "outcomes", "conditions"))
    sheet = draft.sheets[table]
    if len(sheet.rows) < 9:
        return []
    start = int(draft.draw.integers(0, len(sheet.rows) - 5))
    block = [line for line in sheet.rows[start : start + 4] if line.who not in draft.busy and line.truth is not None]
    copies = [add(draft, table, Line(dict(line.cells), who=line.who)) for line in block]
    draft.busy |= {line.who for line in block}
    return [Hit("", table, copy) for copy in copies]


@kind("one id on two rows that are not the same", ASIDE)
def duplicated_id(draft: Draft) -> list[Hit]:
    table, key = any_of(draft, (("intakes", "stay_id"), ("conditions", "episode_id"), ("courses", "course_id")))
    lines = draft.free(table)
    if len(lines) < 2 or lines[0].who == lines[1].who:
        return []
    # The later row has the earlier one's id.
    order = draft.sheets[table].lines
    first, later = sorted(lines[:2], key=order.index)
    later.cells[key] = first.truth[key]  # type: ignore[index]
    draft.busy |= {first.who, later.who}
    return [Hit("", table, later, key)]


@kind("one animal's id on two animals", DETECTED)
def shared_animal(draft: Draft) -> list[Hit]:
    lines = draft.free("intakes", "animal_id")
    for other in lines[1:]:
        assert lines[0].truth and other.truth
        if other.truth["species"] != lines[0].truth["species"]:
            first, later = sorted((lines[0], other), key=lambda x: x.truth["intake_date"])  # type: ignore[index]
            later.cells["animal_id"] = first.truth["animal_id"]  # type: ignore[index]
            draft.busy |= {first.who, later.who}
            return [Hit("", "intakes", later, "animal_id")]
    return []


@kind("one stay entered again under a new id", DETECTED)
def stay_again(draft: Draft) -> list[Hit]:
    for line in draft.free("intakes", "animal_id")[:1]:
        copy = Line({**line.cells, "stay_id": f"{line.cells['stay_id']}b"}, who=line.who)
        add(draft, "intakes", copy, line)
        draft.busy.add(line.who)
        return [Hit("", "intakes", copy)]
    return []


@kind("a second stay of an animal before its first has ended", DETECTED)
def overlapping_stay(draft: Draft) -> list[Hit]:
    for line in draft.free("intakes", "animal_id"):
        if line.truth["dead_on_arrival"]:  # type: ignore[index]
            continue
        came = line.truth["intake_date"] + timedelta(days=12)  # type: ignore[index]
        copy = Line({**line.cells, "stay_id": f"{line.cells['stay_id']}-2", "intake_date": came}, who=line.who)
        add(draft, "intakes", copy, line)
        draft.busy.add(line.who)
        return [Hit("", "intakes", copy, "intake_date")]
    return []


@kind("an outcome of a stay that had ended", ASIDE, DETECTED)
def second_outcome(draft: Draft) -> list[Hit]:
    for line in draft.free("outcomes"):
        if line.truth["animals"] is None:  # type: ignore[index]
            later = line.truth["outcome_date"] + timedelta(days=9)  # type: ignore[index]
            copy = Line({**line.cells, "outcome_date": later}, who=line.who)
            add(draft, "outcomes", copy, line)
            draft.busy.add(line.who)
            return [Hit("", "outcomes", copy, "outcome_date")]
    return []


@kind("the rows in another order", REPAIRED, scope="sheet")
def row_order(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft, ("targets", "periods", "followups", "courses", "moves"))
    if sheet is None:
        return []
    first = next(i for i, line in enumerate(sheet.lines) if line.sort == "heading") + 1
    body = sheet.lines[first:]
    sheet.lines[first:] = [body[i] for i in draft.draw.permutation(len(body))]
    return witnesses(draft, sheet)


@kind("one column sorted without the others", DETECTED, scope="alone")
def column_sorted(draft: Draft) -> list[Hit]:
    sheet = draft.sheets["weighings"]
    rows = sheet.rows
    weights = sorted(line.cells["weight"] for line in rows)
    hits = []
    for nth, (line, weight) in enumerate(zip(rows, weights, strict=True)):
        line.cells["weight"] = weight
        draft.busy.add(line.who)
        if weight != line.truth["weight"]:  # type: ignore[index]
            hits.append(Hit("", "weighings", line, "weight", judged=nth % 10 == 0))
    return hits
