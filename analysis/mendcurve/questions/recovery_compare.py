"""Do animals of one kind recover sooner than another? Effects with intervals first, then tests."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mendcurve.errors import InputError, nearest
from mendcurve.methods.cluster_limits import cluster_effects, incidence_by_cluster
from mendcurve.methods.cluster_tests import cluster_log_rank, cluster_mean_difference
from mendcurve.methods.clusters import cluster_incidence
from mendcurve.methods.cox import cox
from mendcurve.methods.cox_risk import Cohort as AtRisk
from mendcurve.methods.curves import cumulative_incidence
from mendcurve.methods.differences import Difference
from mendcurve.methods.intervals import Interval, holm, interval, joined
from mendcurve.methods.quantiles import quantile
from mendcurve.methods.tally import Tally
from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import HORIZON, Told, told
from mendcurve.questions.recovery_by import NO_CLEARING
from mendcurve.questions.recovery_cohort import cohorts
from mendcurve.questions.spans import from_to, sentence_case
from mendcurve.questions.wording import count, listing, percent, points
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSE_OF, CAUSES, clearing_recorded
from mendcurve.timelines.period import Period

WAYS = {"severity": "severity", "taxon": "species group", "life_stage": "life stage", "species": "species"}
COLUMNS = (
    "condition", "group", "against", "animals", "animals_against", "cleared", "cleared_against", "day",
    "share", "share_against", "difference", "difference_low", "difference_high",
    "median_difference", "median_low", "median_high", "mean_difference", "mean_low", "mean_high",
    "ratio", "ratio_low", "ratio_high", "p", "p_holm", "told_apart", "says",
)  # fmt: skip
SHORTEST = 14.0
"""Groups followed together for fewer days than this are not compared. Unit: days."""
NOT_AT_RANDOM = (
    "Animals were not assigned to these groups at random: a difference may come from what else differs between them."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison(Answer):
    """Groups of animals with one condition, each against the largest.

    Attributes
    ----------
    frame : DataFrame
        ``COLUMNS``: animals; cleared (animals); day (since found) at which shares are compared; share (proportion);
        difference of shares in proportion, of medians and of mean days an episode lasted up to that day in days, each
        with 95 % limits; ratio of the rates of clearing; p of the log-rank test of clearing, and after Holm's rule
        over all rows; told_apart: whether that is below 5 % and the interval of the difference or of the ratio
        excludes none. The difference of medians is nan unless both medians and their limits are reached.
    by : str
        What the groups are made of.
    left_out : DataFrame
        condition, group, animals: groups with too few animals, or followed too short a time, to compare.
    """

    frame: pd.DataFrame
    left_out: pd.DataFrame
    by: str
    when: str
    recorded: bool
    clearing: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each group set against the largest of its condition."""
        return self.frame

    def too_few(self) -> pd.DataFrame:
        """Return the groups with too few animals to compare."""
        return self.left_out

    def sentence(self) -> str:
        """Return how many pairs were compared, and those the intervals tell apart."""
        if not self.recorded:
            return "Conditions are not recorded, so no groups can be compared."
        if not self.clearing:
            return NO_CLEARING
        what = WAYS[self.by]
        if not len(self.frame):
            return f"No condition has two groups by {what} with enough animals to compare {self.when}."
        apart = self.frame[self.frame["told_apart"]]
        pairs = f"{count(len(self.frame), 'pair')} of groups by {what} compared {self.when}"
        if not len(apart):
            return f"{pairs}: too few animals to tell any of them apart."
        return f"{pairs}; told apart: {' '.join(apart['says'])}"

    def notes(self) -> tuple[str, ...]:
        """Return what is compared, and what may not be read into it."""
        out = [
            "Share cleared by the day named, all other ends competing; limits by animal. Ratio: how many times as fast "
            "animals of the group were cleared, others being in treatment as long. The difference of medians is shown "
            "only where both medians and their limits are reached. p: log-rank test of clearing by animal, after "
            "Holm's rule over all pairs shown; told apart where that is below 5 % and an interval bears it out.",
            NOT_AT_RANDOM,
        ]
        if len(self.left_out):
            n = int(self.left_out["animals"].sum())
            out.append(
                f"{count(n, 'animal').capitalize()} in groups too small, or followed too short a time, to compare."
            )
        return tuple(out)


