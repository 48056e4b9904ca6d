"""Curves by group as the questions tell them: where they begin, how far they reach, where they are dashed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from mendcurve.methods.cluster_limits import Effects, cluster_effects, curve_by_cluster, incidence_by_cluster
from mendcurve.methods.quantiles import quantile
from mendcurve.methods.survival import Curve, Incidence, cumulative_incidence, kaplan_meier
from mendcurve.methods.tally import Tally, first_day_with, last_day_with
from mendcurve.records.settings import Settings

HORIZON = 90
DASHED_BELOW = 0.1
CURVE_COLUMNS = ("group", "end", "day", "share", "low", "high", "at_risk", "dashed")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """The curves of one group, and what may be said of them.

    Attributes
    ----------
    group : str
    animals, rows, clusters : int
        Under observation at any time: animals; parts of stays or episodes; animals of their own (a group is one).
    counts : mapping of str to int
        Animals that ended in each way, and "open": cut off.
    tally : Tally
        From the first day with enough at risk.
    incidence : Incidence or None
        None where there are too few to say.
    first, reach : float
        First day with enough at risk; last day the curve may be read: the last with enough at risk, or, where nobody
        was cut off after it, any later one (infinity). Unit: days since origin.
    dashed_from : float
        Day after which fewer than a tenth of the largest number are at risk.
    effects : Effects or None
        How much wider limits are by animal than by row; None where no animal has two rows.
    """

    group: str
    animals: int
    rows: int
    clusters: int
    counts: Mapping[str, int]
    tally: Tally
    incidence: Incidence | None
    first: float
    reach: float
    dashed_from: float
    effects: Effects | None = None

    @property
    def enough(self) -> bool:
        """Whether there is a curve at all."""
        return self.incidence is not None

    def by(self, day: float, cause: str) -> tuple[float, float, float]:
        """Return share, low and high of a cause by a day; nan where the curve does not reach it."""
        if self.incidence is None or day > self.reach or day < self.first:
            return (float("nan"),) * 3
        at, c = self.incidence.at([day]), self.incidence.cause(cause)
        return float(at.share[0, c, 0]), float(at.low[0, c, 0]), float(at.high[0, c, 0])

    def median(self, cause: str) -> tuple[float, float, float]:
        """Return the first day by which half ended by the cause, with limits; nan where not reached in the data."""
        if self.incidence is None:
            return (float("nan"),) * 3
        found = quantile(_seen(self.incidence), 0.5, cause)
        days = (float(found.estimate[0]), float(found.low[0]), float(found.high[0]))
        return tuple(d if d <= self.reach else float("nan") for d in days)  # type: ignore[return-value]

    def median_any(self) -> tuple[float, float, float]:
        """Return the first day by which half ended in any way, with limits; nan where not reached in the data."""
        if self.incidence is None:
            return (float("nan"),) * 3
        found = quantile(_seen(self.still()), 0.5)
        days = (float(found.estimate[0]), float(found.low[0]), float(found.high[0]))
        return tuple(d if d <= self.reach else float("nan") for d in days)  # type: ignore[return-value]

    def still(self) -> Curve:
        """Return the share not ended in any way, with limits."""
        curve = kaplan_meier(self.tally)
        return curve if self.effects is None else curve_by_cluster(curve, self.tally, self.effects)

    @property
    def last(self) -> float:
        """Last day anybody was under observation, within reach."""
        seen = self.tally.day[self.tally.at_risk()[0] > 0]
        return float(min(seen.max(initial=0.0), self.reach))


def told(rows: pd.DataFrame, by: str | None, causes: Sequence[str], settings: Settings) -> Iterator[Told]:
    """Tell the curves of each group of ``rows`` (columns entry, exit, cause, animals, cluster, and ``by``).

    Parameters
    ----------
    rows : DataFrame
        Rows under observation: exit after entry.
    by : str or None
        Column of the groups; None: one group, "all".
    causes : sequence of str
        Names of causes 1, 2, ...
    settings : Settings
        ``counts.animals`` (fewest of their own) and ``counts.at_risk``.

    Notes
    -----
    Groups come largest first. Enough at risk is counted in rows, so that a clutch of 30 is not 30 times the evidence;
    the curve itself is of animals, its limits widened by the design effect of group rows and, where animals have
    several rows (stays, conditions, a clutch split up), by that of the animal's rows together.
    """
    if not len(rows):
        return
    group = pd.Series("all", index=rows.index) if by is None else rows[by].fillna("not recorded").astype(str)
    names = rows["animals"].groupby(group).sum().sort_values(ascending=False, kind="stable")
    code = group.to_numpy(dtype=object)
    weighted = _tally(rows, code, list(names.index), causes, rows["animals"].to_numpy("float64"))
    single = _tally(rows, code, list(names.index), causes, None)
    clusters = rows["cluster"].groupby(group).nunique()
    for name in names.index:
        one = _one(name, weighted.one(name), single.one(name), int(clusters[name]), settings)
        one = _counted_once(one, rows[code == name])
        yield one if one.incidence is None else _by_animal(one, rows[code == name])


def _counted_once(one: Told, rows: pd.DataFrame) -> Told:
    """Leave animals that go on in another row (``handed_on``) out of the counts; the curve follows them in both."""
    if "handed_on" not in rows.columns or not rows["handed_on"].any():
        return one
    twice = int(rows["handed_on"].sum())
    counts = {**one.counts, "open": one.counts["open"] - twice}
    return replace(one, animals=one.animals - twice, counts=counts)


def curve_frame(one: Told, horizon: float) -> pd.DataFrame:
    """Return the steps of a group's curves up to a horizon, columns ``CURVE_COLUMNS``; empty where too few."""
    if one.incidence is None:
        return pd.DataFrame(columns=list(CURVE_COLUMNS))
    end = min(horizon, one.reach)
    days = one.incidence.day[(one.incidence.day >= one.first) & (one.incidence.day <= end)]
    days = np.unique(np.concatenate([[max(one.first, 0.0)], days, [end]])) if np.isfinite(end) else days
    at = one.incidence.at(days)
    parts = [
        pd.DataFrame({
            "group": one.group, "end": cause, "day": days, "share": at.share[0, c], "low": at.low[0, c],
            "high": at.high[0, c], "at_risk": at.at_risk[0], "dashed": days > one.dashed_from,
        })
        for c, cause in enumerate(one.incidence.causes)
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _by_animal(one: Told, rows: pd.DataFrame) -> Told:
    """Widen the limits of a group where animals have several rows."""
    assert one.incidence is not None
    if not rows["cluster"].duplicated().any():
        return one
    seen = rows[rows["exit"] >= one.first] if one.first > 0 else rows
    entry = seen["entry"].clip(lower=one.first - 1) if one.first > 0 else seen["entry"]
    effects = cluster_effects(
        one.tally, entry, seen["exit"], seen["cause"], seen["cluster"].to_numpy(dtype=object),
        seen["animals"].to_numpy("float64"),
    )  # fmt: skip
    if effects is None:
        return one
    return replace(one, incidence=incidence_by_cluster(one.incidence, one.tally, effects), effects=effects)


_Steps = TypeVar("_Steps", Curve, Incidence)


def _seen(curve: _Steps) -> _Steps:
    """Keep the days on which somebody was at risk: limits of a day nobody was seen on are no limits of a median."""
    keep, k = curve.at_risk[0] > 0, len(curve.day)
    cells: dict[str, Any] = {f.name: getattr(curve, f.name) for f in fields(curve)}
    seen: dict[str, Any] = {n: x[..., keep] for n, x in cells.items() if isinstance(x, np.ndarray) and x.shape[-1] == k}
    seen["limits_later"] = lambda: (curve.low_later[..., keep], curve.high_later[..., keep])
    return replace(curve, **seen)


def _tally(
    rows: pd.DataFrame, group: np.ndarray, groups: Sequence[str], causes: Sequence[str], weight: np.ndarray | None
) -> Tally:
    return Tally.from_arrays(
        rows["entry"].to_numpy(), rows["exit"].to_numpy(), rows["cause"].to_numpy(),
        group=group, groups=list(groups), causes=causes, weight=weight,
    )  # fmt: skip


def _one(name: str, tally: Tally, single: Tally, clusters: int, settings: Settings) -> Told:
    fewest = int(settings["counts.at_risk"])
    first, last = (float(f(single, fewest)[0]) for f in (first_day_with, last_day_with))
    counts = dict(zip(tally.causes, tally.events[0].sum(axis=1).round().astype(int).tolist(), strict=True))
    counts["open"] = round(float(tally.censored.sum()))
    base: dict[str, Any] = {
        "group": name, "animals": round(float(tally.entered.sum())), "rows": int(single.entered.sum()),
        "clusters": clusters, "counts": counts,
    }  # fmt: skip
    if clusters < int(settings["counts.animals"]) or not np.isfinite(first):
        return Told(**base, tally=tally, incidence=None, first=first, reach=first, dashed_from=first)
    cut = single.day[(single.censored[0] > 0) & (single.day > last)]
    reach = float(cut.min()) if len(cut) else (last if single.censored[0, single.day == last].any() else np.inf)
    begun = tally if first <= 0 else tally.starting_at(first)
    at_risk = begun.at_risk()[0]
    thin = at_risk >= DASHED_BELOW * at_risk.max(initial=0.0)
    dashed_from = float(begun.day[thin].max()) if thin.any() else first
    return Told(**base, tally=begun, incidence=cumulative_incidence(begun), first=first, reach=reach,
                dashed_from=dashed_from)  # fmt: skip
