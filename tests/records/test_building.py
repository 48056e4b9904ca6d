from __future__ import annotations

from decimal import Decimal

import pandas as pd
import pytest

from mendcurve.errors import InputError
from mendcurve.records import from_frames
from mendcurve.records.schemas import TABLES, schema
from mendcurve.records.species import lookup, reference

INTAKES = pd.DataFrame(
    {"stay_id": ["S-1"], "species": ["Royal Python"], "intake_date": ["2026-03-02"], "intake_type": ["stray"]}
)


def test_any_subset_of_columns_becomes_the_whole_table():
    records = from_frames(as_of="2026-12-31", intakes=INTAKES)
    row = records["intakes"].iloc[0]
    assert row["species"] == "ball python"
    assert row["group_size"] == 1
    assert not row["dead_on_arrival"]
    assert pd.isna(row["animal_id"])
    assert records.records_start == pd.Timestamp("2026-03-02")
    for name in TABLES:
        schema(name).validate(records[name])


def test_dtypes_are_those_the_schemas_say():
    records = from_frames(
        as_of="2026-12-31",
        intakes=INTAKES,
        weighings=pd.DataFrame(
            {
                "stay_id": ["S-1"] * 4,
                "weighed_on": pd.Timestamp("2026-03-03"),
                "weight": [2, 2, 2, 2],
                "unit": ["g", "oz", "kg", None],
                "circumstance": ["shed; fed", None, "fed", "fed"],
            }
        ),
        spending=pd.DataFrame({"spent_on": ["2026-03-02"], "amount": [3.1], "category": ["medical"]}),
        courses=pd.DataFrame(
            {
                "course_id": ["C", "D"],
                "episode_id": ["E", "E"],
                "interval_hours": [12, 24],
                "first_dose_at": ["2026-03-02 08:00", "2026-03-02"],
            }
        ),
    )
    weighings = records["weighings"]
    assert str(weighings["weighed_on"].dtype) == "datetime64[s]"
    assert weighings["weight_g"].tolist() == pytest.approx([2, 56.69904625, 2000, 2])
    assert weighings["circumstance"].tolist() == ["fed; shed", "", "fed", "fed"]
    assert records["spending"]["amount"].tolist() == [Decimal("3.1")]
    assert records["courses"]["first_dose_at_has_time"].tolist() == [True, False]
    assert pd.api.types.is_string_dtype(records["intakes"]["stay_id"].dtype)
    assert str(records["intakes"]["group_size"].dtype) == "int64"


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"intake": INTAKES}, '"intake" is not a table'),
        ({"intakes": INTAKES.assign(wieght=1)}, '"wieght" is not a column'),
        ({"intakes": INTAKES.drop(columns="species")}, "species is required"),
    ],
)
def test_refuses_and_says_what_it_found(tables, says):
    with pytest.raises(InputError, match=says):
        from_frames(as_of="2026-12-31", **tables)


def test_settings_are_paths_and_unknown_ones_are_refused():
    records = from_frames(as_of="2026-12-31", settings={"watch.drop_percent": 8.0})
    assert records.settings["watch.drop_percent"] == 8.0
    with pytest.raises(InputError, match="drop_percnt"):
        from_frames(as_of="2026-12-31", settings={"watch.drop_percnt": 8.0})


def test_the_schema_refuses_what_it_should():
    import pandera.errors

    good = from_frames(as_of="2026-12-31", intakes=INTAKES)["intakes"]
    bad = {"sex": "purple", "intake_type": None, "group_size": 0, "intake_date": pd.NaT}
    for column, value in bad.items():
        frame = good.assign(**{column: pd.Series([value]).astype(good[column].dtype)})
        with pytest.raises(pandera.errors.SchemaErrors):
            schema("intakes").validate(frame, lazy=True)
    with pytest.raises(pandera.errors.SchemaErrors):
        schema("intakes").validate(good.assign(intake_date=good["intake_date"].astype("str")), lazy=True)


def test_the_reference_table_is_sound():
    known = reference()
    assert known["name"].is_unique
    assert (known["low_g"] < known["high_g"]).all()
    assert set(known["taxon"]) == {"lizard", "snake", "tortoise", "turtle", "frog", "salamander", "crocodilian"}
    # No alias may lead to two species.
    words = [w.strip() for a in known["aliases"].dropna() for w in a.split(";") if w.strip()]
    assert len(words) == len(set(words))
    assert not set(words) & set(known["name"])
    assert lookup(known)["rhacodactylus ciliatus"] == "crested gecko"


# Adult and hatchling masses (g) that the bounds must hold: the Amniote life-history database (Myhrvold et al. 2015,
# Ecology 96:3109), AmphiBIO, and keepers' and zoos' pages; hatchlings of frogs, axolotl, boa and hognose from memory.
@pytest.mark.parametrize(
    ("name", "adult", "young"),
    [
        ("leopard gecko", 100, 1.87),
        ("bearded dragon", 900, 3.16),
        ("corn snake", 900, 5),
        ("ball python", 1635, 50),
        ("kingsnake", 2041, 15.5),
        ("blue-tongued skink", 828, 14),
        ("red-eared slider", 1854, 11.1),
        ("box turtle", 372, 9.9),
        ("russian tortoise", 1500, 17.8),
        ("hermann's tortoise", 1280, 8),
        ("sulcata tortoise", 43000, 25),
        ("green iguana", 8000, 16.2),
        ("veiled chameleon", 290, 0.56),
        ("white's tree frog", 92, 1),
        ("axolotl", 300, 1),
        ("pacman frog", 500, 1),
        ("boa constrictor", 10592, 50),
        ("western hognose snake", 350, 5),
        ("fat-tailed gecko", 39.2, 2),
    ],
)
def test_bounds_hold_every_published_mass_and_refuse_a_unit_slip(name, adult, young):
    row = reference().set_index("name").loc[name]
    assert row["low_g"] < young
    assert adult < row["high_g"]
    assert adult * 1000 > row["high_g"]
