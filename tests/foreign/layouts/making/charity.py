"""Layout 2: a British charity's exports, one file a table, semicolons, Windows-1252, dates without leading zeros."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
from kept import Cell, Layout, Planter, Row, Sheet, columns_of, write_text
from truth import true_conditions, true_intakes, true_outcomes, true_weighings
from world import Plan, Species, Stay, invent

SPECIES = (
    Species("bearded dragon", "Pogona vitticeps", 380, "Bearded Dragon"),
    Species("leopard gecko", "Eublepharis macularius", 62, "Leopard Gecko"),
    Species("royal python", "Python regius", 1500, "Royal Python"),
    Species("corn snake", "Pantherophis guttatus", 480, "Corn Snake"),
    Species("Hermann's tortoise", "Testudo hermanni", 1050, "Hermann's Tortoise"),
    Species("Horsfield's tortoise", "Testudo horsfieldii", 720, "Horsfield Tortoise"),
    Species("White's tree frog", "Ranoidea caerulea", 65, "White's Tree Frog"),
    Species("yellow-bellied slider", "Trachemys scripta scripta", 1300, "Yellow Belly Slider"),
)
KINDS = {
    "surrendered": ["Handed in by owner"],
    "stray": ["Found straying"],
    "transferred in": ["From another rescue"],
    "confiscated": ["Inspector's seizure"],
    "returned": ["Rehoming failed - back"],
    "born in care": ["Hatched here"],
}
ENDS = {
    "adopted": ["Rehomed"],
    "transferred out": ["Passed to other centre"],
    "returned to owner": ["Reclaimed by owner"],
    "released": ["Released (site agreed)"],
    "died": ["Died in our care"],
    "euthanised": ["PTS on vet's advice"],
    "missing": ["Missing / escaped"],
}
PROBLEMS = {
    "stuck shed": ["Retained slough"],
    "mouth rot": ["Mouth rot"],
    "respiratory infection": ["RI (resp. infection)"],
    "burn": ["Thermal burn"],
    "metabolic bone disease": ["MBD"],
    "internal parasites": ["Worms / internal parasites"],
    "mites": ["Snake mite"],
    "underweight": ["Emaciated"],
}
ENDED = {"cleared": ["Signed off"], "managed": ["Lifelong"]}
SEXES = {"male": ["M"], "female": ["F"], "unknown": ["NK"]}
STAGES = {"adult": ["Adult"], "juvenile": ["Juv"], "hatchling": ["Hatchling"]}
SEVERITY = {"mild": ["1 - mild"], "moderate": ["2 - moderate"], "severe": ["3 - severe"]}
COSTS = (
    ("Vet fees", "medical", 96),
    ("Livefood & greens", "running", 31),
    ("Electricity", "running", 140),
    ("Drugs and dressings", "medical", 22),
    ("Printing/publicity", "other", 18),
)


def _first(words: dict[str, list[str]], ours: str) -> str:
    return words[ours][0]


def _plan() -> Plan:
    return Plan(
        seed=202,
        stays=124,
        start=date(2023, 4, 1),
        last_day=date(2025, 3, 31),
        species=SPECIES,
        shares=(24, 14, 14, 16, 9, 8, 7, 8),
        intake_types=(
            ("surrendered", 62),
            ("stray", 16),
            ("transferred in", 12),
            ("confiscated", 7),
            ("born in care", 3),
        ),
        stay_id=lambda n: f"{n + 46:05d}",
        animal_id=lambda n: f"{n + 112:04d}",
        weigh_every=(12, 24),
        groups=0.0,
    )


def _sheets(stays: list[Stay], rng: np.random.Generator) -> dict[str, Sheet]:
    made = {
        "animals": Sheet("Animals.csv", "", ["Animal No", "Name", "Species", "Sex", "Age class", "Microchip"]),
        "intakes": Sheet(
            "Admissions.csv",
            "",
            ["Adm No", "Animal No", "Date admitted", "How admitted", "Handed in by", "Tel", "Condition on arrival"],
        ),
        "conditions": Sheet(
            "Vet log.csv", "", ["Adm No", "Noticed", "Problem", "Grade", "Seen by vet", "Finished", "Result", "Remarks"]
        ),
        "weighings": Sheet("Weights.csv", "", ["Adm No", "Name", "Date", "Weight (g)", "Remarks"]),
        "outcomes": Sheet(
            "Dispersals.csv", "", ["Adm No", "Name", "Date out", "Reason", "Fee paid", "New keeper postcode"]
        ),
    }
    known: set[str] = set()
    cells: list[Cell]
    for s in stays:
        if s.animal_id not in known:
            known.add(s.animal_id)
            chip = f"9560000{rng.integers(10**7, 10**8)}" if s.species.adult_g > 600 else ""
            cells = [
                s.animal_id,
                s.name,
                s.species.theirs,
                _first(SEXES, s.sex),
                _first(STAGES, s.life_stage),
                chip,
            ]
            made["animals"].rows.append(Row(dict(zip(made["animals"].columns, cells, strict=True)), s.stay_id))
        owner = f"Mrs Example {rng.integers(100, 999)}" if s.intake_type == "surrendered" else ""
        phone = f"01632 960{rng.integers(100, 999)}" if owner else ""
        thin = str(rng.choice(["", "", "fair", "thin", "good"]))
        cells = [s.stay_id, s.animal_id, s.intake, _first(KINDS, s.intake_type), owner, phone, thin]
        made["intakes"].rows.append(Row(dict(zip(made["intakes"].columns, cells, strict=True)), s.stay_id))
        if s.left:
            fee = f"£{rng.choice([20, 40, 65, 80])}.00" if s.outcome == "adopted" else ""
            cells = [s.stay_id, s.name, s.left, _first(ENDS, s.outcome), fee, "ZZ1 1ZZ" if fee else ""]
            made["outcomes"].rows.append(Row(dict(zip(made["outcomes"].columns, cells, strict=True)), s.stay_id))
    for s in stays:
        for e in s.episodes:
            result = _first(ENDED, e.ended_as) if e.ended_as else ""
            cells = [
                s.stay_id,
                e.found_on,
                _first(PROBLEMS, e.condition),
                _first(SEVERITY, e.severity),
                e.vet_on,
            ]
            cells += [e.ended_on, result, str(rng.choice(["", "", "", "see vet's letter", "re-check in 2 wks"]))]
            made["conditions"].rows.append(Row(dict(zip(made["conditions"].columns, cells, strict=True)), s.stay_id))
        for day, grams in s.weights:
            cells = [s.stay_id, s.name, day, grams, ""]
            made["weighings"].rows.append(Row(dict(zip(made["weighings"].columns, cells, strict=True)), s.stay_id))
    made["conditions"].rows.sort(key=lambda row: row.cells["Noticed"])
    made["weighings"].rows.sort(key=lambda row: row.cells["Date"])
    made["outcomes"].rows.sort(key=lambda row: row.cells["Date out"])
    return made


def _circumstances(layout: Layout, sheet: Sheet, rng: np.random.Generator) -> dict[tuple[str, date], str]:
    """Write a remark on some weighings and return what it means."""
    words = {"fed": "just fed", "shed": "after slough", "gravid": "gravid", "brumating": "hibernating"}
    found = {}
    for row in sheet.rows:
        if rng.random() < 0.08:
            ours = str(rng.choice(list(words)))
            row.cells["Remarks"] = words[ours]
            found[(row.stay, row.cells["Date"])] = ours
    layout.says("weighings", "circumstance", {ours: [said] for ours, said in words.items()})
    return found


def _expenses(stays: list[Stay], rng: np.random.Generator) -> tuple[Sheet, list[dict[str, Cell]]]:
    sheet = Sheet("Expenses.csv", "", ["Date", "Paid to", "What for", "Amount", "Adm No", "In kind?"])
    truth: list[dict[str, Cell]] = []
    plan = _plan()
    for day in range(3, (plan.last_day - plan.start).days, 6):
        when = plan.start + timedelta(days=day)
        said, ours, size = COSTS[int(rng.choice(len(COSTS), p=[0.35, 0.3, 0.12, 0.15, 0.08]))]
        amount = round(float(rng.lognormal(np.log(size), 0.5)) * (9 if rng.random() < 0.05 else 1), 2)
        inside = [s.stay_id for s in stays if s.intake <= when and (s.left is None or s.left >= when)]
        stay = str(rng.choice(inside)) if ours == "medical" and inside and rng.random() < 0.7 else ""
        kind = "Y" if rng.random() < 0.07 else ""
        payee = {"medical": "Example Vets", "running": "A Supplier", "other": "Print shop"}[ours]
        cells = [when, payee, said, f"£{amount:,.2f}", stay, kind]
        sheet.rows.append(Row(dict(zip(sheet.columns, cells, strict=True)), stay))
        truth.append(
            {"spent_on": when, "amount": amount, "category": ours, "stay_id": stay, "in_kind": "yes" if kind else "no"}
        )
    return sheet, truth


def _plant(layout: Layout, at: dict[str, Sheet]) -> None:
    put = Planter(layout, 2020)
    by_id = {s.stay_id: s for s in layout.stays}
    dead = [s for s in layout.stays if s.outcome in ("died", "euthanised") and s.left]
    put.swap(at["outcomes"], "Date out", lambda r, d: d < by_id[r.stay].intake)
    put.swap(at["weighings"], "Date", lambda r, d: d < by_id[r.stay].intake)
    put.swap(at["weighings"], "Date", lambda r, d: d > layout.plan.last_day)
    inside = lambda r, d: by_id[r.stay].intake < d < (by_id[r.stay].left or layout.plan.last_day)  # noqa: E731
    put.swap(at["weighings"], "Date", inside, seen="maybe")
    put.swap(
        at["intakes"], "Date admitted", lambda r, d: d > by_id[r.stay].weights[0][0] and by_id[r.stay].left is None
    )
    put.slip(at["outcomes"], "Date out", -1, lambda r: (r.cells["Date out"] - by_id[r.stay].intake).days < 300)
    put.slip(at["weighings"], "Date", 1, lambda r: r.cells["Date"].month <= 2)
    put.slip(at["conditions"], "Finished", 10)
    heavy = lambda r: r.cells["Weight (g)"] > 900 and r.cells["Date"] > by_id[r.stay].intake  # noqa: E731
    put.change(at["weighings"], "Weight (g)", "kg_typed_as_g", lambda r: r.cells["Weight (g)"] / 1000, heavy)
    put.change(at["weighings"], "Weight (g)", "kg_typed_as_g", lambda r: r.cells["Weight (g)"] / 1000, heavy)
    put.change(at["weighings"], "Weight (g)", "slipped_decimal", lambda r: r.cells["Weight (g)"] * 10, heavy)
    put.change(at["weighings"], "Weight (g)", "text_in_number", lambda r: f"{r.cells['Weight (g)']:.0f}g ish")
    put.twice(at["weighings"], 1)
    put.twice(at["outcomes"], 1)
    put.twice(at["conditions"], 3, Remarks="entered again - JB")
    strip = lambda r: r.cells["Adm No"].lstrip("0")  # noqa: E731
    put.change(at["weighings"], "Adm No", "id_lost_leading_zeros", strip)
    put.change(at["outcomes"], "Adm No", "id_lost_leading_zeros", strip)
    put.change(at["conditions"], "Adm No", "id_typed_differently", lambda r: "O" + r.cells["Adm No"][1:])
    put.change(at["intakes"], "How admitted", "trailing_spaces", lambda r: r.cells["How admitted"] + "\u00a0 ")
    put.change(at["weighings"], "Adm No", "trailing_spaces", lambda r: r.cells["Adm No"] + " ")
    put.change(
        at["animals"], "Species", "species_misspelt", lambda r: "Beaded Dragon", lambda r: "Beard" in r.cells["Species"]
    )
    put.change(
        at["animals"],
        "Species",
        "species_misspelt",
        lambda r: "Horsfeild tortiose",
        lambda r: "Hors" in r.cells["Species"],
    )
    gone = dead[0]
    put.change(
        at["weighings"],
        "Adm No",
        "weight_of_dead_animal",
        lambda r: gone.stay_id,
        lambda r: gone.left is not None and (r.cells["Date"] - gone.left).days > 20,
    )
    put.change(at["conditions"], "Remarks", "phone_in_note", lambda r: "owner rang 01632 960114 re diet")
    row = put.choose(at["outcomes"], lambda r: r.cells["Reason"] == "Rehomed")
    at["outcomes"].rows.remove(row)
    source = next(r for r in at["intakes"].rows if r.stay == row.stay)
    put.mark(
        at["intakes"],
        source,
        "",
        "outcome_never_entered",
        f"left {row.cells['Date out']} ({row.cells['Reason']})",
        "maybe",
    )


def _show(column: str, value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, date):
        return f"{value.day}/{value.month}/{value.year}"
    if isinstance(value, float):
        return f"{value:g}" if value < 100000 else f"{value:.0f}"
    return str(value)


def build(folder: Path) -> Layout:
    """Write the charity's files and return the layout with its truth."""
    plan = _plan()
    stays = invent(plan)
    layout = Layout(
        name=folder.name,
        rescue="Thistledown Herp Welfare (invented)",
        language="en-GB",
        currency="GBP",
        date_order="dmy",
        weight_unit="g",
        plan=plan,
        stays=stays,
        notes=["Species, sex and age class stand in Animals.csv, the stay in Admissions.csv: intakes need both files."],
    )
    rng = np.random.default_rng(22)
    at = _sheets(stays, rng)
    meant = _circumstances(layout, at["weighings"], rng)
    at["spending"], spent = _expenses(stays, rng)
    _truth(layout, meant, spent)
    _maps(layout, at)
    _plant(layout, at)
    for table, sheet in at.items():
        sheet.tables = {"animals": "intakes"}.get(table, table)
        write_text(sheet, folder / "rescue" / sheet.file, encoding="cp1252", sep=";", show=_show)
    layout.sheets = list(at.values())
    return layout


