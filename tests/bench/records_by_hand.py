"""The same checks as ``mendcurve.records.load`` makes on intakes, outcomes and weighings, by plain pandas masks.

What a careful pandas user would write for these three files and no others: text columns, one mask a rule, merges for
links. It knows the headings, the order of dates and the words beforehand; ``load`` does not.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from mendcurve.records.species import lookup, reference

SEXES = {"female": "female", "f": "female", "male": "male", "m": "male", "unknown": "unknown", "u": "unknown"}
INTAKES = {
    "surrendered": "surrendered",
    "owner surrender": "surrendered",
    "stray": "stray",
    "transferred in": "transferred in",
    "confiscated": "confiscated",
    "returned": "returned",
    "born in care": "born in care",
}
OUTCOMES = {
    "adopted": "adopted",
    "adoption": "adopted",
    "transferred out": "transferred out",
    "died": "died",
    "euthanised": "euthanised",
    "released": "released",
    "returned to owner": "returned to owner",
}
GRAMS = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
CIRCUMSTANCES = {"fed", "shed", "laid eggs", "gave birth", "gravid", "brumating", "tail lost", "bladder emptied"}
PEOPLE = r"@|\+?\d[\d ()./-]{7,}\d|\d+ \w+ (?:Street|St|Road|Rd|Avenue|Ave|Lane|Ln)\b"
SLIPS = (10.0, 0.1, 1000.0, 0.001, 28.349523125, 1 / 28.349523125, 453.59237, 1 / 453.59237)


class Failures:
    """Failing rows: file, row, column, value, rule."""

    def __init__(self) -> None:
        self.parts: list[pd.DataFrame] = []

    def add(self, name: str, frame: pd.DataFrame, mask: pd.Series, column: str, rule: str) -> pd.Series:
        """Keep the rows of ``mask``; return the mask."""
        rows = frame.loc[mask]
        value = rows[column].astype(str)
        self.parts.append(
            pd.DataFrame({"file": name, "row": rows["row"], "column": column, "value": value, "rule": rule})
        )
        return mask

    def frame(self) -> pd.DataFrame:
        """Return all of them."""
        return pd.concat(self.parts, ignore_index=True)


def check(folder: Path) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Read, clean and check the three files; return the clean tables and the failing rows."""
    bad = Failures()
    intakes = _intakes(_read(folder, "intakes", bad), bad)
    outcomes = _outcomes(_read(folder, "outcomes", bad), intakes, bad)
    stays = _stays(intakes, outcomes, bad)
    weighings = _weighings(_read(folder, "weighings", bad), stays, bad)
    as_of = max(intakes["intake_date"].max(), outcomes["outcome_date"].max(), weighings["weighed_on"].max())
    _doubts(intakes, outcomes, weighings, stays, as_of, bad)
    return {"intakes": intakes, "outcomes": outcomes, "weighings": weighings}, bad.frame()


def _read(folder: Path, name: str, bad: Failures) -> pd.DataFrame:
    parquet = folder / f"{name}.parquet"
    if parquet.exists():
        frame = pd.read_parquet(parquet)
    else:
        frame = pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False, skip_blank_lines=False)
    frame["row"] = np.arange(2, len(frame) + 2)
    first = frame["stay_id"].str.strip()
    frame["stay_id"] = first
    blank = first == ""
    for column in frame.columns.drop(["row", "stay_id"]):
        blank &= frame[column].isna() | (frame[column].astype(str) == "") if blank.any() else False
    heading = first == "stay_id"
    total = first.str.lower().isin(["total", "totals", "sum", "count"])
    frame = frame[~(blank | heading | total)]
    again = bad.add(name, frame, frame.duplicated(frame.columns.drop("row")), "stay_id", "repeats an earlier row")
    empty = bad.add(name, frame, (frame["stay_id"] == "") & ~again, "stay_id", "must not be empty")
    return frame[~again & ~empty]


def _dates(name: str, frame: pd.DataFrame, column: str, bad: Failures) -> pd.Series:
    given = frame[column]
    if pd.api.types.is_string_dtype(given):
        day = pd.to_datetime(given.str.strip(), format="%Y-%m-%d", errors="coerce")
    else:
        day = pd.to_datetime(given)
    out = day.isna() | (day < pd.Timestamp("1900-01-01")) | (day > pd.Timestamp("2100-12-31"))
    bad.add(name, frame, out, column, "must be a date")
    return day.where(~out)


