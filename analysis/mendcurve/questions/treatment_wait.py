"""How long until a vet has seen a condition."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.clusters import cluster_incidence
from mendcurve.methods.quantiles import quantile
from mendcurve.methods.survival import Incidence, cumulative_incidence
from mendcurve.methods.tally import Tally
from mendcurve.questions.answer import Answer
from mendcurve.questions.spans import from_to, span
from mendcurve.questions.wording import NOT_RECORDED, count, listing, percent, were
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.period import Period

ALL = "all conditions"
SEEN_NEEDED = 0.8  # share of closed episodes that must carry a date seen (METHODS 0)
CAUSES = ("seen", "cleared unseen", "died unseen", "left unseen")
_UNSEEN = {"cleared": 2, "managed": 2, "misdiagnosed": 2, "died": 3, "left uncleared": 4, "missing": 4}
WAIT_COLUMNS = (
    "condition",
    "episodes",
    "seen",
    "cleared_unseen",
    "died_unseen",
    "left_unseen",
    "waiting",
    "closed",
    "closed_with_date",
    "answer",
    "by_day",
    "share_seen",
    "low",
    "high",
    "median_days",
    "median_low",
    "median_high",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class VetWait(Answer):
    """Wait from the day found to the day a vet saw it, by condition."""

    frame: pd.DataFrame
    curve: pd.DataFrame
    period: Period
    left_out: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row in all and one a condition."""
        return self.frame

    def curves(self) -> pd.DataFrame:
        """Return the cumulative incidence of every end: condition, cause, day, share, low, high, at_risk."""
        return self.curve

    def sentence(self) -> str:
        """Return how many were seen, in what time, and how many ended or wait unseen."""
        row = self.frame.iloc[0]
        if row["episodes"] == 0:
            return f"No condition was found {from_to(self.period)}, so there is no wait for the vet to tell of."
        if row["answer"] == NOT_RECORDED:
            return (
                f"The wait for the vet is not recorded: {row['closed_with_date']:,} of {row['closed']:,} closed "
                f"episodes found {from_to(self.period)} carry the day a vet saw them."
            )
        ends = [f"{row[c.replace(' ', '_')]:,} {c}" for c in CAUSES[1:] if row[c.replace(" ", "_")]]
        tail = f" ({listing(ends)}, {row['waiting']:,} still waiting)" if ends or row["waiting"] else ""
        share = ""
        if not np.isnan(row["share_seen"]):
            share = (
                f"; by day {row['by_day']:.0f} about {percent(row['share_seen'])} of {row['episodes']:,} had been "
                f"(95 % interval {percent(row['low'])} to {percent(row['high'])})"
            )
        return (
            f"Of {count(row['episodes'], 'episode')} found {from_to(self.period)}, {row['seen']:,} {were(row['seen'])} "
            f"seen by a vet{tail}{share}."
        )

    def notes(self) -> tuple[str, ...]:
        """Return how ends without a vet are counted, and who was left out."""
        notes = [
            "Those that were cleared, died or left before a vet saw them stay in the denominator.",
            'A condition is "not recorded" where fewer than 80 % of its closed episodes carry a date seen.',
        ]
        hidden = self.frame.loc[self.frame["answer"] == NOT_RECORDED, "condition"].tolist()
        if hidden and hidden != [ALL]:
            notes.append(f"Not recorded well enough to say: {listing([h for h in hidden if h != ALL])}.")
        if self.left_out:
            notes.append(
                f"{count(self.left_out, 'episode')} {were(self.left_out)} already over before the records start."
            )
        return tuple(notes)


