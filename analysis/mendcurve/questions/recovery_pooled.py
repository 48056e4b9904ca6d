"""Small groups beside their kin: each taxon within a condition, each condition within a family the rescue names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from mendcurve.methods.pooling import pool
from mendcurve.methods.tally import Tally
from mendcurve.questions.answer import Answer
from mendcurve.questions.recovery_cohort import cohort
from mendcurve.questions.wording import count, percent
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSES, episodes

DAYS = (30, 60, 90)
SEED = 20_250_501
WAYS = {"cleared": "cleared", "died": "died"}
COLUMNS = (
    "within", "group", "animals",
    *(f"cleared_by_{d}{what}" for d in DAYS for what in ("_alone", "_alone_low", "_alone_high", "", "_low", "_high")),
    "own_weight", "pooled", "why_not",
)  # fmt: skip
DEFINITION = (
    "Alone: the group's own cumulative incidence. Pooled: events by cause and span of days (0-7, 8-30, 31-90, 91 and "
    "later) drawn towards those of the related groups, as far as these agree; own_weight is the weight of the group's "
    "own data. Never across all conditions: their courses differ."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Pooled(Answer):
    """Share cleared by a day in related groups, alone and pooled.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: within (the condition, or the family), group (the taxon group, or the condition), animals; share
        cleared by 30, 60 and 90 days alone and pooled, with limits (proportion); own_weight (0-1); pooled (bool);
        why_not.
    """

    frame: pd.DataFrame
    recorded: bool
    fewest: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each group within its condition or family."""
        return self.frame

    def sentence(self) -> str:
        """Return how many groups borrow from their kin, and where that narrows most."""
        if not self.recorded:
            return "Conditions are not recorded, so there are no groups to pool."
        used = self.frame[self.frame["pooled"]]
        if not len(used):
            return "No group has kin to borrow from: each stands alone."
        large = used[used["animals"] >= self.fewest]
        if not len(large):
            return f"{count(len(used), 'group')} of {len(self.frame):,} borrow from related ones; all are very small."
        small = large.sort_values("animals", kind="stable").iloc[0]
        alone = f"{percent(small['cleared_by_60_alone_low'])} to {percent(small['cleared_by_60_alone_high'])}"
        both = f"{percent(small['cleared_by_60_low'])} to {percent(small['cleared_by_60_high'])}"
        return (
            f"{count(len(used), 'group')} of {len(self.frame):,} borrow from related ones; in a small one "
            f"({small['group']} within {small['within']}, {count(small['animals'], 'animal')}) the share cleared by "
            f"day 60 lies between {alone} from its own records and between {both} with those of its kin."
        )

    def notes(self) -> tuple[str, ...]:
        """Return the definition and which groups stand alone, and why."""
        alone = self.frame[~self.frame["pooled"]]
        return (DEFINITION, *(f"{r.group} within {r.within} is not pooled: {r.why_not}." for r in alone.itertuples()))


def pooled(records: Records) -> Pooled:
    """Return share cleared by 30, 60 and 90 days for taxa within conditions and conditions within families.

    Notes
    -----
    Groups of no animal, and conditions of one taxon group, have no kin and are not listed. Limits come from seeded
    draws: the same records give the same numbers.
    """
    rows = cohort(episodes(records)).rows
    tables = [_table(within, by, some) for within, by, some in _kin(rows, records)]
    some = [t for t in tables if len(t)]
    frame = pd.concat(some, ignore_index=True) if some else pd.DataFrame(columns=list(COLUMNS))
    frame = frame.astype({"pooled": "bool", "animals": "int64"})
    shares = {c: "proportion" for c in COLUMNS if c.startswith("cleared")}
    frame.attrs.update(
        title="Small groups beside their kin", units={"animals": "animals", **shares}, definition=DEFINITION
    )
    fewest = int(records.settings["counts.animals"])
    return Pooled(frame=frame, recorded=records.has("conditions"), fewest=fewest)


def _kin(rows: pd.DataFrame, records: Records) -> Iterator[tuple[str, str, pd.DataFrame]]:
    for condition, some in rows.groupby("condition", sort=True):
        yield str(condition), "taxon", some
    for family, members in sorted(records.settings["conditions.families"].items()):
        yield str(family), "condition", rows[rows["condition"].isin([str(m) for m in members])]


def _table(within: str, by: str, rows: pd.DataFrame) -> pd.DataFrame:
    if rows[by].nunique() < 2:
        return pd.DataFrame(columns=list(COLUMNS))
    tally = Tally.from_arrays(
        rows["entry"], rows["exit"], rows["cause"], group=rows[by].to_numpy(dtype=object),
        weight=rows["animals"].to_numpy("float64"), causes=CAUSES,
    )  # fmt: skip
    tally = tally.collapse({cause: WAYS.get(cause, "other") for cause in CAUSES})
    found = pool(tally, seed=SEED)
    share, low, high = found.at(list(DAYS))
    raw = found.raw.at(list(DAYS))
    c = found.causes.index("cleared")
    data = {"within": within, "group": found.groups, "animals": found.subjects.round().astype("int64")}
    for i, day in enumerate(DAYS):
        columns = (raw.share, raw.low, raw.high, share, low, high)
        names = ("_alone", "_alone_low", "_alone_high", "", "_low", "_high")
        data |= {f"cleared_by_{day}{name}": x[:, c, i] for name, x in zip(names, columns, strict=True)}
    data |= {"own_weight": found.own_weight, "pooled": found.pooled, "why_not": found.why_not}
    return pd.DataFrame(data)
