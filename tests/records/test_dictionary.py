"""The rescue's own dictionary: what it says is used beside records.toml, and every contradiction is told."""

from __future__ import annotations

import pytest
from openpyxl import Workbook, load_workbook

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.dictionary import COLUMNS, kind_of, kinds, places_of
from mendcurve.records.schemas import TABLES
from mendcurve.records.template import write_template

HEAD = "kind,word,means,also known as,old names,taxon,low_g,high_g,gut_days,lifelong,family,note\n"
INTAKES = "stay_id,species,intake_date,intake_type\nS-1,{},2026-03-02,stray\n"
CONDITIONS = "episode_id,stay_id,condition,found_on\nE-1,S-1,{},2026-03-03\n"


def folder(tmp_path, dictionary, toml="", head=HEAD, **files):
    for name, text in {"intakes": INTAKES.format("corn snake"), **files}.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    (tmp_path / "dictionary.csv").write_text(head + dictionary, encoding="utf-8")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n" + toml, encoding="utf-8"
    )
    return tmp_path


def told(records):
    return records.findings.query("file == 'dictionary.csv'")


# PITFALLS.md row 24: four spellings, one with a no-break space, are one species, and three notes say so.
def test_four_spellings_of_a_species_are_one_and_three_are_noted(tmp_path):
    spellings = ["house newt", "house newt", "House newt", "house  newt", "house\u00a0newt"]
    rows = "".join(f"S-{n},{word},2026-03-02,stray\n" for n, word in enumerate(spellings))
    path = folder(tmp_path, "", intakes=INTAKES.splitlines()[0] + "\n" + rows)
    (path / "dictionary.csv").unlink()
    records = load(path)
    assert records["intakes"]["species"].unique().tolist() == ["house newt"]
    notes = records.findings["rule"].str.contains('for "house newt"; read as one word', regex=False)
    assert notes.sum() == 3
    path = folder(tmp_path, "species,house newt,,,,salamander\n", intakes=INTAKES.splitlines()[0] + "\n" + rows)
    records = load(path)
    assert records["intakes"]["species"].unique().tolist() == ["house newt"]
    assert records.species.set_index("name").loc["house newt", "taxon"] == "salamander"


def test_a_word_of_the_rescues_is_the_reference_species(tmp_path):
    records = load(
        folder(tmp_path, "species,BD,bearded dragon,the beard;bearrdie\n", intakes=INTAKES.format("Bearrdie"))
    )
    assert records["intakes"]["species"].tolist() == ["bearded dragon"]
    assert records.findings.empty


@pytest.mark.parametrize("name", ["corn snake", "ball python", "leopard gecko", "an own newt"])
@pytest.mark.parametrize("aliases", ["", 'aliases = ["Other Name"]\n'])
def test_a_word_may_stand_for_a_species_that_records_toml_describes(tmp_path, name, aliases):
    toml = f'[[species]]\nname = "{name}"\ntaxon = "snake"\nlow_g = 2\n{aliases}'
    intakes = INTAKES.format("snek") + f"S-2,{name},2026-03-02,stray\nS-3,snekky,2026-03-02,stray\n"
    records = load(folder(tmp_path, f"species,snek,{name},snekky\n", toml, intakes=intakes))
    assert records["intakes"]["species"].tolist() == [name] * 3
    assert records.findings.empty
    assert not len(records.words)
    assert records.species.set_index("name").loc[name, "low_g"] == 2


def test_the_rescues_own_name_of_a_species_is_the_one_used(tmp_path):
    intakes = INTAKES.format("bearded dragon") + "S-2,Pogona vitticeps,2026-03-02,stray\nS-3,beardie,2026-03-02,stray\n"
    records = load(folder(tmp_path, "species,beardie,,,,,2,900,3\n", intakes=intakes))
    assert records["intakes"]["species"].tolist() == ["beardie"] * 3
    row = records.species.set_index("name").loc["beardie"]
    assert (row["taxon"], row["low_g"], row["high_g"], row["gut_days"]) == ("lizard", 2, 900, 3)
    assert "bearded dragon" not in set(records.species["name"])


def test_own_bounds_are_those_weights_are_held_to(tmp_path):
    weighings = "stay_id,weighed_on,weight\nS-1,2026-03-03,700\n"
    assert load(folder(tmp_path, "", weighings=weighings)).findings.empty
    records = load(folder(tmp_path, "species,corn snake,,,,,5,600\n", weighings=weighings))
    assert records.findings["rule"].str.contains(r"5 to 600 g").tolist() == [True]


