"""Length of stay from every stay, open ones included, by taxon group and by how it ended."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import Told, curve_frame, told
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.spans import from_to, sentence_case, span
from mendcurve.questions.wording import count, percent, were, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import IN_CARE, LOST, stays

CAUSES = ("adopted", "other live outcome", "died", "missing", "kept for life")
DAYS = (30, 90, 180)
HORIZON = 365
STILL = "still in care"
ALL = "all records"
COLUMNS = (
    "cohort", "group", "animals", "stays", "left", "still_here", "median", "median_low", "median_high",
    *(f"left_by_{d}{limit}" for d in DAYS for limit in ("", "_low", "_high")),
    "adopted_by_90", "adopted_by_90_low", "adopted_by_90_high", "died_by_90", "died_by_90_low", "died_by_90_high",
    "leavers_mean", "enough",
)  # fmt: skip
DEFINITION = (
    "Days from intake to outcome, same day 0. Median: the first day by which half had left in any way, from all stays, "
    "those still open included (Kaplan-Meier; mid-p beta product limits). Adopted and died: cumulative incidence."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Length(Answer):
    """Length of stay for all animals and by taxon group.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``. ``leavers_mean`` is the mean of those that left, too small where many are still here
        (``still_here``): never to be shown without it.
    steps : DataFrame
        cohort, group, end (a cause, or "still in care"), day, share, low, high, at_risk, dashed.
    permanent, lost : int
        Animals kept for life from their first day, shown apart; animals lost track of.
    """

    frame: pd.DataFrame
    steps: pd.DataFrame
    cohort: str
    permanent: int
    lost: int
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each cohort and group."""
        return self.frame

    def curves(self) -> pd.DataFrame:
        """Return the steps of the curves."""
        return self.steps

    def sentence(self) -> str:
        """Return the median stay of all, with the mean of leavers beside the number still here."""
        if not self.outcomes:
            return without_outcomes("how long animals stay")
        rows = self.frame[(self.frame["cohort"] == self.cohort) & (self.frame["group"] == "all")]
        if not len(rows):
            return "No stay is under observation, so nothing can be said of its length."
        row = rows.iloc[0]
        text = (
            f"Of {count(row['animals'], 'animal')} {self._which()}, {_left(row['left'])} and {_here(row['still_here'])}"
        )
        if not row["enough"]:
            return f"{text}; that is too few to say how long a stay lasts."
        text += f"; {_half(row)}."
        if row["left"] and row["still_here"]:
            text += (
                f" The mean stay of those that left, {count(row['leavers_mean'], 'day')}, takes no account of the "
                f"{row['still_here']:,} still here: do not read it as the length of a stay."
            )
        return text

    def _which(self) -> str:
        return "under observation" if self.cohort == ALL else f"that {self.cohort}"

    def notes(self) -> tuple[str, ...]:
        """Return the definition and who is shown apart."""
        if not self.outcomes:
            return ()
        out = [DEFINITION]
        if self.permanent:
            n = self.permanent
            out.append(f"{sentence_case(count(n, 'animal'))} kept for life from the first day {were(n)} left out.")
        if self.lost:
            out.append(
                f"{sentence_case(count(self.lost, 'animal'))} {were(self.lost)} lost track of: cut at the last record."
            )
        return tuple(out)


def length(records: Records, period: Period | None = None) -> Length:
    """Return the length of stay; with a period, of the stays that began in it, beside all records."""
    frame = stays(records)
    rows = observed(frame)
    groups = {ALL: rows}
    if period is not None:
        period = span(records, period)
        groups[f"came {from_to(period)}"] = rows[period.contains(rows["clock_start"])]
    table, steps = [], []
    for cohort, some in groups.items():
        parts = [*told(some, None, CAUSES, records.settings), *told(some, "taxon", CAUSES, records.settings)]
        table += [_row(cohort, one, _of(some, one.group)) for one in parts]
        steps += [_steps(one).assign(cohort=cohort) for one in parts if one.enough]
    result = pd.DataFrame(table, columns=list(COLUMNS)).astype({"enough": "bool"})
    result.attrs.update(title="Length of stay", definition=DEFINITION, units=_units())
    curve = pd.concat(steps, ignore_index=True) if steps else pd.DataFrame(
        columns=["group", "end", "day", "share", "low", "high", "at_risk", "dashed", "cohort"])  # fmt: skip
    curve.attrs.update(units={"day": "days since intake", "share": "proportion", "at_risk": "animals"})
    for_life = frame["permanent"] & (frame["permanent_from"] <= frame["intake_date"])
    return Length(
        frame=told_of(records, result), steps=told_of(records, curve), outcomes=records.has("outcomes"),
        cohort=list(groups)[-1],
        permanent=int(frame.loc[for_life, "animals"].sum()),
        lost=int(frame.loc[frame["end"] == LOST, "animals"].sum()),
    )  # fmt: skip


