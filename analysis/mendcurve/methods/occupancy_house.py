"""A whole house in one value: who is here, how they move on, what will come; its laws, means and paths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mendcurve.errors import InputError
from mendcurve.methods.occupancy import Kernel, from_new, from_today
from mendcurve.methods.occupancy_law import WEEK, Stream, census_law

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class House:
    """What a forecast needs, each part for the same parameter draws.

    Attributes
    ----------
    kernel : Kernel
    zone, age, weight : ndarray of int, shape (n,)
        The kernel's zone of each one here today, whole days since it entered, what it counts for (animals or places).
    streams : tuple of Stream
        Kinds of intake events.
    share : ndarray, shape (7,)
        Share of a week's events by day; the first is tomorrow.
    entry : ndarray, shape (draws, zones of the kernel)
        Chance that a row begins in each.
    belongs : ndarray of int, shape (zones of the kernel,), optional
        The zone each of the kernel's belongs to, where some are kinds of one zone (quarantine of snakes, of lizards).
    """

    kernel: Kernel
    zone: Ints
    age: Ints
    weight: Ints
    streams: tuple[Stream, ...]
    share: Floats
    entry: Floats
    belongs: Ints | None = None

    @property
    def to_zone(self) -> Ints:
        """Zone of each of the kernel's zones."""
        return np.arange(self.kernel.zones) if self.belongs is None else self.belongs

    @property
    def zones(self) -> int:
        """Number of zones."""
        return int(self.to_zone.max()) + 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laws:
    """Laws of the census by day, mixed over the parameter draws.

    Attributes
    ----------
    law : tuple of ndarray, shape (days, counts) each
        One for each zone, and last the total (a law of its own: quantiles of zones do not add).
    error : tuple of ndarray, shape (days, counts) each
        Monte Carlo standard error of the cumulative law, from the spread between draws.
    enough : tuple of ndarray, shape (draws, counts) each
        Mean over the days of P(census <= count), draw by draw.
    """

    law: tuple[Floats, ...]
    error: tuple[Floats, ...]
    enough: tuple[Floats, ...]


def laws(house: House, ahead: int, *, days: Sequence[int] | None = None) -> Laws:
    """Return the exact census law given parameters, mixed over draws, for each zone and the total.

    Parameters
    ----------
    ahead : int
        Days ahead; day 1 is tomorrow.
    days : sequence of int, optional
        Keep only these days (1 .. ahead) in the result.
    """
    here, fresh = where(house, ahead)
    keep = np.arange(ahead) if days is None else np.asarray(days) - 1
    found = []
    for j in range(house.zones + 1):
        total = j == house.zones
        resident = here.sum(axis=-1) if total else here[..., j]
        present = fresh.sum(axis=-1) if total else fresh[..., j]
        each = census_law(resident, house.weight, present, house.streams, house.share, days=keep)
        below = np.cumsum(each, axis=-1)
        error = below.std(axis=0) / np.sqrt(max(each.shape[0], 1))
        found.append((each.mean(axis=0), error, below.mean(axis=1)))
    return Laws(law=tuple(f[0] for f in found), error=tuple(f[1] for f in found), enough=tuple(f[2] for f in found))


