"""Ids of figures that are shorter than the others: a spreadsheet has probably taken their leading zeros."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.review import Review, worded

_IDS = (
    ("intakes", "stay_id"),
    ("intakes", "animal_id"),
    ("intakes", "arrival_id"),
    ("conditions", "episode_id"),
    ("courses", "course_id"),
)
_KEYS = (("intakes", "stay_id"), ("conditions", "episode_id"), ("courses", "course_id"))
# A column has a width when at least this many of its ids are figures alone, and this share of them is as long.
FEWEST, SHARE = 10, 0.9


def check_lost_zeros(review: Review) -> None:
    """Doubt ids of figures that have fewer of them than nearly all others, which begin with zeros."""
    for table, column in _IDS:
        ids = review.tables[table][column]
        likely = with_zeros(ids)
        bad = likely != ""
        rule = f"{column} is written with leading zeros here; this one has fewer figures than the others"
        said = likely.mask(bad, likely + ", if its leading zeros were lost")
        do = "Format the column as text, and write the id again with its zeros."
        review.doubt(table, bad, column, rule, do, said)


def check_zeros_apart(review: Review) -> None:
    """Doubt ids of one table that differ by leading zeros only: they may be one thing under two ids."""
    for table, column in _KEYS:
        frame = review.tables[table]
        if not frame[column].str.startswith("0").any():
            continue
        key = _bare(frame[column])
        again = key.notna() & key.duplicated()
        if not again.any():
            continue
        first = frame[key.notna() & ~key.duplicated()].set_axis(key[key.notna() & ~key.duplicated()])
        rule = worded(
            "two ids should not differ by leading zeros only; row {row} has {other}",
            again,
            row=key[again].map(first["source_row"]),
            other=key[again].map(first[column]),
        )
        do = "Write all ids with as many figures, in cells formatted as text; give both the same id if they are one."
        review.doubt(table, again, column, rule, do, "one id, written with and without zeros")


def zeros_lost(lost: pd.Series, known: pd.Series) -> pd.Series:
    """Return the one known id that each of ``lost`` is but for leading zeros; empty for none or several.

    Parameters
    ----------
    lost, known : Series of str, may be missing
    """
    keys = pd.DataFrame({"id": known.to_numpy(dtype=object), "key": _bare(known).to_numpy(dtype=object)}).dropna()
    keys = keys.drop_duplicates("id")
    one = keys[~keys.duplicated("key", keep=False)].set_index("key")["id"]
    return _bare(lost).map(one.to_dict()).astype(object).where(lambda found: found.notna(), "")


def _bare(ids: pd.Series) -> pd.Series:
    """Return ids of figures without their leading zeros; missing for the others."""
    text = ids.astype(object).astype("str").where(ids.notna(), "")
    return text.str.lstrip("0").where(text.str.fullmatch("[0-9]+")).astype(object).replace("", "0")


def with_zeros(ids: pd.Series) -> pd.Series:
    """Return what short ids would be with the zeros the others have; empty for the others.

    Parameters
    ----------
    ids : Series of str, may be missing
    """
    out = pd.Series("", index=ids.index, dtype=object)
    text = ids.dropna()
    figures = text[text.str.fullmatch("[0-9]+")]
    if len(figures) < FEWEST:
        return out
    width = figures.str.len()
    usual = int(width.mode().iloc[0])
    whole = width == usual
    if whole.sum() < SHARE * len(figures) or not figures[whole].str.startswith("0").any():
        return out
    short = figures[width < usual]
    return out.mask(out.index.isin(short.index), short.str.zfill(usual).reindex(out.index))
