"""Recovery by condition: share cleared by 30, 60 and 90 days, median, and every other way it ended."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import HORIZON, Told, told
from mendcurve.questions.recovery_cohort import ALL, Cohort, cohorts
from mendcurve.questions.wording import count, listing, percent
from mendcurve.records.records import Records
from mendcurve.records.settings import Settings
from mendcurve.timelines.clocks import CLOCKS
from mendcurve.timelines.episodes import CAUSES, clearing_recorded
from mendcurve.timelines.period import Period
from mendcurve.timelines.stays import LOST

DAYS = (30, 60, 90)
TELLING = 0.3
"""An interval of 15 points either side says something; a wider one says how many more animals it would take."""
NO_CLEARING = "When a condition was cleared is not recorded, so nothing can be said of how long recovery takes."


def definition(clock: str) -> str:
    """Return how the shares and medians are defined, counted from a clock."""
    return (
        f"Share cleared by a day: cumulative incidence since {CLOCKS[clock]}, all other ends competing; 95 % limits by "
        "the mid-p beta product. Median: first day by which half were cleared."
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Recovery(Answer):
    """Recovery by condition, for all records and, with a period, for its cohort and the year before.

    Attributes
    ----------
    frame : DataFrame
        cohort, condition, animals, episodes; animals by end (cleared, managed, misdiagnosed, died, left_uncleared,
        missing, open); cleared_by_30, _60, _90 each with _low and _high (proportion); median, median_low, median_high;
        begins, reaches (days); enough (bool); more_needed (animals, about: see ``more_needed``); says.
    ends : DataFrame
        Both ends for conditions with animals lost track of.
    recorded, clearing : bool
        Whether conditions, and when they were cleared, are recorded.
    """

    frame: pd.DataFrame
    ends: pd.DataFrame
    cohorts: tuple[Cohort, ...]
    recorded: bool
    clearing: bool
    fewest: int

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each cohort and condition."""
        return self.frame

    def both_ends(self) -> pd.DataFrame:
        """Return the share cleared by day 90 with animals lost track of cut at their last record, and still open."""
        return self.ends

    def sentences(self, cohort: str = ALL) -> tuple[str, ...]:
        """Return one sentence for each condition of a cohort."""
        return tuple(self.frame.loc[self.frame["cohort"] == cohort, "says"])

    def sentence(self) -> str:
        """Return how many episodes there were, and the commonest condition's recovery."""
        if not self.recorded:
            return "Conditions are not recorded, so nothing can be said of recovery."
        name = self.cohorts[-1].name if len(self.cohorts) == 1 else self.cohorts[1].name
        rows = self.frame[self.frame["cohort"] == name]
        if not len(rows):
            return "No condition was found in the period, so nothing can be said of recovery."
        text = (
            f"{count(len(rows), 'condition')} {_whose(name, len(rows))}, {count(rows['animals'].sum(), 'case')} in all "
            "(an animal is a case of each condition it had). "
        )
        if not self.clearing:
            return text + NO_CLEARING
        if rows["enough"].any():
            return text + rows.loc[rows["enough"], "says"].iloc[0]
        return text + "No condition has enough animals to say how long recovery takes."

    def notes(self) -> tuple[str, ...]:
        """Return the definition, who was left out, and the gate."""
        few = self.frame.loc[~self.frame["enough"] & (self.frame["cohort"] == ALL), "condition"]
        out = [definition(self.cohorts[0].clock), *self.cohorts[-1 if len(self.cohorts) == 1 else 1].notes()]
        if len(few) and self.clearing:
            out.append(
                f"Too few to say (fewer than {self.fewest} animals of their own, or never as many at risk as a curve "
                f"needs): {listing(sorted(few))}."
            )
        wide = self.frame[(self.frame["cohort"] == ALL) & self.frame["enough"] & (self.frame["more_needed"] > 0)]
        if len(wide) and self.clearing:
            each = [f"{r['condition']} {r['more_needed']:,.0f}" for _, r in wide.iterrows()]
            out.append(
                f"To know the share cleared to within {100 * TELLING / 2:.0f} points either way it would take about so "
                f"many more animals: {listing(each)}."
            )
        return tuple(out)


def by_condition(records: Records, period: Period | None = None, *, clock: str | None = None) -> Recovery:
    """Return recovery by condition; with a period, of the episodes found in it beside all records and a year before.

    Days are counted from the rescue's clock (``recovery.clock``), or from the one given.
    """
    groups = cohorts(records, period, clock)
    settings, clearing = records.settings, clearing_recorded(records)
    fewest = int(settings["counts.animals"])
    rows = [_row(c.name, one, clearing, fewest) for c in groups for one in told(c.rows, "condition", CAUSES, settings)]
    frame = pd.DataFrame(rows, columns=list(_columns()))
    frame = frame.astype({"animals": "int64", "episodes": "int64", "enough": "bool"})
    shares = {c: "proportion" for c in frame.columns if c.startswith("cleared_by")}
    days = dict.fromkeys(("median", "median_low", "median_high", "begins", "reaches"), since(groups[0].clock))
    frame.attrs.update(
        title="Recovery by condition",
        units={"animals": "animals", "more_needed": "animals", **days, **shares},
        definition=definition(groups[0].clock),
    )
    return Recovery(
        frame=frame, ends=_both_ends(records, groups[0], settings), cohorts=tuple(groups),
        recorded=records.has("conditions"), clearing=clearing, fewest=fewest,
    )  # fmt: skip


def since(clock: str) -> str:
    """Return the unit of days on a clock: 'days since the day found'."""
    return f"days since {CLOCKS[clock]}".replace("since the day found", "since found")


