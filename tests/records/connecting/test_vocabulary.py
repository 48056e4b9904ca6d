from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records.codes import parse_codes, words_for
from mendcurve.records.connecting.splitting import plain_heading, split_heading
from mendcurve.records.connecting.vocabulary import load_vocabulary, meanings, sure_words
from mendcurve.records.folding import folded
from mendcurve.records.privacy import about_a_person
from mendcurve.records.schemas import TABLES

SHIPPED = load_vocabulary()
HEAD = "kind,table,column,ours,theirs\n"
GERMAN = (
    HEAD
    + """# erfunden
table,intakes,,,Aufnahmen;Zugänge
heading,intakes,intake_date,,Aufnahmedatum;Ankunft am
heading,*,stay_id,,Fallnummer
heading,weighings,weight,,Gewicht
word,outcomes,outcome_type,adopted,vermittelt
word,outcomes,outcome_type,euthanised,eingeschläfert
word,*,*,unknown,unbekannt
word,*,*,yes,ja
guess,outcomes,outcome_type,,noch da
unread,,,,Farbe
"""
)
SPANISH = """kind;table;column;ours;theirs
heading;intakes;intake_date;;Fecha de entrada
word;outcomes;outcome_type;adopted;"Adoptado;adoptada"
word;*;*;no;no
"""


def written(folder, text, encoding="utf-8"):
    path = folder / "synonyms.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_every_table_heading_and_code_has_its_own_name_first():
    assert set(SHIPPED.tables) == set(TABLES)
    for table in TABLES.values():
        assert SHIPPED.tables[table.name][0] == table.name
        for column in table.columns:
            assert SHIPPED.headings[table.name][column.name][0] == plain_heading(column.name)
            for code in column.codes:
                assert folded(code) in SHIPPED.words[f"{table.name}.{column.name}"][code]


def test_every_required_column_has_other_words():
    for table in TABLES.values():
        for column in table.columns:
            assert len(SHIPPED.headings[table.name][column.name]) >= (5 if column.required else 3), column.name


def test_words_are_held_as_they_are_compared():
    for columns in SHIPPED.headings.values():
        for words in columns.values():
            assert all(plain_heading(word) == word for word in words)
    for several in (*SHIPPED.words.values(), *SHIPPED.guesses.values()):
        assert all(folded(word) == word for words in several.values() for word in words)


# A column of people's details is dropped as it is read; a synonym that looks like one could never be found.
def test_no_heading_is_a_persons():
    found = [w for columns in SHIPPED.headings.values() for words in columns.values() for w in words]
    assert [w for w in found if about_a_person(w)] == []


def test_every_meaning_is_a_code_of_its_column():
    for place, words in (*SHIPPED.words.items(), *SHIPPED.guesses.items()):
        column = TABLES[place.split(".")[0]].column(place.split(".")[1])
        assert set(words) <= {*meanings(column), ""}, place


def test_a_word_is_sure_or_guessed_not_both():
    for place, words in SHIPPED.words.items():
        table, column = place.split(".")
        sure, guessed = SHIPPED.codes_of(table, column), SHIPPED.guesses_of(table, column)
        assert len(sure) == sum(map(len, words.values()))
        assert not set(sure) & set(guessed), place


@pytest.mark.parametrize(
    ("table", "column", "word", "code"),
    [
        ("outcomes", "outcome_type", "RTO", "returned to owner"),
        ("outcomes", "outcome_type", "PTS", "euthanised"),
        ("outcomes", "outcome_type", "Put to sleep", "euthanised"),
        ("outcomes", "outcome_type", "Rehomed", "adopted"),
        ("outcomes", "outcome_type", "DOA", "died"),
        ("outcomes", "outcome_type", "returned", "returned to owner"),
        ("intakes", "intake_type", "returned", "returned"),
        ("intakes", "intake_type", "Found", "stray"),
        ("intakes", "intake_type", "owner surrender", "surrendered"),
        ("checks", "result", "ok", "well"),
        ("doses", "result", "ok", "given"),
        ("weighings", "unit", "lbs", "lb"),
        ("weighings", "unit", "grams", "g"),
    ],
)
def test_the_reader_knows_the_words_that_are_sure(table, column, word, code):
    ours = TABLES[table].column(column)
    assert sure_words(ours)[folded(word)] == code
    assert parse_codes(pd.Series([word], dtype=object), ours, words_for(ours, {}, "")).found[0] == code


