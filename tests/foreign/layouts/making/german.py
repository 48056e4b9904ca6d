"""Layout 4: German headings and words; tab-separated UTF-16 and UTF-8 with a mark; decimal commas; synonyms.csv."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from kept import Cell, Layout, Planter, Row, Sheet, columns_of, write_text
from truth import true_conditions, true_intakes, true_weighings
from world import Plan, Species, Stay, invent

SPECIES = (
    Species("bearded dragon", "Pogona vitticeps", 370, "Bartagame"),
    Species("leopard gecko", "Eublepharis macularius", 62, "Leopardgecko"),
    Species("corn snake", "Pantherophis guttatus", 470, "Kornnatter"),
    Species("ball python", "Python regius", 1450, "Königspython"),
    Species("Hermann's tortoise", "Testudo hermanni", 1100, "Griech. Landschildkröte"),
    Species("red-eared slider", "Trachemys scripta elegans", 1250, "Rotwangen-Schmuckschildkröte"),
    Species("axolotl", "Ambystoma mexicanum", 115, "Axolotl"),
    Species("fire salamander", "Salamandra salamandra", 32, "Feuersalamander", native=True),
    Species("sand lizard", "Lacerta agilis", 13, "Zauneidechse", native=True),
)
KINDS = {
    "surrendered": ["Abgabe durch Halter"],
    "stray": ["Fundtier"],
    "transferred in": ["Übernahme"],
    "confiscated": ["Beschlagnahmt"],
    "returned": ["Rückläufer"],
    "born in care": ["Nachzucht (hier geschlüpft)"],
}
ENDS = {
    "adopted": ["Vermittelt"],
    "transferred out": ["Abgegeben an Auffangstation"],
    "returned to owner": ["Zurück an Halter"],
    "released": ["Ausgewildert"],
    "died": ["Verstorben"],
    "euthanised": ["Eingeschläfert"],
    "missing": ["Entlaufen"],
}
PROBLEMS = {
    "stuck shed": ["Häutungsprobleme"],
    "mouth rot": ["Maulfäule"],
    "respiratory infection": ["Atemwegsinfekt"],
    "burn": ["Verbrennung"],
    "metabolic bone disease": ["Rachitis"],
    "internal parasites": ["Wurmbefall"],
    "mites": ["Milben"],
    "underweight": ["Untergewicht"],
}
SEXES = {"male": ["1,0"], "female": ["0,1"], "unknown": ["0,0,1"]}
STAGES = {"adult": ["adult"], "juvenile": ["Jungtier"], "hatchling": ["Schlüpfling"]}
SEVERITY = {"mild": ["leicht"], "moderate": ["mittel"], "severe": ["schwer"]}
ENDED = {"cleared": ["geheilt"], "managed": ["lebenslang"]}
TABLES = {
    "intakes": "Zugang",
    "outcomes": "Abgang",
    "conditions": "Krankheiten",
    "weighings": "Wiegeliste",
    "moves": "Umzuege",
}
HEADS = {
    "intakes": {
        "stay_id": "Lfd. Nr.",
        "animal_id": "Tier-Kennung",
        "species": "Tierart",
        "sex": "Geschlecht",
        "life_stage": "Alter",
        "intake_date": "Aufnahmedatum",
        "intake_type": "Herkunft",
        "group_size": "Anzahl",
        "note": "Bemerkung",
    },
    "outcomes": {"stay_id": "Lfd. Nr.", "outcome_date": "Abgangsdatum", "outcome_type": "Verbleib", "animals": "Stück"},
    "conditions": {
        "stay_id": "Lfd. Nr.",
        "condition": "Befund",
        "severity": "Schweregrad",
        "found_on": "Festgestellt am",
        "vet_seen_on": "Tierarzt am",
        "ended_on": "Beendet am",
        "ended_as": "Ergebnis",
    },
    "weighings": {"stay_id": "Lfd. Nr.", "weighed_on": "Datum", "weight": "Gewicht (g)"},
    "moves": {"stay_id": "Lfd. Nr.", "moved_on": "Datum", "zone": "Bereich", "place": "Becken/Terrarium"},
}
PEOPLE = {"intakes": ["Abgeber", "Telefon Abgeber"], "outcomes": ["Neuer Halter"]}
FILES = {"intakes": "Zugang.txt", "outcomes": "Abgang.txt", "conditions": "Krankheiten.txt"}
FILES |= {"weighings": "Wiegeliste.tsv", "moves": "Umzuege.tsv"}
ZONES = {"quarantine": "Quarantäne", "treatment": "Krankenstation", "adoption": "Vermittlung"}


def _plan() -> Plan:
    return Plan(
        seed=404,
        stays=96,
        start=date(2023, 1, 1),
        last_day=date(2024, 12, 31),
        species=SPECIES,
        shares=(22, 14, 14, 10, 12, 10, 8, 5, 5),
        intake_types=(
            ("surrendered", 56),
            ("stray", 22),
            ("transferred in", 9),
            ("confiscated", 10),
            ("born in care", 3),
        ),
        stay_id=lambda n: f"{n:03d}",
        animal_id=lambda n: f"T{n:04d}",
        weigh_every=(10, 22),
        round_to=0.5,
        groups=0.12,
    )


def _line(sheet: Sheet, table: str, stay: str, **ours: Cell) -> None:
    """Add a row, its cells given under our names."""
    sheet.rows.append(Row({HEADS[table].get(name, name): value for name, value in ours.items()}, stay))


def _moves(stay: Stay, rng: np.random.Generator) -> list[tuple[date, str, str]]:
    """Quarantine on arrival, then treatment if ill, then adoption: (day, zone, place)."""
    made = [(stay.intake, "quarantine", f"Q{rng.integers(1, 9)}")]
    day = stay.intake + timedelta(days=int(rng.integers(28, 45)))
    if stay.episodes and rng.random() < 0.7:
        made.append((day, "treatment", f"K{rng.integers(1, 6)}"))
        day += timedelta(days=int(rng.integers(10, 40)))
    made.append((day, "adoption", f"V{rng.integers(1, 20)}"))
    end = stay.left or _plan().last_day
    return [move for move in made if move[0] <= end]


def _outcomes(stay: Stay, sheet: Sheet, rng: np.random.Generator) -> list[dict[str, Cell]]:
    """The outcome rows of a stay: a big group may leave in two parts."""
    if stay.left is None:
        return []
    parts = [(stay.left, stay.group)]
    if stay.group >= 3 and stay.outcome == "adopted":
        parts = [(max(stay.intake, stay.left - timedelta(days=9)), 1), (stay.left, stay.group - 1)]
    rows: list[dict[str, Cell]] = []
    for day, many in parts:
        owner = {"Neuer Halter": f"Fam. Muster {rng.integers(10, 99)}"} if stay.outcome == "adopted" else {}
        _line(
            sheet,
            "outcomes",
            stay.stay_id,
            stay_id=stay.stay_id,
            outcome_date=day,
            outcome_type=ENDS[stay.outcome][0],
            animals=many,
            **owner,
        )
        rows.append({"stay_id": stay.stay_id, "outcome_date": day, "outcome_type": stay.outcome, "animals": many})
    return rows


def _fill(layout: Layout, at: dict[str, Sheet]) -> None:
    """Fill the sheets and those true tables that need more than the stays."""
    rng = np.random.default_rng(44)
    ends: list[dict[str, Cell]] = []
    moves: list[dict[str, Cell]] = []
    for s in layout.stays:
        note = str(rng.choice(["", "", "", "frisst gut", "scheu", "Gehege mitgegeben"]))
        people = {}
        if s.intake_type == "surrendered":
            people = {
                "Abgeber": f"Hr. Beispiel {rng.integers(10, 99)}",
                "Telefon Abgeber": f"0000 / 55501{rng.integers(10, 99)}",
            }
        _line(
            at["intakes"],
            "intakes",
            s.stay_id,
            stay_id=s.stay_id,
            animal_id=s.animal_id,
            species=s.species.theirs,
            sex=SEXES[s.sex][0] if s.group == 1 else "",
            life_stage=STAGES[s.life_stage][0],
            intake_date=s.intake,
            intake_type=KINDS[s.intake_type][0],
            group_size=s.group,
            note=note,
            **people,
        )
        ends += _outcomes(s, at["outcomes"], rng)
        for e in s.episodes:
            _line(
                at["conditions"],
                "conditions",
                s.stay_id,
                stay_id=s.stay_id,
                condition=PROBLEMS[e.condition][0],
                severity=SEVERITY[e.severity][0],
                found_on=e.found_on,
                vet_seen_on=e.vet_on,
                ended_on=e.ended_on,
                ended_as=ENDED[e.ended_as][0] if e.ended_as else "",
            )
        if s.group > 1:
            s.weights = []
        for day, grams in s.weights:
            _line(at["weighings"], "weighings", s.stay_id, stay_id=s.stay_id, weighed_on=day, weight=grams)
        for day, zone, place in _moves(s, rng):
            _line(at["moves"], "moves", s.stay_id, stay_id=s.stay_id, moved_on=day, zone=ZONES[zone], place=place)
            moves.append({"stay_id": s.stay_id, "moved_on": day, "zone": zone, "place": place})
    kept = ["stay_id", "animal_id", "species", "sex", "life_stage", "intake_date", "intake_type", "group_size"]
    episode = ["episode_id", "stay_id", "condition", "severity", "found_on", "vet_seen_on", "ended_on", "ended_as"]
    layout.truth = {
        "intakes": true_intakes(layout.stays, kept),
        "outcomes": columns_of(ends, ["stay_id", "outcome_date", "outcome_type", "animals"]),
        "conditions": true_conditions(layout.stays, episode),
        "weighings": true_weighings(layout.stays),
        "moves": columns_of(moves, ["stay_id", "moved_on", "zone", "place"]),
    }


def _exchanged(grams: float) -> float:
    """Tens and units the wrong way round: 354 for 345."""
    whole = int(grams)
    return float(whole // 100 * 100 + whole % 10 * 10 + whole % 100 // 10)


def _plant(layout: Layout, at: dict[str, Sheet]) -> None:
    put = Planter(layout, 4040)
    by_id = {s.stay_id: s for s in layout.stays}
    weight = "Gewicht (g)"
    put.swap(at["outcomes"], "Abgangsdatum", lambda r, d: d < by_id[r.stay].intake)
    put.swap(at["weighings"], "Datum", lambda r, d: d < by_id[r.stay].intake)
    put.swap(at["moves"], "Datum", lambda r, d: d < by_id[r.stay].intake)
    put.slip(at["weighings"], "Datum", -1, lambda r: r.cells["Datum"].month == 1)
    put.slip(at["outcomes"], "Abgangsdatum", -1, lambda r: (r.cells["Abgangsdatum"] - by_id[r.stay].intake).days < 300)
    put.change(at["conditions"], "Beendet am", "impossible_date", lambda r: "31.11.2023")
    heavy = lambda r: r.cells[weight] > 900  # noqa: E731
    put.change(at["weighings"], weight, "kg_typed_as_g", lambda r: r.cells[weight] / 1000, heavy)
    put.change(at["weighings"], weight, "kg_typed_as_g", lambda r: r.cells[weight] / 1000, heavy)
    put.change(
        at["weighings"], weight, "slipped_decimal", lambda r: r.cells[weight] * 10, lambda r: 20 < r.cells[weight] < 90
    )

    def turned(row: Row) -> bool:
        grams = row.cells[weight]
        return bool(300 < grams < 460 and grams % 1 == 0 and abs(_exchanged(grams) - grams) == 9)

    put.change(at["weighings"], weight, "digits_exchanged", lambda r: _exchanged(r.cells[weight]), turned, "no")
    put.change(at["weighings"], weight, "text_in_number", lambda r: "ca. 40", lambda r: 30 < r.cells[weight] < 60)
    put.twice(at["weighings"], 1)
    put.twice(at["intakes"], 1)
    put.twice(at["moves"], 2)
    put.change(at["weighings"], "Lfd. Nr.", "id_typed_differently", lambda r: r.cells["Lfd. Nr."].replace("/", "-"))
    put.change(at["conditions"], "Lfd. Nr.", "id_lost_leading_zeros", lambda r: r.cells["Lfd. Nr."].lstrip("0"))
    put.change(at["moves"], "Lfd. Nr.", "unknown_id", lambda r: "499/24")
    put.change(
        at["intakes"],
        "Tierart",
        "species_misspelt",
        lambda r: "Bartagahme",
        lambda r: r.cells["Tierart"] == "Bartagame",
    )
    put.change(
        at["intakes"],
        "Tierart",
        "species_misspelt",
        lambda r: "Koenigspyton",
        lambda r: r.cells["Tierart"][0] == "K" and "ö" in r.cells["Tierart"],
    )
    put.change(
        at["outcomes"],
        "Verbleib",
        "trailing_spaces",
        lambda r: r.cells["Verbleib"] + " \u00a0",
        lambda r: r.cells["Verbleib"] == "Vermittelt",
    )
    gone = next(s for s in layout.stays if s.outcome in ("died", "euthanised") and s.left)
    put.change(
        at["weighings"],
        "Lfd. Nr.",
        "weight_of_dead_animal",
        lambda r: gone.stay_id,
        lambda r: gone.left is not None and (r.cells["Datum"] - gone.left).days > 30,
    )
    put.change(at["intakes"], "Bemerkung", "phone_in_note", lambda r: "Rückruf 0000 / 5550199")


def _show(column: str, value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, date):
        return f"{value:%d.%m.%Y}"
    if isinstance(value, float):
        return f"{value:.3f}".rstrip("0").rstrip(".").replace(".", ",")
    return str(value)


def _thousands(column: str, value: Cell) -> str:
    """As the weight list is printed: 1.250,5 with a point between thousands."""
    if isinstance(value, float) and value >= 1000:
        whole, _, part = f"{value:,.1f}".partition(".")
        return whole.replace(",", ".") + ("," + part if part != "0" else "")
    return _show(column, value)


def _synonyms(path: Path, layout: Layout) -> None:
    """The list of words, as the rescue's volunteer wrote it."""
    lines = [("table", table, "", table, said) for table, said in TABLES.items()]
    for table, heads in HEADS.items():
        lines += [("heading", table, column, column, said) for column, said in heads.items()]
    lines += [("word", table, column, ours, said) for table, column, said, ours in layout.words]
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["kind", "table", "column", "ours", "theirs"])
        writer.writerows(lines)


