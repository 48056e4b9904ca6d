"""When each stay was last heard of: the date of its last record of any sort."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines.lookup import look_up

# Dates that are written down when something is seen or done. Plans (a target's day, a dose's due time) are not.
_BY_STAY = {
    "intakes": ("intake_date",),
    "outcomes": ("outcome_date",),
    "conditions": ("found_on", "vet_seen_on", "ended_on"),
    "weighings": ("weighed_on",),
    "targets": ("set_on",),
    "periods": ("from_date", "to_date"),
    "moves": ("moved_on",),
    "followups": ("seen_on",),
    "spending": ("spent_on",),
}
_BY_EPISODE = {"checks": ("checked_on",), "courses": ("stopped_at",), "spending": ("spent_on",)}


def last_seen(records: Records) -> pd.Series:
    """Return the last record of each stay, of any sort, up to the as-of date.

    Returns
    -------
    Series of datetime64[s], index ``stay_id``
        Only stays with a record; a group hears of itself when an animal is split off from it.

    Notes
    -----
    A later date than the as-of date (a period that is planned to end) counts for nothing.
    """
    stay_of_episode = records["conditions"].drop_duplicates("episode_id").set_index("episode_id")["stay_id"]
    courses = records["courses"].drop_duplicates("course_id").set_index("course_id")["episode_id"]
    intakes, doses = records["intakes"], records["doses"]
    found = [_dates(records[t]["stay_id"], records[t][c]) for t, cols in _BY_STAY.items() for c in cols]
    found += [
        _dates(look_up(records[t]["episode_id"], stay_of_episode), records[t][c])
        for t, cols in _BY_EPISODE.items()
        for c in cols
    ]
    found.append(_dates(look_up(look_up(doses["course_id"], courses), stay_of_episode), doses["given_at"]))
    found.append(_dates(intakes["split_from"], intakes["intake_date"]))
    every = pd.concat(found, ignore_index=True).dropna()
    every = every[every["date"] <= records.as_of]
    return every.groupby("stay_id")["date"].max().dt.as_unit("s")


def _dates(stay: pd.Series, date: pd.Series) -> pd.DataFrame:
    return pd.DataFrame({"stay_id": stay.astype("object"), "date": date.dt.floor("D")})
