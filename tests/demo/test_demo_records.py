"""The demo records are what the reports need: determined by the seed, of the promised size, consistent, invented."""

import re
from collections import Counter
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest

from mendcurve import demo
from mendcurve.demo import dirt, truth, workbook, writing
from mendcurve.errors import InputError
from mendcurve.records.schemas import DEATHS, LIVE_OUTCOMES, TABLES
from mendcurve.records.settings import settings_from

ROOT = Path(__file__).resolve().parents[2]
AS_OF = pd.Timestamp(truth.AS_OF)
START = pd.Timestamp(truth.RECORDS_START)


@pytest.fixture(scope="module")
def made():
    return demo.generate_known()


@pytest.fixture(scope="module")
def tables(made):
    return made[0]


@pytest.fixture(scope="module")
def dirty():
    return writing.texts()


@pytest.fixture(scope="module")
def last_day(tables):
    """Last day of each stay: its last outcome if nobody is left, else the as-of date."""
    intakes, outcomes = tables["intakes"].set_index("stay_id"), tables["outcomes"]
    gone = outcomes.assign(n=outcomes["animals"].fillna(1)).groupby("stay_id")["n"].sum()
    split = intakes["split_from"].dropna().value_counts()
    gone = gone.reindex(intakes.index, fill_value=0) + split.reindex(intakes.index, fill_value=0)
    left = intakes["group_size"] - gone
    assert (left >= 0).all()
    last = outcomes.groupby("stay_id")["outcome_date"].max().reindex(intakes.index)
    return last.where(left == 0, AS_OF), left


def test_the_same_seed_gives_the_same_bytes_and_another_does_not(tmp_path):
    for kind in ("csv", "workbook"):
        one, two = demo.write(tmp_path / f"{kind}1", kind=kind), demo.write(tmp_path / f"{kind}2", kind=kind)
        names = sorted(p.name for p in one.iterdir())
        assert names == sorted(p.name for p in two.iterdir()) and len(names) in (2, 17)
        assert all((one / n).read_bytes() == (two / n).read_bytes() for n in names)
    other = demo.write(tmp_path / "other", seed=1)
    assert (other / "intakes.csv").read_bytes() != (tmp_path / "csv1" / "intakes.csv").read_bytes()


def test_tracked_files_are_what_is_written_now_and_the_workbook_holds_the_same(tmp_path, dirty):
    now = demo.write(tmp_path / "csv")
    tracked = ROOT / "data_demo" / "csv"
    assert sorted(p.name for p in now.iterdir()) == sorted(p.name for p in tracked.iterdir())
    for path in now.iterdir():
        assert path.read_text(encoding="utf-8") == (tracked / path.name).read_text(encoding="utf-8"), path.name
    folder = ROOT / "data_demo" / "workbook"
    assert (folder / "records.toml").read_bytes() == (tracked / "records.toml").read_bytes()
    assert _read_back(folder / writing.WORKBOOK) == {n: _rows(f) for n, f in dirty.items()}


def _rows(frame):
    return [tuple(frame.columns), *frame.itertuples(index=False, name=None)]


def _read_back(path):
    """Read the workbook as the texts it was written from."""
    columns = {workbook.heading(c.name): c.name for t in TABLES.values() for c in t.columns}
    columns |= {"Surrendered by": "surrendered by", "Surrenderer phone": "surrenderer phone"}
    book = openpyxl.load_workbook(path, read_only=True)
    out = {}
    for name in TABLES:
        grid = list(book[workbook.heading(name)].iter_rows(values_only=True))
        names = tuple(columns[h] for h in grid[0])
        kinds = {c.name: c.kind for c in TABLES[name].columns}
        again = tuple(grid[0])
        rows = [
            names if tuple(r) == again else tuple(_text(v, kinds.get(n)) for v, n in zip(r, names, strict=True))
            for r in (tuple(r) + (None,) * (len(names) - len(r)) for r in grid[1:])
        ]
        out[name] = [names, *rows]
    book.close()
    return out


def _text(value, kind):
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if kind == "date":
        return f"{value:%Y-%m-%d}"
    if kind == "datetime":
        return f"{value:%Y-%m-%d %H:%M}"
    return f"{value:.2f}" if kind == "money" else f"{value:.10g}"


