"""How far the answer moves when clearing is only known to lie between two re-checks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.interval_censored import interval_incidence
from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import Told, told
from mendcurve.questions.recovery_by import DAYS, NO_CLEARING
from mendcurve.questions.recovery_cohort import cohorts
from mendcurve.questions.wording import count, percent
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSE_OF, CAUSES, clearing_recorded
from mendcurve.timelines.rechecks import between_checks

_SHARES = tuple(f"{name}_{day}" for day in DAYS for name in ("cleared_by", "fitted_by", "soonest_by"))
COLUMNS = ("condition", "animals", "cleared", "checked", "gap", "median", "median_soonest", *_SHARES)
MOSTLY = 0.5
"""A condition is told of where at least this share of its cleared cases was re-checked."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Checked(Answer):
    """Share cleared by the written day, beside what the re-checks allow.

    Attributes
    ----------
    frame : DataFrame
        condition, animals, cleared, checked (animals cleared whose day a re-check bounds), gap (median days between
        the last re-check still ill, or the day found, and the day well); the median as written and if each cleared
        right after it was last seen ill (days since found); for days 30, 60, 90: cleared_by (as written), soonest_by
        (right after last seen ill) and fitted_by (Turnbull's estimate between the two) in proportion.
    late : int
        Animals left out because they were not followed from the day found.
    """

    frame: pd.DataFrame
    late: int
    recorded: bool
    clearing: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each condition with enough animals."""
        return self.frame

    def sentence(self) -> str:
        """Return the largest move of a share cleared by day 60."""
        if not self.recorded:
            return "Re-checks are not recorded, so the day of clearing is taken as written."
        if not self.clearing:
            return NO_CLEARING
        known = self.frame.dropna(subset=["soonest_by_60", "cleared_by_60"])
        known = known[known["checked"] >= MOSTLY * known["cleared"]]
        if not len(known):
            return "No condition has enough re-checked animals to say how much the day of clearing is uncertain."
        row = known.iloc[int((known["soonest_by_60"] - known["cleared_by_60"]).to_numpy().argmax())]
        return (
            f"Animals are seen to be well only at a re-check. Of {count(len(known), 'condition')} it matters most for "
            f"{row['condition']} ({row['checked']:,} of {count(row['cleared'], 'cleared case')} re-checked): "
            f"{percent(row['cleared_by_60'])} by day 60 as "
            f"written, {percent(row['soonest_by_60'])} if each had been well the day after it was last seen ill, "
            f"{percent(row['fitted_by_60'])} fitted to the spans between. From last seen ill to seen well it was "
            f"{row['gap']:.0f} days in the middle."
        )

    def notes(self) -> tuple[str, ...]:
        """Return how the bounds are made and who is not in them."""
        out = [
            "As written: cleared on the day the record says. Soonest: the day after it was last seen ill. Fitted: "
            "cumulative incidence from the spans between (Turnbull's estimate, other ends known to the day).",
        ]
        if self.late:
            out.append(f"{count(self.late, 'animal').capitalize()} not followed from the day found left out.")
        return tuple(out)


def checked(records: Records) -> Checked:
    """Return the share cleared by days 30, 60 and 90 as written, soonest and fitted between re-checks, by condition."""
    clearing, recorded = clearing_recorded(records), records.has("checks")
    rows = cohorts(records, None, "found")[0].rows
    late = int(rows.loc[rows["entry"] > -1, "animals"].sum())
    if not (recorded and clearing):
        rows = rows.iloc[:0]
    rows = between_checks(records, rows[rows["entry"] == -1])
    early = rows.assign(exit=(rows["after"] + 1).where(rows["cause"] == CAUSE_OF["cleared"], rows["exit"]))
    soonest = {one.group: one for one in told(early, "condition", CAUSES, records.settings)}
    lines = [
        _line(rows[rows["condition"] == one.group], one, soonest[one.group])
        for one in told(rows, "condition", CAUSES, records.settings)
        if one.enough
    ]
    frame = pd.DataFrame(lines, columns=list(COLUMNS))
    shares = [c for c in COLUMNS if "_by_" in c]
    frame.attrs.update(title="Clearing as written, and between re-checks", units={
        "animals": "animals", "cleared": "animals", "checked": "animals", "gap": "days", "median": "days since found",
        "median_soonest": "days since found", **dict.fromkeys(shares, "proportion")})  # fmt: skip
    return Checked(frame=frame, late=late if recorded else 0, recorded=recorded, clearing=clearing)


def _line(rows: pd.DataFrame, one: Told, soonest: Told) -> dict[str, object]:
    found = interval_incidence(
        rows["after"], rows["until"], rows["cause"], causes=CAUSES, weight=rows["animals"].to_numpy("float64")
    )
    bounded = rows[rows["checked"]]
    line: dict[str, object] = {
        "condition": one.group, "animals": one.animals, "cleared": one.counts["cleared"],
        "checked": int(bounded["animals"].sum()),
        "gap": float((bounded["until"] - bounded["after"]).median()) if len(bounded) else np.nan,
        "median": one.median("cleared")[0], "median_soonest": soonest.median("cleared")[0],
    }  # fmt: skip
    c = CAUSES.index("cleared")
    for day in DAYS:
        plain = one.by(day, "cleared")[0]
        middle = float(np.mean([x[c, 0] for x in found.at([day])])) if np.isfinite(plain) else np.nan
        values = (plain, middle, soonest.by(day, "cleared")[0])
        line |= dict(zip((f"cleared_by_{day}", f"fitted_by_{day}", f"soonest_by_{day}"), values, strict=True))
    return line
