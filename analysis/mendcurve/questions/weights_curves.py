"""How do animals regain weight? Percent of the first weight by day: whole stays, during a course, or after it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import t as student

from mendcurve.errors import InputError, nearest
from mendcurve.methods.mixed import MixedFit, fit
from mendcurve.methods.mixed_moments import moments
from mendcurve.methods.spline import basis, knots
from mendcurve.questions.answer import Answer
from mendcurve.questions.weights_data import main_condition, usable
from mendcurve.questions.weights_spans import PARTS, STAY, in_part
from mendcurve.questions.wording import count, listing
from mendcurve.records import Records
from mendcurve.timelines.lookup import look_up
from mendcurve.timelines.period import Period

GROUPINGS = ("condition", "taxon", "life_stage")
NONE = "none recorded"
# What a curve begins with, and what its weights are measured against.
BEGINS = {"stay": "intake", "course": "the course began", "after": "the course ended"}
# Degrees of freedom of the mean curve, and the weeks that enough animals must span for them.
SPANS = ((4, 12), (3, 8), (2, 4), (1, 2))
COLUMNS = ("group", "day", "percent", "low", "high", "new_low", "new_high", "animals", "in_course")
UNITS = {
    **dict.fromkeys(("percent", "low", "high", "new_low", "new_high"), "% of the first weight"),
    "animals": "animals still weighed",
    "in_course": "% of weighings of the week during a treatment course",
}


WHEN = {"stay": "at intake", "course": "when the course began", "after": "when the course ended"}
PART_NOTE = {
    "course": "During the first course of a stay; courses that touch are one. Why it was given also moves the weight: "
    "this is not what a course does.",
    "after": "From the end of the first course of a stay up to the next one, or to the as-of date.",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Curves(Answer):
    """Mean curves by group, the groups they come from, and who was left out."""

    by: str
    part: str
    frame: pd.DataFrame
    groups: pd.DataFrame
    left_out: tuple[str, ...]
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return the curves by week: ``low``, ``high`` hold the mean (95 %), ``new_low``, ``new_high`` 90 % of them."""
        return self.frame

    def by_group(self) -> pd.DataFrame:
        """Return one row a group: animals, weighings, last day, percent then, model, why not where there is none."""
        return self.groups

    def sentence(self) -> str:
        """Return where the largest group stands in the last week in which half of its animals were still weighed."""
        if not self.recorded:
            return "Weighings are not recorded."
        drawn = self.groups[self.groups["last_day"].notna()]
        if drawn.empty:
            return "Too few animals were weighed often enough to draw a curve of weight."
        top = drawn.sort_values("animals", ascending=False, kind="stable").iloc[0]
        curve = self.frame[self.frame["group"] == top["group"]]
        half = curve[(curve["animals"] >= top["animals"] / 2) & (curve["day"] % 7 == 0)].iloc[-1]
        weeks = int(half["day"]) // 7
        what = {
            "condition": f"with {top['group']} as the main condition",
            "taxon": f"of the group {top['group']}",
            "life_stage": f"of life stage {top['group']}",
        }[self.by]
        if str(top["group"]) == NONE:
            what = "without a recorded condition" if self.by == "condition" else "whose group is not recorded"
        return (
            f"Animals {what} weighed on average {half['percent']:.0f} % of their weight {WHEN[self.part]} after "
            f"{count(weeks, 'week')} (95 % interval {half['low']:.0f} % to {half['high']:.0f} %; "
            f"{count(top['animals'], 'animal')}, {int(half['animals'])} of them still weighed then)."
        )

    def notes(self) -> tuple[str, ...]:
        """Return who was left out, and how to read the curves."""
        words = [f"{g.group!s}: {g.why_not!s}" for g in self.groups[self.groups["why_not"] != ""].itertuples()]
        return (
            *self.left_out,
            *words,
            "A curve is the mean of animals like those still weighed: animals that left are not in its later part.",
            "A line stops where fewer than 5 animals were still weighed. After eggs, birth, a lost tail or an emptied "
            "bladder a new level begins: what is gained from there counts, the step itself does not.",
            *([PART_NOTE[self.part]] if self.part in PART_NOTE else []),
            "Animals were not assigned to groups at random: differences between curves are not effects of a condition.",
        )