def test_a_formula_like_text_stays_text():
    book = openpyxl.load_workbook(ROOT / "data_demo" / "workbook" / writing.WORKBOOK, read_only=True)
    cells = [c for row in book["Intakes"].iter_rows() for c in row if c.value == "=1+1"]
    assert [c.data_type for c in cells] == ["s"] or [c.data_type for c in cells] == ["inlineStr"]
    book.close()
    raw = (ROOT / "data_demo" / "csv" / "intakes.csv").read_text(encoding="utf-8")
    assert raw.count("=1+1") == 1


def test_another_kind_is_refused(tmp_path):
    with pytest.raises(InputError, match='kind must be "csv" or "workbook", but it is \'pdf\''):
        demo.write(tmp_path, kind="pdf")


def test_settings_are_known_and_say_what_truth_says():
    import tomllib

    text = tomllib.loads((ROOT / "data_demo" / "csv" / "records.toml").read_text(encoding="utf-8"))
    settings = settings_from(text)
    assert settings["rescue.name"] == truth.RESCUE
    assert settings["dates.as_of"] == truth.AS_OF and settings["dates.records_start"] == truth.RECORDS_START
    assert settings["conditions.lifelong"] == list(truth.LIFELONG)
    assert settings["doses.misses_recorded"] is True
    members = [c for names in settings["conditions.families"].values() for c in names]
    assert set(members) < set(truth.NAMES) and len(members) == len(set(members))


def test_tables_have_the_columns_and_codes_of_the_schema(tables):
    assert list(tables) == list(TABLES)
    for name, frame in tables.items():
        assert list(frame.columns) == list(TABLES[name].names)
        for column in TABLES[name].columns:
            if column.codes and column.kind == "code":
                assert set(frame[column.name].dropna()) <= set(column.codes), (name, column.name)
            if column.required:
                assert frame[column.name].notna().all(), (name, column.name)
        if TABLES[name].key:
            assert not frame.duplicated(list(TABLES[name].key)).any()


def test_there_is_as_much_as_promised(tables, made, last_day):
    intakes, outcomes, conditions = tables["intakes"], tables["outcomes"], tables["conditions"]
    assert 430 <= len(intakes) <= 520
    assert 15 <= (intakes["intake_date"] < START).sum() <= 25
    assert intakes["species"].nunique() >= 16
    taxa = intakes["species"].map({s.name: s.taxon for s in truth.SPECIES})
    assert set(taxa) == {"lizard", "snake", "tortoise", "turtle", "frog", "salamander"}
    assert 55 <= last_day[1].sum() <= 70
    ended = Counter(outcomes["outcome_type"])
    assert ended["missing"] == 1 and ended["euthanised at owner's request"] == 2
    closed = outcomes["animals"].fillna(1)
    died = closed[outcomes["outcome_type"].isin(DEATHS)].sum()
    assert 0.07 <= died / closed.sum() <= 0.12
    assert 2 <= intakes["dead_on_arrival"].sum() <= 3
    assert intakes.loc[intakes["intake_type"] == "confiscated", "arrival_id"].value_counts().iloc[0] == 24
    assert (intakes["intake_type"] == "returned").sum() >= 10 and (intakes["intake_type"] == "born in care").sum() >= 3
    assert set(intakes.loc[intakes["group_size"] > 1, "group_size"]) >= {12, 6}
    found = conditions["condition"].value_counts()
    assert len(found) == 11 and found.iloc[:8].min() >= 20
    assert (found.loc[["eye infection", "persistent viral infection"]].between(6, 9)).all()
    per_stay = conditions.drop_duplicates(["stay_id", "condition"]).groupby("stay_id").size()
    assert per_stay.max() == 4 and (per_stay >= 2).mean() > 0.4
    courses = tables["courses"]
    assert ((courses["interval_hours"] == 72) & (courses["doses_planned"] == 7)).sum() >= 60
    assert ((courses["interval_hours"] == 24) & (courses["doses_planned"] == 21)).sum() >= 60
    assert (courses["kind"] == "procedure").sum() >= 20
    what = Counter(tables["periods"]["what"])
    assert what["permanent resident"] == 2 and min(what[w] for w in ("foster", "brumating", "gravid", "hold")) >= 8
    said = Counter(w for words in tables["weighings"]["circumstance"] for w in words.split("; ") if w)
    assert set(said) >= {"fed", "shed", "laid eggs", "gravid", "brumating", "tail lost", "bladder emptied"}
    assert set(tables["requests"]["answer"]) >= {"taken in", "no room", "declined", "withdrawn"}
    assert intakes["story_ok"].sum() >= 5
    seen = conditions.groupby("condition")["vet_seen_on"].count() / found
    assert (seen > 0.8).all()


