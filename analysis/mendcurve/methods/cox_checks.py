"""Whether hazards are proportional, how well a Cox model orders, and the curve it implies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from mendcurve.errors import InputError
from mendcurve.methods.arrays import Floats
from mendcurve.methods.cox import Likelihood, Ratios
from mendcurve.methods.cox_risk import Cohort
from mendcurve.methods.curves import kaplan_meier
from mendcurve.methods.tally import Tally

TRANSFORMS = ("km", "rank", "identity", "log")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proportionality:
    """Score tests that a ratio does not change with time.

    Attributes
    ----------
    terms : tuple of str
        The last is "GLOBAL": all terms together.
    chisq, p : ndarray, shape (terms,)
    df : ndarray of int, shape (terms,)
    transform : str
    """

    terms: tuple[str, ...]
    chisq: Floats
    df: Floats
    p: Floats
    transform: str


def proportionality(
    cohort: Cohort, fit: Ratios, *, terms: Mapping[str, Sequence[str]] | None = None, transform: str = "km",
    cluster: ArrayLike | None = None,
) -> Proportionality:  # fmt: skip
    """Test whether each term's ratio holds at all times.

    Parameters
    ----------
    cohort : Cohort
    fit : Ratios
        Of that cohort.
    terms : mapping of str to sequence of str, optional
        Columns that are one term (the levels of a factor); default each column by itself.
    transform : {"km", "rank", "identity", "log"}
        Function of time the log ratio may follow: 1 - Kaplan-Meier just before, rank among all times, time, log.
    cluster : array_like, shape (n,), optional
        Rows that belong together.

    Notes
    -----
    Score test of adding x g(t) to the model, as R's cox.zph since survival 3.0 (tests/reference, section 06), where
    every row is one subject. Where rows have weights (a clutch in one row) or clusters its variance is that of the
    score residuals summed by cluster, and p is by F with as many degrees as clusters of one size would tell as much,
    (sum of sizes)^2 over the sum of their squares, less the terms. Weights taken as so many subjects refuse
    proportional hazards in 3-6 of 10 samples with a few clutches.
    """
    if transform not in TRANSFORMS:
        raise InputError(f'transform must be one of {", ".join(TRANSFORMS)}, but it is "{transform}".')
    _, mean, spread = Likelihood(cohort, cohort.x).moments(fit.coefficient)
    weight, g = cohort.event_weight(), _of_time(cohort, transform)
    when, _ = cohort.draws
    g = g - g.mean()
    by_time = np.bincount(cohort.own, g) / np.bincount(cohort.own)
    at_draw = by_time[when]
    score = (g * cohort.weight[cohort.event]) @ cohort.x[cohort.event] - (weight * at_draw) @ mean
    plain, once, twice = (np.einsum("m,mij->ij", weight * at_draw**power, spread) for power in (0, 1, 2))
    tested = terms or {name: (name,) for name in fit.names}
    places = {name: [fit.names.index(c) for c in columns] for name, columns in tested.items()}
    places["GLOBAL"] = list(range(len(fit.names)))
    df = np.array([len(chosen) for chosen in places.values()], dtype=float)
    if _repeats(cluster) or np.ptp(cohort.weight) > 0:
        felt, many = _felt(cohort, fit, by_time, plain, once, cluster)
        chisq = [_robust(score[chosen], felt[:, chosen]) * max(many - 1, 0.0) / many for chosen in places.values()]
        left = many - df
        p = np.where(left > 0, stats.f.sf(np.array(chisq) / df, df, np.maximum(left, 1)), np.nan)
        return Proportionality(terms=tuple(places), chisq=np.array(chisq), df=df, p=p, transform=transform)
    chisq = []
    for chosen in places.values():
        # the term alone may vary: its own block of the augmented information, less what all main effects take
        block = twice[np.ix_(chosen, chosen)] - once[chosen] @ np.linalg.solve(plain, once[:, chosen])
        chisq.append(float(score[chosen] @ np.linalg.solve(block, score[chosen])))
    return Proportionality(
        terms=tuple(places), chisq=np.array(chisq), df=df, p=stats.chi2.sf(chisq, df), transform=transform
    )


def _repeats(cluster: ArrayLike | None) -> bool:
    return cluster is not None and len(np.unique(np.asarray(cluster))) < len(np.asarray(cluster))


def _felt(
    cohort: Cohort, fit: Ratios, by_time: Floats, plain: Floats, once: Floats, cluster: ArrayLike | None
) -> tuple[Floats, float]:
    """What each cluster adds to the score of x g(t), less what the ratios estimated take up; how many they tell as."""
    model = Likelihood(cohort, cohort.x)
    main, timed = (model.residuals(fit.coefficient, by_time=g) for g in (None, by_time))
    each = (timed - main @ np.linalg.solve(plain, once)) * cohort.weight[:, None]
    given = np.arange(len(each)) if cluster is None else np.asarray(cluster)
    code = np.unique(given, return_inverse=True)[1].reshape(-1)
    sizes = np.bincount(code, cohort.weight)
    many = float(sizes.sum() ** 2 / (sizes**2).sum())
    return np.stack([np.bincount(code, column) for column in each.T], axis=1), many


def _robust(score: Floats, felt: Floats) -> float:
    """Quadratic form of a score by the spread of what clusters add to it; nan where clusters cannot tell it."""
    m, q = felt.shape
    if m <= q or np.linalg.matrix_rank(felt) < q:
        return float("nan")
    return float(score @ np.linalg.solve(felt.T @ felt, score))


def _of_time(cohort: Cohort, transform: str) -> Floats:
    """g(t) of each event row."""
    times = cohort.exit[cohort.event]
    if transform == "identity":
        return times.astype(float)
    if transform == "log":
        return np.asarray(np.log(times), dtype=float)
    if transform == "rank":
        return np.asarray(stats.rankdata(cohort.exit)[cohort.event], dtype=float)
    curve = kaplan_meier(
        Tally.from_arrays(cohort.entry, cohort.exit, cohort.event.astype(int), weight=cohort.weight), limits="log"
    )
    just_before = np.concatenate([[1.0], curve.share[0][:-1]])
    return np.asarray(1 - just_before[np.searchsorted(curve.day, times)], dtype=float)


def survival_of(
    cohort: Cohort, fit: Ratios, x: ArrayLike, days: ArrayLike, *, baseline: str = "efron", stratum: int = 0
) -> Floats:
    """Return the share not yet ended on ``days`` for covariates ``x`` (p,), shape (days,).

    ``baseline`` is "efron" (ties as in the fit) or "breslow".
    """
    tied = replace(cohort, ties=baseline)
    risk, _, _ = Likelihood(tied, tied.x).moments(fit.coefficient, second=False)
    order = np.argsort(tied.own, kind="stable")
    when, where = tied.exit[tied.event][order], tied.stratum[tied.event][order]
    rise = np.where(where == stratum, tied.event_weight() / risk, 0.0)
    total = np.array([rise[when <= day].sum() for day in np.atleast_1d(np.asarray(days, dtype=float))])
    return np.asarray(np.exp(-total * np.exp(np.asarray(x, dtype=float) @ fit.coefficient)), dtype=float)


def concordance(cohort: Cohort, fit: Ratios) -> float:
    """Return the share of comparable pairs in which the one with the higher hazard had the event first.

    Notes
    -----
    Pairs are an event and a row at risk just after it, counted by the product of their weights as R counts them; ties
    of the predictor count half. Cost: events x rows.
    """
    line = cohort.x @ fit.coefficient
    into, out, _ = cohort.times
    right = pairs = 0.0
    for i in np.flatnonzero(cohort.event):
        later = (out > out[i]) | ((out == out[i]) & ~cohort.event)
        at_risk = (into < out[i]) & later & (cohort.stratum == cohort.stratum[i])
        weight = cohort.weight[i] * cohort.weight[at_risk]
        right += weight @ ((line[i] > line[at_risk]) + 0.5 * (line[i] == line[at_risk]))
        pairs += weight.sum()
    return right / pairs if pairs else np.nan
