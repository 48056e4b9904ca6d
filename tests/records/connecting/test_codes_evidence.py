from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.records.codes import parse_codes, parse_lists, parse_yes_no, words_for
from mendcurve.records.connecting.codes_evidence import SURE, code_lists, species_words, spellings
from mendcurve.records.connecting.vocabulary import load_vocabulary
from mendcurve.records.schemas import TABLES
from mendcurve.records.species import reference

WORDS = load_vocabulary()
SPECIES = reference()


def column(*words):
    return pd.Series(list(words), dtype=object)


def guesses(table, name, *words):
    return {g.theirs: g for g in code_lists(table, name, column(*words), WORDS)}


def outcome(word):
    return guesses("outcomes", "outcome_type", word)[word]


def test_every_word_is_counted_the_commonest_first_and_blanks_are_none():
    found = code_lists("outcomes", "outcome_type", column("Rehomed", "", "died", "rehomed ", " ", "Rehomed"), WORDS)
    assert [(g.theirs, g.count, g.ours) for g in found] == [("Rehomed", 3, "adopted"), ("died", 1, "died")]
    assert all(g.sure and g.reason == "known" for g in found)


@pytest.mark.parametrize(
    ("word", "code", "reason"),
    [
        ("Rainbow bridge", "died", "often means this"),
        ("Adopted by family", "adopted", 'it holds "adopted"'),
        ("PTS at vet", "euthanised", 'it holds "pts"'),
        ("Transfered to other rescue", "transferred out", 'it holds "to other rescue"'),
        ("returned to owners", "returned to owner", 'it holds "returned"'),
        ("adopted?", "adopted", 'it is "adopted" and a sign'),
        ("adoptd", "adopted", 'it is nearly "adopted"'),
        ("Eutanised", "euthanised", 'it is nearly "euthanised"'),
    ],
)
def test_a_likely_meaning_is_a_suggestion(word, code, reason):
    found = outcome(word)
    assert (found.ours, found.reason, found.nothing) == (code, reason, False)
    assert 0 < found.score < SURE


@pytest.mark.parametrize("word", ["blorp", "Not adopted", "wasn't adopted", "dead / pts", "gone to rescue", "xyz"])
def test_what_is_not_clear_is_not_suggested(word):
    found = outcome(word)
    assert (found.ours, found.score, found.nothing) == ("", 0.0, False)


@pytest.mark.parametrize("word", ["still here", "In care", "foster home"])
def test_a_word_for_an_animal_that_is_here_says_that_there_is_nothing_to_read(word):
    found = outcome(word)
    assert (found.ours, found.nothing, found.sure) == ("", True, False)
    assert found.question == f'"{word}", 1 row: nothing to read here?'


def test_a_letter_inside_a_phrase_means_nothing():
    assert guesses("intakes", "sex", "looks like m")["looks like m"].ours == ""
    assert guesses("intakes", "sex", "probable female")["probable female"].ours == "female"


def test_words_for_nothing_are_known_to_the_reader_unless_a_word_is_needed():
    assert guesses("conditions", "severity", "n/a")["n/a"].reason == "read as an empty cell"
    assert guesses("intakes", "intake_type", "n/a")["n/a"].reason.endswith("which this column must not be")
    assert guesses("intakes", "sex", "?")["?"].ours == "unknown"


def test_the_question_names_rows_and_holds_no_persons_details():
    found = code_lists("outcomes", "outcome_type", column("Rainbow bridge", "rainbow Bridge", "Rainbow bridge"), WORDS)
    assert found[0].question == '"Rainbow bridge", 3 rows: died?'
    assert "a.b@c.org" not in outcome("adopted, a.b@c.org").question
    assert outcome("blorp").question == '"blorp", 1 row: not known'


def test_lists_are_parted():
    found = guesses("weighings", "circumstance", "fed; shed", "In shed, gravid", "fed & flew")
    assert {w: (g.ours, g.count) for w, g in found.items()} == {
        "fed": ("fed", 2),
        "shed": ("shed", 1),
        "in shed": ("shed", 1),
        "gravid": ("gravid", 1),
        "flew": ("", 1),
    }