def observed(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of ``stays`` a length is counted from, with ``cause`` as in ``CAUSES``.

    Notes
    -----
    An animal declared a permanent resident later on leaves the count that day as "kept for life", which competes with
    the outcomes; one that was so from its first day is shown apart. Leaving out all that became so would condition on
    the future.
    """
    frame = frame[frame["used"] & ~(frame["permanent"] & (frame["permanent_from"] <= frame["intake_date"]))]
    cause = pd.Series(0, index=frame.index)
    cause = cause.mask(frame["end"] == "live", 2).mask(frame["outcome"] == "adopted", 1)
    cause = cause.mask(frame["end"] == "died", 3).mask(frame["end"] == "missing", 4).mask(frame["permanent"], 5)
    kept_on = (frame["permanent_from"] - frame["clock_start"]).dt.days
    exit_day = frame["exit"].astype("float64").where(~frame["permanent"], kept_on.astype("float64")).astype("int64")
    frame = frame.assign(cause=cause, exit=exit_day)
    return frame[frame["exit"] > frame["entry"]]


def _of(rows: pd.DataFrame, group: str) -> pd.DataFrame:
    return rows if group == "all" else rows[rows["taxon"] == group]


def _row(cohort: str, one: Told, rows: pd.DataFrame) -> dict[str, object]:
    gone = rows[rows["end"].isin(["live", "died", "missing", "not recorded"])]
    animals = int(gone["animals"].sum())
    row: dict[str, object] = {
        "cohort": cohort, "group": one.group, "animals": int(rows.loc[rows["end"] != "split off", "animals"].sum()),
        "stays": int(rows["stay_id"].nunique()), "left": animals,
        "still_here": int(rows.loc[rows["end"].isin([IN_CARE, LOST]), "animals"].sum()), "enough": one.enough,
        "leavers_mean": float((gone["days"] * gone["animals"]).sum() / animals) if animals else float("nan"),
    }  # fmt: skip
    row |= dict(zip(("median", "median_low", "median_high"), one.median_any(), strict=True))
    for day in DAYS:
        row |= dict(
            zip((f"left_by_{day}", f"left_by_{day}_low", f"left_by_{day}_high"), ended_by(one, day), strict=True)
        )
    for cause in ("adopted", "died"):
        names = (f"{cause}_by_90", f"{cause}_by_90_low", f"{cause}_by_90_high")
        row |= dict(zip(names, one.by(90, cause), strict=True))
    return row


def ended_by(one: Told, day: float) -> tuple[float, float, float]:
    """Return the share that ended in any way by a day, with limits; nan where the curve does not reach it."""
    if one.incidence is None or not one.first <= day <= one.reach:
        return (float("nan"),) * 3
    at = one.still().at([day])
    return 1 - float(at.share[0, 0]), 1 - float(at.high[0, 0]), 1 - float(at.low[0, 0])


def _steps(one: Told) -> pd.DataFrame:
    ends = curve_frame(one, HORIZON)
    days = ends.loc[ends["end"] == CAUSES[0], ["group", "day", "at_risk", "dashed"]]
    at = one.still().at(days["day"].to_numpy())
    still = days.assign(end=STILL, share=at.share[0], low=at.low[0], high=at.high[0])
    return pd.concat([still, ends], ignore_index=True)


def _half(row: pd.Series) -> str:
    if math.isnan(row["median"]):
        return f"fewer than half had left by the last day the records reach ({percent(row['left_by_90'])} by day 90)"
    if math.isnan(row["median_high"]):
        return f"half had left by day {row['median']:.0f} (95 % interval from day {row['median_low']:.0f} on)"
    limits = f"day {row['median_low']:.0f} to {row['median_high']:.0f}"
    return f"half had left by day {row['median']:.0f} (95 % interval {limits})"


def _left(n: int) -> str:
    return f"{n:,} left" if n else "none left"


def _here(n: int) -> str:
    return f"{n:,} {'is' if n == 1 else 'are'} still here" if n else "none are still here"


def _units() -> dict[str, str]:
    units = {"animals": "animals", "stays": "stays", "left": "animals", "still_here": "animals"}
    days = ("median", "median_low", "median_high", "leavers_mean")
    return units | {c: "days" if c in days else "proportion" for c in COLUMNS[6:-1]}