def vet_wait(records: Records, period: Period | None = None) -> VetWait:
    """Estimate the wait from the day found to the day a vet saw the episode.

    Parameters
    ----------
    records : Records
    period : Period, optional
        Episodes found in it, followed to the as-of date; all, if not given.

    Returns
    -------
    VetWait

    Notes
    -----
    Cumulative incidence of being seen, against cleared, died and left unseen; those still waiting are censored.
    Managed and misdiagnosed without a date seen count with cleared unseen, missing with left unseen. Seen before the
    day found is day 0. Limits of ``share_seen`` go by animal. ``by_day`` is the setting ``watch.vet_wait_days``. A
    curve needs ``counts.animals`` episodes.
    """
    period = span(records, period)
    rows = episodes(records)
    rows = rows[period.contains(rows["found_on"]) & ~rows["dead_on_arrival"]]
    waited = (rows["vet_seen_on"] - rows["found_on"]).dt.days.clip(lower=0)
    seen = waited.notna() & (waited <= rows["last_day"])
    rows = rows.assign(
        seen=rows["vet_seen_on"].notna(),
        exit=np.where(seen, waited, rows["last_day"]),
        why=np.where(seen, 1, rows["end"].map(_UNSEEN).fillna(0)).astype("int64"),
    )
    used = rows[rows["exit"] > rows["entry"]]
    by_day = int(records.settings["watch.vet_wait_days"])
    least = int(records.settings["counts.animals"])
    groups = [(ALL, used), *((str(name), part) for name, part in used.groupby("condition"))]
    made = [_waited(name, part, by_day, least) for name, part in groups]
    frame = pd.DataFrame([row for row, _ in made], columns=list(WAIT_COLUMNS))
    days = dict.fromkeys(("by_day", "median_days", "median_low", "median_high"), "days")
    frame.attrs.update(
        title="Wait for the vet, from the day found",
        units={
            **dict.fromkeys(WAIT_COLUMNS[1:9], "episodes"),
            **days,
            **dict.fromkeys(("share_seen", "low", "high"), "proportion"),
        },
    )
    return VetWait(frame=frame, curve=_joined([c for _, c in made]), period=period, left_out=len(rows) - len(used))


def _waited(name: str, rows: pd.DataFrame, by_day: int, least: int) -> tuple[dict[str, object], pd.DataFrame]:
    ends = {
        c.replace(" ", "_"): rows.loc[rows["why"] == i, "episode_id"].nunique() for i, c in enumerate(CAUSES, start=1)
    }
    closed = rows["cause"] > 0
    with_date = int((closed & rows["seen"]).sum())
    row: dict[str, object] = {
        "condition": name, "episodes": rows["episode_id"].nunique(), **ends,
        "waiting": rows.loc[rows["why"] == 0, "episode_id"].nunique(),
        "closed": int(closed.sum()), "closed_with_date": with_date, "answer": "", "by_day": by_day,
        **dict.fromkeys(("share_seen", "low", "high", "median_days", "median_low", "median_high"), np.nan),
    }  # fmt: skip
    if closed.any() and with_date < SEEN_NEEDED * closed.sum():
        return row | {"answer": NOT_RECORDED}, curve_frame(name, None)
    if len(rows) < least:
        return row | {"answer": "too few to say"}, curve_frame(name, None)
    curve = incidence_of(rows, CAUSES)
    half = quantile(curve, 0.5, cause="seen")
    at = cluster_incidence(
        rows["entry"], rows["exit"], rows["why"], rows["cluster"].to_numpy(object), [by_day], weight=rows["animals"],
        causes=CAUSES,
    )  # fmt: skip
    return row | {
        "answer": "estimated", "share_seen": float(at.share[0, 0]), "low": float(at.low[0, 0]),
        "high": float(at.high[0, 0]), "median_days": float(np.ravel(half.estimate)[0]),
        "median_low": float(np.ravel(half.low)[0]), "median_high": float(np.ravel(half.high)[0]),
    }, curve_frame(name, curve)  # fmt: skip


def incidence_of(rows: pd.DataFrame, causes: tuple[str, ...]) -> Incidence:
    """Cumulative incidence with each row weighted by its animals, so that a clutch is one piece of evidence."""
    return cumulative_incidence(
        Tally.from_arrays(
            rows["entry"].to_numpy("int64"),
            rows["exit"].to_numpy("int64"),
            rows["why"].to_numpy("int64"),
            weight=rows["animals"].to_numpy("float64"),
            causes=causes,
        )
    )


def curve_frame(name: str, curve: Incidence | None) -> pd.DataFrame:
    """Return the curves of one group as rows; no rows without a curve."""
    columns = ["condition", "cause", "day", "share", "low", "high", "at_risk"]
    if curve is None:
        return pd.DataFrame({c: pd.Series(dtype="str" if c in columns[:2] else "float64") for c in columns})
    k = len(curve.day)
    return pd.concat(
        [
            pd.DataFrame(
                {
                    "condition": name,
                    "cause": cause,
                    "day": curve.day,
                    "share": curve.share[0, i],
                    "low": curve.low[0, i],
                    "high": curve.high[0, i],
                    "at_risk": curve.at_risk[0][:k],
                }
            )
            for i, cause in enumerate(curve.causes)
        ],
        ignore_index=True,
    )


def _joined(parts: list[pd.DataFrame]) -> pd.DataFrame:
    some = [p for p in parts if len(p)]
    frame = pd.concat(some, ignore_index=True) if some else parts[0]
    frame.attrs.update(
        title="Wait for the vet",
        units={
            "day": "days since found",
            "share": "proportion",
            "low": "proportion",
            "high": "proportion",
            "at_risk": "animals",
        },
    )
    return frame