def _codes(name: str, frame: pd.DataFrame, column: str, words: dict[str, str], bad: Failures) -> pd.Series:
    code = frame[column].str.strip().str.lower().map(words)
    bad.add(name, frame, code.isna() & (frame[column].str.strip() != ""), column, "must be one of the codes")
    return code


def _intakes(frame: pd.DataFrame, bad: Failures) -> pd.DataFrame:
    name = "intakes"
    known = reference()
    species = frame["species"].str.strip()
    found = species.str.lower().map(lookup(known))
    bad.add(name, frame, found.isna(), "species", "not in the reference table")
    size = pd.to_numeric(frame["group_size"].where(frame["group_size"] != "", "1"), errors="coerce")
    bad.add(name, frame, ~(size >= 1), "group_size", "must be 1 or more")
    people = bad.add(
        name, frame, frame["note"].str.contains(PEOPLE, case=False, regex=True), "note", "holds people's details"
    )
    out = frame.assign(
        species=found.fillna(species),
        sex=_codes(name, frame, "sex", SEXES, bad),
        intake_date=_dates(name, frame, "intake_date", bad),
        intake_type=_codes(name, frame, "intake_type", INTAKES, bad),
        group_size=size.fillna(1).astype("int64"),
        note=frame["note"].mask(people, "[removed]").str.strip(),
    )
    out = out[out["intake_date"].notna() & out["intake_type"].notna()]
    again = bad.add(name, out, out.duplicated("stay_id"), "stay_id", "names two rows")
    return out[~again].reset_index(drop=True)


def _outcomes(frame: pd.DataFrame, intakes: pd.DataFrame, bad: Failures) -> pd.DataFrame:
    name = "outcomes"
    out = frame.assign(
        outcome_date=_dates(name, frame, "outcome_date", bad),
        outcome_type=_codes(name, frame, "outcome_type", OUTCOMES, bad).fillna("not recorded"),
    )
    out = out[out["outcome_date"].notna()]
    out = out.merge(intakes[["stay_id", "intake_date"]], on="stay_id", how="left")
    lost = bad.add(name, out, out["intake_date"].isna(), "stay_id", "is no intake's")
    early = bad.add(name, out, out["outcome_date"] < out["intake_date"], "outcome_date", "is before its intake")
    out = out[~lost & ~early].sort_values(["outcome_date", "row"], kind="stable")
    second = bad.add(name, out, out.duplicated("stay_id"), "stay_id", "left twice")
    return out[~second].drop(columns="intake_date").sort_values("row").reset_index(drop=True)


def _stays(intakes: pd.DataFrame, outcomes: pd.DataFrame, bad: Failures) -> pd.DataFrame:
    stays = intakes[["stay_id", "animal_id", "species", "intake_date", "group_size", "row"]].merge(
        outcomes[["stay_id", "outcome_date", "outcome_type"]], on="stay_id", how="left"
    )
    order = stays.sort_values(["animal_id", "intake_date"], kind="stable")
    until = order["outcome_date"].fillna(pd.Timestamp("2200-01-01")).groupby(order["animal_id"]).cummax()
    before = until.groupby(order["animal_id"]).shift()
    bad.add("intakes", order, order["intake_date"] < before, "intake_date", "the animal has another stay")
    known = reference().drop_duplicates("name")[["name", "low_g", "high_g"]]
    return stays.merge(known.rename(columns={"name": "species"}), on="species", how="left")


def _weighings(frame: pd.DataFrame, stays: pd.DataFrame, bad: Failures) -> pd.DataFrame:
    name = "weighings"
    unit = frame["unit"].str.strip().str.lower()
    gram = unit.where(unit != "", "g").map(GRAMS)
    weight = pd.to_numeric(frame["weight"], errors="coerce")
    wrong = bad.add(name, frame, gram.isna(), "unit", "must be a known unit")
    light = bad.add(name, frame, ~(weight > 0), "weight", "must be a number above 0")
    said = frame["circumstance"].str.strip().str.lower()
    lists = {text: sorted({part.strip() for part in text.split(",") if part.strip()}) for text in said.unique()}
    strange = {text for text, parts in lists.items() if not CIRCUMSTANCES.issuperset(parts)}
    bad.add(name, frame, said.isin(strange), "circumstance", "must be known words")
    out = frame.assign(
        weighed_on=_dates(name, frame, "weighed_on", bad),
        weight=weight,
        unit=unit.where(unit != "", "g"),
        circumstance=said.map({text: "; ".join(parts) for text, parts in lists.items()}),
        weight_g=weight * gram,
    )
    out = out[~wrong & ~light & out["weighed_on"].notna()]
    number = pd.Series(np.arange(len(stays)), index=stays["stay_id"])
    out = out.assign(stay=out["stay_id"].map(number))
    lost = bad.add(name, out, out["stay"].isna(), "stay_id", "is no intake's")
    return out[~lost].astype({"stay": "int64"}).reset_index(drop=True)


