"""Medical cost of an episode up to 180 days, those still running included."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pandas as pd

from mendcurve.methods.money import exact_sum, mean_cost
from mendcurve.questions.answer import Answer
from mendcurve.questions.costs_ledger import KIND, NO_SPENDING, spent
from mendcurve.questions.costs_windows import COUNTED, HORIZON, UNTOLD, by_interval, outside, parts, placed
from mendcurve.questions.wording import count, money, were
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import different_animals, episodes
from mendcurve.timelines.period import Period

ALL = "all conditions"
CUTS = np.arange(0.0, HORIZON + 1.0, 30.0)
COLUMNS = (
    "condition",
    "episodes",
    "animals",
    "ended_or_full",
    "running",
    "spent",
    "to_day",
    "mean",
    "low",
    "high",
    "mean_of_closed",
    "answer",
)
_DEFINITION = (
    "Medical spending tied to the episode, from the day found to the day it ended, or to day 180 if that comes first; "
    "what was spent before or after is in no mean and listed apart. Episodes cut off "
    "before that count for as long as they were seen, each month weighted up for those cut off (Bang & Tsiatis 2000, "
    "from memory); the plain mean of closed cases beside it leaves them out and is usually too low."
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class PerEpisode(Answer):
    """Mean medical cost of an episode by condition, with limits; the plain mean of closed cases beside it."""

    frame: pd.DataFrame
    places: pd.DataFrame
    strays: pd.DataFrame
    currency: str
    recorded: bool
    entered_late: int
    relapses: int
    unattributed: Decimal
    in_kind: Decimal
    as_of: pd.Timestamp

    def to_frame(self) -> pd.DataFrame:
        """Return one row in all and one a condition."""
        return self.frame

    def parts(self) -> pd.DataFrame:
        """Return where all medical spending went, in parts that add up to it."""
        return self.places

    def outside(self) -> pd.DataFrame:
        """Return the entries that have an episode but lie before it was found, after its end or after day 180."""
        return self.strays

    def sentence(self) -> str:
        """Return the mean over all conditions with its interval and n."""
        if not self.recorded:
            return NO_SPENDING
        row = self.frame.iloc[0]
        if row["episodes"] == 0:
            return "No episode with its spending can be followed from the day it was found."
        n = count(row["episodes"], "episode")
        if np.isnan(row["mean"]):
            return f"With {n}, there are too few to say what an episode costs."
        if np.isnan(row["low"]):
            limits = "no interval: too few cost anything, or all cost the same"
        else:
            limits = f"95 % interval {row['low']:,.0f} to {row['high']:,.0f}"
        return (
            f"An episode cost about {row['mean']:,.0f} {self.currency} of medical spending in its first "
            f"{row['to_day']:.0f} days "
            f"({limits}; {n} of {count(row['animals'], 'animal')}, {row['running']:,} still running)."
        )

    def notes(self) -> tuple[str, ...]:
        """Return the definition and what was left out."""
        if not self.recorded:
            return ()
        notes = [
            _DEFINITION,
            "Animals: each once, a group as many as it has; a group is drawn as one for the interval.",
        ]
        if len(self.strays):
            notes.append(
                f"{money(exact_sum(self.strays['amount']), self.currency)} in "
                f"{count(len(self.strays), 'entry', 'entries')} lies outside the days of its episode and is in no mean."
            )
        if self.entered_late:
            notes.append(
                f"{count(self.entered_late, 'episode')} found before the records of spending start "
                f"{were(self.entered_late)} left out."
            )
        if self.relapses:
            notes.append(
                f"{count(self.relapses, 'later episode')} of a condition in the same stay "
                f"{were(self.relapses)} left out."
            )
        if self.unattributed:
            notes.append(
                f"{money(self.unattributed, self.currency)} of medical spending cannot be tied to one episode "
                f"and is in no mean."
            )
        if self.in_kind:
            notes.append(f"Gifts in kind of {money(self.in_kind, self.currency)} are counted.")
        return tuple(notes)


def per_episode(records: Records, *, draws: int = 1000, seed: int = 0) -> PerEpisode:
    """Estimate the mean medical cost of an episode to 180 days by condition.

    Parameters
    ----------
    records : Records
    draws, seed : int
        Bootstrap draws of animals, and the seed that repeats them.

    Returns
    -------
    PerEpisode

    Notes
    -----
    Partitioned by 30 days; complete = ended in any way or reached day 180. An episode of a group is one episode, ended
    when it ended for all. Spending that names a stay with one episode is that episode's; with several, nobody's, and
    said. Where nobody was followed to day 180 and some are cut off before, the mean is to the last 30 days reached
    (``to_day``). Spending before the day found or after the end is in no mean: it is listed, and all parts add up to
    the medical spending to the cent. A condition needs ``counts.animals`` animals, a group being one.
    """
    spells, seen, late, relapses = _followed(records)
    window = Period(records.start_of("spending"), max(records.as_of, records.start_of("spending")))
    rows = spent(records, window)
    rows = placed(rows[rows["category"] == "medical"], spells, records)
    cost, exact = by_interval(rows, spells, CUTS)
    least = int(records.settings["counts.animals"])
    groups = [(ALL, np.ones(len(spells), dtype=bool))]
    groups += [(str(c), (spells["condition"] == c).to_numpy()) for c in sorted(spells["condition"].unique())]
    table = [_estimated(name, spells[which], cost[which], exact[which], least, draws, seed) for name, which in groups]
    frame = pd.DataFrame(table, columns=list(COLUMNS)).assign(animals=[different_animals(seen), *_animals(seen)])
    currency = str(records.settings["rescue.currency"])
    frame.attrs.update(title="Medical cost of an episode to 180 days", definition=_DEFINITION, units={
        "episodes": "episodes", "animals": "animals", "ended_or_full": "episodes", "running": "episodes",
        "to_day": "days",
        **dict.fromkeys(("spent", "mean", "low", "high", "mean_of_closed"), currency)})  # fmt: skip
    counted = rows["place"] == COUNTED
    return PerEpisode(
        frame=frame, places=parts(rows, _medical(records, window), currency), strays=outside(rows, currency),
        currency=currency, recorded=bool(len(records["spending"])), entered_late=late, relapses=relapses,
        unattributed=exact_sum(rows.loc[rows["place"].isin(UNTOLD), "amount"]),
        in_kind=exact_sum(rows.loc[counted & (rows["paid"] == KIND), "amount"]), as_of=records.as_of,
    )  # fmt: skip


def _medical(records: Records, window: Period) -> Decimal:
    """Sum medical spending a second time, from the table as read."""
    table = records["spending"]
    return exact_sum(table.loc[window.contains(table["spent_on"]) & (table["category"] == "medical"), "amount"])


def _animals(seen: pd.DataFrame) -> list[int]:
    return [different_animals(rows) for _, rows in seen.groupby("condition", sort=True)]


def _followed(records: Records) -> tuple[pd.DataFrame, pd.DataFrame, int, int]:
    """Return one row an episode seen from the day found, their parts, and how many were left out: late, relapses."""
    rows = episodes(records)
    rows = rows[~rows["dead_on_arrival"]]
    whole = rows.groupby("episode_id", sort=False).agg(
        cluster=("cluster", "first"), condition=("condition", "first"), found_on=("found_on", "first"),
        time=("last_day", "max"), open=("cause", lambda c: c.eq(0).any()),
        relapse=("relapse", "first"), entry=("entry", "max"),
    ).reset_index()  # fmt: skip
    relapse = whole["relapse"].astype(bool)
    late = (whole["entry"] > -1) | (whole["found_on"] < records.start_of("spending"))
    kept = whole[~late & ~relapse].reset_index(drop=True)
    kept = kept.assign(ended=~kept["open"].astype(bool), time=kept["time"].clip(lower=0))
    return kept, rows[rows["episode_id"].isin(kept["episode_id"])], int((late & ~relapse).sum()), int(relapse.sum())


def _estimated(
    name: str, spells: pd.DataFrame, cost: np.ndarray, exact: np.ndarray, least: int, draws: int, seed: int
) -> dict[str, object]:
    time, ended = spells["time"].to_numpy("float64"), spells["ended"].to_numpy(bool)
    own = spells["cluster"].nunique()
    complete = int((ended | (time >= CUTS[-1])).sum())
    row = {"condition": name, "episodes": len(spells), "animals": 0, "ended_or_full": complete,
           "running": len(spells) - complete, "spent": exact_sum(exact), "answer": "too few to say",
           **dict.fromkeys(("to_day", "mean", "low", "high", "mean_of_closed"), np.nan)}  # fmt: skip
    cuts = _reached(time, ended)
    if own < least or len(cuts) < 2:
        return row
    spent_by = cost[:, : len(cuts) - 1]
    got = mean_cost(time, ended, spent_by, cuts, cluster=spells["cluster"].to_numpy(), draws=draws, seed=seed)
    limits = {"mean": got.estimate, "low": got.low, "high": got.high}
    return row | limits | {"to_day": float(cuts[-1]), "mean_of_closed": got.closed_mean, "answer": "estimated"}


def _reached(time: np.ndarray, ended: np.ndarray) -> np.ndarray:
    """Return the cuts up to which costs are known: all, unless those followed longest were cut off before."""
    if not len(time) or ended[time == time.max()].all():
        return CUTS
    return CUTS[time.max() >= CUTS]
