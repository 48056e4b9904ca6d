"""What is refused when records are loaded, and in which words."""

from __future__ import annotations

import pytest

from mendcurve.errors import InputError
from mendcurve.records import load
from mendcurve.records.translating import Translated
from records.folders import INTAKES, folder

REFUSALS = [
    (
        {},
        {"intakes": "stay_id,species,intake_type\nS-1,x,stray\n"},
        r"intakes.csv: intakes needs intake_date, which no heading",
    ),
    ({}, {"intakes": ""}, r"intakes.csv: the file is empty"),
    (
        {"toml": "[watch]\ndrop_percnt = 5\n"},
        {},
        r'(?s)"watch.drop_percnt" is not a setting.*Did you mean "watch.drop_percent"',
    ),
    ({"toml": "[tables.intakes]\ncolumn = {}\n"}, {}, r'(?s)"column" is not a key.*Did you mean "columns"'),
    ({"toml": "[tables.intake]\n"}, {}, r'(?s)"intake" is not a table.*Did you mean "intakes"'),
    (
        {"toml": '[tables.intakes]\ncolumns = { specis = "x" }\n'},
        {},
        r'(?s)"specis" is not a column.*Did you mean "species"',
    ),
    (
        {"toml": '[tables.intakes]\ncolumns = { species = "specis" }\n'},
        {},
        r'(?s)from "specis".*Did you mean "species"',
    ),
    ({"toml": '[tables.intakes]\nfile = "intake.csv"\n'}, {}, r'(?s)no file "intake.csv".*Did you mean "intakes.csv"'),
    ({"toml": "[tables.intakes]\nheading_row = true\n"}, {}, r"wrong kind"),
    ({"toml": '[tables.intakes]\ndate_order = "ddmm"\n'}, {}, r"must be one of"),
    (
        {"toml": '[tables.intakes]\ncolumns = { note = "adopter" }\n'},
        {"intakes": INTAKES.replace("animal_id", "adopter")},
        r"looks like a person's details",
    ),
    ({"toml": '[tables.intakes]\nid_from = ["nothing"]\n'}, {}, r'id_from in records.toml names "nothing"'),
    (
        {"toml": '[tables.intakes]\nonly_where = { specie = ["x"] }\n'},
        {},
        r'(?s)only_where.*"specie".*Did you mean "species"',
    ),
    ({"toml": "[keep]\nheading = 'species'\n"}, {}, r"needs both heading and where"),
    ({"toml": "[keep]\nheadings = 'species'\n"}, {}, r'(?s)"headings" is not a key.*Did you mean "heading"'),
    ({"toml": "[[species]]\nname = 'x'\n"}, {}, r"needs name and taxon"),
    ({"toml": "this is not toml"}, {}, r"records.toml cannot be read"),
    (
        {},
        {"intakes": INTAKES.replace("2026-03-0", "0").replace(",02,", ",02/03/2026,").replace(",05,", ",05/03/2026,")},
        r"(?s)day/month order unknown.*date_order",
    ),
]


@pytest.mark.parametrize(("more", "files", "text"), REFUSALS)
def test_refuses_and_says_what_it_found(tmp_path, more, files, text):
    folder(tmp_path, **more, **files)
    with pytest.raises(InputError, match=text) as error:
        load(tmp_path)
    assert error.value.remedy


def test_refuses_where_there_is_nothing(tmp_path):
    with pytest.raises(InputError, match='nothing at "none"'):
        load(tmp_path / "none")
    with pytest.raises(InputError, match="holds no file of records"):
        load(tmp_path)
    (tmp_path / "animals.csv").write_text(INTAKES)
    with pytest.raises(InputError, match=r"(?s)Only intakes are required.*animals.csv"):
        load(tmp_path)
    (tmp_path / "x.doc").write_text("x")
    with pytest.raises(InputError, match=r"x.doc: records are read from"):
        load(tmp_path / "x.doc")
    with pytest.raises(InputError, match="settings file"):
        load(tmp_path, settings=tmp_path / "none.toml")


def test_a_row_lost_on_the_way_stops_everything(tmp_path, monkeypatch):
    from mendcurve.records import loading

    whole = loading.translate

    def loses(*args, **more):
        done = whole(*args, **more)
        fields = {name: getattr(done, name) for name in Translated.__dataclass_fields__}
        return Translated(**{**fields, "frame": done.frame.iloc[1:]})

    monkeypatch.setattr(loading, "translate", loses)
    with pytest.raises(InputError, match="not accounted for"):
        load(folder(tmp_path))