def test_a_species_of_its_own_needs_its_taxon(tmp_path):
    records = load(folder(tmp_path, "species,house newt,\n", intakes=INTAKES.format("house newt")))
    assert "needs its taxon group" in told(records)["rule"].iloc[0]
    assert told(records)["row"].tolist() == [2]
    assert records["intakes"]["species"].tolist() == ["house newt"]


def test_conditions_outcomes_and_codes_are_translated(tmp_path):
    dictionary = (
        "condition,dysecdysis,stuck shed,bad shed,retained shed\n"
        "outcome,new home,adopted,forever home\n"
        "intake type,dumped,stray,left on the step\n"
        "life stage,teen,subadult\n"
        "circumstance,had dinner,fed\n"
        "dead on arrival,DOA,yes\n"
        "zone,hospital,treatment\n"
    )
    intakes = (
        "stay_id,species,intake_date,intake_type,life_stage,dead_on_arrival\n"
        "S-1,corn snake,2026-03-02,Left on the step,teen,\nS-2,corn snake,2026-03-02,dumped,adult,doa\n"
    )
    records = load(
        folder(
            tmp_path,
            dictionary,
            intakes=intakes,
            conditions=CONDITIONS.format("Bad shed") + "E-2,S-1,retained  shed,2026-03-04\n",
            outcomes="stay_id,outcome_date,outcome_type\nS-1,2026-04-01,forever home\n",
            weighings="stay_id,weighed_on,weight,circumstance\nS-1,2026-03-03,300,had dinner\n",
            moves="stay_id,moved_on,zone\nS-1,2026-03-02,Hospital\n",
        )
    )
    assert records["conditions"]["condition"].tolist() == ["stuck shed"] * 2
    assert records["outcomes"]["outcome_type"].tolist() == ["adopted"]
    assert records["intakes"]["intake_type"].tolist() == ["stray"] * 2
    assert records["intakes"]["life_stage"].tolist() == ["subadult", "adult"]
    assert records["intakes"]["dead_on_arrival"].tolist() == [False, True]
    assert records["weighings"]["circumstance"].tolist() == ["fed"]
    assert records["moves"]["zone"].tolist() == ["treatment"]
    assert told(records).empty


def test_a_word_can_mean_nothing_or_that_the_row_is_set_aside(tmp_path):
    outcomes = "stay_id,outcome_date,outcome_type\nS-1,2026-04-01,fostered\n"
    records = load(folder(tmp_path, "outcome,fostered,nothing\n", outcomes=outcomes))
    assert (len(records["outcomes"]), len(records.set_aside)) == (0, 0)
    records = load(folder(tmp_path, "outcome,fostered,set aside\n", outcomes=outcomes))
    assert len(records.set_aside) == 1


def test_lifelong_conditions_and_families_reach_the_settings(tmp_path):
    dictionary = "condition,kidney trouble,,bad kidneys,,,,,,yes\ncondition,mites,,,,,,,,,parasites\n"
    toml = '[conditions]\nlifelong = ["blindness"]\nfamilies = { parasites = ["worms"] }\n'
    settings = load(folder(tmp_path, dictionary, toml)).settings
    assert settings["conditions.lifelong"] == ["blindness", "kidney trouble"]
    assert settings["conditions.families"] == {"parasites": ["worms", "mites"]}


# What the dictionary says, what records.toml says, what is told of the two.
CONTRADICTIONS = [
    (
        "outcome,gone,adopted\n",
        '[tables.outcomes.codes.outcome_type]\ngone = "died"\n',
        'says that "gone" is "adopted", but records.toml says "died" under codes.outcome_type',
    ),
    (
        "species,corn snake,,,,lizard,3\n",
        '[[species]]\nname = "Corn snake"\ntaxon = "snake"\nlow_g = 2\n',
        'both describe "corn snake", and differ in taxon, low_g',
    ),
    (
        "species,house newt,,,,salamander\n",
        '[[species]]\nname = "newt"\ntaxon = "salamander"\naliases = ["house newt"]\n',
        'keeps "house newt" as a species, but records.toml calls it "newt"',
    ),
    (
        "condition,gout,,,,,,,,no\n",
        '[conditions]\nlifelong = ["Gout"]\n',
        'says that "gout" is not lifelong, but records.toml lists it',
    ),
    (
        "condition,mites,,,,,,,,,skin\n",
        '[conditions]\nfamilies = { parasites = ["mites"] }\n',
        'puts "mites" into the family "skin", but records.toml into "parasites"',
    ),
]


