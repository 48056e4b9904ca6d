"""Layout 6: two tables side by side on one sheet, four stacked under titles on another, in a 1904 workbook."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
from kept import Cell, Layout, Planter, Row, Sheet, columns_of
from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet
from truth import true_conditions, true_intakes, true_outcomes, true_weighings
from world import Plan, Species, Stay, invent

BOOK = "frogs and newts.xlsx"
SIDE, REST = "IN and OUT", "Everything else"
EPOCH_1904 = date(1904, 1, 1)
BETWEEN_EPOCHS = 1462
SPECIES = (
    Species("axolotl", "Ambystoma mexicanum", 120, "Axolotl"),
    Species("White's tree frog", "Ranoidea caerulea", 62, "Whites TF"),
    Species("Pacman frog", "Ceratophrys ornata", 240, "Horned frog"),
    Species("fire salamander", "Salamandra salamandra", 34, "Fire sal."),
    Species("common toad", "Bufo bufo", 48, "Toad", native=True),
    Species("smooth newt", "Lissotriton vulgaris", 2.4, "Smooth newt", native=True),
    Species("African clawed frog", "Xenopus laevis", 70, "Clawed frog"),
    Species("leopard gecko", "Eublepharis macularius", 60, "Leopard gecko"),
)
KINDS = {
    "surrendered": ["Given up"],
    "stray": ["Found"],
    "transferred in": ["Other sanctuary"],
    "confiscated": ["Seized"],
    "returned": ["Brought back"],
    "born in care": ["Spawned here"],
}
ENDS = {
    "adopted": ["Homed"],
    "transferred out": ["Passed on"],
    "returned to owner": ["Owner took back"],
    "released": ["Back to pond"],
    "died": ["Dead"],
    "euthanised": ["PTS"],
    "missing": ["Gone missing"],
}
PROBLEMS = {
    "stuck shed": ["skin stuck"],
    "mouth rot": ["mouth"],
    "respiratory infection": ["breathing"],
    "burn": ["burnt"],
    "metabolic bone disease": ["MBD"],
    "internal parasites": ["worms"],
    "mites": ["mites"],
    "underweight": ["skinny"],
}
SEXES = {"male": ["m"], "female": ["f"], "unknown": ["?"]}
STAGES = {"adult": ["Ad"], "juvenile": ["Juv"], "hatchling": ["Metamorph"]}
SEVERITY = {"mild": ["*"], "moderate": ["**"], "severe": ["***"]}
COSTS = (("Vet", "medical", 60.0), ("Crickets + worms", "running", 14.0), ("Raffle tickets", "other", 9.0))


def _plan() -> Plan:
    return Plan(
        seed=606,
        stays=84,
        start=date(2023, 2, 1),
        last_day=date(2025, 1, 31),
        species=SPECIES,
        shares=(20, 14, 12, 10, 12, 8, 8, 4),
        intake_types=(
            ("surrendered", 58),
            ("stray", 22),
            ("transferred in", 12),
            ("confiscated", 4),
            ("born in care", 4),
        ),
        stay_id=lambda n: f"{n:03d}",
        animal_id=lambda n: f"{n}",
        weigh_every=(11, 23),
        round_to=0.1,
        groups=0.2,
    )


def _new_sheets() -> dict[str, Sheet]:
    return {
        "intakes": Sheet(
            BOOK, SIDE, ["Ref", "Arrived", "Sort", "No.", "Sex", "Stage", "Why", "From whom", "Days so far"]
        ),
        "outcomes": Sheet(BOOK, SIDE, ["Ref", "Left", "How", "No.", "To whom"], left=11),
        "conditions": Sheet(BOOK, REST, ["Ref", "Seen on", "Trouble", "Bad?", "Vet", "Well again"]),
        "targets": Sheet(BOOK, REST, ["Ref", "Should weigh (g)", "Set"]),
        "weighings": Sheet(BOOK, REST, ["Ref", "Sort", "Day", "Grams"]),
        "spending": Sheet(BOOK, REST, ["Day", "On what", "£"]),
    }


def _line(sheet: Sheet, stay: str, *cells: Cell) -> None:
    columns = sheet.columns[: len(cells)]
    sheet.rows.append(Row(dict(zip(columns, cells, strict=True)), stay))


def _fill(layout: Layout, at: dict[str, Sheet]) -> None:
    """Fill the sheets; a weighing list has a dash where an animal was skipped."""
    rng = np.random.default_rng(66)
    targets: list[dict[str, Cell]] = []
    for s in layout.stays:
        if s.group > 1:
            s.weights = []
        owner = (
            f"Ms Invented {rng.integers(10, 99)}" if s.intake_type == "surrendered" else str(rng.choice(["-", "n/a"]))
        )
        sex = SEXES[s.sex][0] if s.group == 1 else "-"
        _line(at["intakes"], s.stay_id, int(s.stay_id), s.intake, s.species.theirs, s.group, sex)
        at["intakes"].rows[-1].cells |= {
            "Stage": STAGES[s.life_stage][0],
            "Why": KINDS[s.intake_type][0],
            "From whom": owner,
        }
        if s.left:
            to = (
                f"Example household {rng.integers(10, 99)}" if s.outcome == "adopted" else str(rng.choice(["-", "n/a"]))
            )
            _line(at["outcomes"], s.stay_id, int(s.stay_id), s.left, ENDS[s.outcome][0], s.group, to)
        for e in s.episodes:
            e.ended_as = "cleared" if e.ended_on else ""
            vet = e.vet_on or str(rng.choice(["n/a", "-"]))
            _line(
                at["conditions"],
                s.stay_id,
                s.stay_id,
                e.found_on,
                PROBLEMS[e.condition][0],
                SEVERITY[e.severity][0],
                vet,
            )
            at["conditions"].rows[-1].cells["Well again"] = e.ended_on or str(rng.choice(["", "no", "-"]))
        for day, grams in s.weights:
            _line(at["weighings"], s.stay_id, s.stay_id, s.species.theirs, day, grams)
            if rng.random() < 0.03:
                _line(at["weighings"], s.stay_id, s.stay_id, s.species.theirs, day + timedelta(days=3), "-")
        if s.weights and rng.random() < 0.5:
            grams, when = round(s.weights[0][1] * 1.25, 1), s.intake + timedelta(days=2)
            _line(at["targets"], s.stay_id, s.stay_id, grams, when)
            targets.append({"stay_id": s.stay_id, "target_g": grams, "set_on": when})
    spent: list[dict[str, Cell]] = []
    for after in range(4, (layout.plan.last_day - layout.plan.start).days, 14):
        said, ours, size = COSTS[int(rng.choice(3, p=[0.35, 0.5, 0.15]))]
        amount, when = round(float(size * rng.lognormal(0, 0.4)), 2), layout.plan.start + timedelta(days=after)
        _line(at["spending"], "", when, said, amount)
        spent.append({"spent_on": when, "amount": amount, "category": ours})
    _truth(layout, targets, spent)


def _truth(layout: Layout, targets: list[dict[str, Cell]], spent: list[dict[str, Cell]]) -> None:
    episode = ["episode_id", "stay_id", "condition", "severity", "found_on", "vet_seen_on", "ended_on", "ended_as"]
    kept = ["stay_id", "species", "sex", "life_stage", "intake_date", "intake_type", "group_size"]
    layout.truth = {
        "intakes": true_intakes(layout.stays, kept),
        "outcomes": true_outcomes(layout.stays),
        "conditions": true_conditions(layout.stays, episode),
        "weighings": true_weighings(layout.stays),
        "targets": columns_of(targets, ["stay_id", "target_g", "set_on"]),
        "spending": columns_of(spent, ["spent_on", "amount", "category"]),
    }


def _formula(when: date) -> str:
    """A date as a formula that no program has calculated."""
    return f"=DATE({when.year},{when.month},{when.day})"


def _plant(layout: Layout, at: dict[str, Sheet]) -> None:
    put = Planter(layout, 6060)
    by_id: dict[str, Stay] = {s.stay_id: s for s in layout.stays}
    arrive, leave, ill, weigh = at["intakes"], at["outcomes"], at["conditions"], at["weighings"]
    number = lambda r: isinstance(r.cells["Grams"], float)  # noqa: E731
    put.swap(leave, "Left", lambda r, d: d < by_id[r.stay].intake)
    put.swap(ill, "Seen on", lambda r, d: d < by_id[r.stay].intake)
    put.swap(arrive, "Arrived", lambda r, d: by_id[r.stay].left is not None and d > (by_id[r.stay].left or d))
    put.slip(leave, "Left", -1, lambda r: (r.cells["Left"] - by_id[r.stay].intake).days < 300)
    put.slip(weigh, "Day", 1, lambda r: number(r) and r.cells["Day"] > date(2024, 3, 1))
    late = lambda r: number(r) and r.cells["Day"] > by_id[r.stay].intake  # noqa: E731
    for _ in range(3):
        put.change(
            weigh, "Day", "serial_of_other_epoch", lambda r: (r.cells["Day"] - EPOCH_1904).days + BETWEEN_EPOCHS, late
        )
    put.change(
        weigh, "Grams", "slipped_decimal", lambda r: r.cells["Grams"] * 10, lambda r: late(r) and r.cells["Grams"] > 30
    )
    put.change(
        weigh,
        "Grams",
        "kg_typed_as_g",
        lambda r: round(r.cells["Grams"] / 1000, 3),
        lambda r: late(r) and r.cells["Grams"] > 90,
    )
    put.change(weigh, "Grams", "error_cell", lambda r: "#VALUE!", late)
    put.change(weigh, "Grams", "text_in_number", lambda r: "?", late)
    put.change(ill, "Seen on", "error_cell", lambda r: "#REF!", lambda r: isinstance(r.cells["Seen on"], date))
    put.change(leave, "Left", "uncalculated_formula", lambda r: _formula(r.cells["Left"]), seen="maybe")
    put.change(
        leave, "How", "trailing_spaces", lambda r: r.cells["How"] + "\u00a0", lambda r: r.cells["How"] == "Homed"
    )
    put.change(arrive, "Sort", "species_misspelt", lambda r: "Axolotol", lambda r: r.cells["Sort"] == "Axolotl")
    put.change(arrive, "Sort", "species_misspelt", lambda r: "Whiets TF", lambda r: r.cells["Sort"] == "Whites TF")
    put.twice(weigh, 1, number)
    put.twice(leave, 1)
    put.twice(arrive, 1)
    put.change(weigh, "Ref", "id_typed_differently", lambda r: f"No {int(r.cells['Ref'])}", late)
    put.change(weigh, "Ref", "unknown_id", lambda r: "805", late)
    gone = next(s for s in layout.stays if s.outcome in ("died", "euthanised") and s.left)

    def after(row: Row) -> bool:
        day = row.cells["Day"]
        return bool(number(row) and gone.left and isinstance(day, date) and (day - gone.left).days > 20)

    put.change(weigh, "Ref", "weight_of_dead_animal", lambda r: gone.stay_id, after)


def _furnish(at: dict[str, Sheet]) -> None:
    """Lines that are no data: a year line, blank lines, headings again at each page, totals."""
    rows = at["intakes"].rows
    first = next(
        i
        for i, row in enumerate(rows)
        if row.cells["Arrived"].year == 2024 and rows[i + 1].cells["Arrived"].year == 2024
    )
    rows[first:first] = [Row({}, what="blank"), Row({"Ref": "--- 2024 ---"}, what="remark")]
    rows = at["weighings"].rows
    for place in range(40, len(rows), 41):
        rows.insert(place, Row({name: name for name in at["weighings"].columns}, what="heading"))
    at["spending"].rows.append(Row({"On what": "Total"}, what="total"))
    titles = 2
    for table in ("conditions", "targets", "weighings", "spending"):
        at[table].heading_row = titles + 1
        titles += len(at[table].rows) + 4
    at["intakes"].heading_row = at["outcomes"].heading_row = 4
    for table, sheet in at.items():
        sheet.tables = table


def _written(sheet: Sheet, value: Cell, rng: np.random.Generator) -> Cell:
    """Dates as the workbook holds them: a bare day number in the weighing book, elsewhere a date or, at times, text."""
    if not isinstance(value, date):
        return value
    if sheet.tables == "weighings":
        return (value - EPOCH_1904).days
    return f"{value.day}/{value.month}/{value:%y}" if rng.random() < 0.15 else value


def _put(page: Worksheet, sheet: Sheet, title: str, rng: np.random.Generator) -> None:
    page.cell(sheet.heading_row - (2 if page.title == SIDE else 1), sheet.left, title).font = Font(bold=True, size=14)
    for place, name in enumerate(sheet.columns, sheet.left):
        page.cell(sheet.heading_row, place, name).font = Font(bold=True)
    for row in sheet.rows:
        at = sheet.row_of(row)
        for place, name in enumerate(sheet.columns, sheet.left):
            value = _written(sheet, row.cells.get(name), rng)
            if value in (None, ""):
                continue
            cell = page.cell(at, place, value)
            if isinstance(value, date):
                cell.number_format = "dd/mm/yy"
            elif name == "Ref" and isinstance(value, int):
                cell.number_format = "000"
        if sheet.tables == "intakes" and row.what == "data":
            page.cell(at, 9, f"=DATE(2025,1,31)-B{at}")
        if row.what == "total":
            page.cell(at, 3, f"=SUM(C{sheet.heading_row + 1}:C{at - 1})")


def _merge_refs(page: Worksheet, sheet: Sheet) -> list[str]:
    """Merge the Ref cell where one animal has several lines below each other; only the first keeps it."""
    merged, start = [], 0
    for place in range(1, len(sheet.rows) + 1):
        same = place < len(sheet.rows) and sheet.rows[place].cells.get("Ref") == sheet.rows[start].cells.get("Ref")
        if same:
            continue
        if place - start > 1:
            first, last = sheet.heading_row + 1 + start, sheet.heading_row + place
            page.merge_cells(f"A{first}:A{last}")
            merged.append(f"A{first}:A{last}")
        start = place
    return merged


def _write(layout: Layout, at: dict[str, Sheet], path: Path) -> None:
    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    side = book.active
    assert isinstance(side, Worksheet)
    side.title = SIDE
    rest = book.create_sheet(REST)
    rng = np.random.default_rng(67)
    titles = {"intakes": "ARRIVALS", "outcomes": "LEAVERS", "conditions": "POORLY LIST", "targets": "TARGET WEIGHTS"}
    titles |= {"weighings": "WEIGHING BOOK", "spending": "MONEY SPENT"}
    for table, sheet in at.items():
        _put(side if sheet.sheet == SIDE else rest, sheet, titles[table], rng)
    layout.notes.append(f"merged Ref cells in {REST}: {', '.join(_merge_refs(rest, at['conditions']))}")
    book.save(path)


def build(folder: Path) -> Layout:
    """Write the workbook and return the layout with its truth."""
    plan = _plan()
    stays = invent(plan)
    layout = Layout(
        name=folder.name,
        rescue="Mossy Ledge Amphibian House (invented)",
        language="en-GB",
        currency="GBP",
        date_order="dmy",
        weight_unit="g",
        plan=plan,
        stays=stays,
        notes=[
            "Sheet 'IN and OUT': arrivals in A:I, leavers in K:O, side by side; the same line is not the same animal.",
            "Sheet 'Everything else': four tables below each other, each under a title, with blank lines between.",
            "The workbook counts days from 1904. Day in the weighing book is a bare day number, not shown as a date.",
            "serial_of_other_epoch: a day number pasted from a workbook that counts from 1900 (1462 days more).",
            "Ref is a number shown as 007 on the first sheet, and the text 007 on the second: it is 007 in truth.",
            "n/a and - stand for nothing; ? as a sex is unknown; a dash for Grams: not weighed, no row in truth.",
            "Days so far and the total are formulas no program ever calculated.",
            "No animal number is kept; groups are not weighed.",
        ],
    )
    at = _new_sheets()
    _fill(layout, at)
    _maps(layout, at)
    _plant(layout, at)
    _furnish(at)
    layout.sheets = list(at.values())
    _write(layout, at, folder / "rescue" / BOOK)
    return layout


def _maps(layout: Layout, at: dict[str, Sheet]) -> None:
    names = {
        "intakes": "stay_id intake_date species group_size sex life_stage intake_type",
        "outcomes": "stay_id outcome_date outcome_type animals",
        "conditions": "stay_id found_on condition severity vet_seen_on ended_on",
        "targets": "stay_id target_g set_on",
        "spending": "spent_on category amount",
    }
    for table, ours in names.items():
        layout.heads(at[table], table, **dict(zip(ours.split(), at[table].columns, strict=False)))
    layout.heads(at["weighings"], "weighings", stay_id="Ref", weighed_on="Day", weight="Grams")
    layout.says("intakes", "intake_type", KINDS)
    layout.says("intakes", "sex", SEXES)
    layout.says("intakes", "life_stage", STAGES)
    layout.says("intakes", "species", {s.common: [s.theirs] for s in SPECIES})
    layout.says("outcomes", "outcome_type", ENDS)
    layout.says("conditions", "condition", PROBLEMS)
    layout.says("conditions", "severity", SEVERITY)
    layout.says("spending", "category", {ours: [said] for said, ours, _ in COSTS})


README = """Arrivals are on the left and leavers on the right, so it prints on one page. Everything else is on the
second sheet, scroll down. It was made on my old Mac. The Day column in the weighing book went funny and shows
numbers, I can't get it back to dates.
Bert
"""
