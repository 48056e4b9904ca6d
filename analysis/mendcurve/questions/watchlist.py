"""Which animals should someone look at? One line an animal, as a question with its evidence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.questions.answer import Answer
from mendcurve.questions.rows import each
from mendcurve.questions.watchlist_rules import RULES
from mendcurve.questions.watchlist_sources import COLUMNS, Sources
from mendcurve.questions.weights_screen import screen
from mendcurve.questions.wording import cell, count, day, percent
from mendcurve.records.records import Records

LIST_COLUMNS = ("rank", "stay_id", "species", "why", "began", "line", "status", "also")
_SETTINGS = ("watch.false_alarms_per_week", "watch.overdue_factor", "watch.missed_dose_days", "watch.vet_wait_days",
             "watch.recheck_days", "watch.ready_days", "watch.long_stay_share", "watch.drop_percent")  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Watch(Answer):
    """The watch list now, and what became of the list of some days ago."""

    frame: pd.DataFrame
    evidence: pd.DataFrame
    gone: pd.DataFrame
    again: pd.DataFrame
    thresholds: tuple[str, ...]
    as_of: pd.Timestamp
    since: pd.Timestamp
    in_care: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row an animal: rank, what, since when, the line to read out, new or still there, what else."""
        return self.frame

    def reasons(self) -> pd.DataFrame:
        """Return one row an animal and rule: stay_id, species, rule, began, evidence, question, status."""
        return self.evidence

    def resolved(self) -> pd.DataFrame:
        """Return what stood on the earlier list and no longer does, and whether the animal is still in care."""
        return self.gone

    def weigh_again(self) -> pd.DataFrame:
        """Return animals whose last weight is far below their highest: weigh again today, outside the list."""
        return self.again

    def sentence(self) -> str:
        """Return how many animals stand on the list, how many are new, and how many left it."""
        n, new = len(self.frame), int((self.frame["status"] == "new").sum())
        tail = f"; {count(len(self.again), 'animal')} should be weighed again today" if len(self.again) else ""
        if n == 0:
            return f"No animal in care on {day(self.as_of)} is on the watch list{tail}."
        verb = "is" if n == 1 else "are"
        done = f"{count(len(self.gone), 'line')} of the earlier list {'is' if len(self.gone) == 1 else 'are'} resolved"
        return (
            f"{count(n, 'animal')} of {self.in_care:,} in care on {day(self.as_of)} {verb} on the watch list, "
            f"{new:,} of them new since {day(self.since)}; {done}{tail}."
        )

    def notes(self) -> tuple[str, ...]:
        """Return what the list is, and its thresholds."""
        return (
            "Each line is a question, made from the records alone: someone should look. It is not a diagnosis, and "
            "what to do is the vet's decision.",
            f"The list of {day(self.since)} was made again from the same records, cut at that day.",
            f"Thresholds: {'; '.join(self.thresholds)}.",
        )


def watch(records: Records, since_days: int = 7) -> Watch:
    """Make the watch list at the as-of date and set it against the list of ``since_days`` days earlier.

    Parameters
    ----------
    records : Records
    since_days : int
        1 or more.

    Returns
    -------
    Watch

    Raises
    ------
    InputError
        If ``since_days`` is below 1.

    Notes
    -----
    Rules, in order of rank, are those of ``watchlist_rules.RULES``; an animal stands once, by its first rule, the
    longest lasting first within a rule; its other rules are in ``also``. A rule whose source is not recorded finds
    nothing. The earlier list is made from ``records.cut``. A line is resolved when its rule no longer finds the animal.
    """
    if since_days < 1:
        raise InputError(f"The watch list is set against an earlier day, but since_days is {since_days}.",
                         remedy="Give 1 or more.")  # fmt: skip
    since = records.as_of - pd.Timedelta(days=since_days)
    now, again, here = _lines(records)
    before, _, _ = _lines(records.cut(since))
    was = pd.MultiIndex.from_frame(before[["stay_id", "rule"]])
    old = pd.MultiIndex.from_frame(now[["stay_id", "rule"]]).isin(was)
    now = now.assign(status=np.where(old, "still there", "new"))
    left = before[~was.isin(pd.MultiIndex.from_frame(now[["stay_id", "rule"]]))]
    gone = left.assign(now=np.where(left["stay_id"].isin(here), "in care", "no longer in care"))
    gone = gone[["stay_id", "species", "rule", "began", "evidence", "now"]].reset_index(drop=True)
    gone.attrs.update(title=f"Resolved since {day(since)}")
    now.attrs.update(title="Watch list, every reason")
    return Watch(
        frame=_one_each(now), evidence=now.drop(columns="rank"), gone=gone, again=again, as_of=records.as_of,
        since=since, in_care=len(here), thresholds=_thresholds(records),
    )  # fmt: skip


def _thresholds(records: Records) -> tuple[str, ...]:
    return tuple(f"{k.split('.')[1].replace('_', ' ')} {cell(records.settings[k])}" for k in _SETTINGS)


def _lines(records: Records) -> tuple[pd.DataFrame, pd.DataFrame, pd.Index]:
    """Return every rule's lines, the animals to weigh again, and the stays in care."""
    seen, weights = Sources(records), screen(records)
    parts = [rule(seen, weights).assign(rank=i) for i, rule in enumerate(RULES, start=1)]
    some = [p for p in parts if len(p)] or parts[:1]
    lines = pd.concat(some, ignore_index=True).reindex(columns=[*COLUMNS, "rank"])
    drops = weights.drops()
    drops = drops[drops["confirmed"].isna() | (drops["confirmed"] == "")] if len(drops) else drops
    return lines, _again(drops), seen.here.index


def _one_each(lines: pd.DataFrame) -> pd.DataFrame:
    rows = lines.sort_values(["rank", "began", "stay_id"], kind="stable")
    also = rows.groupby("stay_id")["rule"].agg(lambda r: "; ".join(dict.fromkeys(r.iloc[1:])))
    # An animal is new when nothing of it stood on the earlier list.
    still = rows["status"].eq("still there").groupby(rows["stay_id"]).any()
    top = rows.drop_duplicates("stay_id").reset_index(drop=True)
    line = top["stay_id"] + ", " + top["species"] + ": " + top["evidence"] + "; " + top["question"]
    status = np.where(top["stay_id"].map(still).astype(bool), "still there", "new")
    frame = pd.DataFrame({
        "rank": np.arange(1, len(top) + 1), "stay_id": top["stay_id"], "species": top["species"], "why": top["rule"],
        "began": top["began"], "line": line, "status": status, "also": top["stay_id"].map(also),
    }, columns=list(LIST_COLUMNS))  # fmt: skip
    frame.attrs.update(title="Animals to look at")
    return frame


def _again(drops: pd.DataFrame) -> pd.DataFrame:
    frame = drops.reset_index(drop=True)
    said = [
        f"{row.stay_id}, {row.species}: {cell(row.weight_g)} g on {day(row.weighed_on)}, {row.drop_percent:.0f} % "
        f"below {cell(row.highest_g)} g of {day(row.highest_on)}{_by_noise(row.expected_percent)}; "
        "what does it weigh today?"
        for row in each(frame)
    ]
    frame = frame.assign(line=pd.Series(said, index=frame.index, dtype="object"))
    frame.attrs = {**drops.attrs, "title": "Weigh again today"}
    return frame


def _by_noise(expected: float) -> str:
    return "" if pd.isna(expected) else f" ({percent(expected / 100)} of steady animals show this from noise alone)"
