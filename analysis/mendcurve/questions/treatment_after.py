"""How long from the last dose of a course until the condition is cleared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.quantiles import quantile
from mendcurve.questions.answer import Answer
from mendcurve.questions.treatment_wait import ALL, curve_frame, incidence_of
from mendcurve.questions.wording import count, were
from mendcurve.records.records import Records
from mendcurve.timelines import courses as timeline
from mendcurve.timelines.episodes import CAUSE_OF, episodes

CAUSES = ("cleared", "died", "left uncleared", "otherwise")


@dataclass(frozen=True, kw_only=True, eq=False)
class AfterCourse(Answer):
    """Days from the last dose of an episode's courses to its clearance, against every other end."""

    frame: pd.DataFrame
    curve: pd.DataFrame
    before_last: int
    running: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row: episodes, ends, median days to clearance with limits."""
        return self.frame

    def curves(self) -> pd.DataFrame:
        """Return the cumulative incidence of every end by days since the last dose."""
        return self.curve

    def sentence(self) -> str:
        """Return the median with its interval, or that fewer than half were cleared."""
        row = self.frame.iloc[0]
        if row["episodes"] == 0:
            return "No episode has a finished course to count from."
        head = (
            f"Of {count(row['episodes'], 'episode')} whose courses were over, "
            f"{int(row['cleared']):,} {were(row['cleared'])} cleared"
        )
        if np.isnan(row["median_days"]):
            return f"{head}; fewer than half were cleared within {row['longest']:.0f} days of the last dose."
        high = "no upper limit yet" if np.isnan(row["median_high"]) else f"{row['median_high']:.0f}"
        return (
            f"{head}; half were cleared within {row['median_days']:.0f} days of the last dose "
            f"(95 % interval {row['median_low']:.0f} to {high})."
        )

    def notes(self) -> tuple[str, ...]:
        """Return who was left out."""
        notes = ["Counted from the last dose given; dying and leaving compete with being cleared."]
        if self.before_last:
            notes.append(
                f"{count(self.before_last, 'episode')} {were(self.before_last)} over before the last dose: left out."
            )
        if self.running:
            notes.append(f"{count(self.running, 'episode')} with a course still running {were(self.running)} left out.")
        return tuple(notes)


def after_course(records: Records) -> AfterCourse:
    """Estimate the days from the last dose of an episode's courses to its clearance, competing ends kept.

    Notes
    -----
    Only episodes with a dose given and no course running; first episodes and relapses alike. Observed from the last
    dose; one that ended before its last dose is left out and counted.
    """
    table = timeline.courses(records)
    by = table.groupby("episode_id").agg(
        last=("last_given_at", "max"), running=("status", lambda s: s.eq("running").any())
    )
    rows = episodes(records).merge(by.reset_index(), on="episode_id")
    rows = rows[rows["last"].notna()]
    running = rows["running"].astype(bool)
    over = rows[~running]
    offset = (over["last"].dt.floor("D") - over["found_on"]).dt.days
    over = over.assign(entry=np.maximum(over["entry"] - offset, -1), exit=over["last_day"] - offset)
    why = (
        over["cause"].map({0: 0, CAUSE_OF["cleared"]: 1, CAUSE_OF["died"]: 2, CAUSE_OF["left uncleared"]: 3}).fillna(4)
    )
    over = over.assign(why=why.astype("int64"))
    used = over[over["exit"] > over["entry"]]
    row, curve = _after(used)
    frame = pd.DataFrame([row])
    frame.attrs.update(
        title="From the last dose to clearance",
        units={
            "episodes": "episodes",
            "cleared": "episodes",
            "median_days": "days",
            "median_low": "days",
            "median_high": "days",
            "longest": "days",
        },
    )
    return AfterCourse(frame=frame, curve=curve, before_last=len(over) - len(used), running=int(running.sum()))


def _after(rows: pd.DataFrame) -> tuple[dict[str, object], pd.DataFrame]:
    row: dict[str, object] = {
        "episodes": len(rows),
        "cleared": int((rows["why"] == 1).sum()),
        "longest": float(rows["exit"].max()) if len(rows) else np.nan,
        **dict.fromkeys(("median_days", "median_low", "median_high"), np.nan),
    }
    if not len(rows):
        return row, curve_frame(ALL, None)
    curve = incidence_of(rows, CAUSES)
    half = quantile(curve, 0.5, cause="cleared")
    row |= {
        "median_days": float(np.ravel(half.estimate)[0]),
        "median_low": float(np.ravel(half.low)[0]),
        "median_high": float(np.ravel(half.high)[0]),
    }
    return row, curve_frame(ALL, curve)