def cleared_words(one: Told, *, days: Sequence[int] = DAYS, clearing: bool = True) -> str:
    """Return the sentence of one condition: share cleared, median, and the other ends as counts."""
    name, counts = one.group, one.counts
    others = [
        (counts["died"], "died"), (counts["left uncleared"], "left uncleared"), (counts["missing"], "went missing"),
        (counts["managed"], "became lifelong"), (counts["misdiagnosed"], "turned out misdiagnosed"),
        (counts["open"], f"{'is' if counts['open'] == 1 else 'are'} still open or cut off"),
    ]  # fmt: skip
    rest = [f"{n:,} {what}" for n, what in others if n]
    ends = listing(rest) if rest else "nothing else happened"
    if not clearing:
        return f"{_title(name)}: {count(one.animals, 'case')}; when it was cleared is not recorded; {ends}."
    if not one.enough:
        every = listing([f"{counts['cleared']:,} cleared", *rest])
        return f"{_title(name)}: {count(one.animals, 'case')}, too few to say how long recovery takes; {every}."
    text = f"{_title(name)}: of {count(one.animals, 'case')}, {_median(one)}"
    day = max((d for d in days if d <= one.reach), default=0)
    if day:
        share, low, high = one.by(day, "cleared")
        text += f", and {percent(share)} by day {day} (95 % interval {percent(low)} to {percent(high)})"
    text += f"; {counts['cleared']:,} cleared so far, {ends}."
    if one.first > 0:
        text += f" The curve begins on day {one.first:.0f}, the first with enough at risk."
    return text


def _median(one: Told) -> str:
    middle, low, high = one.median("cleared")
    if math.isnan(middle):
        return f"fewer than half were cleared by day {one.last:.0f}, the last the records reach"
    if math.isnan(high):
        return f"half were cleared by day {middle:.0f} (95 % interval from day {low:.0f} on)"
    return f"half were cleared by day {middle:.0f} (95 % interval day {low:.0f} to {high:.0f})"


def more_needed(one: Told, fewest: int) -> float:
    """Return about how many more animals would be needed to say how long recovery takes, 0 where there are enough.

    Notes
    -----
    Without a curve: as many as it lacks of its own animals. With one: as would bring the 95 % interval of the share
    cleared, on the last of days 30, 60 and 90 it reaches, to ``TELLING`` from end to end, its width falling with the
    square root of the number. nan where neither can be told.
    """
    if not one.enough:
        return float(fewest - one.clusters) if one.clusters < fewest else float("nan")
    day = max((d for d in DAYS if d <= one.reach), default=0)
    if not day:
        return float("nan")
    _, low, high = one.by(day, "cleared")
    return max(0.0, math.ceil(one.animals * ((high - low) / TELLING) ** 2) - one.animals)


def _row(cohort: str, one: Told, clearing: bool, fewest: int) -> dict[str, object]:
    row: dict[str, object] = {"cohort": cohort, "condition": one.group, "animals": one.animals, "episodes": one.rows}
    row |= {name.replace(" ", "_"): n for name, n in one.counts.items()}
    nothing, enough = float("nan"), one.enough and clearing
    for day in DAYS:
        shares = one.by(day, "cleared") if clearing else (nothing,) * 3
        row |= dict(zip(_share_columns(day), shares, strict=True))
    middle = one.median("cleared") if clearing else (nothing,) * 3
    row |= dict(zip(("median", "median_low", "median_high"), middle, strict=True))
    row |= {
        "begins": one.first if enough else nothing, "reaches": min(one.reach, one.last) if enough else nothing,
        "enough": enough, "more_needed": more_needed(one, fewest) if clearing else nothing,
        "says": cleared_words(one, clearing=clearing),
    }  # fmt: skip
    return row


def _both_ends(records: Records, group: Cohort, settings: Settings) -> pd.DataFrame:
    lost = group.rows["end"] == LOST
    columns = ["condition", "lost_track_of", "cleared_by_90", "cleared_by_90_if_still_open"]
    if not lost.any():
        return pd.DataFrame(columns=columns)
    some = group.rows[group.rows["condition"].isin(group.rows.loc[lost, "condition"])]
    to_date = (records.as_of - some["found_on"]).dt.days
    still = some.assign(exit=some["exit"].where(some["end"] != LOST, to_date))
    first, second = ({one.group: one.by(HORIZON, "cleared")[0] for one in told(rows, "condition", CAUSES, settings)}
                     for rows in (some, still))  # fmt: skip
    n = some.loc[some["end"] == LOST].groupby("condition")["animals"].sum()
    frame = pd.DataFrame([(name, int(n[name]), first[name], second[name]) for name in n.index], columns=columns)
    frame.attrs.update(title="Animals lost track of, counted both ways", units={"lost_track_of": "animals",
                       "cleared_by_90": "proportion", "cleared_by_90_if_still_open": "proportion"})  # fmt: skip
    return frame


def _columns() -> tuple[str, ...]:
    ends = tuple(name.replace(" ", "_") for name in (*CAUSES, "open"))
    shares = tuple(column for day in DAYS for column in _share_columns(day))
    medians = ("median", "median_low", "median_high")
    return (
        "cohort",
        "condition",
        "animals",
        "episodes",
        *ends,
        *shares,
        *medians,
        "begins",
        "reaches",
        "enough",
        "more_needed",
        "says",
    )


def _share_columns(day: int) -> tuple[str, str, str]:
    return f"cleared_by_{day}", f"cleared_by_{day}_low", f"cleared_by_{day}_high"


def _whose(name: str, n: int) -> str:
    verb = "is" if n == 1 else "are"
    return f"{verb} on record" if name == ALL else f"{name} {verb} on record"


def _title(name: str) -> str:
    return name[:1].upper() + name[1:]
