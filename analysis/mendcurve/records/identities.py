"""Ids used for two animals, and one animal under two ids that differ by a zero or a typed letter."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mendcurve.records.findings import DOUBTFUL, NOTE
from mendcurve.records.review import Review, worded
from mendcurve.records.words import TEXT, from_arrow

# Days of birth of one animal, both called known, may differ by a year; estimates by three and half its age.
KNOWN_APART, ESTIMATE_APART = 366, 1096
SAME_ARRIVAL_DAYS = 1
_SIGNS = r"[\s\v\x1c-\x1f\x{85}\p{Z}_./#:-]+"
_DO = "Correct the id of one of them, if they are two animals; else correct the {column}."


def check_identities(review: Review) -> None:
    """Doubt an animal_id that stands for two animals, and ids that may be one animal's."""
    _two_animals(review)
    _two_ids(review)


def _two_animals(review: Review) -> None:
    frame = review.tables["intakes"]
    use = frame[frame["animal_id"].notna()].sort_values(["animal_id", "intake_date", "source_row"], kind="stable")
    columns = ["species", "sex", "hatched_on", "hatched_on_kind", "source_row", "stay_id"]
    use = use[use.duplicated("animal_id", keep=False)]
    if not len(use):
        return
    before = use.groupby("animal_id", sort=False)[columns].shift()
    later = use[before["stay_id"].notna()]
    before = before.loc[later.index].astype({"source_row": "int64"})
    species = later["species"].notna() & before["species"].notna() & (later["species"] != before["species"])
    _tell_two(review, "species", species, later, before, DOUBTFUL)
    named = ("female", "male")
    sex = later["sex"].isin(named) & before["sex"].isin(named) & (later["sex"] != before["sex"]) & ~species
    # A young animal's sex is often called wrongly at first: unusual, no more.
    _tell_two(review, "sex", sex, later, before, NOTE)
    apart = (later["hatched_on"] - before["hatched_on"]).dt.days.abs()
    sure = (later["hatched_on_kind"] == "known") & (before["hatched_on_kind"] == "known")
    age = (later["intake_date"] - later["hatched_on"]).dt.days
    hatched = (sure & (apart > KNOWN_APART)) | (~sure & (apart > ESTIMATE_APART) & (apart > age / 2) & (apart > 0))
    _tell_two(review, "hatched_on", hatched & ~species & sure, later, before, DOUBTFUL)
    _tell_two(review, "hatched_on", hatched & ~species & ~sure, later, before, NOTE)


def _tell_two(
    review: Review, column: str, hit: pd.Series, later: pd.DataFrame, before: pd.DataFrame, effect: str
) -> None:
    frame = review.tables["intakes"]
    bad = pd.Series(frame.index.isin(hit.index[hit]), index=frame.index)
    rule = worded(
        f"one animal has one {column}, but {{animal}} is {{here}} here and {{there}} in row {{row}} ({{stay}})",
        bad,
        animal=later["animal_id"],
        here=later[column],
        there=before[column],
        row=before["source_row"],
        stay=before["stay_id"],
    )
    do = _DO.format(column=column)
    review.report("intakes", bad, column, rule, do, effect, "one animal_id for two animals")


def _two_ids(review: Review) -> None:
    frame = review.tables["intakes"]
    stay = alike(frame, "stay_id", frame["species"])
    near = (frame["intake_date"] - stay["intake_date"]).dt.days.abs() <= SAME_ARRIVAL_DAYS
    _tell_alike(review, "stay_id", near & frame["split_from"].isna(), stay)
    own = frame[frame["animal_id"].notna()].drop_duplicates("animal_id")
    animal = alike(own, "animal_id", own["species"])
    sexes = ("female", "male")
    other = own["sex"].isin(sexes) & animal["sex"].isin(sexes) & (own["sex"] != animal["sex"])
    _tell_alike(review, "animal_id", animal["source_row"].notna() & ~other, animal)


def _tell_alike(review: Review, column: str, hit: pd.Series, first: pd.DataFrame) -> None:
    frame = review.tables["intakes"]
    bad = pd.Series(frame.index.isin(hit.index[hit]), index=frame.index)
    rule = worded(
        "two ids should not differ by a zero, a sign or one letter only; row {row} has {other}, {species} too",
        bad,
        row=first["source_row"],
        other=first[column],
        species=first["species"],
    )
    likely = worded("{other}, the same animal under two ids", bad, other=first[column])
    review.doubt("intakes", bad, column, rule, "Give both the same id, if they are one animal.", likely)


def alike(frame: pd.DataFrame, column: str, species: pd.Series) -> pd.DataFrame:
    """Return, for each row, the first row of the same species whose id reads the same but is typed otherwise.

    Returns
    -------
    DataFrame
        Index of ``frame``, its columns, ``source_row`` as Int64; all missing for rows without such another.

    Notes
    -----
    Reading the same: see :func:`plain`. An id of digits alone is also the same as one with letters before them, of an
    animal that came the same day.
    """
    key = plain(frame[column])
    digits = key.str.replace("^[a-z]+", "", regex=True)
    day = frame["intake_date"]
    parts = []
    for name, by in ((key, [species, key]), (digits, [species, digits, day])):
        # Most ids are like no other: only the rest is grouped.
        many = name.duplicated(keep=False)
        rows = pd.Series(frame.index, index=frame.index)[many]
        first = rows.groupby([keys[many] for keys in by], sort=False).transform("first").reindex(frame.index)
        same = first.notna() & (name != "") & species.notna()
        if name is digits:
            same &= key.ne(digits) != key.reindex(first).ne(digits.reindex(first)).to_numpy()
        parts.append(first.where(same & (frame[column].reindex(first).to_numpy() != frame[column].to_numpy())))
    first = parts[0].fillna(parts[1]).dropna().astype("int64")
    out = frame.loc[first.to_numpy()].set_axis(first.index).astype({"source_row": "Int64"})
    return out.reindex(frame.index)


def plain(ids: pd.Series) -> pd.Series:
    """Return ids as they would be heard: no capitals, signs or leading zeros; O is 0, I and l are 1."""
    # Arrow's own replacing: pandas leaves groups, and all that is more than ASCII, to Python, text by text.
    text = pc.replace_substring(pc.utf8_lower(pa.array(ids.astype(TEXT).array)), "o", "0")
    for pattern, by in (("[il]", "1"), ("(^|[^0-9])0+([0-9])", r"\1\2"), (_SIGNS, "")):
        text = pc.replace_substring_regex(text, pattern, by)
    return pd.Series(from_arrow(text), index=ids.index)


def meant(lost: pd.Series, known: pd.Series) -> pd.Series:
    """Return the one known id that reads the same as each of ``lost``, in words; empty for none or several."""
    out = pd.Series("", index=lost.index, dtype=object)
    if not len(lost) or not len(known):
        return out
    table = pd.DataFrame({"id": known.to_numpy(), "key": plain(known).to_numpy()}).drop_duplicates("id")
    keys = table[~table.duplicated("key", keep=False)].set_index("key")["id"]
    found = pd.Series(keys.reindex(plain(lost).to_numpy(dtype=object)).to_numpy(dtype=object), index=lost.index)
    return out.mask(found.notna(), found.astype(str) + ", if a zero, a sign or a letter was mistyped")