def build(folder: Path) -> Layout:
    """Write the files and synonyms.csv, and return the layout with its truth."""
    plan = _plan()
    stays = invent(plan)
    for stay in stays:
        stay.stay_id += f"/{stay.intake:%y}"
    layout = Layout(
        name=folder.name,
        rescue="Auffangstation Krötental (invented)",
        language="de",
        currency="EUR",
        date_order="dmy",
        weight_unit="g",
        plan=plan,
        stays=stays,
        notes=[
            "Three files are UTF-16 (little end first, with mark), two UTF-8 with a mark; tabs between cells.",
            "Decimal comma; a point between thousands in the weight list (1.250,5).",
            "Sexes are written 1,0 / 0,1 / 0,0,1; blank for groups. Groups are not weighed and may leave in two parts.",
            "Lfd. Nr. counts on and carries the year of intake (001/23): it is text, not a fraction or a date.",
            "synonyms.csv lies in rescue/, as the volunteer wrote it.",
        ],
    )
    at = {
        table: Sheet(FILES[table], "", [*HEADS[table].values(), *PEOPLE.get(table, [])], tables=table)
        for table in TABLES
    }
    _fill(layout, at)
    for table, sheet in at.items():
        layout.heads(sheet, table, **HEADS[table])
    layout.says("intakes", "intake_type", KINDS)
    layout.says("intakes", "sex", SEXES)
    layout.says("intakes", "life_stage", STAGES)
    layout.says("intakes", "species", {s.common: [s.theirs] for s in SPECIES})
    layout.says("outcomes", "outcome_type", ENDS)
    layout.says("conditions", "condition", PROBLEMS)
    layout.says("conditions", "severity", SEVERITY)
    layout.says("conditions", "ended_as", ENDED)
    layout.says("moves", "zone", {ours: [said] for ours, said in ZONES.items()})
    _synonyms(folder / "rescue" / "synonyms.csv", layout)
    at["weighings"].rows.sort(key=lambda row: row.cells["Datum"])
    at["outcomes"].rows.sort(key=lambda row: row.cells["Abgangsdatum"])
    _plant(layout, at)
    layout.sheets = list(at.values())
    for sheet in at.values():
        encoding = "utf-16" if sheet.file.endswith(".txt") else "utf-8-sig"
        show = _thousands if sheet is at["weighings"] else _show
        write_text(sheet, folder / "rescue" / sheet.file, encoding=encoding, sep="\t", show=show)
    return layout


README = """Das sind die Listen aus unserer Auffangstation, aus Excel als Unicode-Text gespeichert (die beiden .tsv
macht unser Waagenprogramm). Lfd. Nr. ist die Nummer des Aufenthalts, die Tier-Kennung bleibt beim Tier.
Gewichte in Gramm. In synonyms.csv steht, was unsere Wörter auf Englisch heißen, so wie man es mir erklärt hat.
Heike
"""
