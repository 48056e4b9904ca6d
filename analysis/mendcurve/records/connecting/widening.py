"""Layouts with one column a weighing: which headings are dates, weeks or numbered pairs, and how they are read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from mendcurve.records.connecting.dates_evidence import date_order
from mendcurve.records.connecting.profiling import Profile
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.dates import ORDERS, parse_dates
from mendcurve.records.parsing import none
from mendcurve.records.wide import date_in, month_in, number_in

_FEWEST = 2
# "May" and "March" are words too: three months are believed.
_FEWEST_MONTHS = 3
_NUMBERED = re.compile(r"(.*?\D)\s*[#.]?\s*\(?(\d{1,3})\)?")
_CALLED_IN = frozenset(("in", "intake", "arrival", "admission", "start", "arrived"))
_CALLED_OUT = frozenset(("out", "release", "adoption", "outcome", "leaving", "departure", "discharge", "rehoming"))


@dataclass(frozen=True, slots=True, kw_only=True)
class WideGuess:
    """How a sheet's columns hold weighings.

    Attributes
    ----------
    spec : mapping
        The value of ``wide`` in records.toml.
    columns : tuple of str
        Headings that are weighings, or the dates of weighings.
    order : str
        Order of day and month in the headings; "" where they need none.
    reasons, doubts : tuple of str
    """

    spec: Mapping[str, Any]
    columns: tuple[str, ...]
    order: str = ""
    reasons: tuple[str, ...] = ()
    doubts: tuple[str, ...] = field(default=())


def find_wide(profiles: Mapping[str, Profile], vocabulary: Vocabulary, start: str, name: str = "") -> WideGuess | None:
    """Return how the sheet holds one column a weighing, or None.

    Parameters
    ----------
    profiles : mapping of heading to Profile
        In the order of the sheet.
    start : str
        Heading of the day of arrival in the same sheet, "" where there is none.
    name : str
        Names of the sheet and the file; they may tell the year of headings that are months.
    """
    weights = [h for h, p in profiles.items() if not p.filled or p.number >= 0.5]
    return (
        _dates(weights)
        or _months(weights, name)
        or _numbered(weights, "weeks", start)
        or _numbered(weights, "days", start)
        or _pairs(profiles, vocabulary)
    )


def _spec(kind: str, **more: Any) -> dict[str, Any]:
    return {"into": "weighed_on", "values": "weight", "headings": kind, **more}


def _dates(headings: list[str]) -> WideGuess | None:
    texts = pd.Series([date_in(h) for h in headings], dtype=object)
    either = ~(none(parse_dates(texts, "dmy").found) & none(parse_dates(texts, "mdy").found))
    bare = texts.str.fullmatch(r"\d+(?:\.\d+)?").to_numpy(dtype=bool) if len(texts) else either
    found = [h for h, is_date, number in zip(headings, either, bare, strict=True) if is_date and not number]
    if len(found) < _FEWEST:
        return None
    decided = date_order({"headings": pd.Series([date_in(h) for h in found], dtype=object)}, {}, range(len(found)))
    reason = f'{len(found)} headings are dates, from "{found[0]}" to "{found[-1]}": one column a weighing'
    said = tuple(f"the headings: {r}" for r in decided.reasons) if decided.value in ORDERS else ()
    return WideGuess(
        spec=_spec("dates"),
        columns=tuple(found),
        order=decided.value,
        reasons=(reason, *said),
        doubts=tuple(decided.doubts),
    )


def _months(headings: list[str], name: str) -> WideGuess | None:
    found = [h for h in headings if month_in(h)]
    if len(found) < _FEWEST_MONTHS:
        return None
    reason = f'{len(found)} headings are months, from "{found[0]}" to "{found[-1]}": one column a weighing'
    years = set(re.findall(r"(?<!\d)(20\d\d)(?!\d)", name))
    if len(years) != 1:
        doubt = "nothing says of which year the months are; write the year into the name of the sheet"
        return WideGuess(spec={}, columns=tuple(found), reasons=(reason,), doubts=(doubt,))
    year = int(years.pop())
    said = f"the name says {year}; no day is written, so the middle of the month is taken and doubtful"
    return WideGuess(spec=_spec("months", year=year), columns=tuple(found), reasons=(reason, said))


def _numbered(headings: list[str], kind: str, start: str) -> WideGuess | None:
    numbers = {h: n for h in headings if (n := number_in(h, kind)) is not None}
    if len(numbers) < _FEWEST:
        return None
    lowest = min(numbers.values())
    first = 0 if lowest == 0 else 1
    unit = kind.removesuffix("s")
    reason = f'{len(numbers)} headings count {kind}, from "{next(iter(numbers))}": one column a weighing'
    if not start:
        doubt = f"the {kind} are counted from a day this sheet does not hold; add a column with the day of arrival"
        return WideGuess(spec={}, columns=tuple(numbers), reasons=(reason,), doubts=(doubt,))
    doubts = (
        () if first == 0 else (f'{unit} 1 is read as the day of "{start}" itself; if it ended a {unit} later, write 0',)
    )
    return WideGuess(
        spec=_spec(kind, start=start, first=first), columns=tuple(numbers), reasons=(reason,), doubts=doubts
    )


def _pairs(profiles: Mapping[str, Profile], vocabulary: Vocabulary) -> WideGuess | None:
    """Find "Date 1, Weight 1, Date 2, Weight 2", and a date beside each weight where the two headings repeat."""
    words = vocabulary.headings["weighings"]
    dates: dict[str, str] = {}
    weights: dict[str, str] = {}
    for heading, profile in profiles.items():
        match = _NUMBERED.fullmatch(heading.strip())
        stem, number = (match[1].strip(" (#."), match[2]) if match else (heading, "")
        plain = split_heading(stem).plain
        if plain in words["weight"] and (profile.number >= 0.5 or not profile.filled):
            weights.setdefault(number, heading)
        elif plain in words["weighed_on"] and (profile.date + profile.serial >= 0.5 or not profile.filled):
            dates.setdefault(number, heading)
    if len(weights) < _FEWEST or not any(profiles[h].filled for h in weights.values()):
        return None
    if set(weights) <= set(dates):
        pairs = {weights[n]: dates[n] for n in weights}
    else:
        pairs = _beside(list(profiles), set(dates.values()), list(weights.values()))
    if len(pairs) < len(weights):
        shown = ", ".join(f'"{h}"' for h in weights.values())
        return WideGuess(
            spec={},
            columns=tuple(weights.values()),
            reasons=(f"{len(weights)} columns are weights: {shown}",),
            doubts=("no date stands with each of them; add a column with the date of each weighing",),
        )
    weight, date = next(iter(pairs.items()))
    reason = f'{len(pairs)} weights stand each with its date, such as "{weight}" with "{date}"'
    return WideGuess(
        spec=_spec("pairs", pairs=pairs), columns=tuple(h for pair in pairs.items() for h in pair), reasons=(reason,)
    )


def _beside(order: list[str], dates: set[str], weights: list[str]) -> dict[str, str]:
    """Return weight -> the date heading next to it: all to the left, or all to the right."""
    for step in (-1, 1):
        found = {
            w: order[at] for w in weights if 0 <= (at := order.index(w) + step) < len(order) and order[at] in dates
        }
        if len(found) == len(weights):
            return found
    return {}


def weight_words(plain: str) -> str:
    """Return the words of a heading without those that say when: "wt" of "wt out", "weight" of "weight at intake"."""
    when = _CALLED_IN | _CALLED_OUT | {"at", "on"}
    return " ".join(word for word in plain.split() if word not in when)


def weights_of_stays(weights: list[str], came: str, left: str) -> WideGuess | None:
    """Return how weights in a register of stays are read: each with the day of arrival, or that of leaving.

    Parameters
    ----------
    weights : list of str
        Headings of weights.
    came, left : str
        Headings of the two days; ``left`` may be "".
    """
    pairs, doubts = {}, []
    for heading in weights:
        words = set(split_heading(heading).plain.split())
        if words & _CALLED_OUT and left:
            pairs[heading] = left
        else:
            pairs[heading] = came
            if not words & _CALLED_IN:
                doubts.append(
                    f'"{heading}" is read as the weight on the day of "{came}"; if it is of another day, take it out'
                )
    if not pairs:
        return None
    shown = ", ".join(f'"{weight}" on the day of "{day}"' for weight, day in pairs.items())
    return WideGuess(
        spec=_spec("pairs", pairs=pairs),
        columns=tuple(pairs),
        reasons=(f"read as weighings: {shown}",),
        doubts=tuple(doubts),
    )
