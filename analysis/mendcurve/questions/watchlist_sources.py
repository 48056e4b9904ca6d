"""What the watch list reads: each timeline once, and the animals in care it may speak of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines import courses as timeline
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.places import spells
from mendcurve.timelines.stays import IN_CARE, stays

COLUMNS = ("stay_id", "species", "rule", "began", "evidence", "question")


@dataclass(frozen=True)
class Sources:
    """Records, and the timelines made from them when a rule first asks."""

    records: Records

    @cached_property
    def stays(self) -> pd.DataFrame:
        """All stays, in parts."""
        return stays(self.records)

    @cached_property
    def here(self) -> pd.DataFrame:
        """Stays in care, one row each: stay_id (index), species, intake_date, taxon, permanent."""
        rows = self.stays[(self.stays["end"] == IN_CARE) & ~self.stays["dead_on_arrival"]]
        return rows.drop_duplicates("stay_id").set_index("stay_id")[["species", "taxon", "intake_date", "permanent"]]

    @cached_property
    def episodes(self) -> pd.DataFrame:
        """Episodes of stays in care."""
        rows = episodes(self.records, self.stays)
        return rows[rows["stay_id"].isin(self.here.index)]

    @cached_property
    def doses(self) -> pd.DataFrame:
        """Doses of stays in care."""
        rows = timeline.doses(self.records, self.stays)
        return rows[rows["stay_id"].isin(self.here.index)]

    @cached_property
    def courses(self) -> pd.DataFrame:
        """Courses of stays in care."""
        rows = timeline.courses(self.records, self.stays)
        return rows[rows["stay_id"].isin(self.here.index)]

    @cached_property
    def zones(self) -> pd.DataFrame:
        """Where each stay in care is now: stay_id (index), zone, from_date, assumed."""
        rows = spells(self.records, self.stays)
        rows = rows[rows["to_date"].isna() & rows["stay_id"].isin(self.here.index)]
        return rows.drop_duplicates("stay_id", keep="last").set_index("stay_id")[["zone", "from_date", "assumed"]]

    def lines(self, rule: str, rows: Sequence[tuple[Any, Any, str, str]]) -> pd.DataFrame:
        """Return the frame of a rule from (stay, began, evidence, question); animals not in care are left out."""
        frame = pd.DataFrame(list(rows), columns=["stay_id", "began", "evidence", "question"])
        frame = frame[frame["stay_id"].isin(self.here.index)].assign(rule=rule)
        species = frame["stay_id"].map(self.here["species"]).astype("str")
        frame = frame.assign(species=species, began=pd.to_datetime(frame["began"]).astype("datetime64[s]"))
        return frame.reindex(columns=list(COLUMNS)).reset_index(drop=True)


def ago(n: float) -> str:
    """Return '5 days', from 14 days on whole weeks: '6 weeks'."""
    n = round(n)
    if n < 14:
        return "1 day" if n == 1 else f"{n} days"
    return f"{n // 7} weeks"
