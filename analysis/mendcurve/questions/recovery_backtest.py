"""Were the days said to be left right? Open episodes of past days, predicted from what was known then."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.methods.survival import kaplan_meier
from mendcurve.methods.tally import Tally
from mendcurve.questions.answer import Answer
from mendcurve.questions.past_days import held, past_days, span_of, verdict
from mendcurve.questions.recovery_cohort import cohort
from mendcurve.questions.wording import count
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSES, OPEN, episodes

EVERY_DAYS, LOOKS = 28, 18
LOOK_COLUMNS = (
    "origin", "episode_id", "stay_id", "cluster", "condition", "days_so_far", "days_left", "ended", "pit_low",
    "pit_high",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenBacktest(Answer):
    """How often the range said held, in open episodes of past days.

    Attributes
    ----------
    frame : DataFrame
        level (proportion the range should hold), held (share of looks in which it did, those still open or cut off
        counted as far as they had come), low, high (95 % interval by stay), looks.
    looks : DataFrame
        origin, episode_id, stay_id, condition, days_so_far, days_left, ended (bool), pit_low, pit_high: where the true
        days lay in the distribution said (0 sooner than all, 1 later than all).
    beyond : int
        Looks for which nothing was said: beyond the data of that day.
    """

    frame: pd.DataFrame
    looks: pd.DataFrame
    beyond: int
    origins: tuple[pd.Timestamp, ...]
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each level."""
        return self.frame

    def sentence(self) -> str:
        """Return how often the 80 % range held."""
        if not self.recorded or not len(self.looks):
            return "There is too little past to say whether the days said to be left were right."
        n, stays = len(self.looks), self.looks["stay_id"].nunique()
        return (
            f"On {count(len(self.origins), 'past day')} {span_of(self.origins)}, {count(n, 'open episode')} of "
            f"{count(stays, 'stay')} (one may count on several days): {verdict(self.frame, f'those {n:,} looks')}"
        )

    def notes(self) -> tuple[str, ...]:
        """Return how it was tested."""
        return (
            "Each past day was seen with the records as they were known then. An episode still open today, or cut off, "
            "counts as later than its days so far (Kaplan-Meier on the place in the distribution said).",
            f"For {count(self.beyond, 'more look')} nothing was said: beyond the data of that day.",
        )


def open_backtest(records: Records, *, every: int = EVERY_DAYS, looks: int = LOOKS) -> OpenBacktest:
    """Predict every episode open on past days from the records of that day, and score what became of it.

    Parameters
    ----------
    records : Records
    every : int
        Days between the past days.
    looks : int
        At most so many past days, the last ``every`` days before the as-of date.
    """
    now = episodes(records)
    truth = now.drop_duplicates("episode_id").set_index("episode_id")
    parts, beyond, origins = [], 0, []
    for origin in past_days(records, every=every, looks=looks):
        part, lost = _looked(records.cut(origin), truth, origin)
        beyond += lost
        if len(part):
            parts.append(part)
            origins.append(origin)
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(LOOK_COLUMNS))
    frame = held(table, "cluster", "How often the range of days left held")
    return OpenBacktest(frame=frame, looks=table, beyond=beyond, origins=tuple(origins),
                        recorded=records.has("conditions"))  # fmt: skip


def _looked(then: Records, truth: pd.DataFrame, origin: pd.Timestamp) -> tuple[pd.DataFrame, int]:
    """Return the looks of one past day, and for how many nothing was said."""
    every = episodes(then)
    open_then = every[(every["end"] == OPEN) & ~every["lifelong"]].drop_duplicates("episode_id")
    like = cohort(every, clock="found").rows
    least, fewest = int(then.settings["counts.at_risk"]), int(then.settings["counts.animals"])
    parts, beyond = [], 0
    for name, rows in open_then.groupby("condition"):
        own = like[like["condition"] == name]
        if own["cluster"].nunique() < fewest:
            beyond += len(rows)
            continue
        tally = Tally.from_arrays(own["entry"], own["exit"], own["cause"], causes=CAUSES).any_cause()
        for _, one in rows.iterrows():
            so_far = int(one["days"])
            if tally.at_risk([so_far + 1])[0, 0] < least or one["episode_id"] not in truth.index:
                beyond += 1
                continue
            parts.append(_look(tally, one, truth.loc[one["episode_id"]], origin))
    return pd.DataFrame(parts), beyond


def _look(tally: Tally, one: pd.Series, later: pd.Series, origin: pd.Timestamp) -> dict[str, object]:
    so_far = int(one["days"])
    curve = kaplan_meier(tally.starting_at(so_far + 1), limits="log")
    total, ended = int(later["last_day"]), later["cause"] > 0
    before, on = (1 - curve.at([d]).share[0, 0] for d in (total - 1, total))
    reach = float(curve.day[curve.at_risk[0] > 0].max())
    if total > reach:  # later than anything said: known only to lie in what was left
        before = on = 1 - curve.share[0, -1]
        ended = bool(ended and curve.share[0, -1] <= 1e-9)
    return {
        "origin": origin, **{name: one[name] for name in ("episode_id", "stay_id", "cluster", "condition")},
        "days_so_far": so_far, "days_left": total - so_far, "ended": bool(ended),
        "pit_low": before if ended else on, "pit_high": on if ended else 1.0,
    }  # fmt: skip