@pytest.mark.parametrize(("dictionary", "toml", "says"), CONTRADICTIONS)
def test_records_toml_wins_and_a_contradiction_is_told(tmp_path, dictionary, toml, says):
    outcomes = "stay_id,outcome_date,outcome_type\nS-1,2026-04-01,gone\n"
    files = {"outcomes": outcomes} if "outcome" in dictionary else {}
    records = load(folder(tmp_path, dictionary, toml, **files))
    assert len(told(records)) == 1
    assert says in told(records)["rule"].iloc[0]
    assert told(records)["what_to_do"].iloc[0] == "Correct one of the two; records.toml is used."
    assert told(records)["effect"].iloc[0] == "kept, doubtful"
    if files:
        assert records["outcomes"]["outcome_type"].tolist() == ["died"]
    assert records.settings["conditions.families"].get("skin") is None


def test_another_name_in_both_is_the_species_of_records_toml(tmp_path):
    toml = '[[species]]\nname = "smooth newt"\ntaxon = "salamander"\naliases = ["warty newt"]\n'
    dictionary = "species,crested newt,,warty newt,,salamander\n"
    records = load(folder(tmp_path, dictionary, toml, intakes=INTAKES.format("Warty newt")))
    assert records["intakes"]["species"].tolist() == ["smooth newt"]


def test_a_word_of_records_toml_wins_however_it_is_written(tmp_path):
    toml = '[tables.outcomes.codes.outcome_type]\n"GONE" = "died"\n'
    outcomes = "stay_id,outcome_date,outcome_type\nS-1,2026-04-01,gone\n"
    records = load(folder(tmp_path, "outcome,gone,adopted\n", toml, outcomes=outcomes))
    assert records["outcomes"]["outcome_type"].tolist() == ["died"]


def test_what_both_say_alike_is_no_contradiction(tmp_path):
    toml = '[tables.outcomes.codes.outcome_type]\nGone = "adopted"\n[conditions]\nlifelong = ["gout"]\n'
    outcomes = "stay_id,outcome_date,outcome_type\nS-1,2026-04-01,gone\n"
    records = load(folder(tmp_path, "outcome,gone,adopted\ncondition,gout,,,,,,,,yes\n", toml, outcomes=outcomes))
    assert told(records).empty
    assert records.settings["conditions.lifelong"] == ["gout"]


# One bad row each, what is told of it, and that nothing else of the dictionary is lost.
BAD_ROWS = [
    ("outcome,,adopted", "needs a kind and a word"),
    ("colour,red,blue", "is no kind of word in the records.*"),
    ("outcome,gone,elsewhere", "outcome must be one of: .*; the row is not used"),
    ("species,corn snake,,,,,900,3", "low_g must be less than high_g"),
    ("species,corn snake,,,,,heavy", "low_g must be a number above 0"),
    ("species,corn snake,,,,,-4", "low_g must be a number above 0"),
    ("condition,gout,,,,,,,,perhaps", "lifelong must be yes or no"),
    ("condition,teen,gout", 'a word must have one meaning; "teen" is "stuck shed" in row 2 and "gout" here'),
    ("condition,stuck shed,teen", '"teen" and "stuck shed" are each said to mean the other'),
]


@pytest.mark.parametrize(("row", "says"), BAD_ROWS)
def test_a_row_that_cannot_be_used_is_told_with_its_row(tmp_path, row, says):
    good = "condition,teen,stuck shed\nsex,lad,male\n"
    records = load(
        folder(
            tmp_path,
            good + row + "\n",
            conditions=CONDITIONS.format("ok"),
            intakes=INTAKES.format("corn snake")
            .replace("intake_type", "intake_type,sex")
            .replace("stray", "stray,lad"),
        )
    )
    found = told(records)
    assert found["rule"].str.contains(says).any(), found["rule"].tolist()
    assert found["row"].isin([2, 4]).all()
    assert records["intakes"]["sex"].tolist() == ["male"]


def test_a_meaning_is_followed_to_its_end(tmp_path):
    dictionary = "condition,dysecdysis,bad shed\ncondition,bad shed,stuck shed\n"
    records = load(folder(tmp_path, dictionary, conditions=CONDITIONS.format("Dysecdysis")))
    assert records["conditions"]["condition"].tolist() == ["stuck shed"]


