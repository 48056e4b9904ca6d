"""The longest stays among those in care, and how unusual they are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import Told, told
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.stay_length import CAUSES, observed
from mendcurve.questions.wording import count, day, percent, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.stays import IN_CARE, LOST, stays

COLUMNS = ("stay_id", "species", "taxon", "animals", "intake_date", "days", "compared_with", "like_it", "shorter",
           "unusual", "last_seen", "lost_track_of")  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Longest(Answer):
    """Stays in care, longest first, permanent residents apart.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: days so far; shorter, the share of stays of ``compared_with`` that were shorter (proportion,
        missing where too few), like_it of them (animals); unusual: longer than ``watch.long_stay_share`` of them.
    residents : int
        Animals kept for life.
    """

    frame: pd.DataFrame
    residents: int
    as_of: pd.Timestamp
    unusual_from: float
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each stay in care."""
        return self.frame

    def sentence(self) -> str:
        """Return the longest stay and how many are unusually long."""
        if not self.outcomes:
            return without_outcomes("who is in care, and how long animals stay,")
        here = self.frame[~self.frame["lost_track_of"]]
        if not len(here):
            return f"On {day(self.as_of)} no animal was in care."
        top = here.iloc[0]
        text = f"On {day(self.as_of)} the longest stay in care, permanent residents apart, was "
        text += f"{top['stay_id']} ({top['species']}), "
        text += count(top["days"], "day")
        if not np.isnan(top["shorter"]):
            text += f", longer than {percent(top['shorter'])} of the stays of {_of(top)}"
        if here["shorter"].isna().all():
            return f"{text}; there are too few stays to say how unusual that is."
        n = int(here["unusual"].sum())
        text += f"; {count(n, 'stay')} of {len(here):,} {'is' if n == 1 else 'are'} longer than "
        return f"{text}{percent(self.unusual_from)} of those like it."

    def notes(self) -> tuple[str, ...]:
        """Return who is shown apart."""
        if not self.outcomes:
            return ()
        out = [
            "Shorter: the share of stays of the taxon group that had ended before, from all stays, open ones included."
        ]
        if self.residents:
            out.append(f"{count(self.residents, 'permanent resident').capitalize()} not listed.")
        lost = int(self.frame["lost_track_of"].sum())
        if lost:
            out.append(
                f"{count(lost, 'stay').capitalize()} lost track of stand at the end of the list: check the records."
            )
        return tuple(out)


def longest(records: Records) -> Longest:
    """Return the stays in care, longest first, each beside those of its taxon group."""
    every = stays(records)
    rows = observed(every)
    here = every[every["end"].isin([IN_CARE, LOST]) & ~every["permanent"]]
    here = here.assign(days=(records.as_of - here["clock_start"]).dt.days, lost_track_of=here["end"] == LOST)
    ones = {one.group: one for one in told(rows, "taxon", CAUSES, records.settings) if one.enough}
    ones |= {one.group: one for one in told(rows, None, CAUSES, records.settings) if one.enough}
    group = here["taxon"].where(here["taxon"].isin(list(ones)), "all")
    shorter, like = pd.Series(np.nan, index=here.index), pd.Series(0, index=here.index)
    for name, one in ones.items():
        those = here.index[group == name]
        shorter.loc[those] = _shorter(one, here.loc[those, "days"].to_numpy("float64"))
        like.loc[those] = one.animals
    unusual = float(records.settings["watch.long_stay_share"])
    frame = here.assign(
        compared_with=group.where(group != "all", "all stays"), like_it=like, shorter=shorter, unusual=shorter > unusual
    )
    frame = frame.sort_values(["lost_track_of", "days", "stay_id"], ascending=[True, False, True], kind="stable")
    frame = frame.reset_index(drop=True).reindex(columns=list(COLUMNS))
    units = {"animals": "animals", "days": "days", "like_it": "animals", "shorter": "proportion"}
    frame.attrs.update(title=f"Longest stays on {day(records.as_of)}", units=units)
    frame = told_of(records, frame)
    return Longest(frame=frame, outcomes=records.has("outcomes"),
                   residents=int(every.loc[every["permanent"], "animals"].sum()), as_of=records.as_of,
                   unusual_from=unusual)  # fmt: skip


def _shorter(one: Told, days: np.ndarray) -> np.ndarray:
    """Share ended before each day, among those that came as far as the curve's first day."""
    curve = one.still()
    return np.where(days >= one.first, 1 - curve.at(np.minimum(days - 1, one.last)).share[0], np.nan)


def _of(row: pd.Series) -> str:
    if row["compared_with"] == "all stays":
        return f"all {row['like_it']:,} animals"
    if row["compared_with"] in ("unknown", "not recorded"):
        return f"{row['like_it']:,} animals of no known group"
    return count(row["like_it"], row["compared_with"])