@pytest.mark.parametrize("word", ["rainbow bridge", "still here", "gone"])
def test_the_reader_asks_about_words_that_are_guesses(word):
    ours = TABLES["outcomes"].column("outcome_type")
    assert word in SHIPPED.guesses_of("outcomes", "outcome_type")
    parsed = parse_codes(pd.Series([word], dtype=object), ours, words_for(ours, {}, ""))
    assert parsed.found[0] is None
    assert parsed.troubles[0].effect == "unreadable"


def test_another_language_is_an_added_file_and_comes_after_our_own_name(tmp_path):
    german = load_vocabulary(written(tmp_path, GERMAN))
    assert german.headings["intakes"]["intake_date"][:3] == ("intake date", "aufnahmedatum", "ankunft am")
    assert german.tables["intakes"][:2] == ("intakes", "aufnahmen")
    assert "fallnummer" in german.headings["weighings"]["stay_id"]
    assert german.codes_of("outcomes", "outcome_type")["eingeschläfert"] == "euthanised"
    assert german.codes_of("intakes", "sex")["unbekannt"] == "unknown"
    assert german.codes_of("intakes", "life_stage")["unbekannt"] == "unknown"
    assert "unbekannt" not in german.codes_of("outcomes", "outcome_type")
    assert german.codes_of("intakes", "dead_on_arrival")["ja"] == "yes"
    assert german.guesses_of("outcomes", "outcome_type")["noch da"] == ""
    assert "farbe" in german.unread
    # What ships is still there, and the shipped list itself is untouched.
    assert german.codes_of("outcomes", "outcome_type")["rto"] == "returned to owner"
    assert "vermittelt" not in load_vocabulary().codes_of("outcomes", "outcome_type")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_an_added_file_may_be_parted_by_semicolons(tmp_path, encoding):
    spanish = load_vocabulary(written(tmp_path, SPANISH, encoding))
    assert spanish.codes_of("outcomes", "outcome_type")["adoptada"] == "adopted"
    assert "fecha de entrada" in spanish.headings["intakes"]["intake_date"]
    assert spanish.codes_of("intakes", "story_ok")["no"] == "no"


def test_a_heading_may_hold_the_sign_of_a_comment_and_columns_may_stand_in_any_order(tmp_path):
    own = load_vocabulary(
        written(tmp_path, "# ours\ntheirs,kind,table,column,ours\nFallnr #;Kiste #,heading,intakes,stay_id,\n")
    )
    assert {"fallnr no", "kiste no"} <= set(own.headings["intakes"]["stay_id"])


def test_an_added_word_wins_over_a_shipped_one(tmp_path):
    own = load_vocabulary(written(tmp_path, HEAD + "word,outcomes,outcome_type,euthanised at owner's request,PTS\n"))
    assert own.codes_of("outcomes", "outcome_type")["pts"] == "euthanised at owner's request"
    guess = load_vocabulary(written(tmp_path, HEAD + "guess,outcomes,outcome_type,adopted,PTS\n"))
    assert "pts" not in guess.codes_of("outcomes", "outcome_type")
    assert guess.guesses_of("outcomes", "outcome_type")["pts"] == "adopted"