def compare(
    records: Records, by: str = "severity", condition: str | None = None, period: Period | None = None
) -> Comparison:
    """Return, condition by condition, each group against the largest.

    Parameters
    ----------
    records : Records
    by : {"severity", "taxon", "life_stage", "species"}
    condition : str, optional
        One condition; default every one.
    period : Period, optional
        Episodes found in it; default all.

    Raises
    ------
    InputError
        For another way to group.
    """
    if by not in WAYS:
        raise InputError(f'Groups are made by {listing(list(WAYS), joint="or")}, not by "{by}".{nearest(by, WAYS)}')
    groups = cohorts(records, period)
    rows = (groups[0] if period is None else groups[1]).rows
    rows = rows if condition is None else rows[rows["condition"] == condition]
    clearing = clearing_recorded(records)
    lines, few = [], []
    for name, some in rows.groupby("condition", sort=True) if clearing else ():
        ones = list(told(some, by, CAUSES, records.settings))
        enough = [one for one in ones if one.enough and one.group != "not recorded"]
        few += [(name, one.group, one.animals) for one in ones if one not in enough]
        pairs = list(_against(str(name), some.assign(**{by: some[by].fillna("not recorded")}), by, enough))
        compared = {str(pair[end]) for pair in pairs for end in ("group", "against")}
        few += [(name, one.group, one.animals) for one in enough if one.group not in compared]
        lines += pairs
    frame = pd.DataFrame(lines, columns=list(COLUMNS))
    frame = frame.assign(p_holm=_holm(frame["p"]))
    frame = frame.assign(
        told_apart=(frame["p_holm"] < 0.05) & (_excludes(frame, "difference", 0) | _excludes(frame, "ratio", 1))
    )
    frame = frame.assign(says=[_words(row) for _, row in frame.iterrows()])
    frame.attrs.update(title=f"Recovery by {WAYS[by]}", units=_units(), definition=NOT_AT_RANDOM)
    left_out = pd.DataFrame(few, columns=["condition", "group", "animals"]).astype({"animals": "int64"})
    left_out.attrs.update(title="Groups with too few animals", units={"animals": "animals"})
    when = "of all records" if period is None else f"of animals found {from_to(period)}"
    return Comparison(frame=frame, left_out=left_out, by=by, when=when, recorded=records.has("conditions"),
                      clearing=clearing)  # fmt: skip


def _against(condition: str, rows: pd.DataFrame, by: str, ones: list[Told]) -> Iterator[dict[str, object]]:
    """Set each group against the first, the largest, on the last day of the horizon both are followed to."""
    for one in ones[1:]:
        base = ones[0]
        first, day = max(one.first, base.first), np.floor(min(HORIZON, one.reach, base.reach))
        if day < max(first, SHORTEST):
            continue
        pair = rows[rows[by].isin([one.group, base.group]) & (rows["exit"] >= first)]
        pair = pair.assign(entry=pair["entry"].clip(lower=first - 1))
        yield _pair(condition, pair, pair[by].to_numpy(dtype=object) == one.group, (one, base), day)


def _pair(
    condition: str, rows: pd.DataFrame, here: NDArray[np.bool_], pair: tuple[Told, Told], day: float
) -> dict[str, object]:
    one, base = pair
    first, second = (_share(rows[mask], day) for mask in (here, ~here))
    gap = joined(first, second)
    entry, leave = (rows[name].to_numpy("float64") for name in ("entry", "exit"))
    cluster, weight = rows["cluster"].to_numpy(dtype=object), rows["animals"].to_numpy("float64")
    cause = rows["cause"].to_numpy()
    shares = (float(first.estimate), float(second.estimate))
    difference = (float(gap.estimate), float(gap.low), float(gap.high))
    row: dict[str, object] = {
        "condition": condition, "group": one.group, "against": base.group, "animals": one.animals,
        "animals_against": base.animals, "cleared": one.counts["cleared"], "cleared_against": base.counts["cleared"],
        "day": day, "share": shares[0], "share_against": shares[1],
        "p": cluster_log_rank(entry, leave, cause == CAUSE_OF["cleared"], here, cluster, weight),
    }  # fmt: skip
    found = {
        "difference": difference,
        "median": _between(*(_median(rows[mask]) for mask in (here, ~here))),
        "mean": _limits(cluster_mean_difference(entry, leave, cause > 0, here, cluster, day, weight=weight)),
        "ratio": _ratio(rows, here),
    }
    for name, (estimate, low, high) in found.items():
        middle = name if name in ("difference", "ratio") else f"{name}_difference"
        row |= {middle: estimate, f"{name}_low": low, f"{name}_high": high}
    return row


