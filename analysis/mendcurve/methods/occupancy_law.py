"""The exact law of a day's census given parameters: residents one by one, new arrivals as a compound count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mendcurve.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Complex = NDArray[np.complex128]

WEEK = 7
# Draws worked on at a time: bounds the memory to some tens of megabytes.
CHUNK = 25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stream:
    """One kind of intake events in the weeks ahead.

    Attributes
    ----------
    mean : ndarray, shape (draws, weeks)
        Expected events. Unit: events per week.
    size : ndarray, shape (draws,)
        Negative binomial size, variance mean + mean^2 / size; infinite for Poisson.
    batches : tuple of tuple of int
        What can come in one event: the weight (animals or places) of each row.
    chance : ndarray, shape (draws, batches)
        Chance of each batch; sums to 1.
    """

    mean: Floats
    size: Floats
    batches: tuple[tuple[int, ...], ...]
    chance: Floats

    def __post_init__(self) -> None:
        if (self.mean < 0).any() or (self.size <= 0).any():
            raise InputError("Events per week must be at least 0, and the size of their spread above 0.")
        if (
            self.chance.shape != (self.mean.shape[0], len(self.batches))
            or np.abs(self.chance.sum(axis=1) - 1).max() > 1e-9
        ):
            raise InputError("Each draw needs one chance for each kind of batch, and they must sum to 1.")


def poisson_binomial(chance: ArrayLike, weight: ArrayLike | None = None) -> Floats:
    """Return the law of a sum of independent yes-or-no items, by convolution.

    Parameters
    ----------
    chance : array, shape (n, laws)
        Chance of each item; each column is one law.
    weight : array of int, shape (n,), optional
        What an item counts for. Default: 1.

    Returns
    -------
    ndarray, shape (sum of weights + 1, laws)
    """
    chance = np.asarray(chance, dtype=float)
    n, laws = chance.shape
    if n and (chance.min() < -1e-9 or chance.max() > 1 + 1e-9):
        raise InputError("A chance must be between 0 and 1.", [f"found {chance.min():g} to {chance.max():g}"])
    weight = np.ones(n, dtype=np.int64) if weight is None else np.asarray(weight, dtype=np.int64)
    if (weight < 0).any():
        raise InputError("A weight must be a whole number of at least 0.")
    law = np.zeros((int(weight.sum()) + 1, laws))
    law[0] = 1.0
    top = 0
    for p, w in zip(np.clip(chance, 0, 1), weight, strict=True):
        if w == 0:
            continue
        gained = law[: top + 1] * p
        law[: top + 1] *= 1 - p
        top += int(w)
        law[w : top + 1] += gained
    return law


def census_law(
    resident: Floats,
    weight: ArrayLike,
    present: Floats,
    streams: Sequence[Stream],
    share: ArrayLike,
    *,
    counts: int | None = None,
    days: ArrayLike | None = None,
) -> Floats:
    """Return the law of the census on each day ahead, for each parameter draw, exactly (by FFT).

    Parameters
    ----------
    resident : ndarray, shape (draws, n, days)
        Chance that each one here today is in the zone on day 1, 2, ....
    weight : array of int, shape (n,)
        What each counts for. Unit: animals or places.
    present : ndarray, shape (draws, days)
        Chance that a row is in the zone 0, 1, ... days after its arrival.
    streams : sequence of Stream
        Kinds of intake events, independent of each other.
    share : array, shape (7,)
        Share of a week's events on its first, second, ... day; day 1 ahead is the first.
    counts : int, optional
        Length of each law, a power of 2. Default: enough for 8 standard deviations and one of the largest batch more.
    days : array of int, optional
        Which days, from 0 (tomorrow). Default: all.

    Returns
    -------
    ndarray, shape (draws, days, counts)

    Notes
    -----
    A week's events are one negative binomial count, each event falls on a day by ``share``: the generating function of
    what is left of week w on day t is (1 + mean_w / size (1 - G))^-size, G the mean over the week's days of an event's
    own. Rows of one event move independently; a row's weight moves as one.
    """
    share = np.asarray(share, dtype=float)
    if share.shape != (WEEK,) or abs(share.sum() - 1) > 1e-9 or (share < 0).any():
        raise InputError("The shares of the days of a week must be 7 numbers that sum to 1.")
    draws, n, ahead = resident.shape
    if present.shape[0] != draws or present.shape[1] < ahead:
        raise InputError(
            "Residents and arrivals need the same draws and days.",
            [f"residents {resident.shape}, arrivals {present.shape}"],
        )
    weight = np.asarray(weight, dtype=np.int64)
    counts = counts or _enough(resident, weight, present[:, :ahead], streams)
    keep = np.arange(ahead) if days is None else np.asarray(days, dtype=np.int64)
    if counts < weight.sum() + 1:
        raise InputError(f"A law of {counts} counts cannot hold {weight.sum()} already here.")
    out = np.empty((draws, keep.size, counts))
    turn = np.exp(-2j * np.pi * np.arange(counts // 2 + 1) / counts)
    for a in range(0, draws, CHUNK):
        part = slice(a, a + CHUNK)
        here = resident[part][:, :, keep].transpose(1, 0, 2)
        here = here.reshape(n, here.shape[1] * keep.size)
        law = poisson_binomial(here, weight).T.reshape(-1, keep.size, int(weight.sum()) + 1)
        curve = np.fft.rfft(law, n=counts, axis=-1)
        for stream in streams if present[part, :ahead].any() else ():
            curve *= np.exp(_log_arrivals(stream, part, present[part, :ahead], share, turn, keep))
        out[part] = np.fft.irfft(curve, n=counts, axis=-1)
    # Rounding leaves masses of the order of -1e-17.
    np.maximum(out, 0, out=out)
    out /= out.sum(axis=-1, keepdims=True)
    return out


def _enough(resident: Floats, weight: Ints, present: Floats, streams: Sequence[Stream]) -> int:
    """Return a power of 2 past any census that matters: what wraps around is below 1e-9."""
    mean = np.einsum("n,mnh->mh", weight.astype(float), resident)
    spread = np.einsum("n,mnh->mh", weight.astype(float) ** 2, resident * (1 - resident))
    reach = min(float((mean + 8 * np.sqrt(np.maximum(spread, 0))).max(initial=0)), float(weight.sum()))
    largest = 0.0
    for s in streams:
        sums = np.array([sum(b) for b in s.batches], dtype=float)
        left = np.add.reduceat(present, np.arange(0, present.shape[1], WEEK), axis=1) / WEEK
        weeks = min(s.mean.shape[1], left.shape[1])
        # The week k before the last is left with the share present k weeks on; 1.2: shares within a week differ.
        events = s.mean[:, :weeks].max(axis=1, keepdims=True) * np.minimum(1.2 * left[:, :weeks], 1)
        mean = (events.sum(axis=1) * (s.chance @ sums)).max(initial=0)
        spread = (events + events**2 / s.size[:, None]).sum(axis=1) * (s.chance @ sums**2)
        reach += mean + 8 * np.sqrt(spread.max(initial=0))
        largest = max(largest, sums.max(initial=0))
    return 1 << int(np.ceil(np.log2(max(reach + largest, weight.sum(), 6) + 2)))


def _log_arrivals(stream: Stream, part: slice, present: Floats, share: Floats, turn: Complex, keep: Ints) -> Complex:
    """Return the log characteristic function of what one stream leaves in the zone; shape (draws, days, points)."""
    event = _event(stream.batches, stream.chance[part], present, turn) - 1
    ahead = present.shape[1]
    # One week's events, r days after its first day: a share has come, the rest counts as 0.
    week = np.zeros_like(event)
    for i, s in enumerate(share):
        week[:, i:] += s * event[:, : ahead - i]
    size = stream.size[part]
    total = np.zeros((event.shape[0], keep.size, turn.size), dtype=complex)
    for w in range(min(stream.mean.shape[1], -(-ahead // WEEK))):
        on = keep >= WEEK * w
        left = stream.mean[part, w][:, None, None] * week[:, keep[on] - WEEK * w]
        if np.isinf(size).all():
            total[:, on] += left
        else:
            total[:, on] -= size[:, None, None] * np.log(1 - left / size[:, None, None])
    return total


def _event(batches: tuple[tuple[int, ...], ...], chance: Floats, present: Floats, turn: Complex) -> Complex:
    """Return the characteristic function of one event of given age: shape (draws, ages, points)."""
    item = {w: 1 + present[..., None] * (turn**w - 1) for w in {w for b in batches for w in b}}
    power: dict[tuple[int, int], Complex] = {}
    total = np.zeros((*present.shape, turn.size), dtype=complex)
    for b, p in zip(batches, chance.T, strict=True):
        product: Complex | float = 1.0
        for w in sorted(set(b)):
            key = (w, b.count(w))
            if key not in power:
                power[key] = _power(item[w], key[1])
            product = product * power[key]
        total += p[:, None, None] * product
    return total


def _power(x: Complex, n: int) -> Complex:
    """Return x to a whole power by squaring: numpy's own complex power is twenty times slower."""
    out: Complex | None = None
    while n:
        if n & 1:
            out = x if out is None else out * x
        n >>= 1
        x = x * x if n else x
    return np.ones_like(x) if out is None else out
