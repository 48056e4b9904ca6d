"""The order of day and month in a sheet: proved by its dates, else by evidence around them, else left open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

from mendcurve.records.connecting.date_clues import Clue, future_clue, month_clues, rows_clue, stay_clue
from mendcurve.records.connecting.date_columns import DateColumn, date_column, examples
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.splitting import split_heading

# Log odds from which evidence decides: about one to a thousand. Three stays that would end before they began do.
ENOUGH = 7.0
# Log odds of an opposite clue from which nothing is decided.
_OBJECTS = 2.0
_HEADING = 9.0
_ONE_SHEET, _SHEETS = 4.0, 7.0
# Two-digit years: how the log chance of a year falls with its age (a quarter a year: most records are young).
_YEAR_FALLS = 0.25
# With slashes or points the year is last unless the dates say otherwise; with dashes that is less sure.
_YEAR_LAST_DASHES = 3.0
_PARTS = ("first", "second", "third")
_WORDS = {"dmy": "the day first", "mdy": "the month first", "ymd": "the year first"}
_ASK = 'Look at one date you know, and write date_order = "dmy" (day first) or "mdy" (month first).'


def date_order(
    texts: Mapping[str, pd.Series],
    others: Mapping[str, pd.Series],
    rows: Sequence[int] | np.ndarray,
    *,
    pairs: Iterable[tuple[str, str]] = (),
    sheet: str = "",
    today: pd.Timestamp | None = None,
    elsewhere: Mapping[str, str] | None = None,
) -> Decision:
    """Decide the order of day and month in the dates of one sheet.

    Parameters
    ----------
    texts : mapping of heading -> text, shape (rows,)
        The columns of dates of events; the headings as written, since one may say "(dd/mm/yy)".
    others : mapping of heading -> text, shape (rows,)
        Other columns of the sheet: one may tell the month or the weekday.
    rows : sequence of int
        Row numbers, as the spreadsheet shows them.
    pairs : iterable of (heading, heading)
        Columns of which the first never lies after the second, such as intake and outcome.
    sheet : str
        Name of the sheet; it may tell the month.
    today : Timestamp, optional
        Events do not lie after it.
    elsewhere : mapping of sheet -> order, optional
        What the dates of other sheets of the workbook prove.

    Returns
    -------
    Decision
        ``value`` "dmy", "mdy", "ymd" or "". An empty value without doubts says that no date asks for an order.

    Notes
    -----
    1. Two-digit years that can only stand in front: "ymd".
    2. Proof: a part above 12. One column that proves both orders, or two columns that prove different ones, decide
       nothing.
    3. Evidence, each as log odds: the heading's own "(dd/mm/yy)"; stays that would end before they begin; a month or
       weekday beside; rows in order of time; dates after today; other sheets. It decides when the sum reaches
       ``ENOUGH`` and no clue objects.
    """
    columns = {name: date_column(name, text, np.asarray(rows)) for name, text in texts.items()}
    asking = [c for c in columns.values() if (c.open | np.logical_or(*_proof(c).values())).any()]
    if not asking:
        return Decision(value="", reasons=_no_question(columns.values()))
    hints = {c.heading: split_heading(c.heading).order for c in asking}
    year = _year_first(asking, hints, today)
    if year is not None:
        return year
    proofs = {c.heading: _proof(c) for c in asking}
    if any(np.any(mask) for proof in proofs.values() for mask in proof.values()):
        clues = _clues(asking, columns, others, pairs, sheet, today)
        return _proved({c.heading: c for c in asking}, proofs, hints, clues)
    clues = [*_clues(asking, columns, others, pairs, sheet, today), *_said_elsewhere(hints, elsewhere or {})]
    return _weighed(asking, clues)


def _no_question(columns: Iterable[DateColumn]) -> tuple[str, ...]:
    settled = sum(int(c.settled.sum()) for c in columns)
    return (f"{settled} dates have the year first or name the month, so they need no order.",) if settled else ()


def _proof(column: DateColumn) -> dict[str, np.ndarray]:
    return {
        "dmy": column.numeric & (column.first > 12) & (column.second <= 12),
        "mdy": column.numeric & (column.second > 12) & (column.first <= 12),
    }


def _proved(
    columns: Mapping[str, DateColumn],
    proofs: Mapping[str, Mapping[str, np.ndarray]],
    hints: Mapping[str, str],
    clues: Sequence[Clue],
) -> Decision:
    counts = {name: {o: int(mask.sum()) for o, mask in proof.items()} for name, proof in proofs.items()}
    reasons = tuple(_proof_said(columns[name], n, o) for name, by in counts.items() for o, n in by.items() if n)
    doubts = [_mixed_said(columns[name], proofs[name]) for name, by in counts.items() if all(by.values())]
    proved = {o for by in counts.values() for o, n in by.items() if n}
    if len(proved) == 2:
        apart = [] if doubts else ["Its columns are written in different orders: " + " ".join(reasons)]
        return Decision(value="", reasons=reasons, doubts=(*doubts, *apart))
    order = proved.pop()
    against = [name for name, hint in hints.items() if hint and hint != order]
    if against:
        told = f'The heading "{against[0]}" says {_WORDS[hints[against[0]]]}, but the dates prove {_WORDS[order]}.'
        return Decision(value="", reasons=reasons, doubts=(f"{told} {_ASK}",))
    for name, by in counts.items():
        if not by[order] and columns[name].open.any():
            reasons += (
                f'No date in "{name}" proves an order ({int(columns[name].open.sum())} could be either); '
                "it is read as the columns beside it.",
            )
    doubts += [doubt for c in columns.values() for doubt in (*_unusual(c), *_swapped(c, order))]
    doubts += [f"{c.said} Some dates may be written in the other order." for c in clues if c.opposes(order)]
    against_it = sum(c.lean for c in clues) * (1 if order == "mdy" else -1)
    return Decision(value="" if against_it >= ENOUGH else order, reasons=reasons, doubts=tuple(doubts))


def _proof_said(column: DateColumn, count: int, order: str) -> str:
    place = "first" if order == "dmy" else "second"
    every = int(column.numeric.sum())
    return (
        f'{count} of {every} dates in "{column.heading}" {"has" if count == 1 else "have"} a {place} number above 12, '
        f"which can only be a day: {_WORDS[order]}."
    )


def _mixed_said(column: DateColumn, proof: Mapping[str, np.ndarray]) -> str:
    return (
        f'"{column.heading}" holds both orders. Day first: {examples(column, proof["dmy"])}. Month first: '
        f"{examples(column, proof['mdy'])}. {int(column.open.sum())} more could be either. Write the dates in one way, "
        "or set date_order: rows that do not fit are then set aside and listed."
    )


def _unusual(column: DateColumn) -> list[str]:
    """A column of many dates none of which has a day above 12 has been through something."""
    distinct = len({str(word) for word in column.text[column.open]})
    # Dates that are all the first of a month are a habit, not an accident.
    varied = min(len(np.unique(part[column.open])) for part in (column.first, column.second)) > 2
    if distinct < 8 or not varied or any(mask.any() for mask in _proof(column).values()):
        return []
    return [
        f'None of {int(column.open.sum())} dates in "{column.heading}" has a day above 12, which is unusual: '
        "look whether it is written in the other order."
    ]


def _swapped(column: DateColumn, order: str) -> list[str]:
    """Cells that became real dates have days to 12, those that stayed text days above 12: a program swapped some."""
    day = (column.days["dmy"] - column.days["dmy"].astype("datetime64[M]")).astype("int64") + 1
    real, text = column.settled & (np.char.str_len(column.text.astype(str)) > 0), column.numeric
    # By chance: each day is at most 12 with chance 0.39, above with 0.61.
    chance = 0.39 ** real.sum() * 0.61 ** text.sum()
    if not real.any() or (day[real] > 12).any() or not _proof(column)[order][text].all() or chance > 0.01:
        return []
    return [
        f'All {int(text.sum())} dates in "{column.heading}" written as text have a day above 12, and all '
        f"{int(real.sum())} real dates a day of 12 or less. A program that took the dates for month first may have "
        f"swapped day and month in the real ones ({examples(column, real)}): compare them with a paper record."
    ]


def _year_first(columns: Sequence[DateColumn], hints: Mapping[str, str], today: pd.Timestamp | None) -> Decision | None:
    """Return "ymd", or a doubt, where two-digit years can stand in front; None where the year is last."""
    told = next(((name, hint) for name, hint in hints.items() if hint), None)
    if any(c.long_year for c in columns) or (told and told[1] != "ymd"):
        return None
    if told:
        return Decision(value="ymd", reasons=(f'The heading "{told[0]}" says that the year comes first.',))
    first, second, third = (np.concatenate([getattr(c, p)[c.numeric] for c in columns]) for p in _PARTS)
    fits = (second <= 12) & (third <= 31) & (third > 0)
    fits &= (first <= today.year % 100 + 1) if today is not None else True
    if fits.mean() < 0.95:
        return None
    dashed = any("-" in word for c in columns for word in set(c.text[c.numeric]))
    # A year near the latest is likelier than one long before; a day is any of 1 to 31 alike.
    falls = _YEAR_FALLS * float(((first.max() - first) - (third.max() - third)).sum())
    lean = falls + (_YEAR_LAST_DASHES if dashed else ENOUGH)
    if lean >= ENOUGH:
        return None
    said = (
        f"{int(fits.sum())} of {len(fits)} dates can be read as year, month, day: the first numbers run from "
        f"{first.min()} to {first.max()}, the last from {third.min()} to {third.max()}."
    )
    if lean <= -ENOUGH:
        return Decision(value="ymd", reasons=(said,))
    return Decision(
        value="", doubts=(f"Years have two digits, and {said} Write years with four digits, or set date_order.",)
    )


def _clues(
    asking: Sequence[DateColumn],
    columns: Mapping[str, DateColumn],
    others: Mapping[str, pd.Series],
    pairs: Iterable[tuple[str, str]],
    sheet: str,
    today: pd.Timestamp | None,
) -> list[Clue]:
    out: list[Clue | None] = [stay_clue(columns[a], columns[b]) for a, b in pairs if a in columns and b in columns]
    for column in asking:
        out += month_clues(column, others, sheet)
        out.append(rows_clue(column))
        if today is not None:
            out.append(future_clue(column, today))
    return [clue for clue in out if clue is not None]


def _said_elsewhere(hints: Mapping[str, str], elsewhere: Mapping[str, str]) -> list[Clue]:
    out = []
    for name, order in hints.items():
        if order in ("dmy", "mdy"):
            told = f'The heading "{name}" says {_WORDS[order]}.'
            out.append(_clue("heading", order, _HEADING, told))
    for order in ("dmy", "mdy"):
        sheets = [name for name, found in elsewhere.items() if found == order]
        if sheets:
            named = ", ".join(f'"{name}"' for name in sheets[:3])
            told = f"Dates on {len(sheets)} other sheet{'s' * (len(sheets) > 1)} ({named}) have {_WORDS[order]}."
            out.append(_clue("elsewhere", order, _ONE_SHEET if len(sheets) == 1 else _SHEETS, told))
    return out


def _clue(kind: str, order: str, weight: float, said: str) -> Clue:
    return Clue(kind=kind, dmy=int(order == "dmy"), mdy=int(order == "mdy"), weight=weight, said=said)


def _weighed(asking: Sequence[DateColumn], clues: Sequence[Clue]) -> Decision:
    # Clues of one kind rest on the same rows: the strongest speaks for all of them, and one that objects is heard.
    by_kind: dict[str, list[float]] = {}
    for clue in clues:
        by_kind.setdefault(clue.kind, []).append(clue.lean)
    leans = [v for several in by_kind.values() for v in (max(several), min(several)) if v]
    total = sum(max(several, key=abs) for several in by_kind.values())
    objects = any(lean * total < 0 and abs(lean) > _OBJECTS for lean in leans) or any(c.mixed for c in clues)
    said = tuple(dict.fromkeys(clue.said for clue in clues))
    order = "dmy" if total > 0 else "mdy"
    if abs(total) < ENOUGH or objects:
        return Decision(value="", reasons=said, doubts=(_open_said(asking, objects),))
    lone = {c.kind for c in clues if c.lean} == {"elsewhere"}
    doubts = [d for c in asking for d in _unusual(c)]
    if lone:
        doubts.insert(0, "Only other sheets tell the order of these dates. Look at one date you know.")
    return Decision(value=order, reasons=said, doubts=tuple(doubts))


def _open_said(asking: Sequence[DateColumn], objects: bool) -> str:
    shown = next(c for c in asking if c.open.any())
    several = "; ".join(f'{int(c.open.sum())} in "{c.heading}"' for c in asking if c.open.any())
    why = "What is around them speaks for both orders" if objects else "Nothing around them decides"
    return f"Every date could have the day or the month first: {several} ({examples(shown, shown.open)}). {why}. {_ASK}"
