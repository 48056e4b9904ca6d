"""Census by day, and the kernel that says how long one stays in a zone and where it goes next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mendcurve.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CENSORED = -1
# The kernel keeps hazards day by day up to here; it is constant long before in every trial.
LONGEST_DAYS = 1095


def census(
    start: ArrayLike, end: ArrayLike, days: int, *, weight: ArrayLike = 1.0, group: ArrayLike = 0, groups: int = 1
) -> Floats:
    """Count who is there at the end of each day 0 .. days - 1, by difference arrays.

    Parameters
    ----------
    start, end : array of float, shape (n,)
        Day of coming and of leaving, counted from day 0; may lie outside. ``end`` nan or infinite: still there.
    days : int
        Days to count.
    weight : array, shape (n,)
        What each counts for. Unit: animals or places.
    group : array of int, shape (n,)
        0 .. groups - 1, such as the zone.

    Returns
    -------
    ndarray, shape (groups, days)
        Unit: as ``weight``.

    Notes
    -----
    In on day d: start <= d < end. Who comes and leaves on one day is in no census.
    """
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    if days < 1:
        raise InputError(f"A census needs at least one day, but days is {days}.")
    if np.isnan(start).any():
        raise InputError("Every stay in a census needs a day of coming, but one is missing.")
    if (end < start).any():
        raise InputError(
            "No one can leave before coming.", [f"{int((end < start).sum())} of {start.size} do"], "Correct the dates."
        )
    end = np.where(np.isnan(end), np.inf, end)
    weight = np.broadcast_to(np.asarray(weight, dtype=float), start.shape)
    row = np.broadcast_to(np.asarray(group, dtype=np.int64), start.shape) * (days + 1)
    steps = np.zeros(groups * (days + 1))
    for when, sign in ((start, 1.0), (end, -1.0)):
        at = row + np.clip(when, 0, days).astype(np.int64)
        steps += np.bincount(at, sign * weight, minlength=steps.size)
    return steps.reshape(groups, days + 1).cumsum(axis=1)[:, :days]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kernel:
    """Discrete hazards by days since entering a zone, for each next zone and for leaving.

    Attributes
    ----------
    hazard : ndarray, shape (draws, zones, days, zones + 1)
        Chance that one still in the zone at the start of day d (d days since it entered) goes on that day to zone
        0, 1, ... or, last, out of care. Beyond the last day: constant. Unit: proportion a day.
    last_day : ndarray of int, shape (zones,)
        Last day with enough at risk; hazards after it are the constant. Unit: days since entry.
    exits : ndarray of int, shape (zones,)
        Spells whose end was seen. Unit: spells.
    """

    hazard: Floats
    last_day: Ints
    exits: Ints

    @property
    def zones(self) -> int:
        """Number of zones."""
        return self.hazard.shape[1]

    @property
    def draws(self) -> int:
        """Number of parameter draws."""
        return self.hazard.shape[0]


def bootstrap_weights(cluster: ArrayLike, draws: int, rng: np.random.Generator) -> Floats:
    """Return Bayesian bootstrap weights, one exponential a cluster and draw [1]_; shape (draws, n).

    .. [1] Rubin (1981), Annals of Statistics 9:130-134 (from memory).
    """
    codes = np.unique(np.asarray(cluster), return_inverse=True)[1]
    return rng.standard_exponential((draws, codes.max() + 1 if codes.size else 0))[:, codes]


def kernel(
    zone: ArrayLike,
    entry: ArrayLike,
    exit: ArrayLike,
    goes_to: ArrayLike,
    *,
    zones: int,
    weights: ArrayLike | None = None,
    at_risk: int = 5,
) -> Kernel:
    """Estimate a kernel from spells: events / at risk by day, one estimate for each row of ``weights``.

    Parameters
    ----------
    zone : array of int, shape (n,)
        Zone of the spell, 0 .. zones - 1.
    entry, exit : array of int, shape (n,)
        At risk on days (entry, exit] since entering the zone; -1 for one seen from its first day.
    goes_to : array of int, shape (n,)
        -1 censored, 0 .. zones - 1 the next zone, ``zones`` out of care.
    weights : array, shape (draws, n), optional
        Default: one draw, all weights 1.
    at_risk : int
        Fewest spells at risk (unweighted) for a day to have a hazard of its own.

    Notes
    -----
    Events before censorings on one day. After the last day with ``at_risk`` the hazard is constant, at the pooled rate
    of the days on which the last third of the exits up to there fell. A zone with no exit is given the rate of all
    zones together for leaving care. A day without weight at risk has hazard 0.
    """
    zone, entry, exit, goes_to = (np.asarray(a, dtype=np.int64) for a in (zone, entry, exit, goes_to))
    _check_spells(zone, entry, exit, goes_to, zones)
    exit_ = np.minimum(exit, LONGEST_DAYS - 1)
    goes_to = np.where(exit > exit_, CENSORED, goes_to)
    keep = exit_ > entry
    weights = np.ones((1, zone.size)) if weights is None else np.asarray(weights, dtype=float)
    zone, entry, exit_, goes_to, weights = zone[keep], entry[keep], exit_[keep], goes_to[keep], weights[:, keep]
    days = int(exit_.max(initial=0)) + 1
    plain = _counts(zone, entry, exit_, goes_to, np.ones(zone.size), (zones, days))
    last = np.where(plain[0] >= at_risk, np.arange(days), -1).max(axis=1)
    ranges = [_tail_range(plain[1][z].sum(axis=1), int(last[z])) for z in range(zones)]
    length = max(int(last.max(initial=-1)) + 2, 2)
    hazard = np.empty((weights.shape[0], zones, length, zones + 1))
    for m, w in enumerate(weights):
        hazard[m] = _hazard(*_counts(zone, entry, exit_, goes_to, w, (zones, days)), last, ranges, length)
    exits = np.bincount(zone[goes_to != CENSORED], minlength=zones)
    return Kernel(hazard=hazard, last_day=last, exits=exits)


def _check_spells(zone: Ints, entry: Ints, exit: Ints, goes_to: Ints, zones: int) -> None:
    if zones < 1 or (zone.size and (zone.min() < 0 or zone.max() >= zones)):
        raise InputError(f"Zones are numbered 0 to {zones - 1}, but a spell is in another.")
    if (exit < entry).any():
        raise InputError("A spell must not end before it began.", [f"{int((exit < entry).sum())} of {zone.size} do"])
    if goes_to.size and (goes_to.min() < CENSORED or goes_to.max() > zones):
        raise InputError(
            f"A spell goes to zone 0 to {zones - 1}, to {zones} (out of care), or is censored (-1).",
            [f"found {goes_to.min()} to {goes_to.max()}"],
        )
    if ((goes_to >= 0) & (goes_to < zones) & (exit == 0) & (entry < 0)).any():
        raise InputError(
            "A spell that ends on its first day in another zone is part of the other zone's spell.",
            remedy="Keep only the zone in which the animal was at the end of the day.",
        )


def _counts(
    zone: Ints, entry: Ints, exit: Ints, goes_to: Ints, weight: Floats, shape: tuple[int, int]
) -> tuple[Floats, Floats]:
    """Return the sums of weights at risk (zones, days) and of exits (zones, days, nexts)."""
    zones, days = shape
    size = zones * (days + 1)
    came = np.bincount(zone * (days + 1) + entry + 1, weight, minlength=size).astype(float)
    went = np.bincount(zone * (days + 1) + exit + 1, weight, minlength=size)
    risk = (came - went).reshape(zones, days + 1).cumsum(axis=1)[:, :days]
    seen = goes_to != CENSORED
    at = (zone[seen] * days + exit[seen]) * (zones + 1) + goes_to[seen]
    events = np.bincount(at, weight[seen], minlength=zones * days * (zones + 1)).astype(float)
    return risk, events.reshape(zones, days, zones + 1)


def _tail_range(exits: Floats, last: int) -> tuple[int, int]:
    """Return the days, first and one past the last, over which the constant hazard is pooled."""
    seen = exits[: last + 1].cumsum()
    if last < 0 or seen[-1] == 0:
        return 0, exits.size
    return int(np.argmax(seen > 2 / 3 * seen[-1])), last + 1


def _hazard(risk: Floats, events: Floats, last: Ints, ranges: list[tuple[int, int]], length: int) -> Floats:
    zones = risk.shape[0]
    all_risk = risk.sum()
    out = np.zeros((zones, length, zones + 1))
    for z, (a, b) in enumerate(ranges):
        keep = last[z] + 1
        raw = np.divide(
            events[z, :keep], risk[z, :keep, None], out=np.zeros((keep, zones + 1)), where=risk[z, :keep, None] > 1e-12
        )
        pooled, exposed = events[z, a:b].sum(axis=0), risk[z, a:b].sum()
        if pooled.sum() <= 0:
            pooled, exposed = np.zeros(zones + 1), all_risk
            pooled[-1] = events[:, :, -1].sum()
        out[z, :keep] = raw
        out[z, keep:] = pooled / exposed if exposed > 0 else 0.0
    # On its first day one may leave care, but not change zone: the day is counted in the zone of its end.
    out[:, 0, :zones] = 0.0
    total = out.sum(axis=2, keepdims=True)
    return np.where(total > 1, out / np.maximum(total, 1), out)


def leaving(kernel: Kernel, zone: ArrayLike, age: ArrayLike, ahead: int) -> tuple[Floats, Floats]:
    """Return, for ones ``age`` days in ``zone`` today, the chance of still being there and of each way of going.

    Parameters
    ----------
    kernel : Kernel
    zone, age : array of int, shape (n,)
    ahead : int
        Days ahead.

    Returns
    -------
    stay : ndarray, shape (draws, n, ahead)
        Chance of no change up to and on day 1 .. ahead from today.
    go : ndarray, shape (draws, n, ahead, zones + 1)
        Chance that the first change is on that day, by where to.
    """
    zone, age = np.asarray(zone, dtype=np.int64), np.asarray(age, dtype=np.int64)
    day = np.minimum(age[:, None] + np.arange(1, ahead + 1), kernel.hazard.shape[2] - 1)
    hazard = kernel.hazard[:, zone[:, None], day, :]
    stay = np.cumprod(1 - hazard.sum(axis=-1), axis=-1)
    before = np.concatenate([np.ones((*stay.shape[:2], 1)), stay[..., :-1]], axis=-1)
    return stay, before[..., None] * hazard


def from_new(kernel: Kernel, ahead: int) -> Floats:
    """Return where one that entered a zone today is at the end of day 0, 1, .. ahead.

    Returns
    -------
    ndarray, shape (draws, zones entered, ahead + 1, zones)
        Unit: proportion. The rest has left.
    """
    z = kernel.zones
    stay, go = leaving(kernel, np.arange(z), np.zeros(z, dtype=np.int64), ahead)
    here = 1 - kernel.hazard[:, :, 0, -1]  # those not gone on the very day
    where = np.zeros((kernel.draws, z, ahead + 1, z))
    where[:, np.arange(z), 0, np.arange(z)] = here
    go = go[..., :z] * here[..., None, None]
    for h in range(1, ahead + 1):
        now = go[:, :, :h].reshape(kernel.draws, z, h * z)
        then = where[:, :, h - 1 :: -1][:, :, :h].transpose(0, 2, 1, 3).reshape(kernel.draws, h * z, z)
        where[:, :, h] = now @ then
        where[:, np.arange(z), h, np.arange(z)] += stay[..., h - 1] * here
    return where


def from_today(
    kernel: Kernel,
    zone: ArrayLike,
    age: ArrayLike,
    ahead: int,
    *,
    new: Floats | None = None,
    belongs: ArrayLike | None = None,
) -> Floats:
    """Return where ones ``age`` days in ``zone`` today are at the end of day 1 .. ahead from now.

    Parameters
    ----------
    new : ndarray, optional
        Result of :func:`from_new`, to save time.
    belongs : array of int, shape (zones,), optional
        Where several of the kernel's zones are kinds of one zone: the zone of each. Default: each its own.

    Returns
    -------
    ndarray, shape (draws, n, ahead, zones)
        Unit: proportion. The rest has left.
    """
    zone = np.asarray(zone, dtype=np.int64)
    z = kernel.zones
    belongs = np.arange(z) if belongs is None else np.asarray(belongs, dtype=np.int64)
    into = np.eye(int(belongs.max()) + 1)[belongs]
    stay, go = leaving(kernel, zone, age, ahead)
    where = np.zeros((*stay.shape, into.shape[1]))
    where[:, np.arange(zone.size), :, belongs[zone]] = stay.transpose(1, 0, 2)
    if z == 1:
        return where
    later = (from_new(kernel, ahead) if new is None else new) @ into
    lag = np.arange(ahead)[None, :] - np.arange(ahead)[:, None]  # day of going, day of asking
    for m in range(kernel.draws):
        # A move on day u, then h - u days in the new zone: one matrix product a draw.
        step = np.where((lag >= 0)[None, :, :, None], later[m][:, np.maximum(lag, 0)], 0.0)
        step = step.transpose(1, 0, 2, 3).reshape(ahead * z, ahead * into.shape[1])
        where[m] += (go[m, :, :, :z].reshape(zone.size, ahead * z) @ step).reshape(zone.size, ahead, into.shape[1])
    return where


def mean_days(kernel: Kernel) -> Floats:
    """Return the mean days in each zone of one entering it; shape (draws, zones), infinite without a way out."""
    leave = kernel.hazard.sum(axis=-1)
    left = np.cumprod(1 - leave, axis=-1)
    tail = np.divide(
        left[..., -1] * (1 - leave[..., -1]),
        leave[..., -1],
        out=np.full(left.shape[:2], np.inf),
        where=leave[..., -1] > 0,
    )
    # In the census on days 0 .. D - 1 by day, on all later days as a geometric sum.
    return left.sum(axis=-1) + np.where(left[..., -1] > 0, tail, 0.0)
