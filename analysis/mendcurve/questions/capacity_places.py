"""How many places would be enough, and what the textbook says beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.errors import check_proportion
from mendcurve.methods import queues
from mendcurve.methods.occupancy import mean_days
from mendcurve.methods.occupancy_house import laws, sum_of_arrivals
from mendcurve.questions.answer import Answer
from mendcurve.questions.capacity_census import titled
from mendcurve.questions.capacity_forecast import NOT_ASKED, shown, walk
from mendcurve.questions.capacity_house import TOTAL, Setup, setup
from mendcurve.questions.capacity_kinds import inside
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.wording import count, listing, percent, without_outcomes
from mendcurve.records.records import Records

REFUSED = 0.05


@dataclass(frozen=True, kw_only=True, eq=False)
class PlacesNeeded(Answer):
    """Places that would be enough.

    Attributes
    ----------
    zones : DataFrame
        One row a zone: places now and needed, share of days each is enough, chance of a day over, textbook figures.
    curve : DataFrame
        One row a zone and number of places: share of the quarter's days on which so many are enough, and its error.
    """

    zones: pd.DataFrame
    curve: pd.DataFrame
    confidence: float
    weeks: int
    remarks: tuple[str, ...]
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return one row a zone."""
        return self.zones

    def curve_frame(self) -> pd.DataFrame:
        """Return the service curve: places against the share of days they are enough."""
        return self.curve

    def sentence(self) -> str:
        """Return the places that would be enough, zone by zone."""
        if not self.outcomes:
            return without_outcomes("how many places will be needed")
        some = self.zones[(self.zones["needed"] > 0) & (self.zones["zone"] != TOTAL)]
        if some["places"].notna().any():  # a zone without a number, such as foster, takes no place
            some = some[some["places"].notna()]
        if some.empty:
            return f"No places would be needed in the next {count(self.weeks, 'week')}."
        now = ["" if np.isnan(n) else f" (now {n:.0f})" for n in some["places"]]
        each = zip(some["needed"], some["zone"], now, strict=True)
        parts = [f"{count(n, 'place')} {inside(zone)}{there}" for n, zone, there in each]
        return (
            f"{listing(parts)} would have room for all on {percent(self.confidence)} of the days of the next "
            f"{count(self.weeks, 'week')}, if things go on as they have."
        )

    def notes(self) -> tuple[str, ...]:
        """Return the assumptions."""
        return self.remarks if self.outcomes else ()


def places_needed(
    records: Records, weeks: int = 13, *, confidence: float | None = None, draws: int | None = None, seed: int = 20_260
) -> PlacesNeeded:
    """Find the smallest number of places with room for all on a share of the quarter's days.

    Parameters
    ----------
    confidence : float, optional
        Share of days. Default: the setting ``capacity.confidence``.

    Notes
    -----
    The smallest N with the mean over the days of P(census <= N) at or past ``confidence``, no limits on places; beside
    it the chance of at least one day above N, from paths. Little's law and Erlang's loss formula take the rate and the
    mean stay alone, in a steady state: a check, not the answer.
    """
    confidence = check_proportion("The share of days", confidence or float(records.settings["capacity.confidence"]))
    made = setup(records, weeks=weeks, draws=draws, seed=seed)
    found = laws(made.house, 7 * weeks)
    walked, _ = walk(made, 7 * weeks, seed)
    load = steady_load(made, weeks)
    rows, curves = [], []
    for i, zone in shown(made):
        each = found.enough[i]
        curve = _curve(zone, each, int(made.fixed[i]))
        curves.append(curve)
        path = (walked.sum(axis=1) if zone == TOTAL else walked[:, i]) + made.fixed[i]
        rows.append(_row(zone, each, path, made.places.get(zone, np.nan), load[i], confidence, int(made.fixed[i])))
    units = dict.fromkeys(
        ("places", "needed", "needed_low", "needed_high", "steady_mean", "poisson", "erlang"), "places"
    )
    frame = titled(
        pd.DataFrame(rows),
        f"Places enough on {percent(confidence)} of days",
        **units,
        enough_now="share of days",
        any_day_over_needed="chance, 0-1",
    )
    curve_frame = titled(
        pd.concat(curves, ignore_index=True),
        "Places and the days they are enough",
        places="places",
        share_of_days="share of days",
        error="share of days",
    )
    more = () if records.has("requests") else (NOT_ASKED,)
    return PlacesNeeded(
        outcomes=records.has("outcomes"),
        zones=told_of(records, frame),
        curve=told_of(records, curve_frame),
        confidence=confidence,
        weeks=weeks,
        remarks=(
            "Each zone by itself: places of one zone do not help another. Needed low and high: the middle 80 % of "
            "what each parameter draw alone would ask for.",
            "Textbook, steady state: mean by Little's law (rate x mean stay); Poisson: enough on "
            f"{percent(confidence)} of days; Erlang: at most {percent(REFUSED)} of arrivals refused. Groups that "
            "arrive together need more than they say.",
            *made.notes,
            *more,
        ),
    )