def _share(rows: pd.DataFrame, day: float) -> Interval:
    """Share cleared by a day, with limits by animal."""
    found = cluster_incidence(
        rows["entry"], rows["exit"], rows["cause"], rows["cluster"].to_numpy(dtype=object), [day],
        weight=rows["animals"].to_numpy("float64"), causes=CAUSES,
    )  # fmt: skip
    c, n = found.causes.index("cleared"), found.subjects
    return interval(found.share[c, 0], found.low[c, 0], found.high[c, 0], np.nan, n)


def _median(rows: pd.DataFrame) -> Interval:
    """First day by which half were cleared, with limits by animal; nan where not reached."""
    told_by = (rows["entry"], rows["exit"], rows["cause"])
    weight, cluster = rows["animals"].to_numpy("float64"), rows["cluster"].to_numpy(dtype=object)
    tally = Tally.from_arrays(*told_by, causes=CAUSES, weight=weight)
    curve, effects = cumulative_incidence(tally), cluster_effects(tally, *told_by, cluster, weight)
    found = quantile(curve if effects is None else incidence_by_cluster(curve, tally, effects), 0.5, "cleared")
    return interval(found.estimate[0], found.low[0], found.high[0], np.nan, np.nan)


def _between(one: Interval, two: Interval) -> tuple[float, float, float]:
    """Difference of two medians, shown only where both and all their limits are reached."""
    if not np.isfinite([one.estimate, one.low, one.high, two.estimate, two.low, two.high]).all():
        return (float("nan"),) * 3
    gap = joined(one, two)
    return float(gap.estimate), float(gap.low), float(gap.high)


def _limits(one: Difference) -> tuple[float, float, float]:
    return float(one.estimate), float(one.low), float(one.high)


def _ratio(rows: pd.DataFrame, here: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Ratio of the rates of clearing, errors by animal; nan where a group has none cleared."""
    cleared = (rows["cause"] == CAUSE_OF["cleared"]).to_numpy()
    if not (cleared[here].any() and cleared[~here].any()):
        return (float("nan"),) * 3
    at_risk = AtRisk.of(rows["entry"], rows["exit"], cleared, here, weight=rows["animals"])
    fit = cox(at_risk, ("group",), cluster=rows["cluster"].to_numpy(dtype=object))
    return float(fit.ratio[0]), float(fit.low[0]), float(fit.high[0])


def _words(row: pd.Series) -> str:
    """Return one pair in words; sooner or later is said only where an interval carries it and Holm's rule allows."""
    text = (
        f"{sentence_case(row['condition'])}, {row['group']} against {row['against']}: {percent(row['share'])} of "
        f"{count(row['animals'], 'animal')} cleared by day {row['day']:.0f} against {percent(row['share_against'])} of "
        f"{row['animals_against']:,} ({points(row['difference'])}, 95 % interval {points(row['difference_low'])} to "
        f"{points(row['difference_high'])})"
    )
    if not row["told_apart"]:
        return f"{text}: too few to tell them apart."
    if row["difference_low"] > 0 or row["difference_high"] < 0:
        return f"{text}."
    pace = f"cleared {row['ratio']:.1f} times as fast (95 % interval {row['ratio_low']:.1f} to {row['ratio_high']:.1f})"
    return f"{text}; {pace}."


def _excludes(frame: pd.DataFrame, name: str, none: float) -> pd.Series:
    """Whether an interval excludes no difference; not where there is none."""
    return (frame[f"{name}_low"] > none) | (frame[f"{name}_high"] < none)


def _holm(p: pd.Series) -> pd.Series:
    tested = p.dropna()
    return pd.Series(holm(tested), index=tested.index, dtype="float64").reindex(p.index)


def _units() -> dict[str, str]:
    shares = ("share", "share_against", "difference", "difference_low", "difference_high")
    days = ("median_difference", "median_low", "median_high", "mean_difference", "mean_low", "mean_high")
    return {
        **dict.fromkeys(("animals", "animals_against", "cleared", "cleared_against"), "animals"),
        "day": "days since found", **dict.fromkeys(shares, "proportion"), **dict.fromkeys(days, "days"),
    }  # fmt: skip
