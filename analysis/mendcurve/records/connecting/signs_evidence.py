"""Signs in numbers and words for nothing: decimal point or comma, currency, what means an empty cell."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping

import pandas as pd

from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.folding import folded
from mendcurve.records.numbers import decimal_sign
from mendcurve.records.parsing import nothing_written
from mendcurve.records.privacy import masked

_NAMES = {".": "a point", ",": "a comma"}
_SIGNS = {"$": "$", "€": "€", "£": "£", "¥": "¥", "usd": "USD", "eur": "EUR", "gbp": "GBP", "aud": "AUD", "cad": "CAD"}
_CODES = {"€": "EUR", "£": "GBP", "¥": "JPY"}
_CURRENCY = re.compile(r"[$€£¥]|\b(?:usd|eur|gbp|aud|cad|nzd|chf|sek|nok|dkk|pln|zar)\b")
_TWO_WAYS = re.compile(r"[1-9]\d{0,2}[.,]\d{3}(?!\d)")
# Beyond what the reader itself takes for an empty cell: common practice, no source.
_MORE_NOTHING = frozenset(
    ("none", "nil", "x", "xx", "xxx", "missing", "no data", "no date", "no weight", "not weighed", "not done", "nd")
) | {"not taken", "not given", "n/d", "n/k", "tba", "pending", "to do"}
_MOSTLY = 0.6


def decimal_sign_of(texts: Mapping[str, pd.Series]) -> Decision:
    """Decide the sign that marks decimals in the columns of numbers of one file.

    Parameters
    ----------
    texts : mapping of heading -> text, shape (rows,)

    Returns
    -------
    Decision
        ``value`` ".", "," or "". An empty value without doubts says that no number asks for it.
    """
    counts: Counter[str] = Counter()
    shown: dict[str, str] = {}
    two_ways: list[str] = []
    for heading, text in texts.items():
        for word, count in _counted(text).items():
            sign = decimal_sign(pd.Series([word], dtype=object))
            if sign:
                counts[sign] += count
                shown.setdefault(sign, f'"{word}" in "{heading}"')
            elif _TWO_WAYS.search(word):
                two_ways += [f'"{word}" in "{heading}"'] * count
    reasons = tuple(f"{n} numbers have {_NAMES[s]} for decimals, such as {shown[s]}." for s, n in counts.items())
    if len(counts) == 2:
        return Decision(
            value="",
            reasons=reasons,
            doubts=(
                "Decimals are marked in two ways. Write them in one way, or set decimal: the others are then read "
                "as thousands, or listed.",
            ),
        )
    if counts:
        return Decision(value=next(iter(counts)), reasons=reasons)
    if two_ways:
        return Decision(
            value="",
            doubts=(
                f'{len(two_ways)} numbers such as {two_ways[0]} could mark thousands or decimals. Write decimal = "." '
                'or decimal = ",".',
            ),
        )
    return Decision(value="")


def currency_of(texts: Mapping[str, pd.Series]) -> Decision:
    """Decide the currency written in columns of money or their headings.

    Returns
    -------
    Decision
        ``value`` a three-letter code, or "" where none is written, or several, or a sign that several share ("$").
    """
    counts: Counter[str] = Counter()
    for heading, text in texts.items():
        unit = split_heading(heading).unit
        if unit in _SIGNS.values():
            counts[unit] += 1
        for word, count in _counted(text).items():
            for sign in set(_CURRENCY.findall(folded(word))):
                counts[_SIGNS.get(sign, sign.upper())] += count
    by_code: Counter[str] = Counter()
    for sign, count in counts.items():
        by_code[_CODES.get(sign, sign)] += count
    reasons = tuple(f"{count} amounts or headings say {sign}." for sign, count in counts.items())
    if not by_code:
        return Decision(value="")
    if len(by_code) > 1:
        return Decision(value="", reasons=reasons, doubts=("Amounts are in several currencies; one is read.",))
    code = next(iter(by_code))
    if code == "$":
        return Decision(
            value="", reasons=reasons, doubts=('Several currencies are written "$". Write currency = "...".',)
        )
    return Decision(value=code, reasons=reasons)


def missing_words(cells: Mapping[str, pd.Series], meaning: Mapping[str, Collection[str]] | None = None) -> Decision:
    """List the words that mean an empty cell in a sheet.

    Parameters
    ----------
    cells : mapping of heading -> text, shape (rows,)
    meaning : mapping of heading -> folded words, optional
        Words that mean something in a column, such as "?" for a sex that is not known.

    Returns
    -------
    Decision
        ``value`` a tuple of words as typed, the commonest first: what is nothing everywhere it stands. A word that
        means something in one column, or that stands among numbers or dates and may mean more, is a doubt.
    """
    told = meaning or {}
    where: dict[str, Counter[str]] = {}
    as_typed: dict[str, str] = {}
    doubts: list[str] = []
    for heading, text in cells.items():
        counted = _counted(text)
        strangers = _strangers(counted)
        for word, count in counted.items():
            plain = folded(word)
            if nothing_written(plain) or (plain in _MORE_NOTHING and word in strangers):
                where.setdefault(plain, Counter())[heading] += count
                as_typed.setdefault(plain, word)
            elif word in strangers and not any(c.isdigit() for c in word) and plain not in told.get(heading, ()):
                doubts.append(f'"{_safe(word)}" stands {_times(count)} among numbers or dates in "{heading}".')
    spared = {w: [h for h in by if w in told.get(h, ())] for w, by in where.items()}
    value = sorted((w for w in where if not spared[w]), key=lambda w: (-where[w].total(), w))
    doubts += [_spared_said(as_typed[w], where[w], columns) for w, columns in spared.items() if columns]
    reasons = tuple(f'"{as_typed[w]}" stands for nothing: {_places(where[w])}.' for w in value)
    return Decision(value=tuple(as_typed[w] for w in value), reasons=reasons, doubts=tuple(doubts))


def _counted(text: pd.Series) -> dict[str, int]:
    """Return trimmed word -> count, in order of appearance, blanks left out."""
    counts = text.str.strip().value_counts(sort=False)
    return {str(word): int(count) for word, count in counts.items() if str(word)}


def _strangers(counted: Mapping[str, int]) -> set[str]:
    """Words without a digit in a column that is mostly numbers or dates."""
    said = {w: count for w, count in counted.items() if not nothing_written(folded(w))}
    plain = {w for w in said if not any(c.isdigit() for c in w)}
    total = sum(said.values())
    return plain if total and sum(counted[w] for w in plain) <= (1 - _MOSTLY) * total else set()


def _spared_said(word: str, by: Counter[str], columns: list[str]) -> str:
    others = Counter({h: n for h, n in by.items() if h not in columns})
    elsewhere = f" Elsewhere it may stand for nothing: {_places(others)}." if others else ""
    meant = ", ".join(f'"{h}" ({_times(by[h])})' for h in columns)
    return f'"{word}" means something in {meant}, so it is not emptied.{elsewhere}'


def _places(by: Counter[str]) -> str:
    return ", ".join(f'{_times(count)} in "{heading}"' for heading, count in by.most_common(4)) + (
        f" and {len(by) - 4} more columns" if len(by) > 4 else ""
    )


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _safe(word: str) -> str:
    return masked(word)[0][:60]
