"""Rows that name an animal and not a stay: the stay is the one of that animal open on the row's date."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.building import TEXT
from mendcurve.records.chronology import ends
from mendcurve.records.review import Review, among, looked_up, worded

# The day of a row that has a stay. Outcomes come first: the others need to know when stays ended.
DAYS = {
    "outcomes": "outcome_date",
    "conditions": "found_on",
    "weighings": "weighed_on",
    "targets": "set_on",
    "periods": "from_date",
    "moves": "moved_on",
    "followups": "seen_on",
    "spending": "spent_on",
}
_FAR = pd.Timestamp("2200-01-01")


def find_stays(review: Review, places: Iterable[tuple[str, str, str]]) -> None:
    """Give rows that name an animal the stay they belong to; report those that fit none or two.

    Parameters
    ----------
    places : iterable of (table, file, sheet)
        Where stays are to be found so (``stay_by`` in records.toml).

    Notes
    -----
    An animal with one stay only: that stay, whatever the date; the checks of time judge it. With several: the last one
    begun on or before the day, if it had not ended before. Both days of a stay count. News after leaving belongs to
    the last stay begun before it. A row that fits two stays is read as the later one's and is doubtful; an outcome on
    the day of a new stay ends the earlier stay, if that has no other. A text that is no animal but a stay is kept.

    Raises
    ------
    InputError
        If no row of intakes has an animal_id.
    """
    wanted = set(places)
    if wanted and not review.tables["intakes"]["animal_id"].notna().any():
        table, file, _ = min(wanted)
        raise InputError(
            f"records.toml: [tables.{table}] finds stays by animal ({file}), but no row of intakes has an animal_id.",
            remedy="Under [tables.intakes], say which heading holds animal_id; or take stay_by out.",
        )
    for table, day in DAYS.items():
        mine = {(file, sheet) for name, file, sheet in wanted if name == table}
        frame = review.tables[table]
        if not mine or not len(frame):
            continue
        at = [pair in mine for pair in zip(frame["source_file"], frame["source_sheet"], strict=True)]
        _find(review, table, day, pd.Series(at, index=frame.index) & frame["stay_id"].notna())


def _find(review: Review, table: str, day: str, rows: pd.Series) -> None:
    stays = _stays(review)
    frame = review.tables[table]
    animal = frame["stay_id"]
    known = among(animal, stays["animal_id"])
    rows &= known | ~among(animal, review.tables["intakes"]["stay_id"])
    fits = _fitting(frame.loc[rows & known, ["stay_id", day]].set_axis(["animal_id", "day"], axis=1), stays)
    fits = _settled(fits, table).reindex(frame.index)
    lost = rows & ~known
    none = rows & known & fits["stay"].isna()
    two = rows & known & fits["other"].notna()
    rule = worded(
        "two stays of this animal fit this date, {other} and {stay}; it is read as {stay}'s",
        two,
        stay=fits["stay"],
        other=fits["other"],
    )
    review.doubt(table, two, "stay_id", rule, "Check the dates of the two stays.")
    found = rows & fits["stay"].notna()
    column = animal.astype(object).where(~found, fits["stay"].astype(object)).astype(TEXT)
    if table == "spending":  # its link is optional, and checked with the others
        review.tables[table] = frame.assign(stay_id=column)
        return
    said = worded("the animal had no stay on {day}", none, day=frame[day])
    said = said.mask(lost, "the animal must be one of intakes")
    review.tables[table] = frame.assign(stay_id=column)
    review.set_aside(
        table,
        lost | none,
        "stay_id",
        said,
        "Correct the animal or the date, or add the missing row to intakes.",
    )


def _stays(review: Review) -> pd.DataFrame:
    """Return each stay of a known animal in order: intake_date, end (missing: open), and the stay before."""
    intakes = review.tables["intakes"]
    end = looked_up(intakes["stay_id"], ends(intakes, review.tables["outcomes"])["end"])
    out = intakes.assign(end=end).loc[intakes["animal_id"].notna() & intakes["intake_date"].notna()]
    out = out.drop_duplicates("stay_id").sort_values(["intake_date", "source_row"], kind="stable")
    out = out[["animal_id", "stay_id", "intake_date", "end"]].rename(columns={"stay_id": "stay"})
    out["animal_id"] = out["animal_id"].astype(object)
    out["stay"] = out["stay"].astype(object)
    by = out.groupby("animal_id", sort=False)
    # Until when any earlier stay of the animal went on, and which stay came before.
    until = out["end"].fillna(_FAR).groupby(out["animal_id"]).cummax()
    return out.assign(
        stays=by["stay"].transform("size"),
        before=by["stay"].shift(),
        before_until=until.groupby(out["animal_id"]).shift(),
    ).reset_index(drop=True)


def _fitting(rows: pd.DataFrame, stays: pd.DataFrame) -> pd.DataFrame:
    """Return, for each row, the last stay begun by its day (or the only one), with what is known of it."""
    day = rows["day"].dt.floor("D").astype(stays["intake_date"].dtype)
    asked = pd.DataFrame({"animal_id": rows["animal_id"].astype(object), "day": day, "place": rows.index})
    asked = asked.sort_values("day", kind="stable")
    out = pd.merge_asof(asked, stays, left_on="day", right_on="intake_date", by="animal_id", direction="backward")
    out = out.set_index("place")
    only = stays[stays["stays"] == 1].set_index("animal_id")["stay"]
    alone = out["animal_id"].isin(only.index)
    return out.assign(stay=out["stay"].where(~alone, out["animal_id"].map(only)), alone=alone)


def _settled(fits: pd.DataFrame, table: str) -> pd.DataFrame:
    """Return ``stay`` and, where two fit, the ``other``; both missing where none fits."""
    several = ~fits["alone"] & fits["stay"].notna()
    if table == "followups":
        two = several & (fits["before"].notna() & (fits["intake_date"] == fits["day"]))
    elif table == "outcomes":
        return _ended(fits, several)
    else:
        two = several & (fits["before_until"] >= fits["day"])
    over = several & (fits["end"] < fits["day"]) & (table != "followups")
    return pd.DataFrame({"stay": fits["stay"].where(~over), "other": fits["before"].where(two & ~over)})


def _ended(fits: pd.DataFrame, several: pd.Series) -> pd.DataFrame:
    """Settle outcomes: on the day of a new stay, the earlier one ends if it has no other outcome."""
    both = several & fits["before"].notna() & (fits["intake_date"] == fits["day"])
    closed = set(fits.loc[~both, "stay"].dropna())
    earlier = both & ~fits["before"].isin(closed)
    stay = fits["stay"].where(~earlier, fits["before"])
    other = fits["before"].where(~earlier, fits["stay"])
    return pd.DataFrame({"stay": stay, "other": other.where(both, np.nan)})
