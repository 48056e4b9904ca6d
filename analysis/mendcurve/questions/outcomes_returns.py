"""How many adopted animals come back, by time since adoption."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import CURVE_COLUMNS, Told, curve_frame, told
from mendcurve.questions.wording import count, percent, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.stays import stays

DAYS = (30, 60, 90, 180, 365)
CAUSES = ("returned", "died after leaving")


@dataclass(frozen=True, kw_only=True, eq=False)
class Returns(Answer):
    """Cumulative incidence of coming back since adoption; death after leaving competes where it was heard of.

    Attributes
    ----------
    frame : DataFrame
        day, share, low, high (proportion), at_risk (animals); empty where it is not recorded or too few.
    steps : DataFrame
        The curve, for drawing.
    adopted, returned, without_id : int
        Animals adopted since the records start with an ``animal_id``; of them come back so far; adopted without one.
    recorded : bool
    fewest : int
        Fewest animals for a curve.
    """

    frame: pd.DataFrame
    steps: pd.DataFrame
    adopted: int
    returned: int
    without_id: int
    recorded: bool
    fewest: int
    as_of: pd.Timestamp
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return the share that came back by day."""
        return self.frame

    def curve(self) -> pd.DataFrame:
        """Return the steps of the curve."""
        return self.steps

    def sentence(self) -> str:
        """Return how many came back, and the share by the last day the records reach."""
        if not self.outcomes:
            return without_outcomes("how many were adopted and came back")
        if not self.recorded:
            return "Returns after adoption are not recorded: an animal must keep its animal_id when it comes back."
        if not self.adopted:
            return "No animal was adopted since the records start, so no return can be counted."
        text = f"Of {count(self.adopted, 'adopted animal')}, {_some(self.returned)} came back so far"
        known = self.frame.dropna(subset=["share"])
        if not len(known):
            return f"{text}; that is too few to say how this grows with time."
        row = known.iloc[-1]
        limits = f"95 % interval {percent(row['low'])} to {percent(row['high'])}"
        return (
            f"{text}; by day {int(row['day'])} after adoption {percent(row['share'])} had ({limits}, "
            f"{count(row['at_risk'], 'animal')} followed that long)."
        )

    def notes(self) -> tuple[str, ...]:
        """Return what counts as coming back, and who is not in it."""
        if not self.outcomes:
            return ()
        out = [
            "Counted from the day of adoption; any later stay of the same animal is a return, however it came. "
            "An animal of which nothing was heard is taken to be in its home; one heard to have died can no longer "
            "come back."
        ]
        if self.recorded and self.without_id:
            out.append(f"{count(self.without_id, 'adopted animal').capitalize()} without an animal_id left out.")
        return tuple(out)


def returns(records: Records) -> Returns:
    """Return the share of adopted animals that came back, by days since adoption."""
    frame = stays(records)
    adopted = frame[(frame["outcome"] == "adopted") & (frame["outcome_date"] >= records.records_start)]
    known = adopted[adopted["animal_id"].notna()]
    recorded = bool(len(known)) if len(adopted) else records.has("intakes", "animal_id")
    rows = _since_adoption(records, frame, known)
    one = next(told(rows, None, CAUSES, records.settings), None)
    reached = [] if one is None or not one.enough else [_by(one, day) for day in DAYS]
    table = pd.DataFrame(reached, columns=["day", "share", "low", "high", "at_risk"])
    table = table.astype({"day": "int64", "at_risk": "int64"})
    table.attrs.update(
        title="Came back, by days since adoption",
        units={"day": "days since adoption", "share": "proportion", "low": "proportion", "high": "proportion",
               "at_risk": "animals"},
        definition="Cumulative incidence of a new stay of the same animal; death after leaving competes.",
    )  # fmt: skip
    back = rows.loc[rows["cause"] == 1, "animals"].sum() if len(rows) else 0
    return Returns(
        frame=table, steps=pd.DataFrame(columns=list(CURVE_COLUMNS)) if one is None else curve_frame(one, DAYS[-1]),
        adopted=int(known["animals"].sum()), returned=int(back),
        without_id=int(adopted.loc[adopted["animal_id"].isna(), "animals"].sum()), recorded=recorded,
        fewest=int(records.settings["counts.animals"]), outcomes=records.has("outcomes"), as_of=records.as_of,
    )  # fmt: skip


def _since_adoption(records: Records, frame: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    """One row for each adoption: cut off, back, or heard to have died, whichever came first."""
    came = frame.loc[frame["is_intake"] & frame["animal_id"].notna(), ["animal_id", "intake_date", "stay_id"]]
    later = known[["stay_id", "animal_id", "outcome_date"]].merge(came, on="animal_id", suffixes=("", "_next"))
    later = later[(later["intake_date"] >= later["outcome_date"]) & (later["stay_id"] != later["stay_id_next"])]
    back = later.groupby("stay_id")["intake_date"].min()
    news = records["followups"]
    news = news[(news["status"] == "died") & (news["seen_on"] <= records.as_of)]
    died = news.groupby("stay_id")["seen_on"].min()
    origin = known["outcome_date"]
    back_on, died_on = (_days(known["stay_id"], dates, origin) for dates in (back, died))
    cut = (records.as_of - origin).dt.days
    first = pd.concat([cut, back_on, died_on.clip(lower=0)], axis=1).min(axis=1)
    cause = (back_on == first).astype("int64").mask((died_on == first) & (back_on != first), 2)
    return pd.DataFrame({
        "entry": -1, "exit": first.astype("int64"), "cause": cause, "animals": known["animals"],
        "cluster": known["cluster"],
    })  # fmt: skip


def _days(stay: pd.Series, dates: pd.Series, origin: pd.Series) -> pd.Series:
    on = dates.astype("datetime64[s]").reindex(stay.to_numpy()).to_numpy()
    return (pd.Series(on, index=origin.index) - origin).dt.days


def _by(one: Told, day: int) -> tuple[float, ...]:
    at_risk = 0 if one.incidence is None else float(one.incidence.at([day]).at_risk[0, 0])
    return (day, *one.by(day, "returned"), round(at_risk))


def _some(n: int) -> str:
    return "none" if n == 0 else f"{n:,}"