def test_stalls_are_in_care_below_target_and_really_flat(made, last_day):
    tables, known = made
    stalled = known[known["stall_from"].notna()]
    now = stalled[stalled["stall_to"].isna()]
    assert len(now) >= 10 and (now["stall_percent_week"] < 0).sum() in (3, 4) and len(stalled) - len(now) >= 3
    assert (last_day[1].reindex(now["stay_id"]) == 1).all()
    rows = tables["weighings"].merge(now, on="stay_id")
    rows = rows[(rows["weighed_on"] >= rows["stall_from"]) & (rows["circumstance"] == "")]
    for stay, part in rows.groupby("stay_id"):
        t = (part["weighed_on"] - part["stall_from"]).dt.days.to_numpy()
        slope = 100 * np.expm1(7 * np.polyfit(t, np.log(part["weight"]), 1)[0])
        assert abs(slope - part["stall_percent_week"].iloc[0]) < 1.6, stay
        assert part["weight"].median() < part["target"].iloc[0]


def test_places_are_nearly_full_at_times_and_change_once(tables):
    housing = tables["housing"].dropna(subset=["housing_kind"])
    assert (housing.groupby(["zone", "housing_kind"])["from_date"].nunique() == 2).all()
    assert set(tables["moves"]["zone"]) == {"quarantine", "treatment", "adoption", "foster", "residents"}
    moves = tables["moves"].merge(tables["intakes"][["stay_id", "housing_kind"]])
    left = tables["outcomes"].groupby("stay_id")["outcome_date"].max()
    moves["until"] = moves.groupby("stay_id")["moved_on"].shift(-1).fillna(moves["stay_id"].map(left))
    for zone in ("quarantine", "treatment", "adoption"):
        share = []
        for day in pd.date_range(START, AS_OF, freq="7D"):
            here = moves[(moves["zone"] == zone) & (moves["moved_on"] <= day) & ~(moves["until"] <= day)]
            built = housing[(housing["zone"] == zone) & (housing["from_date"] <= day)]
            places = built.sort_values("from_date").groupby("housing_kind")["places"].last().sum()
            share.append(len(here) / places)
        assert max(share) > 0.85 and 0.2 < np.mean(share) < 0.85, zone
        assert np.mean(np.array(share) > 1) < 0.08, zone


def test_everything_happens_inside_its_stay(tables, last_day):
    begin = tables["intakes"].set_index("stay_id")["intake_date"]
    ends = last_day[0]
    owner = tables["conditions"].set_index("episode_id")["stay_id"]
    course = tables["courses"].set_index("course_id")["episode_id"].map(owner)
    for name, frame in tables.items():
        stays = {
            "checks": lambda f: f["episode_id"].map(owner),
            "courses": lambda f: f["episode_id"].map(owner),
            "doses": lambda f: f["course_id"].map(course),
        }.get(name, lambda f: f.get("stay_id"))(frame)
        if stays is None or name in ("followups", "spending"):
            continue
        first = stays.map(begin)
        for column in TABLES[name].columns:
            if column.kind in ("date", "datetime") and column.name not in ("hatched_on", "by_date"):
                day = frame[column.name].dt.normalize()
                assert not (day < first).any(), (name, column.name)
                assert not (day > stays.map(ends)).any(), (name, column.name)
    episodes = tables["conditions"]
    assert not (episodes["ended_on"] < episodes["found_on"]).any()
    assert not (episodes["vet_seen_on"] > episodes["ended_on"]).any()
    assert (episodes["ended_on"].isna() == episodes["ended_as"].isna()).all()
    assert set(tables["followups"]["stay_id"]) <= set(
        tables["outcomes"].loc[tables["outcomes"]["outcome_type"] == "adopted", "stay_id"]
    )


def test_adopted_animals_had_every_episode_ended(tables):
    alone = tables["intakes"].loc[tables["intakes"]["group_size"] == 1, "stay_id"]
    out = tables["outcomes"].loc[tables["outcomes"]["outcome_type"] == "adopted", "stay_id"]
    mine = tables["conditions"][tables["conditions"]["stay_id"].isin(set(out) & set(alone))]
    assert len(mine) > 100 and mine["ended_on"].notna().all()


def test_no_animal_is_here_twice_at_once(tables, last_day):
    stays = tables["intakes"].dropna(subset=["animal_id"]).sort_values(["animal_id", "intake_date"])
    before = stays.groupby("animal_id")["stay_id"].shift()
    again = stays[before.notna()]
    assert len(again) >= 10 and (again["intake_type"] == "returned").all()
    assert (again["intake_date"] > before.dropna().map(last_day[0])).all()