@pytest.mark.parametrize("in_book", [True, False])
def test_it_may_be_a_sheet_of_the_workbook_or_a_workbook_of_its_own(tmp_path, in_book):
    book = Workbook()
    book.active.title = "intakes"
    for line in INTAKES.format("BD").splitlines():
        book["intakes"].append(line.split(","))
    own = book.create_sheet("Dictionary") if in_book else Workbook()
    sheet = own if in_book else own.active
    for line in (HEAD + "species,BD,bearded dragon").splitlines():
        sheet.append(line.split(","))
    book.save(tmp_path / "records.xlsx")
    if not in_book:
        own.save(tmp_path / "dictionary.xlsx")
    records = load(tmp_path / "records.xlsx", as_of="2026-12-31")
    assert records["intakes"]["species"].tolist() == ["bearded dragon"]
    assert records.findings.query("effect != 'note'").empty


def test_it_counts_in_the_digest(tmp_path):
    first = load(folder(tmp_path, "outcome,gone,adopted\n")).digest
    assert load(folder(tmp_path, "outcome,gone,died\n")).digest != first


def test_several_dictionaries_or_one_without_headings_are_refused(tmp_path):
    path = folder(tmp_path, "adopted,gone\n", head="means,term\n")
    with pytest.raises(InputError, match=r"needs a heading kind and a heading word.\n  headings: means, term"):
        load(path)
    book = Workbook()
    book.active.append(["kind", "word"])
    book.active.append(["outcome", "gone"])
    book.save(path / "dictionary.xlsx")
    with pytest.raises(InputError, match=r"one dictionary, but several are here.\n  dictionary.csv\n  dictionary.xlsx"):
        load(path)


def test_the_templates_empty_sheet_of_words_stands_beside_a_file_of_them(tmp_path):
    path = folder(tmp_path, "species,snek,corn snake\n")
    (path / "intakes.csv").unlink()
    book = load_workbook(write_template(path / "our records.xlsx"))
    book["intakes"].append(
        [
            {"stay_id": "S-1", "species": "snek", "intake_date": "2026-03-02", "intake_type": "stray"}.get(name)
            for name in TABLES["intakes"].names
        ]
    )
    book.save(path / "our records.xlsx")
    records = load(path)
    assert records["intakes"]["species"].tolist() == ["corn snake"]
    assert not len(records.words)
    (path / "dictionary.csv").unlink()
    book["dictionary"].append(["species", "snek", "corn snake"])
    book.save(path / "our records.xlsx")
    assert load(path)["intakes"]["species"].tolist() == ["corn snake"]


def test_the_list_of_words_pasted_back_unfilled_explains_nothing_and_keeps_the_words(tmp_path):
    intakes = INTAKES.format("corn snek") + "S-2,corn snake,2026-03-02,dumpd\nS-3,corn snake,2026-03-02,strey\n"
    path = folder(tmp_path, "", intakes=intakes)
    (path / "dictionary.csv").unlink()
    before = load(path)
    assert set(before.words["word"]) == {"corn snek", "dumpd", "strey"}
    filled = before.words.assign(means=before.words["word"].map({"strey": "stray"}).fillna(""))
    filled.to_csv(path / "dictionary.csv", index=False)
    after = load(path)
    assert set(after.words["word"]) == {"corn snek", "dumpd"}
    assert told(after).empty


def test_an_unknown_heading_of_the_dictionary_is_told_and_the_note_is_read_nowhere(tmp_path):
    path = folder(tmp_path, "outcome,gone,adopted,secret\n", head="kind,word,mean,note\n")
    records = load(path)
    heading = told(records).query("column == 'mean'")
    assert 'Did you mean "means"?' in heading["what_to_do"].iloc[0]
    assert "secret" not in records.findings.to_string()


def test_every_kind_has_a_name_that_leads_back_to_its_columns():
    for kind in kinds():
        assert places_of(kind), kind
    for table in TABLES.values():
        for column in table.columns:
            if column.kind in ("code", "list", "yes_no"):
                assert (table.name, column.name) in places_of(kind_of(table.name, column.name))
    assert kind_of("checks", "result") == "checks result"
    assert kind_of("intakes", "sex") == "sex"


def test_there_is_no_column_for_medical_advice():
    assert not set(COLUMNS) & {"dose", "medicine", "treatment", "drug", "advice"}