def _curve(zone: str, each: np.ndarray, fixed: int) -> pd.DataFrame:
    share = each.mean(axis=0)
    last = int(np.argmax(share >= 0.999)) if (share >= 0.999).any() else share.size - 1
    error = each.std(axis=0) / np.sqrt(len(each))
    counts = np.arange(last + 1) + fixed
    return pd.DataFrame(
        {"zone": zone, "places": counts, "share_of_days": share[: last + 1], "error": error[: last + 1]}
    )


def _row(
    zone: str, each: np.ndarray, path: np.ndarray, held: float, load: float, confidence: float, fixed: int
) -> dict[str, object]:
    share = each.mean(axis=0)
    needed = first_enough(share, confidence) + fixed
    alone = np.array([first_enough(draw, confidence) for draw in each]) + fixed
    low, high = np.quantile(alone, [0.1, 0.9], method="nearest")
    steady = np.isfinite(load) and load > 0
    return {
        "zone": zone,
        "places": held,
        "enough_now": _enough(share, held, fixed),
        "needed": needed,
        "needed_low": int(low),
        "needed_high": int(high),
        "enough_at_needed": float(share[needed - fixed]),
        "any_day_over_needed": float((path > needed).any(axis=1).mean()),
        "steady_mean": load + fixed if np.isfinite(load) else np.nan,
        "poisson": int(queues.present_quantile(load, confidence)) + fixed if steady else np.nan,
        "erlang": queues.places_for(load, REFUSED) + fixed if steady else np.nan,
    }


def _enough(share: np.ndarray, held: float, fixed: int) -> float:
    """Return the share of days on which the places there are suffice; nan where their number is not known."""
    if np.isnan(held):
        return np.nan
    return float(share[min(int(held) - fixed, share.size - 1)]) if held >= fixed else 0.0


def first_enough(share: np.ndarray, confidence: float) -> int:
    """Return the smallest number of places whose share of days is at or past ``confidence``."""
    at = np.flatnonzero(share >= confidence - 1e-12)
    return int(at[0]) if at.size else share.size - 1


def steady_load(made: Setup, weeks: int) -> np.ndarray:
    """Return the mean census of each zone, and of all, if the coming quarter's intake went on for ever.

    Little's law by zone: arrivals a day x mean visits x mean days a visit, mean over draws.
    """
    kernel = made.house.kernel
    z = kernel.zones
    leave = kernel.hazard.sum(axis=-1)
    left = np.cumprod(1 - leave, axis=-1)
    before = np.concatenate([np.ones((*left.shape[:2], 1)), left[..., :-1]], axis=-1)
    go = (before[..., None] * kernel.hazard).sum(axis=2)[..., :z]
    last = np.maximum(leave[..., -1:], 1e-12)
    go += left[..., -1:] * kernel.hazard[:, :, -1, :z] / last
    # Visits v solve v = entry + v go; a zone that never lets go would make them endless.
    visits = np.linalg.solve(np.eye(z) - go.transpose(0, 2, 1) * (1 - 1e-9), made.house.entry[..., None])[..., 0]
    rate = sum_of_arrivals(made.house, 7 * weeks).mean(axis=1)
    days = mean_days(kernel)
    load = np.where(visits > 1e-9, rate[:, None] * visits * np.where(np.isfinite(days), days, 0), 0.0).mean(axis=0)
    load = np.bincount(made.house.to_zone, load, minlength=made.house.zones)
    return np.append(load, load.sum())