def test_balance_holds(tables, last_day):
    intakes, outcomes = tables["intakes"], tables["outcomes"]
    new = intakes[intakes["split_from"].isna()]
    assert new["group_size"].sum() == outcomes["animals"].fillna(1).sum() + last_day[1].sum()
    assert set(outcomes["outcome_type"]) <= {*LIVE_OUTCOMES, *DEATHS, "missing"}


def test_money_is_exact_and_one_grant_is_overspent_a_little(tables):
    spent = tables["spending"].groupby("grant_id")["amount"].sum()
    grants = tables["grants"].set_index("grant_id")
    got = tables["receipts"].groupby("grant_id")["amount"].sum()
    assert (got == grants["amount"]).all() and len(grants) == 3
    over = spent - grants["amount"] - grants["opening_balance"]
    assert (over > 0).sum() == 1 and 0 < over.max() < 250
    rows = tables["spending"].merge(grants.reset_index(), on="grant_id", suffixes=("", "_g"))
    assert rows["spent_on"].between(rows["starts_on"], rows["ends_on"]).all()
    assert (rows["restricted_to"].isna() | (rows["restricted_to"] == rows["category"])).all()
    assert (grants["restricted_to"] == "medical").sum() == 2
    assert all(a == round(a, 2) and a > 0 for a in tables["spending"]["amount"])


def test_clean_files_have_none_of_the_planted_faults_and_dirty_ones_all(dirty):
    clean = writing.texts(dirty=False)
    before = dict(clean)
    for plant in dirt.PLANTED:
        after = plant.put({**clean, plant.table: before[plant.table]})
        assert not after.equals(before[plant.table]), plant.what
        before[plant.table] = after
    assert all(before[name].equals(dirty[name]) for name in TABLES)
    assert len(dirt.PLANTED) >= 20 and len({p.what for p in dirt.PLANTED}) == len(dirt.PLANTED)
    assert {p.then for p in dirt.PLANTED} == {"read", "set aside", "left out", "doubt", "nothing", "drop"}


def test_doses_are_given_when_somebody_is_there(tables):
    given = tables["doses"]["given_at"]
    assert given.dt.hour.between(7, 20).all()
    assert given.dt.minute.nunique() > 6


def test_planted_faults_say_what_they_are(dirty):
    w, i = dirty["weighings"], dirty["intakes"]
    assert set(w["stay_id"]) - set(i["stay_id"]) == {"S-9999", "stay_id"}
    assert w["weight"].str.contains(r"4\d,\d").sum() == 1 and w["weight"].str.endswith("g").sum() == 1
    assert (pd.to_numeric(w["weight"], errors="coerce") < 0).sum() == 1
    assert i["stay_id"].duplicated().sum() == 2 and i.duplicated().sum() == 1
    assert {"beardie", "Bearded  Dragon\u00a0", "corn snek"} <= set(i["species"])
    assert dirty["spending"]["spent_on"].iloc[-1] == "Total"
    assert dirty["followups"]["seen_on"].str.fullmatch(r"\d\d/\d\d/\d{4}").all()
    assert (dirty["checks"]["checked_on"] > "2050").sum() == 1
    assert (dirty["conditions"]["found_on"] == "").sum() == 1 and (dirty["conditions"]["vet_seen_on"] == "n/a").any()
    assert (dirty["moves"] == "").all(axis=1).sum() == 1


def test_nobody_real_is_in_the_files():
    files = sorted((ROOT / "data_demo" / "csv").iterdir())
    assert len(files) == 17
    text = "\n".join(p.read_text(encoding="utf-8") for p in files)
    assert set(re.findall(r"[\w.+-]+@[\w.-]+", text)) == {"nobody@example.invalid"}
    assert set(re.findall(r"(?<![\d-])\d{3}-\d{4}(?![\d-])", text)) == {"000-0000"}
    assert not re.search(r"https?:|www\.|/home/|/tmp/", text)
    intakes = pd.read_csv(ROOT / "data_demo" / "csv" / "intakes.csv", dtype=str)
    assert set(intakes["surrendered by"].dropna()) == {f"Person {c}" for c in "ABCDEFGH"}
    courses = pd.read_csv(ROOT / "data_demo" / "csv" / "courses.csv", dtype=str)
    assert courses["medicine"].dropna().str.fullmatch("medicine [A-F]").all()