def test_yes_and_no():
    found = guesses("intakes", "story_ok", "Y", "no", "ja", "\u2713")
    assert {w: (g.ours, g.sure) for w, g in found.items()} == {
        "Y": ("yes", True),
        "no": ("no", True),
        "\u2713": ("yes", True),
        "ja": ("", False),
    }


def test_another_language_is_read(tmp_path):
    path = tmp_path / "synonyms.csv"
    path.write_text("kind,table,column,ours,theirs\nword,outcomes,outcome_type,adopted,vermittelt\n", encoding="utf-8")
    german = load_vocabulary(path)
    found = code_lists("outcomes", "outcome_type", column("Vermittelt", "vermitelt", "an Familie vermittelt"), german)
    assert {g.theirs: (g.ours, g.sure) for g in found} == {
        "Vermittelt": ("adopted", True),
        "vermitelt": ("adopted", False),
        "an Familie vermittelt": ("adopted", False),
    }


def test_a_word_as_near_to_two_meanings_is_not_suggested(tmp_path):
    path = tmp_path / "synonyms.csv"
    line = "word,outcomes,outcome_type,{},{}\n"
    head = "kind,table,column,ours,theirs\n"
    text = column("blorpish c")
    path.write_text(head + line.format("adopted", "blorpish a") + line.format("died", "blorpish b"), encoding="utf-8")
    assert code_lists("outcomes", "outcome_type", text, load_vocabulary(path))[0].ours == ""
    path.write_text(head + line.format("adopted", "blorpish a;blorpish b"), encoding="utf-8")
    assert code_lists("outcomes", "outcome_type", text, load_vocabulary(path))[0].ours == "adopted"


MESSY = ("PTS", "Rainbow bridge", "yes", "-", "?", "F", "in shed", "adoptd", "vet", "ok", "gone", "Found", "1", "n/a")


@pytest.mark.parametrize("table", list(TABLES))
def test_what_is_called_sure_is_what_the_reader_reads(table):
    for ours in TABLES[table].columns:
        if not ours.codes and ours.kind != "yes_no":
            continue
        for word in MESSY:
            text, words = column(word), words_for(ours, {}, "")
            if ours.kind == "yes_no":
                parsed = parse_yes_no(text, words)
            else:
                parsed = (parse_lists if ours.kind == "list" else parse_codes)(text, ours, words)
            for guess in code_lists(table, ours.name, text, WORDS):
                read = parsed.troubles[0] is None or parsed.troubles[0].effect == "blank"
                assert guess.sure == read, (ours.name, word, guess)
                if guess.sure and guess.ours and ours.kind != "yes_no":
                    assert parsed.found[0] == guess.ours


def species(word):
    return species_words(column(word), SPECIES)


@pytest.mark.parametrize(
    ("word", "name", "reason"),
    [
        ("Beardie (hypo)", "bearded dragon", 'it holds "beardie"'),
        ("2 x bal python", "ball python", 'it is nearly "ball python"'),
        ("bearded dragn", "bearded dragon", 'it is nearly "bearded dragon"'),
        ("dragon (bearded)", "bearded dragon", 'it holds "bearded dragon"'),
        ("corn", "corn snake", 'it is a part of "corn snake"'),
        ("python", "", "it could be ball python, carpet python"),
        ("griffin", "", "no species is near"),
        ("xq", "", "no species is near"),
    ],
)
def test_a_species_that_is_not_known_has_its_nearest(word, name, reason):
    (found,) = species(word)
    assert found.ours == name
    assert found.reason.startswith(reason)
    assert not found.sure


def test_known_species_are_not_listed():
    assert species("Corn snake") == ()
    assert species("  BEARDIE ") == ()


def test_misspelt_conditions_are_listed_with_counts():
    words = column(*["stuck shed"] * 9, "Stuck shed", "stuck shedd", *["mouth rot"] * 6, "mouth rott", "burns")
    found = {g.theirs: g for g in spellings(words)}
    assert {w: g.ours for w, g in found.items()} == {"stuck shedd": "stuck shed", "mouth rott": "mouth rot"}
    assert found["stuck shedd"].reason == 'it is nearly "stuck shed" (10 rows)'
    assert found["stuck shedd"].count == 1


def test_an_empty_column_has_no_words():
    assert code_lists("intakes", "sex", column("", " "), WORDS) == ()
    assert species_words(column(""), SPECIES) == ()
    assert spellings(column("")) == ()
