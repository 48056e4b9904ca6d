"""The unit of weights: said by the heading, by the cells, or by what animals of these species can weigh."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.folding import folded
from mendcurve.records.numbers import parse_weights
from mendcurve.records.species import lookup

GRAMS = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
_NAMES = {"g": "grams", "kg": "kilograms", "oz": "ounces", "lb": "pounds"}
# The bounds of a species are wide (a hatchling to three times an adult). A unit fits when nearly all weights lie
# inside; it is ruled out when many do not. Only where one unit fits and all others are ruled out do bounds decide.
_FITS, _RULED_OUT, _FEWEST = 0.95, 0.75, 5
# ... or where most weights fit one unit and hardly any another: then the rest are animals or numbers to look at.
_MOST, _HARDLY = 0.6, 0.1
# Where most animals lie between the bounds, on the log scale from 0 to 1 (judgement): a grown animal lies at about
# 0.8, a hatchling near 0.2.
_LOW_PLACE, _GROWN_PLACE = 0.45, (0.5, 0.95)
_STEPS = (100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.001)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Weights:
    """Weights that were read: number, unit written with it ("" for none), and the bounds of the species in grams."""

    number: np.ndarray
    unit: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def inside(self, unit: str, use: np.ndarray) -> float:
        """Share of the weights of ``use`` inside the bounds, read in ``unit``."""
        grams = self.number[use] * GRAMS[unit]
        return float(((grams >= self.low[use]) & (grams <= self.high[use])).mean()) if use.any() else float("nan")

    def place(self, unit: str, use: np.ndarray) -> float:
        """Middle of the places between the bounds (0 lowest, 1 highest, log scale), read in ``unit``."""
        low, high = np.log(self.low[use]), np.log(self.high[use])
        return float(np.median((np.log(self.number[use] * GRAMS[unit]) - low) / (high - low)))


def weight_unit(
    weights: pd.Series, species: pd.Series | None, reference: pd.DataFrame, *, heading: str = "", decimal: str = ""
) -> Decision:
    """Decide the unit of the weights that name none.

    Parameters
    ----------
    weights : Series of text, shape (rows,)
    species : Series of text, shape (rows,), optional
        Species of each row, in the rescue's words; None where the sheet has none.
    reference : DataFrame
        As ``species.reference`` gives it, with ``low_g`` and ``high_g``.
    heading : str
        Heading of the column: "Weight (oz)" says its unit.
    decimal : str
        The sign that marks decimals, where it is known.

    Returns
    -------
    Decision
        ``value`` "g", "kg", "oz", "lb" or "". An empty value without doubts says that every weight names its unit.

    Notes
    -----
    The heading comes first, then the bounds of the species where they leave one unit only, then what the cells with a
    unit say if the bounds do not object. Nothing else decides; numbers that fit another unit better are a doubt.
    """
    read = _read(weights, species, reference, decimal)
    bare, written = read.unit == "", Counter(str(u) for u in read.unit if u)
    known = bare & ~np.isnan(read.low)
    fits = {unit: read.inside(unit, known) for unit in GRAMS}
    said = _written_said(written, int(bare.sum()))
    unit = split_heading(heading).unit
    if unit in GRAMS:
        reasons = (f'The heading "{heading}" says {_NAMES[unit]}.', *said)
        return Decision(value=unit, reasons=reasons, doubts=_doubts(read, known, unit, fits))
    if not bare.any():
        return Decision(value="", reasons=said)
    enough = int(known.sum()) >= _FEWEST
    possible = [u for u, share in fits.items() if share >= _FITS] if enough else []
    told = (*said, _fit_said(fits, int(known.sum()))) if enough else said
    only = _only(fits) if enough else ""
    if only:
        return Decision(value=only, reasons=told, doubts=_doubts(read, known, only, fits))
    most = written.most_common(1)[0][0] if len(written) == 1 and written.total() >= 3 else ""
    if most and (not enough or most in possible):
        reasons = (*told, f"The {int(bare.sum())} numbers without a unit are taken for {_NAMES[most]}, too.")
        return Decision(value=most, reasons=reasons, doubts=_doubts(read, known, most, fits))
    return Decision(value="", reasons=said, doubts=(_open_said(read, known, fits, possible, enough),))


def _only(fits: Mapping[str, float]) -> str:
    """Return the one unit that the bounds leave, or ""."""
    best, second = sorted(fits, key=lambda u: -fits[u])[:2]
    clear = fits[best] >= _FITS and fits[second] < _RULED_OUT
    return best if clear or (fits[best] >= _MOST and fits[second] <= _HARDLY) else ""


def scale_step(weights: pd.Series, unit: str, *, decimal: str = "") -> Decision:
    """Propose the smallest step of the scale in grams: the largest step that nearly all weights are multiples of.

    Notes
    -----
    At least 20 weights are asked for, 49 of 50 must be multiples. ``value`` "" where there are fewer.
    """
    read = _read(weights, None, None, decimal)
    use = (read.unit == "") | (read.unit == unit)
    number = read.number[use]
    if len(number) < 20 or unit not in GRAMS:
        return Decision(value="")
    for step in _STEPS:
        share = float((np.abs(number / step - np.round(number / step)) < 1e-6).mean())
        if share >= 0.98:
            reason = f"{share:.0%} of {len(number)} weights are multiples of {step:g} {unit}."
            return Decision(value=step * GRAMS[unit], reasons=(reason,))
    return Decision(value="")


def _read(weights: pd.Series, species: pd.Series | None, reference: pd.DataFrame | None, decimal: str) -> _Weights:
    found = parse_weights(weights, decimal=decimal).found
    use = np.array([value is not None for value in found], dtype=bool)
    bounds = np.full((len(found), 2), np.nan)
    if species is not None and reference is not None:
        words = lookup(reference)
        by_name = reference.drop_duplicates("name", keep="last").set_index("name")[["low_g", "high_g"]]
        places, unique = pd.factorize(species.to_numpy(dtype=object))
        names = [words.get(folded(str(word)), "") for word in unique]
        bounds = by_name.reindex(names).to_numpy(dtype="float64")[places]
    return _Weights(
        number=np.array([v[0] for v in found[use]], dtype="float64"),
        unit=np.array([v[1] for v in found[use]], dtype=object),
        low=bounds[use, 0],
        high=bounds[use, 1],
    )


def _written_said(written: Counter[str], bare: int) -> tuple[str, ...]:
    if not written:
        return ()
    each = ", ".join(f"{count} in {_NAMES[unit]}" for unit, count in written.most_common())
    rest = f"; {bare} have none" if bare else ""
    return (f"{written.total()} weights are written with their unit: {each}{rest}.",)


def _fit_said(fits: Mapping[str, float], count: int) -> str:
    each = ", ".join(f"{share:.0%} as {_NAMES[unit]}" for unit, share in fits.items())
    return f"Of {count} weights without a unit this share is plausible for the species: {each}."


def _doubts(read: _Weights, known: np.ndarray, unit: str, fits: Mapping[str, float]) -> tuple[str, ...]:
    """Say where the numbers fit another unit better than the one decided."""
    if int(known.sum()) < _FEWEST:
        return ()
    best = max(fits, key=lambda u: fits[u])
    if fits[unit] < _RULED_OUT and fits[best] >= _FITS:
        return (
            f"Only {fits[unit]:.0%} of {int(known.sum())} weights are plausible in {_NAMES[unit]}; {fits[best]:.0%} "
            f"would be in {_NAMES[best]}. Look at one animal you know, and correct unit if it is wrong.",
        )
    if fits[unit] < _FITS:
        odd = round((1 - fits[unit]) * int(known.sum()))
        return (f"{odd} of {int(known.sum())} weights are not plausible for their species in {_NAMES[unit]}.",)
    likelier = _likelier(read, known, unit, fits)
    if not likelier:
        return ()
    return (
        f"In {_NAMES[unit]} most of {int(known.sum())} animals would weigh little more than hatchlings; in "
        f"{_NAMES[likelier]} they would be grown. Look at one animal you know, and correct unit if it is wrong.",
    )


def _likelier(read: _Weights, known: np.ndarray, unit: str, fits: Mapping[str, float]) -> str:
    if read.place(unit, known) >= _LOW_PLACE:
        return ""
    low, high = _GROWN_PLACE
    return next((u for u in fits if u != unit and fits[u] >= _FITS and low <= read.place(u, known) <= high), "")


def _open_said(read: _Weights, known: np.ndarray, fits: Mapping[str, float], possible: list[str], enough: bool) -> str:
    bare = read.number[read.unit == ""]
    shown = f"{len(bare)} weights name no unit (the middle one is {float(np.median(bare)):g})"
    ask = 'Write unit = "g", "kg", "oz" or "lb".'
    if not enough:
        return f"{shown}, and too few are of a known species to tell. {ask}"
    if not possible:
        return f"{shown}, and no unit fits: {_fit_said(fits, int(known.sum()))} {ask}"
    each = " or ".join(_NAMES[unit] for unit in possible)
    return f"{shown}, which is plausible in {each}. {_fit_said(fits, int(known.sum()))} {ask}"
