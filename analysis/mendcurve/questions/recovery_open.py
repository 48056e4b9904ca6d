"""Episodes open today: how long such episodes still last, in days, until they end in any way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.methods.quantiles import remaining_time
from mendcurve.methods.survival import kaplan_meier
from mendcurve.methods.tally import Tally, first_day_with
from mendcurve.questions.answer import Answer
from mendcurve.questions.recovery_cohort import cohort
from mendcurve.questions.wording import count, day
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSES, OPEN, episodes

BEYOND = "beyond our data"
COLUMNS = (
    "episode_id", "stay_id", "species", "condition", "found_on", "animals", "days_so_far", "median", "low", "high",
    "like_it", "longer_than", "says",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenNow(Answer):
    """One row for each open episode that is not lifelong.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: days_so_far, and median, low and high of the further days until such episodes end in any way
        (80 % range; missing: beyond our data); like_it: episodes of the condition followed that long; longer_than:
        share of episodes of the condition that had ended, in any way, in fewer days (proportion).
    lifelong : int
        Animals with an open lifelong condition, not listed.
    """

    frame: pd.DataFrame
    lifelong: int
    as_of: pd.Timestamp
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each open episode, longest open first."""
        return self.frame

    def sentence(self) -> str:
        """Return how many episodes are open and for how many the records reach far enough."""
        if not self.recorded:
            return "Conditions are not recorded, so open episodes cannot be listed."
        n, known = len(self.frame), int(self.frame["median"].notna().sum())
        if not n:
            return f"On {day(self.as_of)} no episode was open."
        text = f"On {day(self.as_of)} {count(n, 'episode')} {'was' if n == 1 else 'were'} open"
        if not known:
            return f"{text}; how long such episodes go on is {BEYOND}."
        rest = "" if known == n else f", the other {n - known:,} are {BEYOND}"
        return f"{text}; for {known:,} of {n:,} the records tell how long such episodes go on{rest}."

    def notes(self) -> tuple[str, ...]:
        """Return what the days mean, and what they do not."""
        out = [
            "Further days until episodes of the condition that had lasted as long ended in any way: cleared, lifelong, "
            "misdiagnosed, died, left or missing. It says nothing about how this animal's will end.",
            "Longer than: the share of episodes of the condition that were over in fewer days. A long one is a "
            "question to ask, not a finding about the animal.",
        ]
        if self.lifelong:
            out.append(f"{count(self.lifelong, 'animal').capitalize()} with a lifelong condition not listed.")
        return tuple(out)


def open_now(records: Records) -> OpenNow:
    """Return, for each open episode, the median and 80 % range of the days it goes on."""
    every = episodes(records)
    now = every[every["end"] == OPEN]
    listed = now[~now["lifelong"]].sort_values(["days", "episode_id"], ascending=[False, True], kind="stable")
    like = cohort(every).rows
    found = _remaining(like, listed, records)
    frame = listed.rename(columns={"days": "days_so_far"}).assign(**found)
    frame = frame.reset_index(drop=True)
    frame["says"] = [_words(m, lo, hi) for m, lo, hi in zip(frame["median"], frame["low"], frame["high"], strict=True)]
    frame = frame.reindex(columns=list(COLUMNS))
    frame.attrs.update(
        title=f"Open episodes on {day(records.as_of)}",
        units={"animals": "animals", "days_so_far": "days", "median": "further days", "low": "further days",
               "high": "further days", "like_it": "episodes", "longer_than": "proportion"},
    )  # fmt: skip
    return OpenNow(
        frame=frame, lifelong=int(now.loc[now["lifelong"], "animals"].sum()), as_of=records.as_of,
        recorded=records.has("conditions"),
    )  # fmt: skip


def _remaining(like: pd.DataFrame, listed: pd.DataFrame, records: Records) -> dict[str, Any]:
    """Look up the further days by condition and days so far: one pass a condition."""
    days, longer = np.full((len(listed), 3), np.nan), np.full(len(listed), np.nan)
    behind = np.zeros(len(listed))
    condition = listed["condition"].to_numpy(dtype=object)
    fewest = int(records.settings["counts.at_risk"])
    for name in pd.unique(listed["condition"]):
        rows, here = like[like["condition"] == name], condition == name
        if rows["cluster"].nunique() < int(records.settings["counts.animals"]):
            continue
        tally = Tally.from_arrays(rows["entry"], rows["exit"], rows["cause"], causes=CAUSES)
        left = remaining_time(tally, listed.loc[here, "days"].to_numpy(), at_least=fewest)
        days[here], behind[here] = left.days, left.at_risk
        first = first_day_with(tally, fewest)[0]
        if np.isfinite(first):
            curve = kaplan_meier(tally.starting_at(first) if first > 0 else tally, limits="log")
            so_far = listed.loc[here, "days"].to_numpy("float64")
            longer[here] = np.where(so_far > first, 1 - curve.at(so_far - 1).share[0], np.nan)
    integers = {
        name: pd.array(np.where(np.isnan(days[:, i]), 0, days[:, i]).round(), dtype="Int64")
        for i, name in enumerate(("low", "median", "high"))
    }
    for i, name in enumerate(("low", "median", "high")):
        integers[name][np.isnan(days[:, i])] = pd.NA
    return {**integers, "like_it": behind.round().astype("int64"), "longer_than": longer}


def _words(median: Any, low: Any, high: Any) -> str:
    if pd.isna(median):
        return BEYOND
    if pd.isna(high):
        return f"median {count(int(median), 'more day')}; the long end is {BEYOND}"
    return f"median {count(int(median), 'more day')}, 80 % range {int(low)} to {int(high)}"
