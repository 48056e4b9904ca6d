"""Words nobody knows are listed once, with counts and the nearest known, and become a dictionary when filled in."""

from __future__ import annotations

import pandas as pd

from mendcurve.documents.checking import report_lines, write
from mendcurve.records import load
from mendcurve.records.unknown_words import COLUMNS

INTAKES = (
    "stay_id,species,intake_date,intake_type,sex,dead_on_arrival\n"
    "S-1,corn snek,2026-03-02,dumpd,femail,no\nS-2,corn snek,2026-03-02,Dumpd,female,perhaps\n"
    "S-3,Corn snek,2026-03-02,dumpd,,\nS-4,ball python,2026-03-02,strey,call 0161 496 0123,\n"
    "S-5,corn snek,2026-03-02,stray,?,\n"
)
WEIGHINGS = "stay_id,weighed_on,weight,circumstance\nS-5,2026-03-03,900,fed; flew\n"


def folder(tmp_path):
    (tmp_path / "intakes.csv").write_text(INTAKES, encoding="utf-8")
    (tmp_path / "weighings.csv").write_text(WEIGHINGS, encoding="utf-8")
    (tmp_path / "records.toml").write_text(
        "[dates]\nas_of = 2026-12-31\nrecords_start = 2026-01-01\n", encoding="utf-8"
    )
    return tmp_path


def test_each_word_stands_once_with_its_rows_and_the_nearest_known(tmp_path):
    words = load(folder(tmp_path)).words
    assert tuple(words.columns) == COLUMNS
    found = {(w.kind, w.word): (w.rows, w.perhaps) for w in words.itertuples()}
    assert found[("intake type", "dumpd")][0] == 3
    assert found[("intake type", "strey")] == (1, "stray")
    assert found[("sex", "femail")] == (1, "female")
    assert found[("dead on arrival", "perhaps")] == (1, "")
    assert found[("circumstance", "flew")][0] == 1
    assert (words["means"] == "").all()
    assert words["rows"].is_monotonic_decreasing
    # What holds a person's details, and what says that nothing is known, is no word to explain.
    assert not words["word"].str.contains("0161|^\\?$").any()


def test_an_unknown_species_is_among_them_with_the_nearest(tmp_path):
    (tmp_path / "intakes.csv").write_text(
        "stay_id,species,intake_date,intake_type\nS-1,corn snek,2026-03-02,stray\n", encoding="utf-8"
    )
    words = load(tmp_path, as_of="2026-12-31").words
    assert words.to_dict("records") == [
        {"kind": "species", "word": "corn snek", "means": "", "perhaps": "corn snake", "rows": 1}
    ]


def test_filled_in_and_saved_as_the_dictionary_they_are_known(tmp_path):
    path = folder(tmp_path)
    records = load(path)
    out = tmp_path / "out"
    write(records, out, path)
    words = pd.read_csv(out / "words.csv", dtype=str, keep_default_na=False)
    meanings = {"dumpd": "stray", "femail": "female", "strey": "stray", "perhaps": "no", "flew": "fed"}
    meanings |= {"corn snek": "corn snake"}
    words["means"] = [meanings.get(word, "") for word in words["word"]]
    words.to_csv(path / "dictionary.csv", index=False)
    again = load(path)
    assert again["intakes"]["intake_type"].tolist() == ["stray"] * 5
    assert again["intakes"]["sex"].tolist()[:2] == ["female", "female"]
    assert again.words.empty
    assert len(again.set_aside) == 0


def test_check_says_them_once_and_nothing_where_all_are_known(tmp_path):
    lines = list(report_lines(load(folder(tmp_path))))
    at = lines.index("Words to explain (6 words)") if "Words to explain (6 words)" in lines else -1
    assert at > 0, [line for line in lines if line.startswith("Words")]
    assert any('intake type "strey", 1 row; the nearest known is "stray"' in line for line in lines[at:])
    assert lines[-1].endswith("Fill in what they mean in words.csv, and save it with the records as dictionary.csv.")
    (tmp_path / "intakes.csv").write_text(
        "stay_id,species,intake_date,intake_type\nS-5,ball python,2026-03-02,stray\n", encoding="utf-8"
    )
    (tmp_path / "weighings.csv").unlink()
    records = load(tmp_path)
    assert not any("Words to explain" in line for line in report_lines(records))
    write(records, tmp_path / "clean", tmp_path)
    assert not (tmp_path / "clean" / "words.csv").exists()