def _truth(layout: Layout, meant: dict[tuple[str, date], str], spent: list[dict[str, Cell]]) -> None:
    stays = layout.stays
    weighings = true_weighings(stays)
    keys = zip(weighings["stay_id"], weighings["weighed_on"], strict=True)
    weighings["circumstance"] = [meant.get((stay, date.fromisoformat(day)), "") for stay, day in keys]
    kept = ["stay_id", "animal_id", "species", "sex", "life_stage", "intake_date", "intake_type"]
    layout.truth = {
        "intakes": true_intakes(stays, kept),
        "outcomes": true_outcomes(stays),
        "conditions": true_conditions(
            stays,
            ["episode_id", "stay_id", "condition", "severity", "found_on", "vet_seen_on", "ended_on", "ended_as"],
        ),
        "weighings": weighings,
        "spending": columns_of(spent, ["spent_on", "amount", "category", "stay_id", "in_kind"]),
    }


def _maps(layout: Layout, at: dict[str, Sheet]) -> None:
    layout.heads(at["animals"], "intakes", animal_id="Animal No", species="Species", sex="Sex", life_stage="Age class")
    layout.heads(
        at["intakes"],
        "intakes",
        stay_id="Adm No",
        animal_id="Animal No",
        intake_date="Date admitted",
        intake_type="How admitted",
    )
    layout.heads(at["outcomes"], "outcomes", stay_id="Adm No", outcome_date="Date out", outcome_type="Reason")
    layout.heads(
        at["conditions"],
        "conditions",
        stay_id="Adm No",
        condition="Problem",
        severity="Grade",
        found_on="Noticed",
        vet_seen_on="Seen by vet",
        ended_on="Finished",
        ended_as="Result",
    )
    layout.heads(
        at["weighings"], "weighings", stay_id="Adm No", weighed_on="Date", weight="Weight (g)", circumstance="Remarks"
    )
    layout.heads(
        at["spending"],
        "spending",
        spent_on="Date",
        amount="Amount",
        category="What for",
        stay_id="Adm No",
        in_kind="In kind?",
    )
    layout.says("intakes", "intake_type", KINDS)
    layout.says("intakes", "sex", SEXES)
    layout.says("intakes", "life_stage", STAGES)
    layout.says("intakes", "species", {s.common: [s.theirs] for s in SPECIES})
    layout.says("outcomes", "outcome_type", ENDS)
    layout.says("conditions", "condition", PROBLEMS)
    layout.says("conditions", "severity", SEVERITY)
    layout.says("conditions", "ended_as", ENDED)
    layout.says(
        "spending",
        "category",
        {ours: [s for s, o, _ in COSTS if o == ours] for ours in ("medical", "running", "other")},
    )


README = """These are the spreadsheets I save out every month for the trustees. Each list is its own file. Adm No is the
number on the card on the viv (one per admission, so an animal that comes back gets a new one), Animal No stays with
the animal. Weights are grams off the kitchen scales. Dates the normal way round. Excel sometimes eats the noughts at
the front of the numbers, sorry.
Jean, Thistledown
"""
