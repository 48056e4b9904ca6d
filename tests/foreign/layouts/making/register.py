"""Layout 1: one big register in one workbook sheet; intake, outcome, problem and weights in the same row."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
from kept import Cell, Layout, Planter, Row, Sheet
from openpyxl import Workbook
from openpyxl.styles import Font, PatternFill
from openpyxl.worksheet.worksheet import Worksheet
from truth import true_conditions, true_intakes, true_outcomes, true_weighings
from world import Plan, Species, Stay, invent

OFFICE = ("Register 23-25.xlsx",)
FIRST = 10
COLUMNS = ["Ref", "Date in", "What", "Sexes", "Age", "Came from", "Wt in", "Problem", "Date better", "Date out"]
COLUMNS += ["Where to", "Wt out", "Days here", "Notes"]
SPECIES = (
    Species("bearded dragon", "Pogona vitticeps", 400, "Beardie"),
    Species("leopard gecko", "Eublepharis macularius", 65, "Leo gecko"),
    Species("crested gecko", "Correlophus ciliatus", 42, "Crestie"),
    Species("corn snake", "Pantherophis guttatus", 500, "Corn"),
    Species("royal python", "Python regius", 1600, "Royal (ball python)"),
    Species("blue-tongued skink", "Tiliqua scincoides", 480, "Bluey skink"),
    Species("common toad", "Bufo bufo", 45, "Toad (common)", native=True),
    Species("axolotl", "Ambystoma mexicanum", 120, "Axie"),
    Species("red-eared slider", "Trachemys scripta elegans", 1200, "RES terrapin"),
)
KINDS = {
    "surrendered": ["owner", "owner - moving house"],
    "stray": ["found in garden", "stray"],
    "transferred in": ["other rescue"],
    "confiscated": ["police"],
    "returned": ["came back"],
    "born in care": ["laid & hatched here"],
}
ENDS = {
    "adopted": ["new home"],
    "transferred out": ["went to another rescue"],
    "returned to owner": ["back to owner"],
    "released": ["let go (native)"],
    "died": ["died", "RIP"],
    "euthanised": ["put to sleep"],
    "missing": ["escaped!"],
}
PROBLEMS = {
    "stuck shed": ["bad shed"],
    "mouth rot": ["mouth rot"],
    "respiratory infection": ["chesty"],
    "burn": ["burn"],
    "metabolic bone disease": ["soft bones"],
    "internal parasites": ["worms"],
    "mites": ["mites"],
    "underweight": ["too thin"],
}
AGES = {"adult": ["ad"], "juvenile": ["juv"], "hatchling": ["hatchling"]}


def _plan() -> Plan:
    return Plan(
        seed=101,
        stays=112,
        start=date(2023, 5, 1),
        last_day=date(2025, 6, 30),
        species=SPECIES,
        shares=(26, 15, 12, 14, 12, 6, 6, 5, 8),
        intake_types=(
            ("surrendered", 64),
            ("stray", 15),
            ("transferred in", 10),
            ("confiscated", 5),
            ("born in care", 6),
        ),
        stay_id=lambda n: f"R{n + 300}",
        animal_id=lambda n: f"animal-{n}",
        groups=0.18,
    )


def _sexes(stay: Stay, rng: np.random.Generator) -> str:
    """Males.females.unsexed, as keepers write it: 1.0 is one male, 0.0.4 four unsexed."""
    if stay.group > 1:
        males, females, unsexed = rng.multinomial(stay.group, [0.25, 0.35, 0.4])
        return f"{males}.{females}.{unsexed}" if unsexed else f"{males}.{females}"
    return {"male": "1.0", "female": "0.1", "unknown": "0.0.1"}[stay.sex]


def _weight(grams: float, rng: np.random.Generator) -> tuple[Cell, float]:
    """What is typed for a weight, and the grams that says."""
    if grams >= 1000 or (grams >= 300 and rng.random() < 0.15):
        kilos = round(grams / 1000, 2)
        return str(rng.choice([f"{kilos}kg", f"{kilos} kg", f"{kilos} Kg"])), kilos * 1000
    whole = round(grams)
    return str(rng.choice([f"{whole}g", f"{whole} g", f"{whole}gms"])), float(whole)


def _lines(stays: list[Stay], rng: np.random.Generator) -> list[Row]:
    """The register's rows; makes the stays' problems and weights no richer than a register can hold."""
    rows = []
    for s in stays:
        last = s.weights[-1] if s.left and s.outcome in ("adopted", "transferred out") and len(s.weights) > 1 else None
        typed, grams = _weight(s.weights[0][1], rng)
        s.weights = [(s.intake, grams)]
        out: Cell = None
        if last is not None and s.left:
            out, grams = _weight(last[1], rng)
            s.weights.append((s.left, grams))
        s.episodes = s.episodes[:2]
        ends = {e.ended_on for e in s.episodes}
        s.episodes = s.episodes[:1] if len(ends) > 1 else s.episodes
        for e in s.episodes:
            e.found_on, e.vet_on, e.severity = s.intake, None, ""
            e.ended_as = "cleared" if e.ended_on else ""
        better = s.episodes[0].ended_on if s.episodes else None
        cells = [s.stay_id, s.intake, s.species.theirs if s.group == 1 else f"{s.species.theirs} x{s.group}"]
        cells += [_sexes(s, rng), AGES[s.life_stage][0], str(rng.choice(KINDS[s.intake_type])), typed]
        cells += [" + ".join(PROBLEMS[e.condition][0] for e in s.episodes), better, s.left]
        cells += [str(rng.choice(ENDS[s.outcome])) if s.left else "", out, None]
        cells += [str(rng.choice(["", "", "", "", "eats well", "bit thin", "no viv with it", "nice temper"]))]
        rows.append(Row(dict(zip(COLUMNS, cells, strict=True)), s.stay_id))
    return rows


def _in_grams(row: Row) -> bool:
    return "k" not in row.cells["Wt out"].lower()


def _plant(layout: Layout, sheet: Sheet) -> None:
    put = Planter(layout, 1010)
    by_id = {s.stay_id: s for s in layout.stays}
    put.swap(sheet, "Date in", lambda r, d: r.cells["Date out"] and d > r.cells["Date out"])
    put.swap(sheet, "Date out", lambda r, d: d < r.cells["Date in"])
    put.swap(sheet, "Date better", lambda r, d: d < r.cells["Date in"])
    put.slip(sheet, "Date in", -1, lambda r: r.cells["Date in"].month == 1)
    put.slip(sheet, "Date out", -1, lambda r: (r.cells["Date out"] - r.cells["Date in"]).days < 300)
    put.slip(sheet, "Date out", 1, lambda r: r.cells["Date out"].year == 2025 or r.cells["Date out"].month > 7)
    heavy = lambda r: "k" in r.cells["Wt in"].lower() and not r.cells["Wt in"].startswith("0")  # noqa: E731
    typed = lambda r: r.cells["Wt in"].lower().replace("kg", "").strip() + "g"  # noqa: E731
    put.change(sheet, "Wt in", "kg_typed_as_g", typed, heavy)
    put.change(sheet, "Wt in", "kg_typed_as_g", typed, heavy)
    put.change(sheet, "Wt out", "unit_left_out", lambda r: float(r.cells["Wt out"].split("g")[0]), _in_grams, "maybe")
    put.change(
        sheet, "Wt in", "text_in_number", lambda r: f"approx {r.cells['Wt in']}?", lambda r: "k" not in r.cells["Wt in"]
    )
    put.twice(sheet, 1)
    put.twice(sheet, 4, lambda r: r.cells["Date out"] is None, Notes="entered twice??")
    put.change(sheet, "What", "species_misspelt", lambda r: "Beerdie", lambda r: r.cells["What"] == "Beardie")
    put.change(sheet, "What", "species_misspelt", lambda r: "leo geko", lambda r: r.cells["What"] == "Leo gecko")
    put.change(
        sheet,
        "Where to",
        "trailing_spaces",
        lambda r: r.cells["Where to"] + "\u00a0",
        lambda r: r.cells["Where to"] == "new home",
    )
    put.change(sheet, "Came from", "trailing_spaces", lambda r: " " + r.cells["Came from"] + "  ")
    put.change(sheet, "Ref", "id_typed_differently", lambda r: r.cells["Ref"].lower().replace("r", "r "))
    put.change(sheet, "Date out", "text_in_date", lambda r: "end of the month", seen="yes")
    put.change(sheet, "Notes", "phone_in_note", lambda r: "ring finder on 01632 960177")
    row = put.choose(sheet, lambda r: r.cells["Where to"] == "new home" and r.cells["Date out"] < date(2024, 3, 1))
    left = by_id[row.stay].left
    row.cells["Date out"], row.cells["Where to"] = None, ""
    put.mark(sheet, row, "Date out", "outcome_never_entered", left, "maybe")


def _top(page: Worksheet, layout: Layout) -> None:
    """Title, contact line, a small summary and the merged headings over the headings."""
    page["A1"] = "WOBBLY GECKO SANCTUARY - THE REGISTER"
    page["A1"].font = Font(bold=True, size=16)
    page["A2"] = "Questions to Dot, 01632 960155, dot@wobblygecko.example"
    page["A4"], page["B4"], page["C4"] = "Year", "In", "Out"
    for place, year in enumerate((2023, 2024, 2025)):
        page.cell(5 + place, 1, year)
        page.cell(5 + place, 2, sum(s.intake.year == year for s in layout.stays))
        page.cell(5 + place, 3, sum(s.left is not None and s.left.year == year for s in layout.stays))
    page.merge_cells("A1:H1")
    for area, text in (("A9:G9", "COMING IN"), ("H9:I9", "POORLY?"), ("J9:L9", "GOING OUT")):
        page[area.split(":")[0]] = text
        page.merge_cells(area)


def _write(layout: Layout, sheet: Sheet, path: Path) -> None:
    book = Workbook()
    page = book.active
    assert isinstance(page, Worksheet)
    page.title = sheet.sheet
    _top(page, layout)
    rng = np.random.default_rng(7)
    for place, name in enumerate(sheet.columns, 1):
        page.cell(FIRST, place, name).font = Font(bold=True)
    for row in sheet.rows:
        at = sheet.row_of(row)
        for place, name in enumerate(sheet.columns, 1):
            value = row.cells.get(name)
            if value in (None, ""):
                continue
            cell = page.cell(at, place, value)
            if isinstance(value, date):
                cell.number_format = "dd/mm/yyyy" if rng.random() < 0.8 else "d mmm yy"
        if row.what == "data":
            page.cell(at, 13, f'=IF(J{at}="","",J{at}-B{at})').number_format = "0"
            if not row.cells.get("Date out"):
                page.cell(at, 1).fill = PatternFill("solid", fgColor="FFF2CC")
            elif rng.random() < 0.06:
                page.row_dimensions[at].hidden = True
        if row.what == "total":
            page.cell(at, 3, f"=COUNTA(C{FIRST + 1}:C{at - 2})")
            page.cell(at, 13, f"=AVERAGE(M{FIRST + 1}:M{at - 2})")
    page.freeze_panes = f"A{FIRST + 1}"
    page.auto_filter.ref = f"A{FIRST}:N{FIRST + len(sheet.rows)}"
    layout.notes.append(f"hidden rows: {[n for n, d in sorted(page.row_dimensions.items()) if d.hidden]}")
    book.save(path)


def build(folder: Path) -> Layout:
    """Write the register and return the layout with its truth."""
    plan = _plan()
    stays = invent(plan)
    for stay in stays:
        if stay.intake_type == "returned":
            stay.group = 1
    layout = Layout(
        name=folder.name,
        rescue="Wobbly Gecko Sanctuary (invented)",
        language="en-GB",
        currency="GBP",
        date_order="real dates",
        weight_unit="typed with each weight (g or kg)",
        plan=plan,
        stays=stays,
        notes=[
            "One row feeds intakes, outcomes, conditions and two weighings.",
            "No animal number is kept: a returned animal cannot be told, so truth has no animal_id.",
            "Two problems are written with a plus sign; both are better on the same day or not at all.",
            "Problems are those found on arrival: found_on is the intake date.",
            "Sexes are males.females.unsexed; the group size is their sum; truth leaves sex blank for groups.",
            "A x3 after the species is the group size again, not part of the name.",
        ],
    )
    sheet = Sheet("Register 23-25.xlsx", "Register", COLUMNS, heading_row=FIRST)
    sheet.tables = "intakes, outcomes, conditions, weighings"
    sheet.rows = _lines(stays, np.random.default_rng(11))
    kept = ["stay_id", "species", "sex", "life_stage", "intake_date", "intake_type", "group_size"]
    layout.truth = {
        "intakes": true_intakes(stays, kept),
        "outcomes": true_outcomes(stays),
        "conditions": true_conditions(
            stays, ["episode_id", "stay_id", "condition", "found_on", "ended_on", "ended_as"]
        ),
        "weighings": true_weighings(stays),
    }
    _maps(layout, sheet)
    _plant(layout, sheet)
    sheet.rows += [Row({}, what="blank"), Row({"Ref": "TOTAL", "What": "=", "Days here": "="}, what="total")]
    layout.sheets = [sheet]
    _write(layout, sheet, folder / "rescue" / sheet.file)
    return layout


def _maps(layout: Layout, sheet: Sheet) -> None:
    layout.heads(
        sheet,
        "intakes",
        stay_id="Ref",
        species="What",
        sex="Sexes",
        life_stage="Age",
        intake_date="Date in",
        intake_type="Came from",
        group_size="Sexes",
        note="Notes",
    )
    layout.heads(sheet, "outcomes", stay_id="Ref", outcome_date="Date out", outcome_type="Where to")
    layout.heads(sheet, "conditions", stay_id="Ref", condition="Problem", found_on="Date in", ended_on="Date better")
    layout.heads(sheet, "weighings", stay_id="Ref", weighed_on="Date in", weight="Wt in")
    layout.heads(sheet, "weighings", stay_id="Ref", weighed_on="Date out", weight="Wt out")
    layout.says("intakes", "intake_type", KINDS)
    layout.says("intakes", "sex", {"male": ["1.0"], "female": ["0.1"], "unknown": ["0.0.1"]})
    layout.says("intakes", "life_stage", AGES)
    layout.says("intakes", "species", {s.common: [s.theirs] for s in SPECIES})
    layout.says("outcomes", "outcome_type", ENDS)
    layout.says("conditions", "condition", PROBLEMS)


README = """Our register. Everything is on the one sheet, a line for each time something comes in. Yellow = still here.
I hide the lines for ones that were a bit upsetting. Weights with g or kg after. Sexes the usual way, 1.2.3 = one male,
two females, three don't know.
Dot
"""
