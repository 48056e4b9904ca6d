"""Which conditions were found, in how many animals, and which travel together."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.spans import from_to, sentence_case, span
from mendcurve.questions.wording import count
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import OPEN, animals_by, episodes
from mendcurve.timelines.period import Period

SEVERITIES = ("mild", "moderate", "severe", "not recorded")


@dataclass(frozen=True, kw_only=True, eq=False)
class Conditions(Answer):
    """Conditions found in a period.

    Attributes
    ----------
    frame : DataFrame
        condition; episodes (records), animals, of them relapses (animals), as_main_reason (animals), by severity
        (animals), open_now (animals).
    per_animal : DataFrame
        conditions (1, 2, ...), stays, animals: how many different conditions a stay had.
    pairs : DataFrame
        condition, with, stays, animals: stays that had both.
    period : Period
    """

    frame: pd.DataFrame
    per_animal: pd.DataFrame
    pairs: pd.DataFrame
    period: Period
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each condition, commonest first."""
        return self.frame

    def several(self) -> pd.DataFrame:
        """Return how many conditions animals had."""
        return self.per_animal

    def together(self) -> pd.DataFrame:
        """Return which conditions were found in the same stay."""
        return self.pairs

    def sentence(self) -> str:
        """Return how many conditions were found, the commonest, and how many animals had several."""
        if not self.recorded:
            return "Conditions are not recorded."
        when = sentence_case(from_to(self.period))
        if not len(self.frame):
            return f"{when} no condition was found."
        top, animals = self.frame.iloc[0], int(self.per_animal["animals"].sum())
        several = int(self.per_animal.loc[self.per_animal["conditions"] > 1, "animals"].sum())
        return (
            f"{when}, {count(len(self.frame), 'condition')} {'was' if len(self.frame) == 1 else 'were'} found in "
            f"{count(animals, 'animal')}, most often {top['condition']} ({count(top['animals'], 'animal')}); "
            f"{several:,} of {animals:,} had more than one."
        )

    def notes(self) -> tuple[str, ...]:
        """Return how animals are counted."""
        return (
            "An animal is counted once for each condition it had; counts by condition do not add up to animals. "
            "Severity is that of its first episode in the period; a relapse is counted beside, not as one more animal.",
        )


def conditions(records: Records, period: Period | None = None) -> Conditions:
    """Return the conditions found in the period, per condition, per animal and in pairs."""
    period = span(records, period)
    rows = episodes(records)
    rows = rows[period.contains(rows["found_on"]) & (rows["end"] != "split off")]
    key = ["stay_id", "condition"]
    rows = rows.sort_values("found_on", kind="stable")
    first = rows.drop_duplicates(key).set_index(key)
    severity = first["severity"].fillna("not recorded")
    animals = animals_by(rows, key).reindex(first.index)
    none = pd.Series(0, index=first.index)
    open_now, again = (rows[rows["end"] == OPEN], rows[rows["relapse"]])
    parts = {
        "animals": animals, "relapses": none.add(again.groupby(key)["animals"].sum(), fill_value=0),
        "as_main_reason": animals.where(rows.groupby(key)["primary"].any().reindex(first.index), 0),
        **{s.replace(" ", "_"): animals.where(severity == s, 0) for s in SEVERITIES},
        "open_now": none.add(animals_by(open_now, key), fill_value=0),
    }  # fmt: skip
    frame = pd.DataFrame(parts).groupby(level="condition").sum().astype("int64")
    frame.insert(0, "episodes", rows.groupby("condition")["episode_id"].nunique())
    frame = frame.sort_values(["animals", "episodes"], ascending=False, kind="stable").rename_axis(index="condition")
    frame = frame.reset_index()
    frame.attrs.update(title=f"Conditions found {from_to(period)}",
                       units={"episodes": "records", **dict.fromkeys(parts, "animals")})  # fmt: skip
    by_stay = animals.rename("animals").reset_index()
    return Conditions(frame=frame, per_animal=_per_animal(by_stay), pairs=_pairs(by_stay), period=period,
                      recorded=records.has("conditions"))  # fmt: skip


def _per_animal(by_stay: pd.DataFrame) -> pd.DataFrame:
    each = by_stay.groupby("stay_id").agg(conditions=("condition", "nunique"), animals=("animals", "max"))
    out = each.groupby("conditions")["animals"].agg(["size", "sum"]).rename(columns={"size": "stays", "sum": "animals"})
    out = out.astype("int64").reset_index()
    out.attrs.update(title="How many conditions an animal had", units={"stays": "stays", "animals": "animals"})
    return out


def _pairs(by_stay: pd.DataFrame) -> pd.DataFrame:
    both = by_stay.merge(by_stay, on="stay_id", suffixes=("", "_2"))
    both = both[both["condition"] < both["condition_2"]]
    both = both.assign(animals=both[["animals", "animals_2"]].min(axis=1))
    out = both.groupby(["condition", "condition_2"])["animals"].agg(["size", "sum"])
    out = out.rename(columns={"size": "stays", "sum": "animals"}).astype("int64").reset_index()
    out = out.rename(columns={"condition_2": "with"}).sort_values("animals", ascending=False, kind="stable")
    out = out.reset_index(drop=True)
    out.attrs.update(title="Conditions found in the same stay", units={"stays": "stays", "animals": "animals"},
                     definition="Counts only: being found together is no cause.")  # fmt: skip
    return out
