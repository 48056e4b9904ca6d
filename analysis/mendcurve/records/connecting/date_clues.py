"""What speaks for the day or the month first when no date proves it: stays, months, order of rows, the future."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.records.connecting.date_columns import DateColumn
from mendcurve.records.connecting.splitting import plain_heading
from mendcurve.records.folding import folded

# How far one date moves the log odds. A date that fits one order only does so by a slip in about one of twenty
# records (judgement); a date after today in one of ten, since plans are kept among events.
_SLIP = float(np.log(19))
_PLAN = float(np.log(9))
# A clue whose dates disagree more than this says that the column is mixed, not which order it has.
_MOST_AGAINST = 1 / 6
# An order of rows counts when chance brings it once in about two thousand shuffled sheets.
_ROWS_Z = 3.3
_ROWS_SHARE = 0.6
_ROWS_GAP = 0.4
_ROWS_WEIGHT = 8.0
_MOST_ROWS = 400
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_MONTH_WORD = re.compile(
    r"\b(jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?|"
    r"nov(?:ember)?|dec(?:ember)?)\b"
)
_WEEKDAY_WORD = re.compile(r"(mon|tue|wed|thu|fri|sat|sun)(?:s?day|nesday|rsday|urday|s|rs|r)?\.?")
_YEAR_MONTH = re.compile(r"(?:19|20)\d{2}[-/. _](\d{1,2})|(\d{1,2})[-/. _](?:19|20)\d{2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Clue:
    """One kind of evidence about one column or pair.

    Attributes
    ----------
    kind : str
        "stays", "months", "weekdays", "rows", "future", "heading" or "elsewhere".
    dmy, mdy : int
        Dates (or pairs) that fit only with the day, only with the month first.
    weight : float
        Log odds for one of them.
    said : str
        What was counted, as a sentence.
    """

    kind: str
    dmy: int
    mdy: int
    weight: float
    said: str

    @property
    def lean(self) -> float:
        """Log odds, above 0 for the day first; 0 where the dates contradict one another."""
        return 0.0 if self.mixed else self.weight * (self.dmy - self.mdy)

    @property
    def mixed(self) -> bool:
        """Whether both orders have too many dates for a slip."""
        return min(self.dmy, self.mdy) > max(1.0, _MOST_AGAINST * max(self.dmy, self.mdy))

    def opposes(self, order: str) -> bool:
        """Whether more dates than slips explain fit only the order that is not ``order``."""
        by = {"dmy": self.dmy, "mdy": self.mdy}
        other = by["mdy" if order == "dmy" else "dmy"]
        return (self.kind == "rows" and other > 0) or other > max(1.0, _MOST_AGAINST * by[order])


def stay_clue(early: DateColumn, late: DateColumn) -> Clue | None:
    """Count rows in which ``late`` lies before ``early`` in one order only."""
    days = {o: (late.days[o] - early.days[o]).astype("int64") for o in ("dmy", "mdy")}
    both = ~np.logical_or.reduce([np.isnat(c.days[o]) for c in (early, late) for o in ("dmy", "mdy")])
    asked = both & (early.open | late.open)
    if not asked.any():
        return None
    bad = {o: asked & (days[o] < 0) for o in days}
    said = (
        f'"{late.heading}" would lie before "{early.heading}" in {int(bad["mdy"].sum())} of {int(asked.sum())} rows '
        f"with the month first, in {int(bad['dmy'].sum())} with the day first."
    )
    return Clue(
        kind="stays",
        dmy=int((bad["mdy"] & ~bad["dmy"]).sum()),
        mdy=int((bad["dmy"] & ~bad["mdy"]).sum()),
        weight=_SLIP,
        said=said,
    )


def future_clue(column: DateColumn, today: pd.Timestamp) -> Clue | None:
    """Count dates that lie after ``today`` in one order only."""
    day = np.datetime64(today.date(), "D")
    late = {o: column.open & (column.days[o] > day) for o in ("dmy", "mdy")}
    if not (late["dmy"] | late["mdy"]).any():
        return None
    said = (
        f'{int(late["mdy"].sum())} of {int(column.open.sum())} dates in "{column.heading}" would lie after '
        f"{today:%d %B %Y} with the month first, {int(late['dmy'].sum())} with the day first."
    )
    return Clue(
        kind="future",
        dmy=int((late["mdy"] & ~late["dmy"]).sum()),
        mdy=int((late["dmy"] & ~late["mdy"]).sum()),
        weight=_PLAN,
        said=said,
    )


def month_clues(column: DateColumn, others: Mapping[str, pd.Series], sheet: str) -> list[Clue]:
    """Compare the dates with columns (or a sheet's name) that tell their month or weekday."""
    out = []
    in_name = _month_in(sheet)
    if in_name:
        told = np.full(len(column.text), in_name)
        out.append(_told(column, told, _month_of, "months", f'the sheet\'s name "{sheet}"', least=0.9))
    for heading, text in others.items():
        months = _by_unique(text, _month_number if "month" in plain_heading(heading).split() else _month_in)
        if _mostly(months, text):
            out.append(_told(column, months, _month_of, "months", f'the column "{heading}"', least=0.7))
            continue
        weekdays = _by_unique(text, _weekday_in)
        if _mostly(weekdays, text):
            out.append(_told(column, weekdays, _weekday_of, "weekdays", f'the column "{heading}"', least=0.7))
    return [clue for clue in out if clue is not None]


def rows_clue(column: DateColumn) -> Clue | None:
    """Ask whether the rows follow in order of time in one order only.

    Notes
    -----
    Pairs of rows of one year are compared (the year is the same in both orders). An order counts when four of five
    pairs go one way, chance is ruled out, and the other order is far from it. Text sorted as text says nothing: day
    first sorted by its letters reads as month first in order of time.
    """
    use = np.flatnonzero(column.open | column.settled | (column.numeric & (column.first == column.second)))
    use = use[: _MOST_ROWS or None]
    days = {o: column.days[o][use] for o in ("dmy", "mdy")}
    if len(use) < 7 or _sorted_as_text(column.text[use]):
        return None
    score = {o: _kendall(d) for o, d in days.items()}
    best = max(score, key=lambda o: abs(score[o][0]))
    other = "mdy" if best == "dmy" else "dmy"
    share, z = score[best]
    if abs(share) < _ROWS_SHARE or z < _ROWS_Z or abs(score[other][0]) > abs(share) - _ROWS_GAP:
        return None
    down = share < 0
    steps = {o: int(((d[1:] <= d[:-1]) if down else (d[1:] >= d[:-1])).sum()) for o, d in days.items()}
    word = {"dmy": "day", "mdy": "month"}
    said = (
        f'"{column.heading}" runs {"down" if down else "up"} the rows in order of time with the {word[best]} first '
        f"({steps[best]} of {len(use) - 1} steps), not with the {word[other]} first ({steps[other]})."
    )
    return Clue(kind="rows", dmy=int(best == "dmy"), mdy=int(best == "mdy"), weight=_ROWS_WEIGHT, said=said)


def _kendall(days: np.ndarray) -> tuple[float, float]:
    """Return Kendall's share of pairs of one year that rise less those that fall, and its distance from chance."""
    year = days.astype("datetime64[Y]").astype("int64")
    i, j = np.triu_indices(len(days), 1)
    same = year[i] == year[j]
    sign = np.sign((days[j[same]] - days[i[same]]).astype("int64"))
    told = int((sign != 0).sum())
    if not told:
        return 0.0, 0.0
    sizes = np.unique(year, return_counts=True)[1]
    spread = float(np.sqrt((sizes * (sizes - 1) * (2 * sizes + 5)).sum() / 18))
    return float(sign.sum()) / told, abs(float(sign.sum())) / spread if spread else 0.0


def _sorted_as_text(text: np.ndarray) -> bool:
    words: Sequence[str] = [str(word) for word in text]
    return list(words) == sorted(words) or list(words) == sorted(words, reverse=True)


def _told(
    column: DateColumn, told: np.ndarray, of: Callable[[np.ndarray], np.ndarray], kind: str, where: str, least: float
) -> Clue | None:
    asked = column.open & (told > 0)
    if not asked.any():
        return None
    fits = {o: asked & (of(column.days[o]) == told) for o in ("dmy", "mdy")}
    # What fits neither way tells the month of something else.
    if max(int(f.sum()) for f in fits.values()) < least * int(asked.sum()):
        return None
    said = (
        f'{int(fits["dmy"].sum())} of {int(asked.sum())} dates in "{column.heading}" agree with {where} with the day '
        f"first, {int(fits['mdy'].sum())} with the month first."
    )
    return Clue(
        kind=kind,
        dmy=int((fits["dmy"] & ~fits["mdy"]).sum()),
        mdy=int((fits["mdy"] & ~fits["dmy"]).sum()),
        weight=_SLIP,
        said=said,
    )


def _month_of(days: np.ndarray) -> np.ndarray:
    return np.where(np.isnat(days), 0, days.astype("datetime64[M]").astype("int64") % 12 + 1)


def _weekday_of(days: np.ndarray) -> np.ndarray:
    # 1 January 1970, day 0, was a Thursday.
    return np.where(np.isnat(days), 0, (days.astype("int64") + 3) % 7 + 1)


def _by_unique(text: pd.Series, number: Callable[[str], int]) -> np.ndarray:
    places, unique = pd.factorize(text.to_numpy(dtype=object))
    return np.array([number(word) for word in unique], dtype="int64")[places]


def _mostly(numbers: np.ndarray, text: pd.Series) -> bool:
    filled = int((text.str.strip() != "").sum())
    return filled > 0 and int((numbers > 0).sum()) >= 0.8 * filled


def _month_in(text: str) -> int:
    """Return the month (1-12) a short text names, or 0: "March", "Mar 24", "2024-03"; no date with a day."""
    word = folded(text).replace("_", " ")
    numbers = re.findall(r"\d+", word)
    match = _YEAR_MONTH.fullmatch(word)
    if match:
        month = int(match[1] or match[2])
        return month if month <= 12 else 0
    named = _MONTH_WORD.findall(word)
    if len(named) != 1 or len(numbers) > 1 or any(len(n) not in (2, 4) for n in numbers) or len(word.split()) > 4:
        return 0
    return _MONTHS.index(named[0][:3]) + 1


def _month_number(text: str) -> int:
    word = text.strip().removesuffix(".0")
    return int(word) if word.isdigit() and 1 <= int(word) <= 12 else _month_in(text)


def _weekday_in(text: str) -> int:
    match = _WEEKDAY_WORD.fullmatch(folded(text))
    return _WEEKDAYS.index(match[1]) + 1 if match else 0
