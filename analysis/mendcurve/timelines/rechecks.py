"""Between which two days an episode cleared: the last re-check that found it still ill, and the first that did not."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSE_OF
from mendcurve.timelines.lookup import look_up


def between_checks(records: Records, frame: pd.DataFrame) -> pd.DataFrame:
    """Return episodes with the span of days in which each ended.

    Parameters
    ----------
    records : Records
    frame : DataFrame
        Rows of ``episodes(records)``.

    Returns
    -------
    DataFrame
        As ``frame`` with ``after`` and ``until`` (days since found; the end lies in (after, until], ``until`` infinite
        where it was cut off) and ``checked``: whether a re-check bounds the day it cleared.

    Notes
    -----
    A cleared episode was ill on the day found (unless it was cleared that day) and on every later re-check marked
    "still ill" before the day it was ended, and well by the first re-check marked "well" after those, or by the day it
    was ended. One without any such re-check is taken as written. "Unclear" re-checks say nothing. Deaths, departures
    and the other ends are known to the day. One cut off is counted open to the last day of the records, as the rescue
    wrote it.
    """
    checks = records["checks"]
    checks = checks[checks["checked_on"] <= records.as_of]
    rows = frame.reset_index(drop=True)
    day = look_up(checks["episode_id"], rows.drop_duplicates("episode_id").set_index("episode_id")["found_on"])
    checks = checks.assign(day=(checks["checked_on"] - day).dt.days).dropna(subset="day")
    cleared = rows["cause"] == CAUSE_OF["cleared"]
    both = rows.loc[cleared, ["episode_id", "exit"]].reset_index(names="row").merge(checks, on="episode_id")
    ill = both[(both["result"] == "still ill") & (both["day"] < both["exit"])].groupby("row")["day"].max()
    ill = ill.reindex(rows.index).astype("float64")
    well = both[(both["result"] == "well") & (both["day"] <= both["exit"])]
    well = well[well["day"].to_numpy() > ill.fillna(-1.0).reindex(well["row"]).to_numpy()]
    first_well = well.groupby("row")["day"].min().reindex(rows.index).astype("float64")
    last = rows["exit"].astype("float64")
    # ill on the day it was found, unless it was cleared on it
    start = pd.Series(np.where(last > 0, 0.0, -1.0), index=rows.index)
    checked = ill.notna() | first_well.notna()
    after = ill.fillna(start).where(cleared & checked, last - 1).where(rows["cause"] > 0, last)
    until = first_well.fillna(last).where(rows["cause"] > 0, np.inf)
    return rows.assign(after=after, until=until, checked=checked)
