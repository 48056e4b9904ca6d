"""Layout 3: a US rescue. One sheet a year, headings that drift, a sheet with one column per weighing date."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from kept import Cell, Layout, Planter, Row, Sheet, columns_of
from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet
from truth import true_conditions, true_intakes, true_outcomes, true_weighings
from world import Plan, Species, Stay, invent

OFFICE = ("Intake log.xlsx",)
OUNCE = 28.349523125
BOOK = "Intake log.xlsx"
SPECIES = (
    Species("bearded dragon", "Pogona vitticeps", 390, "Bearded dragon"),
    Species("leopard gecko", "Eublepharis macularius", 65, "Leopard gecko"),
    Species("ball python", "Python regius", 1500, "Ball python"),
    Species("red-eared slider", "Trachemys scripta elegans", 1250, "Red eared slider"),
    Species("eastern box turtle", "Terrapene carolina", 420, "Box turtle", native=True),
    Species("sulcata tortoise", "Centrochelys sulcata", 9000, "Sulcata"),
    Species("corn snake", "Pantherophis guttatus", 500, "Corn snake"),
    Species("green iguana", "Iguana iguana", 2600, "Iguana (green)"),
    Species("veiled chameleon", "Chamaeleo calyptratus", 130, "Veiled chameleon"),
)
KINDS = {
    "surrendered": ["OS", "Owner surr."],
    "stray": ["Stray"],
    "transferred in": ["Transfer in"],
    "confiscated": ["Animal control seizure"],
    "returned": ["Adoption return"],
    "born in care": ["Hatched at rescue"],
}
ENDS = {
    "adopted": ["Adopted", "ADOPTED"],
    "transferred out": ["Transfer out"],
    "returned to owner": ["RTO"],
    "released": ["Released"],
    "died": ["Died", "Deceased"],
    "euthanised": ["Euth"],
    "missing": ["Lost"],
}
PROBLEMS = {
    "stuck shed": ["Dysecdysis"],
    "mouth rot": ["Mouth rot"],
    "respiratory infection": ["URI"],
    "burn": ["Burns"],
    "metabolic bone disease": ["MBD"],
    "internal parasites": ["Parasites (fecal +)"],
    "mites": ["Mites"],
    "underweight": ["Emaciation"],
}
SEXES = {"male": ["M"], "female": ["F"], "unknown": ["U"]}
ANSWERS = {
    "taken in": ["Took in"],
    "no room": ["FULL"],
    "declined": ["Said no"],
    "waiting": ["Waitlist"],
    "withdrawn": ["Never called back"],
}
# What each year's sheet calls the same thing: volunteers changed the headings as they went.
KEYS = [
    "stay",
    "animal",
    "in",
    "species",
    "sex",
    "n",
    "how",
    "owner",
    "phone",
    "medical",
    "clear",
    "out",
    "outcome",
    "note",
]
YEARS = {
    2023: "Case #,Animal,Date In,Species,Sex,#,Intake type,Surrendered by,Phone,Medical,Cleared by vet,Date Out,"
    "Outcome,Notes",
    2024: "Case #,Animal ID,Intake date,Species,Sex,How many,Type,Surrenderer name,Surrenderer phone,Medical issue,"
    "Vet clear date,Outcome date,Outcome,Notes",
    2025: "Case No.,Animal ID,Intake date,Species,Sex,Qty,Type,Surrenderer name,Surrenderer phone,Medical issue,"
    "Vet cleared,Outcome date,Disposition,Comments",
}


def _plan() -> Plan:
    return Plan(
        seed=303,
        stays=118,
        start=date(2023, 3, 1),
        last_day=date(2025, 4, 30),
        species=SPECIES,
        shares=(24, 13, 17, 18, 8, 6, 10, 7, 6),
        intake_types=(
            ("surrendered", 66),
            ("stray", 14),
            ("transferred in", 10),
            ("confiscated", 8),
            ("born in care", 2),
        ),
        stay_id=lambda n: f"C-{n + 1200}",
        animal_id=lambda n: f"DF{n:03d}",
        weigh_every=(7, 20),
        weigh_weekday=5,
        round_to=0.1,
        groups=0.06,
    )


def _pounds(grams: float, rng: np.random.Generator) -> tuple[str, float]:
    """What is typed for a weight in pounds and ounces, and the grams that says."""
    ounces = round(grams / OUNCE, 1) if grams < 450 else float(round(grams / OUNCE))
    ounces = max(ounces, 0.1)
    if ounces < 16:
        return str(rng.choice([f"{ounces:g} oz", f"{ounces:g}oz"])), ounces * OUNCE
    pounds, rest = int(ounces // 16), ounces % 16
    if rest == 0:
        return f"{pounds} lb", ounces * OUNCE
    return str(rng.choice([f"{pounds} lb {rest:g} oz", f"{pounds}lb {rest:g}oz"], p=[0.85, 0.15])), ounces * OUNCE


def _year_sheets(stays: list[Stay], rng: np.random.Generator) -> list[Sheet]:
    sheets = {year: Sheet(BOOK, str(year), heads.split(","), heading_row=3) for year, heads in YEARS.items()}
    for s in stays:
        s.episodes = s.episodes[:1]
        for e in s.episodes:
            e.found_on, e.severity, e.vet_on = s.intake, "", None
            e.ended_as = "cleared" if e.ended_on else ""
        owner = f"Pat Sample-{rng.integers(10, 99)}" if s.intake_type == "surrendered" else ""
        phone = f"(555) 555-01{rng.integers(10, 99)}" if owner else ""
        medical = PROBLEMS[s.episodes[0].condition][0] if s.episodes else str(rng.choice(["", "", "none seen"]))
        cells = [s.stay_id, s.animal_id, s.intake, s.species.theirs, SEXES[s.sex][0] if s.group == 1 else "", s.group]
        cells += [str(rng.choice(KINDS[s.intake_type])), owner, phone, medical]
        cells += [s.episodes[0].ended_on if s.episodes else None, s.left]
        cells += [
            str(rng.choice(ENDS[s.outcome])) if s.left else "",
            str(rng.choice(["", "", "", "sweet", "hand shy"])),
        ]
        sheet = sheets[s.intake.year]
        sheet.rows.append(Row(dict(zip(sheet.columns, cells, strict=True)), s.stay_id))
    for sheet in sheets.values():
        sheet.tables = "intakes, outcomes, conditions"
    return list(sheets.values())


def _weights_sheet(stays: list[Stay], rng: np.random.Generator) -> Sheet:
    """One row a case, one column a weigh day (Saturdays), plus the day of arrival under its own heading."""
    for s in stays:
        kept = [s.weights[0]] if s.weights[0][0].weekday() == 5 else []
        s.weights = kept + [(day, grams) for day, grams in s.weights[1:] if day.weekday() == 5]
    days = sorted({day for s in stays for day, _ in s.weights})
    sheet = Sheet(BOOK, "Weights", ["Case", "Species", *(day.isoformat() for day in days)], heading_row=2)
    sheet.tables = "weighings"
    for s in stays:
        cells: dict[str, Cell] = {"Case": s.stay_id, "Species": s.species.theirs}
        for place, (day, grams) in enumerate(s.weights):
            cells[day.isoformat()], said = _pounds(grams, rng)
            s.weights[place] = (day, said)
        if s.weights:
            sheet.rows.append(Row(cells, s.stay_id))
    return sheet


def _calls(plan: Plan, stays: list[Stay], rng: np.random.Generator) -> tuple[Sheet, list[dict[str, Cell]]]:
    sheet = Sheet(
        BOOK, "Call log", ["Date", "Caller", "Callback #", "Animal", "How many", "What we said"], heading_row=1
    )
    sheet.tables = "requests"
    truth: list[dict[str, Cell]] = []
    for day in sorted(rng.integers(0, (plan.last_day - plan.start).days, size=60)):
        when = plan.start + timedelta(days=int(day))
        kind = SPECIES[int(rng.integers(len(SPECIES)))]
        answer = str(rng.choice(list(ANSWERS), p=[0.4, 0.25, 0.1, 0.2, 0.05]))
        many = int(rng.choice([1, 1, 1, 2, 3]))
        cells = [
            when,
            f"Caller {rng.integers(100, 999)}",
            f"555-01{rng.integers(10, 99)}",
            kind.theirs,
            many,
            ANSWERS[answer][0],
        ]
        sheet.rows.append(Row(dict(zip(sheet.columns, cells, strict=True))))
        truth.append({"asked_on": when, "species": kind.common, "animals": many, "answer": answer})
    return sheet, truth


def _column(sheet: Sheet, key: str) -> str:
    return sheet.columns[KEYS.index(key)]


def _weight_cell(row: Row, fits: str, first: int = 1) -> str:
    """Heading of a later weight of a row whose text holds ``fits``; empty if there is none."""
    days = [c for c, v in row.cells.items() if c[:2] == "20" and isinstance(v, str)][first:]
    return next((day for day in days if fits in row.cells[day]), "")


def _plant_weight(put: Planter, sheet: Sheet, kind: str, fits: str, change: Callable[[str], str]) -> None:
    row = put.choose(sheet, lambda r: _weight_cell(r, fits) != "")
    column = _weight_cell(row, fits)
    truth = row.cells[column]
    row.cells[column] = change(truth)
    put.mark(sheet, row, column, kind, truth)


def _plant(layout: Layout, years: list[Sheet], weights: Sheet) -> None:
    put = Planter(layout, 3030)
    by_id = {s.stay_id: s for s in layout.stays}
    first, second, third = years
    put.swap(first, "Date Out", lambda r, d: d < r.cells["Date In"])
    put.swap(second, "Intake date", lambda r, d: r.cells["Outcome date"] and d > r.cells["Outcome date"])
    put.swap(second, "Vet clear date", lambda r, d: d < r.cells["Intake date"], seen="yes")
    put.slip(third, "Intake date", -1, lambda r: r.cells["Intake date"].month == 1)
    put.slip(second, "Outcome date", -1, lambda r: (r.cells["Outcome date"] - r.cells["Intake date"]).days < 200)
    _plant_weight(put, weights, "lb_typed_as_oz", " lb ", lambda t: t.split(" lb ")[0] + " oz")
    _plant_weight(put, weights, "oz_typed_as_lb", " oz", lambda t: t.replace(" oz", " lb"))
    _plant_weight(put, weights, "unit_left_out", " oz", lambda t: t.replace(" oz", ""))
    _plant_weight(put, weights, "text_in_number", "oz", lambda t: "wouldn't sit still")
    put.twice(first, 1)
    put.twice(third, 2, lambda r: not r.cells["Outcome date"], Comments="dup?")
    put.twice(weights, 1)
    put.change(weights, "Case", "id_typed_differently", lambda r: r.cells["Case"].replace("C-", "c"))
    put.change(third, "Case No.", "id_typed_differently", lambda r: r.cells["Case No."].replace("C-", "C "))
    put.change(
        second,
        "Species",
        "species_misspelt",
        lambda r: "Breaded dragon",
        lambda r: r.cells["Species"] == "Bearded dragon",
    )
    put.change(
        first,
        "Species",
        "species_misspelt",
        lambda r: "Red earred slyder",
        lambda r: r.cells["Species"].startswith("Red"),
    )
    put.change(
        second,
        "Outcome",
        "trailing_spaces",
        lambda r: r.cells["Outcome"] + "  ",
        lambda r: r.cells["Outcome"] == "Adopted",
    )
    put.change(second, "Notes", "phone_in_note", lambda r: "call 555-0142 before noon")
    dead = next(
        r
        for r in weights.rows
        if by_id[r.stay].outcome in ("died", "euthanised") and (by_id[r.stay].left or date.max) < date(2024, 9, 1)
    )
    gone = by_id[dead.stay].left
    assert gone is not None
    day = next(c for c in weights.columns[2:] if date.fromisoformat(c) > gone + timedelta(days=40))
    dead.cells[day] = "9 oz"
    put.mark(weights, dead, day, "weight_of_dead_animal", "not a weight of this animal")
    row = put.choose(first, lambda r: str(r.cells["Outcome"]).lower() == "adopted")
    row.cells["Date Out"], row.cells["Outcome"] = None, ""
    put.mark(first, row, "Date Out", "outcome_never_entered", by_id[row.stay].left, "maybe")


def _typed(when: date, rng: np.random.Generator, share: float) -> Cell:
    """A real date, or the text a volunteer types, month first."""
    if rng.random() > share:
        return when
    return str(
        rng.choice([f"{when.month}/{when.day}/{when:%y}", f"{when.month}/{when.day}/{when.year}", f"{when:%m/%d/%Y}"])
    )


def _put_sheet(page: Worksheet, sheet: Sheet, heads: list[Cell], rng: np.random.Generator) -> None:
    for place, head in enumerate(heads, sheet.left):
        cell = page.cell(sheet.heading_row, place, head)
        cell.font = Font(bold=True)
        if isinstance(head, date):
            cell.number_format = "m/d/yy"
    for row in sheet.rows:
        at = sheet.row_of(row)
        for place, name in enumerate(sheet.columns, sheet.left):
            value = row.cells.get(name)
            if isinstance(value, date):
                value = _typed(value, rng, 0.4)
            if value in (None, ""):
                continue
            cell = page.cell(at, place, value)
            if isinstance(value, date):
                cell.number_format = "m/d/yyyy"


def _write(years: list[Sheet], weights: Sheet, calls: Sheet, path: Path) -> None:
    book = Workbook()
    rng = np.random.default_rng(33)
    for place, sheet in enumerate([*years, weights, calls]):
        page = book.active if place == 0 else book.create_sheet()
        assert isinstance(page, Worksheet)
        page.title = sheet.sheet
        heads: list[Cell] = list(sheet.columns)
        if sheet is weights:
            page["A1"] = "Saturday weigh-ins (lb and oz)"
            # Excel made real dates of most headings; those typed with a stroke too many stayed text.
            heads = heads[:2] + [_typed(date.fromisoformat(str(day)), rng, 0.25) for day in heads[2:]]
        elif sheet is not calls:
            page["A1"] = f"DUSTY FENCE REPTILE RESCUE  -  INTAKES {sheet.sheet}"
        _put_sheet(page, sheet, heads, rng)
    book.save(path)


def build(folder: Path) -> Layout:
    """Write the workbook and return the layout with its truth."""
    plan = _plan()
    stays = invent(plan)
    layout = Layout(
        name=folder.name,
        rescue="Dusty Fence Reptile Rescue (invented)",
        language="en-US",
        currency="USD",
        date_order="mdy",
        weight_unit="typed with each weight (lb and oz)",
        plan=plan,
        stays=stays,
        notes=[
            "Each year has its own sheet; a stay's outcome stands in the sheet of the year it came in.",
            "The headings differ between years; each row feeds intakes, outcomes and conditions.",
            "Weights: one column per weighing date; the headings are real dates, some of them text, month first.",
            "For a fault in sheet Weights, the column named is the date of the heading in ISO.",
            "One medical issue at most, found on arrival; 'none seen' is no condition.",
            "Weights in truth are grams of the pounds and ounces typed (28.349523125 g to the ounce), to 0.01 g.",
        ],
    )
    rng = np.random.default_rng(13)
    years = _year_sheets(stays, rng)
    weights = _weights_sheet(stays, rng)
    calls, asked = _calls(plan, stays, rng)
    kept = ["stay_id", "animal_id", "species", "sex", "intake_date", "intake_type", "group_size"]
    layout.truth = {
        "intakes": true_intakes(stays, kept),
        "outcomes": true_outcomes(stays),
        "conditions": true_conditions(
            stays, ["episode_id", "stay_id", "condition", "found_on", "ended_on", "ended_as"]
        ),
        "weighings": true_weighings(stays),
        "requests": columns_of(asked, ["asked_on", "species", "animals", "answer"]),
    }
    _maps(layout, years, weights, calls)
    _plant(layout, years, weights)
    layout.sheets = [*years, weights, calls]
    _write(years, weights, calls, folder / "rescue" / BOOK)
    return layout


def _maps(layout: Layout, years: list[Sheet], weights: Sheet, calls: Sheet) -> None:
    for sheet in years:
        name = {key: _column(sheet, key) for key in KEYS}
        layout.heads(
            sheet,
            "intakes",
            stay_id=name["stay"],
            animal_id=name["animal"],
            intake_date=name["in"],
            species=name["species"],
            sex=name["sex"],
            group_size=name["n"],
            intake_type=name["how"],
            note=name["note"],
        )
        layout.heads(sheet, "outcomes", stay_id=name["stay"], outcome_date=name["out"], outcome_type=name["outcome"])
        layout.heads(
            sheet,
            "conditions",
            stay_id=name["stay"],
            condition=name["medical"],
            found_on=name["in"],
            ended_on=name["clear"],
        )
    layout.heads(weights, "weighings", stay_id="Case", weighed_on="(headings)", weight="(cells)")
    layout.heads(calls, "requests", asked_on="Date", species="Animal", animals="How many", answer="What we said")
    layout.says("intakes", "intake_type", KINDS)
    layout.says("intakes", "sex", SEXES)
    layout.says("intakes", "species", {s.common: [s.theirs] for s in SPECIES})
    layout.says("outcomes", "outcome_type", ENDS)
    layout.says("conditions", "condition", PROBLEMS)
    layout.says("requests", "answer", ANSWERS)


README = """This is our intake log. New tab every January (I tidied up the column names in 2024). Weights tab: we weigh
everybody on Saturdays, new column each time, pounds and ounces. Call log is who phoned wanting to give us something.
Please don't share the names and numbers.
Ray
"""