REFUSALS = [
    ("kind,table\nword,intakes\n", r"column, ours, theirs is not there"),
    ("", r"kind, table, column, ours, theirs is not there"),
    (HEAD + "wort,intakes,sex,male,m\n", r'"wort" is no kind.*Did you mean "word"'),
    (HEAD + "word,intake,sex,male,m\n", r'"intake" is no table.*Did you mean "intakes"'),
    (HEAD + "word,intakes,sexe,male,m\n", r'"sexe" is no column.*Did you mean "sex"'),
    (HEAD + "word,intakes,sex,mael,m\n", r'"mael" is no code of sex.*Did you mean "male"'),
    (HEAD + "word,intakes,sex,,m\n", r'"" is no code of sex'),
    (HEAD + "guess,intakes,sex,mael,m\n", r'"mael" is no code of sex'),
    (HEAD + "word,intakes,species,,Schlange\n", r"species holds the rescue's own words, and the word wanted"),
    (HEAD + "word,intakes,intake_date,soon,bald\n", r"intake_date holds no words"),
    (
        HEAD + "word,intakes,sex,male,x\nguess,intakes,sex,female,X\n",
        r'"x" can mean one code of sex only.*"male".*"fem',
    ),
]


@pytest.mark.parametrize(("text", "says"), REFUSALS)
def test_an_added_file_that_is_wrong_is_refused_with_its_line(tmp_path, text, says):
    with pytest.raises(InputError, match="(?s)" + says) as caught:
        load_vocabulary(written(tmp_path, text))
    assert str(caught.value).startswith("synonyms.csv: ")


def test_a_file_that_cannot_be_read_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.csv: the file cannot be opened"):
        load_vocabulary(tmp_path / "nowhere.csv")
    with pytest.raises(InputError, match=r"must be UTF-8"):
        load_vocabulary(written(tmp_path, HEAD + "heading,intakes,species,,Gewöhnlich\n", "cp1252"))


@pytest.mark.parametrize(
    ("text", "plain", "unit", "order", "note"),
    [
        ("Weight (oz)", "weight", "oz", "", ""),
        ("Date in (dd/mm/yy)", "date in", "", "dmy", ""),
        ("Date in", "date in", "", "", ""),
        ("Moved in [MM-DD-YYYY]", "moved in", "", "mdy", ""),
        ("Datum (TT.MM.JJJJ)", "datum", "", "dmy", ""),
        ("Date (JJ/MM/AAAA)", "date", "", "dmy", ""),
        ("Fecha dd/mm/aaaa", "fecha", "", "dmy", ""),
        ("Found (yyyy-mm-dd)", "found", "", "ymd", ""),
        ("Date out (month/day/year)", "date out", "", "mdy", ""),
        ("Date (day first)", "date", "", "dmy", ""),
        ("Date: dd/mm", "date", "", "dmy", ""),
        ("Left (m/d)", "left", "", "mdy", ""),
        ("Wt. g", "wt", "g", "", ""),
        ("weight_g", "weight", "g", "", ""),
        ("Weight in grams:", "weight", "g", "", ""),
        ("Weight, KG", "weight", "kg", "", ""),
        ("Weight (grams, before feeding)", "weight", "g", "", "before feeding"),
        ("Weight (g", "weight", "g", "", ""),
        ("Length / cm", "length", "cm", "", ""),
        ("Interval (hours)", "interval", "hours", "", ""),
        ("Interval in days", "interval", "days", "", ""),
        ("weigh every days", "weigh every days", "", "", ""),
        ("Cost (£)", "cost", "£", "", ""),
        ("Amount €", "amount", "€", "", ""),
        ("Amount GBP", "amount", "GBP", "", ""),
        ("Animal #", "animal no", "", "", ""),
        ("Sex (M/F)", "sex", "", "", "m/f"),
        ("M/F", "m f", "", "", ""),
        ("Hatched (if known)", "hatched", "", "", "if known"),
        ("g", "g", "", "", ""),
    ],
)
def test_a_heading_is_taken_apart(text, plain, unit, order, note):
    parts = split_heading(text)
    assert (parts.plain, parts.unit, parts.order, parts.note) == (plain, unit, order, note)
