"""Layout 5: a day book. One row an event, of whatever sort, for all animals; and a second file of the animals."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
from kept import Cell, Layout, Planter, Row, Sheet, write_text
from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet
from truth import true_conditions, true_intakes, true_outcomes, true_weighings
from world import Episode, Plan, Species, Stay, invent

COLUMNS = ["When", "Who", "Tag", "Event", "Detail", "How much"]
SPECIES = (
    Species("bearded dragon", "Pogona vitticeps", 380, "bearded dragon"),
    Species("crested gecko", "Correlophus ciliatus", 42, "crested gecko"),
    Species("corn snake", "Pantherophis guttatus", 480, "corn snake"),
    Species("boa constrictor", "Boa constrictor", 5200, "boa"),
    Species("blue-tongued skink", "Tiliqua scincoides", 470, "bluetongue"),
    Species("Pacman frog", "Ceratophrys ornata", 240, "pacman frog"),
    Species("common musk turtle", "Sternotherus odoratus", 170, "musk turtle"),
    Species("veiled chameleon", "Chamaeleo calyptratus", 125, "yemen chameleon"),
)
KINDS = {
    "surrendered": ["from owner"],
    "stray": ["found outside"],
    "transferred in": ["from a rescue"],
    "confiscated": ["seized"],
    "returned": ["back from adopter"],
    "born in care": ["hatched"],
}
ENDS = {
    "adopted": ["Adopted"],
    "transferred out": ["Transferred"],
    "returned to owner": ["Reclaimed"],
    "released": ["Set free"],
    "died": ["Died"],
    "euthanised": ["Put down"],
    "missing": ["Lost"],
}
PROBLEMS = {
    "stuck shed": ["retained shed"],
    "mouth rot": ["stomatitis"],
    "respiratory infection": ["resp infection"],
    "burn": ["burn"],
    "metabolic bone disease": ["mbd"],
    "internal parasites": ["parasites"],
    "mites": ["mites"],
    "underweight": ["underweight"],
}
SEXES = {"male": ["male"], "female": ["female"], "unknown": ["?"]}
WHO = ("KT", "KT", "Lou", "vet day", "M.")


def _plan() -> Plan:
    return Plan(
        seed=505,
        stays=74,
        start=date(2023, 6, 1),
        last_day=date(2025, 5, 31),
        species=SPECIES,
        shares=(22, 16, 16, 8, 12, 9, 9, 8),
        intake_types=(
            ("surrendered", 65),
            ("stray", 12),
            ("transferred in", 12),
            ("confiscated", 8),
            ("born in care", 3),
        ),
        stay_id=lambda n: str(n),
        animal_id=lambda n: f"K{n:02d}",
        weigh_every=(9, 18),
        groups=0.0,
    )


def _number_stays(stays: list[Stay]) -> None:
    """No stay has a number here: K07/1 is the first stay of K07."""
    seen: dict[str, int] = {}
    for s in stays:
        seen[s.animal_id] = seen.get(s.animal_id, 0) + 1
        s.stay_id = f"{s.animal_id}/{seen[s.animal_id]}"


def _weight(grams: float, rng: np.random.Generator) -> str:
    return (
        str(rng.choice([f"{grams:g}g", f"{grams:g} g"]))
        if grams < 3000 or rng.random() < 0.5
        else f"{grams / 1000:g} kg"
    )


def _ill(stay: Stay, e: Episode, last_day: date, rng: np.random.Generator) -> list[tuple[date, str, str, str]]:
    """The events of an episode: found, seen by the vet, medicine given or refused, checked again, ended."""
    said = PROBLEMS[e.condition][0]
    made = [(e.found_on, "Noticed", f"{said}, {e.severity}", "")]
    end = min(e.ended_on or stay.left or last_day, last_day)
    if e.vet_on:
        made.append((e.vet_on, "Vet", f"dx {said}", ""))
        for day in range(1, min((end - e.vet_on).days, 12), 2):
            word = str(rng.choice(["Med given", "Med given", "Med given", "Med given", "Med refused"]))
            made.append((e.vet_on + timedelta(days=day), word, "course as vet's sheet", "1 dose"))
        for day in range(14, (end - e.vet_on).days, 14):
            made.append((e.vet_on + timedelta(days=day), "Recheck", f"{said} - still ill", ""))
    if e.ended_on:
        made.append((e.ended_on, "Vet" if e.vet_on else "Recheck", f"{said} - {_ended(e)}", ""))
    return made


def _ended(e: Episode) -> str:
    return "all clear" if e.ended_as == "cleared" else "for life, manage"


def _events(layout: Layout) -> list[Row]:
    rng = np.random.default_rng(55)
    rows: list[tuple[date, int, Row]] = []

    def note(s: Stay, when: date, rank: int, event: str, detail: str, amount: str = "") -> None:
        cells: list[Cell] = [when, str(rng.choice(WHO)), s.animal_id, event, detail, amount]
        rows.append((when, rank, Row(dict(zip(COLUMNS, cells, strict=True)), s.stay_id)))

    for s in layout.stays:
        first = s.weights[0][1]
        note(s, s.intake, 0, "Intake", KINDS[s.intake_type][0], _weight(first, rng))
        for day, grams in s.weights[1:]:
            note(s, day, 2, "Weighed", str(rng.choice(["", "", "", "fed after", "in shed"])), _weight(grams, rng))
        for e in s.episodes:
            for day, event, detail, amount in _ill(s, e, layout.plan.last_day, rng):
                note(s, day, 1, event, detail, amount)
        if s.left:
            extra = f"to the Example family, 555-01{rng.integers(10, 99)}" if s.outcome == "adopted" else ""
            note(s, s.left, 3, ENDS[s.outcome][0], extra, f"${rng.choice([25, 50, 90])}" if extra else "")
    rows.sort(key=lambda item: (item[0], item[1]))
    return [row for _, _, row in rows]


def _animals(stays: list[Stay]) -> Sheet:
    sheet = Sheet("animals.csv", "", ["tag", "called", "kind", "sex", "here?"], tables="intakes")
    inside = {s.animal_id for s in stays if s.left is None}
    seen: set[str] = set()
    for s in stays:
        if s.animal_id not in seen:
            seen.add(s.animal_id)
            cells = [s.animal_id, s.name, s.species.theirs, SEXES[s.sex][0], "yes" if s.animal_id in inside else ""]
            sheet.rows.append(Row(dict(zip(sheet.columns, cells, strict=True)), s.stay_id))
    return sheet


def _plant(layout: Layout, log: Sheet, animals: Sheet) -> None:
    put = Planter(layout, 5050)
    by_id = {s.stay_id: s for s in layout.stays}
    is_ = lambda *events: lambda r: r.cells["Event"] in events  # noqa: E731
    put.swap(log, "When", lambda r, d: r.cells["Event"] == "Weighed" and d < by_id[r.stay].intake)
    put.swap(log, "When", lambda r, d: r.cells["Event"] == "Adopted" and d < by_id[r.stay].intake)
    put.slip(log, "When", -1, lambda r: r.cells["Event"] == "Weighed" and r.cells["When"].month == 1)
    put.slip(log, "When", 1, lambda r: r.cells["Event"] == "Intake" and r.cells["When"].year == 2023)
    short = is_("Weighed")
    grams = lambda r: str(r.cells["How much"]).rstrip("g ")  # noqa: E731
    put.change(
        log,
        "How much",
        "kg_typed_as_g",
        lambda r: f"{float(grams(r)) / 1000:g}g",
        lambda r: short(r) and "k" not in r.cells["How much"] and float(grams(r)) > 900,
    )
    put.change(
        log,
        "How much",
        "slipped_decimal",
        lambda r: f"{float(grams(r)) * 10:g}g",
        lambda r: short(r) and "k" not in r.cells["How much"] and float(grams(r)) > 100,
    )
    put.change(
        log,
        "How much",
        "unit_left_out",
        lambda r: float(grams(r)),
        lambda r: short(r) and "k" not in r.cells["How much"],
        "maybe",
    )
    put.change(log, "How much", "text_in_number", lambda r: "scales flat", short)
    put.twice(log, 1, short)
    put.twice(log, 2, is_("Adopted"))
    put.twice(log, 1, is_("Vet"), Who="Lou (late entry)")
    put.change(log, "Tag", "id_typed_differently", lambda r: r.cells["Tag"].lower().replace("k", "k-"), short)
    put.change(
        log,
        "Tag",
        "id_typed_differently",
        lambda r: r.cells["Tag"].replace("0", "O", 1),
        lambda r: "0" in r.cells["Tag"],
    )
    put.change(log, "Tag", "trailing_spaces", lambda r: r.cells["Tag"] + "  ", is_("Vet"))
    put.change(log, "Tag", "unknown_id", lambda r: "K99", is_("Med given"))
    put.change(log, "Event", "word_misspelt", lambda r: "wieghed", short)
    put.change(log, "Event", "word_misspelt", lambda r: "Adoptd!", is_("Adopted"))
    put.change(
        animals, "kind", "species_misspelt", lambda r: "beardy draggon", lambda r: r.cells["kind"] == "bearded dragon"
    )
    put.change(
        animals, "kind", "species_misspelt", lambda r: "cretsed gecko", lambda r: r.cells["kind"] == "crested gecko"
    )
    gone = next(s for s in layout.stays if s.outcome in ("died", "euthanised") and s.left)
    later = lambda r: short(r) and gone.left is not None and (r.cells["When"] - gone.left).days > 25  # noqa: E731
    put.change(log, "Tag", "weight_of_dead_animal", lambda r: gone.animal_id, later)
    put.change(log, "Detail", "phone_in_note", lambda r: "rang adopter 555-0133", short)


def _text(when: date) -> str:
    """A date as this rescue types it, with the name of the month: 5 Mar 2024."""
    return f"{when.day} {when:%b} {when.year}"


def _write(log: Sheet, path: Path) -> None:
    book = Workbook()
    page = book.active
    assert isinstance(page, Worksheet)
    page.title = log.sheet
    page.append(log.columns)
    for row in log.rows:
        cells = [row.cells[name] for name in log.columns]
        page.append(
            [_text(cells[0]) if isinstance(cells[0], date) else cells[0], *(c if c != "" else None for c in cells[1:])]
        )
    page.column_dimensions["A"].width = 14
    page.column_dimensions["E"].width = 34
    book.save(path)


def build(folder: Path) -> Layout:
    """Write the day book and the list of animals, and return the layout with its truth."""
    plan = _plan()
    stays = invent(plan)
    _number_stays(stays)
    layout = Layout(
        name=folder.name,
        rescue="Kettle Street Herp Haven (invented)",
        language="en",
        currency="USD",
        date_order="month named",
        weight_unit="typed with each weight (g or kg)",
        plan=plan,
        stays=stays,
        stay_id_kept=False,
        notes=[
            "An event log: the Event column says which table a row belongs to; no heading can.",
            "A stay begins with an Intake row and ends with Adopted, Transferred, Reclaimed, Died, Put down or Lost.",
            "stay_id in truth is made: K07/1 is the first stay of K07. The first weight stands in the Intake row.",
            "An episode begins with Noticed (severity after a comma), ends with 'all clear' or 'for life, manage'.",
            "Med given and Med refused are doses of a course that no row names: courses and doses cannot be told.",
            "The vet's name for a problem stands in the middle of the Detail text, so does its end.",
            "This layout may be beyond what headings can connect: the right answer may be to say so plainly.",
        ],
    )
    log = Sheet("Day book.xlsx", "Log", COLUMNS, tables="intakes, outcomes, conditions, checks, doses, weighings")
    log.rows = _events(layout)
    animals = _animals(stays)
    kept = ["stay_id", "animal_id", "species", "sex", "intake_date", "intake_type"]
    episode = ["episode_id", "stay_id", "condition", "severity", "found_on", "vet_seen_on", "ended_on", "ended_as"]
    layout.truth = {
        "intakes": true_intakes(stays, kept),
        "outcomes": true_outcomes(stays),
        "conditions": true_conditions(stays, episode),
        "weighings": true_weighings(stays),
    }
    counts = {
        event: sum(row.cells["Event"] == event for row in log.rows) for event in ("Med given", "Med refused", "Recheck")
    }
    layout.notes.append(f"rows of events without a table of truth: {counts}")
    layout.heads(log, "intakes", animal_id="Tag", intake_date="When", intake_type="Detail")
    layout.heads(log, "outcomes", outcome_date="When", outcome_type="Event")
    layout.heads(log, "weighings", weighed_on="When", weight="How much")
    layout.heads(log, "conditions", found_on="When", condition="Detail")
    layout.heads(animals, "intakes", animal_id="tag", species="kind", sex="sex")
    layout.says("intakes", "intake_type", KINDS)
    layout.says("intakes", "sex", SEXES)
    layout.says("intakes", "species", {s.common: [s.theirs] for s in SPECIES})
    layout.says("outcomes", "outcome_type", ENDS)
    layout.says("conditions", "condition", PROBLEMS)
    _plant(layout, log, animals)
    layout.sheets = [log, animals]
    _write(log, folder / "rescue" / log.file)
    write_text(
        animals,
        folder / "rescue" / animals.file,
        encoding="utf-8",
        sep=",",
        show=lambda _, value: "" if value is None else str(value),
    )
    return layout


README = """Day book: whoever is on shift writes down what happened, one line per thing, and I type it up on Sundays.
K numbers are the animals (list in animals.csv). Everything is in there if you filter on Event.
KT
"""
