"""A rare word beside a common one is doubted, once, and never merged."""

from __future__ import annotations

import pytest

from mendcurve.records import load
from mendcurve.records.misspelling import Near, near_words

INTAKES = "stay_id,species,intake_date,intake_type\n"
CONDITIONS = "episode_id,stay_id,condition,found_on\n"


def folder(tmp_path, words, toml="", dictionary=""):
    rows = [(n, word) for n, word in enumerate(words, start=1)]
    intakes = "".join(f"S-{n},corn snake,2026-03-02,stray\n" for n, _ in rows)
    episodes = "".join(f"E-{n},S-{n},{word},2026-03-03\n" for n, word in rows)
    (tmp_path / "intakes.csv").write_text(INTAKES + intakes, encoding="utf-8")
    (tmp_path / "conditions.csv").write_text(CONDITIONS + episodes, encoding="utf-8")
    start = "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n"
    (tmp_path / "records.toml").write_text(start + toml, encoding="utf-8")
    (tmp_path / "dictionary.csv").write_text("kind,word,means,also known as\n" + dictionary, encoding="utf-8")
    return tmp_path


SHED = ["stuck shed"] * 40 + ["stuk shed", "Stuk shed", "stuk shed"]


def test_a_misspelt_condition_is_doubted_once_and_kept_apart(tmp_path):
    records = load(folder(tmp_path, SHED))
    found = records.findings.query("effect == 'kept, doubtful'")
    assert len(found) == 1
    line = found.iloc[0]
    assert line["value"] == "stuk shed"
    assert line["rule"].startswith('3 rows say "stuk shed" (rows 42, 43, 44) where 40 say "stuck shed"')
    assert '"stuk shed" means "stuck shed"' in line["what_to_do"]
    assert records["conditions"]["condition"].value_counts().to_dict() == {"stuck shed": 40, "stuk shed": 3}


@pytest.mark.parametrize("dictionary", ["condition,stuk shed,stuck shed\n", "condition,stuck shed,,stuk shed\n"])
def test_the_dictionary_settles_it_as_one_word(tmp_path, dictionary):
    records = load(folder(tmp_path, SHED, dictionary=dictionary))
    assert records["conditions"]["condition"].unique().tolist() == ["stuck shed"]
    assert records.findings.query("effect == 'kept, doubtful'").empty


def test_or_as_two_words(tmp_path):
    records = load(folder(tmp_path, SHED, dictionary="condition,stuk shed\n"))
    assert records["conditions"]["condition"].nunique() == 2
    assert records.findings.query("effect == 'kept, doubtful'").empty


def test_a_word_of_the_settings_is_the_one_suggested_however_rare(tmp_path):
    toml = '[conditions]\nlifelong = ["metabolic collapse"]\n'
    records = load(folder(tmp_path, ["metabolic colapse"] * 9, toml))
    found = records.findings.query("effect == 'kept, doubtful'")
    assert 'where the rescue\'s word is "metabolic collapse"' in found["rule"].iloc[0]


@pytest.mark.parametrize(
    ("rare", "common"),
    [
        ("stuk shed", "stuck shed"),
        ("stukc shed", "stuck shed"),
        ("mouth rott", "mouth rot"),
        ("soft boens", "soft bones"),
        ("stuckshed", "stuck shed"),
        ("respitory infction", "respitory infection"),
        ("burn", "burns"),
    ],
)
def test_near(rare, common):
    assert near_words({rare: 2, common: 40}) == [Near(rare, common, 2, 40)]


@pytest.mark.parametrize(
    ("rare", "common"),
    [
        ("room 1", "room 2"),
        ("medicine A", "medicine B"),
        ("hypothermia", "hyperthermia"),
        ("mite", "bite"),
        ("cut", "cat"),
        ("left eye", "right eye"),
        ("wound", "abscess"),
        ("stage 10", "stage 11"),
    ],
)
def test_not_near(rare, common):
    found = near_words({rare: 2, common: 40})
    if (rare, common) == ("mite", "bite"):
        # One letter of four: doubted, and a word of the dictionary ends the doubt.
        assert found
        found = near_words({rare: 2, common: 40}, declared=["mite"])
    assert found == []


@pytest.mark.parametrize(("rare", "common", "doubted"), [(1, 4, True), (1, 3, False), (10, 40, True), (11, 40, False)])
def test_how_much_commoner_a_word_must_be(rare, common, doubted):
    assert bool(near_words({"stuk shed": rare, "stuck shed": common})) is doubted


def test_the_nearest_of_several_is_suggested():
    assert near_words({"mouth rat": 1, "mouth rot": 9, "mouth raft": 30, "mouth rate": 12})[0].common == "mouth raft"
    found = {near.word: near.common for near in near_words({"stuk sheds": 1, "stuck shed": 90, "stuck sheds": 9})}
    assert found == {"stuk sheds": "stuck sheds", "stuck sheds": "stuck shed"}