def where(house: House, ahead: int) -> tuple[Floats, Floats]:
    """Return where residents and arrivals are: shapes (draws, n, ahead, zones) and (draws, ahead, zones)."""
    new = from_new(house.kernel, ahead)
    into = np.eye(house.zones)[house.to_zone]
    fresh = (np.einsum("mz,mzhj->mhj", house.entry, new) @ into)[:, :ahead]
    # Residents alike in zone and age have one future: work it out once.
    length = house.kernel.hazard.shape[2]
    code = house.zone * length + np.minimum(house.age, length - 1)
    kinds, which = np.unique(code, return_inverse=True)
    here = from_today(house.kernel, kinds // length, kinds % length, ahead, new=new, belongs=house.to_zone)
    return here[:, which], fresh


def mean_census(house: House, ahead: int) -> Floats:
    """Return the mean census, shape (draws, zones, ahead), given each draw."""
    here, fresh = where(house, ahead)
    mean = np.einsum("n,mnhj->mjh", house.weight.astype(float), here)
    daily = sum_of_arrivals(house, ahead)
    for h in range(ahead):
        mean[:, :, h] += np.einsum("md,mdj->mj", daily[:, : h + 1], fresh[:, h::-1])
    return mean


def sum_of_arrivals(house: House, ahead: int) -> Floats:
    """Return the expected weight arriving on each day ahead, shape (draws, ahead)."""
    daily = np.zeros((house.kernel.draws, ahead))
    for s in house.streams:
        weight = s.chance @ np.array([sum(b) for b in s.batches], dtype=float)
        spread = (s.mean[:, :, None] * house.share).reshape(s.mean.shape[0], -1)[:, :ahead]
        daily[:, : spread.shape[1]] += spread * weight[:, None]
    return daily


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows on many paths: path, zone, age on the day they are first counted, that day, weight; each shape (n,)."""

    path: Ints
    zone: Ints
    age: Ints
    day: Ints
    weight: Ints


def paths(house: House, ahead: int, n: int, seed: int, *, thin: float = 0.0, seizure: int = 0) -> Floats:
    """Simulate ``n`` paths of the census, animal by animal, each on a parameter draw in turn.

    Parameters
    ----------
    seed : int
        The same seed gives the same arrivals and the same luck to each animal whatever the kernel: differences
        between two houses are then differences between the houses.
    thin : float
        Share of intake events that do not come.
    seizure : int
        Extra rows of weight 1 that all arrive tomorrow.

    Returns
    -------
    ndarray, shape (n, zones, ahead)

    Notes
    -----
    Animals are independent given the draw: full zones and rooms that empty together are not coupled.
    """
    if not 0 <= thin < 1:
        raise InputError(f"The share of intake that does not come must be from 0 to below 1, but it is {thin:g}.")
    coming = np.random.default_rng((seed, 0))
    draw = np.arange(n) % house.kernel.draws
    parts = [_here(house, n)]
    parts += [_arrivals(s, house, draw, ahead, coming, thin) for s in house.streams]
    if seizure:
        path = np.repeat(np.arange(n), seizure)
        parts.append(_entering(house, path, draw, np.ones_like(path), np.ones_like(path), coming))
    rows = Rows(*(np.concatenate([getattr(p, f) for p in parts]) for f in Rows.__slots__))
    return _walk(house, rows, draw, ahead, seed)


def _here(house: House, n: int) -> Rows:
    path = np.repeat(np.arange(n), house.zone.size)
    return Rows(path, np.tile(house.zone, n), np.tile(house.age, n), np.zeros_like(path), np.tile(house.weight, n))


def _entering(house: House, path: Ints, draw: Ints, day: Ints, weight: Ints, rng: np.random.Generator) -> Rows:
    zone = _pick(house.entry, draw[path], rng.random(path.size))
    return Rows(path, zone, np.full_like(path, -1), day, weight)


def _arrivals(stream: Stream, house: House, draw: Ints, ahead: int, rng: np.random.Generator, thin: float) -> Rows:
    mean = stream.mean[draw]
    size = stream.size[draw][:, None]
    shape = np.where(np.isinf(size), 1.0, size)
    luck = np.where(np.isinf(size), 1.0, rng.gamma(np.broadcast_to(shape, mean.shape)) / shape)
    events = rng.poisson(mean * luck)
    path = np.repeat(np.arange(draw.size), events.sum(axis=1))
    week = np.repeat(np.tile(np.arange(mean.shape[1]), draw.size), events.ravel())
    day = 1 + week * WEEK + _pick(house.share[None], np.zeros_like(path), rng.random(path.size))
    batch = _pick(stream.chance, draw[path], rng.random(path.size))
    # What does not come is moved past the last day, not dropped: the luck of all other rows stays as it was.
    day = np.where(rng.random(path.size) < thin, ahead + 1, day)
    many = np.array([len(b) for b in stream.batches], dtype=np.int64)
    flat = np.array([w for b in stream.batches for w in b], dtype=np.int64)
    start = np.concatenate([[0], many.cumsum()[:-1]])
    n = many[batch]
    inside = np.arange(n.sum()) - np.repeat(n.cumsum() - n, n)
    weight = flat[np.repeat(start[batch], n) + inside]
    return _entering(house, np.repeat(path, n), draw, np.repeat(day, n), weight, rng)


def _pick(chance: Floats, row: Ints, u: Floats) -> Ints:
    """Pick a column for each u from the chances of its row: one search over all rows laid end to end."""
    below = np.minimum(chance.cumsum(axis=1), 1.0)
    below[:, -1] = 1.0
    flat = (below + np.arange(len(below))[:, None]).ravel()
    return np.searchsorted(flat, row + u, side="right") - row * chance.shape[1]


def _walk(house: House, rows: Rows, draw: Ints, ahead: int, seed: int) -> Floats:
    """Move every row until it has left or the days are over; return the census by path, zone and day."""
    kernel, to_zone, out = house.kernel, house.to_zone, house.zones
    z, length = kernel.zones, kernel.hazard.shape[2]
    table, flat = _ends(kernel, ahead)
    steps = np.zeros(draw.size * out * (ahead + 2))
    path, zone, weight = rows.path, rows.zone, rows.weight
    since, day = np.minimum(rows.age, length - 1), rows.day
    alive = np.arange(path.size)
    jump = 0
    while alive.size:
        # A stream of luck for each jump: a row's luck is its own, however many rows are still on the move.
        jump += 1
        u = np.random.default_rng((seed, jump)).random(path.size)[alive]
        block = draw[path[alive]] * z + zone[alive]
        gone = np.where(since[alive] < 0, 0.0, table[block, np.maximum(since[alive], 0), -1])
        at = np.searchsorted(flat, block + gone + u * (1 - gone), side="right") - block * table[0].size
        lasts, to = np.divmod(at, z + 1)
        # One never counted before (age -1) is counted from the day it comes: its first day is day 0.
        until = day[alive] + lasts - np.maximum(since[alive], 0)
        cell = (path[alive] * out + to_zone[zone[alive]]) * (ahead + 2)
        for when, sign in ((day[alive], 1.0), (until, -1.0)):
            steps += np.bincount(cell + np.minimum(when, ahead + 1), sign * weight[alive], minlength=steps.size)
        goes_on = (to < z) & (until <= ahead)
        alive, to, until = alive[goes_on], to[goes_on], until[goes_on]
        zone, day, since = zone.copy(), day.copy(), since.copy()
        zone[alive], day[alive], since[alive] = to, until, -1
    return steps.reshape(draw.size, out, ahead + 2).cumsum(axis=-1)[:, :, 1 : ahead + 1]


def _ends(kernel: Kernel, ahead: int) -> tuple[Floats, Floats]:
    """Return the chance of having gone, by draw and zone, day and where to, cumulated; and the same laid end to end."""
    length = kernel.hazard.shape[2]
    hazard = kernel.hazard[:, :, np.minimum(np.arange(length + ahead + 1), length - 1)]
    stay = np.cumprod(1 - hazard.sum(axis=-1), axis=-1)
    before = np.concatenate([np.ones((*stay.shape[:2], 1)), stay[..., :-1]], axis=-1)
    m, z, d, c = hazard.shape
    go = np.minimum((before[..., None] * hazard).reshape(m * z, d * c).cumsum(axis=1), 1 - 1e-12)
    return go.reshape(m * z, d, c), (go + np.arange(m * z)[:, None]).ravel()