def curves(records: Records, by: str = "condition", period: Period | None = None, *, part: str = STAY) -> Curves:
    """Estimate percent of the first weight by day for each group.

    Parameters
    ----------
    records : Records
    by : {"condition", "taxon", "life_stage"}
        Condition is the main one of the stay.
    period : Period, optional
        Only stays whose intake falls inside.
    part : {"stay", "course", "after"}
        The whole stay, by day since intake; the first treatment course, by day since it began; or what followed it, up
        to the next course, by day since it ended.

    Raises
    ------
    InputError
        If ``by`` or ``part`` is another word.

    Notes
    -----
    Mixed model of the log weight (REML): a natural cubic spline in days for the mean, with 1, 2, 3 or 4 degrees of
    freedom where at least ``counts.animals`` animals span 2, 4, 8 or 12 weeks; random intercept and slope for each
    series (a stay, anew after each step). Shown is 100 exp(f(d) - f(0)). An animal's base is its first usable weighing
    within 3 days of intake (of the course's first or last day), else it is left out. The band holds 90 % of new
    animals: spread of slopes and the noise of two readings.
    """
    if by not in GROUPINGS:
        raise InputError(
            f'Weight curves are by {listing(GROUPINGS, joint="or")}, not "{by}".', remedy=nearest(by, GROUPINGS)
        )
    if part not in PARTS:
        raise InputError(
            f'Weight curves are of {listing(PARTS, joint="or")}, not "{part}".', remedy=nearest(part, PARTS)
        )
    frame, left_out = _animals(records, by, period, part)
    fewest = int(records.settings["counts.animals"])
    rows, groups = [], []
    for name, group in frame.groupby("group"):
        curve, summary = _one(str(name), group, fewest)
        rows += [curve] if len(curve) else []
        groups.append(summary)
    out = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=list(COLUMNS))
    out.attrs = {
        "units": {"day": f"days since {BEGINS[part]}", **UNITS},
        "title": f"Weight by {by.replace('_', ' ')}, percent of the weight {WHEN[part]}",
        "definition": "100 exp(f(d) - f(0)), f the mean of the log weight by day",
    }
    columns = [
        "group",
        "animals",
        "weighings",
        "last_day",
        "percent",
        "low",
        "high",
        "animals_then",
        "model",
        "df",
        "why_not",
    ]
    table = pd.DataFrame(groups, columns=columns)
    table.attrs = {"units": {**UNITS, "animals": "animals", "last_day": "days"}, "title": "Groups of the weight curves"}
    return Curves(
        by=by,
        part=part,
        frame=out,
        groups=table,
        left_out=left_out,
        recorded=records.has("weighings") or len(records["weighings"]) > 0,
    )


def _animals(records: Records, by: str, period: Period | None, part: str) -> tuple[pd.DataFrame, tuple[str, ...]]:
    frame = usable(records)
    intakes = records["intakes"].drop_duplicates("stay_id").set_index("stay_id")
    came = look_up(frame["stay_id"], intakes["intake_date"])
    keep = came >= records.records_start
    if period is not None:
        keep &= period.contains(came)
    frame, words = in_part(frame[keep], records, part)
    condition = look_up(frame["stay_id"], main_condition(records))
    frame["group"] = (condition if by == "condition" else frame[by]).fillna(NONE)
    return frame, words


def _one(name: str, group: pd.DataFrame, fewest: int) -> tuple[pd.DataFrame, dict[str, object]]:
    last = group.groupby("stay_id")["day"].max()
    summary: dict[str, object] = {"group": name, "animals": len(last), "weighings": len(group), "why_not": ""}
    nothing = pd.DataFrame(columns=list(COLUMNS))
    df = next((d for d, weeks in SPANS if (last >= 7 * weeks).sum() >= fewest), 0)
    if not df:
        spanning = int((last >= 14).sum())
        summary["why_not"] = (
            f"{count(spanning, 'animal')} weighed over 2 weeks or more, fewer than {fewest}: too few to say."
        )
        return nothing, summary
    end = float(np.sort(last.to_numpy())[-fewest])
    group = group[group["day"] <= end]
    at = knots([0.0, end], 1) if df == 1 else _knots(group["day"].to_numpy(), end, df)
    x = np.column_stack([np.ones(len(group)), basis(group["day"], at)])
    z = np.column_stack([np.ones(len(group)), group["day"]])
    try:
        model = fit(moments(group["series"], group["log_g"], x, z, names=_names(x), random_names=("level", "day")))
    except InputError as problem:
        summary["why_not"] = f"no curve: {problem.rule}"
        return nothing, summary
    curve = _drawn(name, model, at, end, last, group)
    at_end = curve.iloc[-1]
    summary |= {
        "last_day": end,
        "percent": at_end["percent"],
        "low": at_end["low"],
        "high": at_end["high"],
        "animals_then": at_end["animals"],
        "model": model.model,
        "df": len(at) - 1,
        "why_not": " ".join(model.words),
    }
    return curve, summary


def _knots(day: np.ndarray, end: float, df: int) -> np.ndarray:
    """Return knots over 0..end; quantiles that fall together are one knot."""
    return np.unique(np.concatenate([[0.0], np.quantile(day, np.linspace(0, 1, df + 1))[1:-1], [end]]))


def _names(x: np.ndarray) -> tuple[str, ...]:
    return ("level", *(f"day{i}" for i in range(1, x.shape[1])))


def _drawn(
    name: str, model: MixedFit, at: np.ndarray, end: float, last: pd.Series, group: pd.DataFrame
) -> pd.DataFrame:
    day = np.unique(np.append(np.arange(0, end + 1, 7.0), end))
    move = np.column_stack([np.zeros(len(day)), basis(day, at) - basis(np.zeros(1), at)])
    mean, var = move @ model.beta, np.einsum("ij,jk,ik->i", move, model.cov, move)
    slopes = model.random_cov[1, 1] if model.random_cov.shape[0] == 2 else 0.0
    wide = np.sqrt(var + slopes * day**2 + 2 * model.residual * (day > 0))
    t95, t90 = student.ppf((0.975, 0.95), max(len(last) - 1, 1))
    week = (group["day"] // 7).astype("int64")
    busy = 100 * group.groupby(week)["in_course"].mean()
    return pd.DataFrame(
        {
            "group": name,
            "day": day.astype("int64"),
            "percent": 100 * np.exp(mean),
            "low": 100 * np.exp(mean - t95 * np.sqrt(var)),
            "high": 100 * np.exp(mean + t95 * np.sqrt(var)),
            "new_low": 100 * np.exp(mean - t90 * wide),
            "new_high": 100 * np.exp(mean + t90 * wide),
            "animals": (last.to_numpy()[:, None] >= day).sum(axis=0),
            "in_course": busy.reindex((day // 7).astype("int64")).to_numpy(),
        }
    )
