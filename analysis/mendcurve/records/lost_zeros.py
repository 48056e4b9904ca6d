"""Ids of figures that are shorter than the others: a spreadsheet has probably taken their leading zeros."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.review import Review

_IDS = (
    ("intakes", "stay_id"),
    ("intakes", "animal_id"),
    ("intakes", "arrival_id"),
    ("conditions", "episode_id"),
    ("courses", "course_id"),
)
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
