"""Damage to whole files and sheets: encodings, delimiters, line ends, headings, rows that are no records."""

from __future__ import annotations

from collections.abc import Callable

from mendcurve.records.schemas import TABLES
from records.damage.drafts import CSV, Draft, Line, text_of
from records.damage.judging import ASIDE, DETECTED, REFUSED, REPAIRED, Hit
from records.damage.kinds import add, any_of, kind, sheet_for, witnesses

TEXT = (CSV,)


def _sheet(draft: Draft, **change: object) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    for name, value in change.items():
        setattr(sheet, name, value)
    return witnesses(draft, sheet)


@kind("saved as UTF-16, with its mark", REPAIRED, forms=TEXT, scope="sheet")
def utf16(draft: Draft) -> list[Hit]:
    return _sheet(draft, encoding="utf-16")


@kind("saved as UTF-16, without a mark", REPAIRED, forms=TEXT, scope="sheet")
def utf16_no_mark(draft: Draft) -> list[Hit]:
    return _sheet(draft, encoding="utf-16-le")


@kind("UTF-8 with a mark before it", REPAIRED, forms=TEXT, scope="sheet")
def utf8_mark(draft: Draft) -> list[Hit]:
    return _sheet(draft, encoding="utf-8-sig")


@kind("saved in Windows' Western code page", REPAIRED, forms=TEXT, scope="sheet")
def cp1252(draft: Draft) -> list[Hit]:
    if "intakes" in draft.sheets_taken:
        return []
    draft.sheets_taken.add("intakes")
    sheet = draft.sheets["intakes"]
    sheet.encoding = "cp1252"
    hits = witnesses(draft, sheet, 2)
    for hit in hits:
        hit.line.cells["note"] = "très calme – mangé"
    return [Hit("", "intakes", hit.line, meant={"note": "très calme – mangé"}) for hit in hits]


@kind("semicolons between the cells", REPAIRED, forms=TEXT, scope="sheet")
def semicolons(draft: Draft) -> list[Hit]:
    return _sheet(draft, delimiter=";")


@kind("tabs between the cells of a .csv", REPAIRED, forms=TEXT, scope="sheet")
def tabs(draft: Draft) -> list[Hit]:
    return _sheet(draft, delimiter="\t")


@kind("upright bars between the cells", REPAIRED, REFUSED, forms=TEXT, scope="alone")
def bars(draft: Draft) -> list[Hit]:
    return _sheet(draft, delimiter="|")


@kind("a carriage return alone ends each line", REPAIRED, forms=TEXT, scope="sheet")
def cr_ends(draft: Draft) -> list[Hit]:
    return _sheet(draft, newline="\r")


@kind("line ends of two kinds in one file", REPAIRED, forms=TEXT, scope="sheet")
def mixed_ends(draft: Draft) -> list[Hit]:
    def mix(raw: bytes) -> bytes:
        parts = raw.split(b"\r\n")
        return b"".join(part + (b"\n" if i % 2 else b"\r\n") for i, part in enumerate(parts[:-1])) + parts[-1]

    return _sheet(draft, bytes_to=mix)


@kind("no line end after the last row", REPAIRED, forms=TEXT, scope="sheet")
def no_last_end(draft: Draft) -> list[Hit]:
    return _sheet(draft, bytes_to=lambda raw: raw.rstrip(b"\r\n"))


