"""The same recoveries counted from other days: found, seen by the vet, first dose, intake."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import told
from mendcurve.questions.recovery_by import DAYS, NO_CLEARING
from mendcurve.questions.recovery_cohort import cohorts
from mendcurve.questions.wording import count
from mendcurve.records.records import Records
from mendcurve.timelines.clocks import CLOCKS
from mendcurve.timelines.episodes import CAUSES, clearing_recorded

COLUMNS = ("condition", "clock", "animals", "without_it", "median", "median_low", "median_high")


@dataclass(frozen=True, kw_only=True, eq=False)
class Clocks(Answer):
    """Recovery of each condition by each clock.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS`` and cleared_by_30, _60, _90 (proportion): animals followed from that day, animals whose episode
        never had it, median with limits in days since it.
    chosen : str
        The clock the reports use (``recovery.clock``).
    """

    frame: pd.DataFrame
    chosen: str
    recorded: bool
    clearing: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each condition and clock."""
        return self.frame

    def sentence(self) -> str:
        """Return what the clock does to the commonest condition with a median on all of them."""
        if not self.recorded:
            return "Conditions are not recorded, so no clock can be compared."
        if not self.clearing:
            return NO_CLEARING
        for name, rows in self.frame.groupby("condition", sort=False):
            known = rows.dropna(subset=["median"])
            if len(known) == len(CLOCKS):
                parts = [f"day {r['median']:.0f} from {CLOCKS[str(r['clock'])]}" for _, r in known.iterrows()]
                return (
                    f"Half of {name} was cleared by {', '.join(parts)}. The reports count from {CLOCKS[self.chosen]}."
                )
        return f"No condition has enough animals on every clock. The reports count from {CLOCKS[self.chosen]}."

    def notes(self) -> tuple[str, ...]:
        """Return what each clock leaves out."""
        lost = self.frame.groupby("clock", sort=False)["without_it"].sum()
        parts = [f"{count(n, 'animal')} without {CLOCKS[str(c)]}" for c, n in lost.items() if n]
        out = [
            "A clock that starts later takes only animals that got so far, so its figures are of fewer and other "
            "animals: one clock is chosen once (recovery.clock in records.toml) and kept.",
        ]
        return (*out, f"Left out: {'; '.join(parts)}.") if parts else tuple(out)


def clocks(records: Records) -> Clocks:
    """Return recovery by condition from each of the four days."""
    clearing, lines = clearing_recorded(records), []
    for clock in CLOCKS if clearing else ():
        group = cohorts(records, None, clock)[0]
        never = group.never.groupby("condition")["animals"].sum() if len(group.never) else pd.Series(dtype="int64")
        for one in told(group.rows, "condition", CAUSES, records.settings):
            without = int(never.get(one.group, 0))
            line: dict[str, object] = dict(zip(COLUMNS, (one.group, clock, one.animals, without), strict=False))
            line |= dict(zip(COLUMNS[4:], one.median("cleared"), strict=True))
            lines.append(line | {f"cleared_by_{day}": one.by(day, "cleared")[0] for day in DAYS})
    shares = [f"cleared_by_{day}" for day in DAYS]
    frame = pd.DataFrame(lines, columns=[*COLUMNS, *shares])
    size = frame.groupby("condition")["animals"].transform("max")
    order = {name: i for i, name in enumerate(CLOCKS)}
    frame = frame.assign(size=size, nth=frame["clock"].map(order)).sort_values(
        ["size", "condition", "nth"], ascending=[False, True, True], kind="stable", ignore_index=True
    )
    frame = frame.drop(columns=["size", "nth"])
    frame.attrs.update(title="Recovery from four clocks", units={
        "animals": "animals", "without_it": "animals", **dict.fromkeys(COLUMNS[4:], "days since the clock's day"),
        **dict.fromkeys(shares, "proportion")})  # fmt: skip
    return Clocks(frame=frame, chosen=str(records.settings["recovery.clock"]), recorded=records.has("conditions"),
                  clearing=clearing)  # fmt: skip
