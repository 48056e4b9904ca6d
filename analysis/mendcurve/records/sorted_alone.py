"""A column of weights that was sorted without the columns beside it: every weight stands in another row."""

from __future__ import annotations

import numpy as np

from mendcurve.records.review import Review

# Rows and stays of a sheet for it to be looked at, and the share of steps that keep the order of dates (or of stays).
FEWEST, STAYS, KEPT = 30, 5, 0.9


def check_sorted_alone(review: Review) -> None:
    """Doubt all weights of a sheet that only rise (or only fall) though its rows stand in order of date or stay.

    Notes
    -----
    Rows that were sorted by weight as a whole have their dates and stays in no order, and are left alone.
    """
    frame = review.tables["weighings"]
    if len(frame) < FEWEST:
        return
    bad = frame["stay_id"].isna()
    for _, sheet in frame.groupby(["source_file", "source_sheet"], sort=False):
        rows = sheet.sort_values("source_row", kind="stable")
        step = np.diff(rows["weight"].to_numpy(dtype="float64"))
        one_way = len(step) and ((step >= 0).all() or (step <= 0).all()) and (step != 0).mean() > 1 / 2
        if len(rows) < FEWEST or rows["stay_id"].nunique() < STAYS or not one_way:
            continue
        days = np.diff(rows["weighed_on"].to_numpy().astype("datetime64[D]").astype("int64"))
        stay = rows["stay_id"].to_numpy(dtype=object)
        if max((days >= 0).mean(), (stay[1:] == stay[:-1]).mean()) >= KEPT:
            bad = bad | bad.index.isin(rows.index)
    rule = (
        "the weights of this sheet only rise or only fall from row to row, though its rows stand in another order: the "
        "column was probably sorted without the others"
    )
    do = "Take an older copy of the sheet, or undo the sorting; sort whole rows only."
    review.doubt("weighings", bad, "weight", rule, do, "another row's weight")