@kind("empty lines and delimiters behind the last row", REPAIRED, forms=TEXT, scope="sheet")
def empty_end(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    for _ in range(3):
        add(draft, sheet.table, Line({}, sort="blank", literal="," * (len(sheet.columns) - 1)))
    return witnesses(draft, sheet)


@kind("a NUL byte in a cell", REPAIRED, DETECTED, ASIDE, REFUSED, forms=TEXT, scope="alone")
def nul_byte(draft: Draft) -> list[Hit]:
    lines = draft.free("intakes", "note")
    if not lines:
        return []
    line = lines[0]
    line.cells["note"] = "quiet\x00"
    draft.busy.add(line.who)
    return [Hit("", "intakes", line, "note", meant={"note": "quiet"})]


@kind("a quotation mark that is never closed", ASIDE, DETECTED, REFUSED, forms=TEXT, scope="alone")
def open_quote(draft: Draft) -> list[Hit]:
    sheet = draft.sheets["intakes"]
    line = any_of(draft, sheet.rows[5:20])
    cells = [text_of(v) for v in sheet.values(line)]
    cells[sheet.columns.index("note")] = '"12 inch tank'
    line.literal = ",".join(cells)
    draft.busy |= {other.who for other in sheet.lines}
    draft.renumbered = True
    return [Hit("", "intakes", line)]


def _headings(draft: Draft, new: Callable[[str], str]) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    sheet.headings = {column: new(heading) for column, heading in sheet.headings.items()}
    return witnesses(draft, sheet)


@kind("headings in capitals, with spaces for underscores", REPAIRED, scope="sheet")
def heading_case(draft: Draft) -> list[Hit]:
    how = any_of(draft, (str.upper, str.title, str.capitalize))
    return _headings(draft, lambda h: how(h.replace("_", " ")))


@kind("headings with spaces around, doubled, no-break and across two lines", REPAIRED, scope="sheet")
def heading_spaces(draft: Draft) -> list[Hit]:
    space = any_of(draft, ("  ", "\u00a0", "\n", " - "))
    return _headings(draft, lambda h: f" {h.replace('_', space)}\u00a0")


@kind("the columns in another order, one more between them", REPAIRED, scope="sheet")
def column_order(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    order = draft.draw.permutation(len(sheet.columns))
    sheet.columns = [sheet.columns[i] for i in order]
    sheet.columns.insert(1, "cage card printed")
    sheet.headings["cage card printed"] = "cage card printed"
    for line in sheet.rows:
        line.cells["cage card printed"] = any_of(draft, ("x", None))
    return witnesses(draft, sheet)


@kind("a title and an empty row above the headings", REPAIRED, scope="sheet")
def title_above(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    sheet.lines[:0] = [Line({}, sort="title", written=["Our animals"]), Line({}, sort="blank")]
    return witnesses(draft, sheet)


@kind("titles of several cells above the headings", REPAIRED, REFUSED, scope="alone")
def wide_title_above(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    sheet.lines[:0] = [Line({}, sort="title", written=["Our animals", "year", "2024"]), Line({}, sort="blank")]
    return witnesses(draft, sheet)


@kind("empty rows between the rows", REPAIRED, scope="sheet")
def blank_rows(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    for _ in range(4):
        add(draft, sheet.table, Line({}, sort="blank"), any_of(draft, sheet.lines))
    return witnesses(draft, sheet)


@kind("the headings again between the rows", REPAIRED, scope="sheet")
def headings_again(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft)
    if sheet is None:
        return []
    again = [add(draft, sheet.table, Line({}, sort="heading"), any_of(draft, sheet.rows)) for _ in range(2)]
    return [*witnesses(draft, sheet, 2), *(Hit("", sheet.table, line, gone=True) for line in again)]


@kind("a row of totals at the end", REPAIRED, ASIDE, scope="sheet")
def totals_row(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft, ("weighings", "spending", "intakes", "outcomes"))
    if sheet is None:
        return []
    number = {"weighings": "weight", "spending": "amount", "intakes": "group_size", "outcomes": "animals"}[sheet.table]
    word = any_of(draft, ("Total", "TOTAL:", "Sum", "Totals"))
    cells = {sheet.columns[0]: word, number: 4211}
    total = add(draft, sheet.table, Line(cells, sort="total"))
    return [*witnesses(draft, sheet, 2), Hit("", sheet.table, total, gone=True)]


@kind("totals after each month, between the rows", REPAIRED, ASIDE, scope="sheet")
def totals_between(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft, ("spending", "intakes", "outcomes"))
    if sheet is None or len(sheet.rows) < 12:
        return []
    number = {"spending": "amount", "intakes": "group_size", "outcomes": "animals"}[sheet.table]
    totals = [
        add(draft, sheet.table, Line({sheet.columns[0]: "Total", number: 12}, sort="total"), sheet.rows[at])
        for at in (5, 11)
    ]
    return [*witnesses(draft, sheet, 2), *(Hit("", sheet.table, line, gone=True) for line in totals)]


@kind("a column about people", REPAIRED, scope="sheet")
def people_column(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft, ("intakes", "outcomes", "requests", "followups"))
    if sheet is None:
        return []
    heading = any_of(draft, ("Owner", "surrendered by", "Adopter name", "E-mail", "contact phone", "Finder's address"))
    sheet.columns.insert(2, heading)
    sheet.headings[heading] = heading
    draft.secrets.append("Zyxwina Qvarn")
    for line in sheet.rows:
        line.cells[heading] = any_of(draft, ("Zyxwina Qvarn, 01632 960118", None, "Zyxwina Qvarn"))
    return witnesses(draft, sheet)


@kind("decimal commas in a whole sheet", REPAIRED, forms=TEXT, scope="sheet")
def decimal_comma(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft, ("weighings", "spending", "receipts"), close=True)
    if sheet is None:
        return []
    sheet.delimiter = ";"
    _numbers(sheet.lines, sheet.table, lambda text: text.replace(".", ","))
    return witnesses(draft, sheet)


@kind("thousands set apart, by comma, point, space or mark", REPAIRED, forms=TEXT, scope="sheet")
def thousands(draft: Draft) -> list[Hit]:
    sheet = sheet_for(draft, ("weighings", "grants", "spending"), close=True)
    if sheet is None:
        return []
    apart, point = any_of(draft, ((",", "."), (".", ","), (" ", "."), ("'", "."), ("\u00a0", ","), ("\u202f", ",")))
    _numbers(
        sheet.lines,
        sheet.table,
        lambda text: f"{float(text):,.2f}".replace(",", "\0").replace(".", point).replace("\0", apart),
    )
    return witnesses(draft, sheet)


def _numbers(lines: list[Line], table: str, new: Callable[[str], str]) -> None:
    columns = [c.name for c in TABLES[table].columns if c.kind in ("number", "money") and c.name != "condition_score"]
    for line in lines:
        for column in columns:
            if line.sort == "row" and line.cells.get(column) is not None:
                line.cells[column] = new(text_of(line.cells[column]))


@kind("a new line inside a note", REPAIRED)
def newline_in_note(draft: Draft) -> list[Hit]:
    lines = [line for line in draft.free("intakes") if draft.sheets["intakes"].newline != "\r"]
    hits = []
    for line in lines[:1]:
        note = "eats well\nshed on arrival, tail short"
        line.cells["note"] = note
        draft.busy.add(line.who)
        hits.append(Hit("", "intakes", line, "note", meant={"note": note}))
    return hits


@kind("a comma in a cell without quotation marks", ASIDE, DETECTED, forms=TEXT)
def bare_comma(draft: Draft) -> list[Hit]:
    sheet = draft.sheets["intakes"]
    if sheet.delimiter != "," or sheet.columns != list(TABLES["intakes"].names):
        return []
    hits = []
    for line in draft.free("intakes")[:1]:
        cells = [text_of(v) for v in sheet.values(line)]
        cells[-1] = "quiet, eats well, box"
        line.literal = ",".join(cells)
        draft.busy.add(line.who)
        hits.append(Hit("", "intakes", line))
    return hits