def _doubts(
    intakes: pd.DataFrame,
    outcomes: pd.DataFrame,
    weighings: pd.DataFrame,
    stays: pd.DataFrame,
    as_of: pd.Timestamp,
    bad: Failures,
) -> None:
    name = "weighings"
    own = stays.take(weighings["stay"].to_numpy())[["intake_date", "outcome_date", "low_g", "high_g", "group_size"]]
    own.index = weighings.index
    day, grams = weighings["weighed_on"], weighings["weight_g"]
    bad.add(name, weighings, day < own["intake_date"], "weighed_on", "is before its intake")
    bad.add(name, weighings, day > own["outcome_date"], "weighed_on", "is after it left")
    out = (grams < own["low_g"]) | (grams > own["high_g"])
    slip = _slips(weighings)
    bad.add(name, weighings, slip != "", "weight", "is a multiple of its neighbours")
    bad.add(name, weighings, out & (slip == ""), "weight", "is outside what the species can weigh")
    same_day = weighings.duplicated(["stay", "weighed_on"], keep=False)
    bad.add(name, weighings, same_day, "weighed_on", "two weighings of one day")
    _growth(weighings, bad)
    last = day.groupby(weighings["stay"]).max().reindex(range(len(stays)))
    last = last.fillna(stays["intake_date"]).clip(lower=stays["intake_date"])
    silent = stays["outcome_date"].isna() & ((as_of - last).dt.days > 365)
    bad.add("intakes", stays, silent, "stay_id", "nothing written for a year")
    for table, frame, column in (("intakes", intakes, "intake_date"), ("outcomes", outcomes, "outcome_date")):
        top = frame[column].value_counts().iloc[0]
        bad.add(table, frame.head(1), pd.Series([top > 0.3 * len(frame)], index=frame.index[:1]), column, "a default")
    for column in ("circumstance", "unit"):
        one = (weighings[column] == weighings[column].iloc[0]).all()
        bad.add(name, weighings.head(1), pd.Series([one], index=weighings.index[:1]), column, "a default")


def _growth(weighings: pd.DataFrame, bad: Failures) -> None:
    use = weighings.sort_values(["stay", "weighed_on", "row"], kind="stable")
    log, by = np.log(use["weight_g"]), use["stay"]
    change = log - log.groupby(by).shift()
    days = (use["weighed_on"] - use["weighed_on"].groupby(by).shift()).dt.days.clip(lower=1)
    bad.add("weighings", use, change.abs() > np.log(2) + 0.05 * days, "weight", "cannot grow or lose so much")
    run = (change != 0).cumsum()
    many = run.groupby(run).transform("size") >= 6
    bad.add("weighings", use, many, "weight", "carried forward")


def _slips(weighings: pd.DataFrame) -> pd.Series:
    use = weighings.sort_values(["stay", "weighed_on", "row"], kind="stable")
    log, day, by = np.log(use["weight_g"]), use["weighed_on"], use["stay"]
    before, after = log.groupby(by).shift(1), log.groupby(by).shift(-1)
    first = after.fillna(log.groupby(by).shift(2))
    second = before.fillna(log.groupby(by).shift(-2))
    near = np.fmin(
        (day - day.groupby(by).shift(1)).dt.days.to_numpy(), (day.groupby(by).shift(-1) - day).dt.days.to_numpy()
    )
    one, two = log - first, log - second
    why = pd.Series("", index=use.index)
    for factor in SLIPS:
        hit = ((one - np.log(factor)).abs() < 0.15) & ((two - np.log(factor)).abs() < 0.15) & (near <= 120)
        why = why.mask(hit, f"times {factor:g}")
    both = (np.sign(one) == np.sign(two)) & (np.minimum(one.abs(), two.abs()) > np.log(2))
    why = why.mask((why == "") & both & (near <= 14), "far from its neighbours")
    return why.reindex(weighings.index)
