"""Were the days said to be left right? Open episodes of past days, predicted from what was known then."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.methods.scores_censored import censored_coverage
from mendcurve.methods.survival import kaplan_meier
from mendcurve.methods.tally import Tally
from mendcurve.questions.answer import Answer
from mendcurve.questions.recovery_cohort import cohort
from mendcurve.questions.wording import count, day, percent
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSES, OPEN, episodes

LEVELS = (0.5, 0.8, 0.9)
EVERY_DAYS, LOOKS = 28, 18
LOOK_COLUMNS = (
    "origin", "episode_id", "stay_id", "cluster", "condition", "days_so_far", "days_left", "ended", "pit_low",
    "pit_high",
)  # fmt: skip
COLUMNS = ("level", "held", "low", "high", "looks")


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
        row = self.frame[self.frame["level"] == 0.8].iloc[0]
        n, stays = len(self.looks), self.looks["stay_id"].nunique()
        text = (
            f"On {count(len(self.origins), 'past day')} from {day(self.origins[0])} to {day(self.origins[-1])}, "
            f"{count(n, 'open episode')} of {count(stays, 'stay')} (one may count on several days): the 80 % range "
            f"held for {percent(row['held'])} of those {n:,} looks (95 % interval {percent(row['low'])} to "
            f"{percent(row['high'])})"
        )
        if row["low"] > 0.8 or row["high"] < 0.8:
            return f"{text}, so it was too {'wide' if row['low'] > 0.8 else 'narrow'}."
        return f"{text}; nothing speaks against it."

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
    last = records.as_of - pd.Timedelta(days=every)
    for origin in pd.date_range(end=last, periods=looks, freq=f"{every}D"):
        if origin < records.records_start + pd.Timedelta(days=90):
            continue
        part, lost = _looked(records.cut(origin), truth, origin)
        beyond += lost
        if len(part):
            parts.append(part)
            origins.append(origin)
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(LOOK_COLUMNS))
    lines = [_level(table, level) for level in LEVELS] if len(table) else []
    frame = pd.DataFrame(lines, columns=list(COLUMNS))
    units = {**dict.fromkeys(("level", "held", "low", "high"), "proportion"), "looks": "looks"}
    frame.attrs.update(title="How often the range of days left held", units=units)
    return OpenBacktest(frame=frame, looks=table, beyond=beyond, origins=tuple(origins),
                        recorded=records.has("conditions"))  # fmt: skip


def _level(table: pd.DataFrame, level: float) -> tuple[float, float, float, float, int]:
    held = censored_coverage(
        table["pit_low"], table["pit_high"], table["ended"], level, cluster=table["cluster"].to_numpy(dtype=object)
    )
    return (level, *held, len(table))


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
