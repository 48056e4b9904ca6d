"""What the rescue's words mean: ours where it is known, the nearest where it is likely, else a question."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd
from rapidfuzz import fuzz, process

from mendcurve.records.codes import counted_sexes, parse_yes_no, split_list, without_count
from mendcurve.records.connecting.vocabulary import YES_NO, Vocabulary
from mendcurve.records.folding import folded
from mendcurve.records.misspelling import near_words
from mendcurve.records.parsing import nothing_written
from mendcurve.records.privacy import masked
from mendcurve.records.schemas import TABLES, Column
from mendcurve.records.species import lookup

# Scores: known for sure; known as a word that may mean it; a known word inside a phrase. A likeness scores its ratio.
SURE, MEANT, INSIDE = 1.0, 0.7, 0.6
_LIKE = 84  # of 100: two letters of a word of twelve
_SHORTEST = 4  # of a word that is held against others by its letters
_AND = re.compile(r"[^\w'/&+.-]+")
_WITH_SEVERITY = re.compile(r"(.*\S)\s*[,;(-]\s*(\w[\w ]*?)\s*\)?")
_PARTED = 1 / 3
_NEGATIONS = frozenset(("not", "no", "never", "un", "non", "without", "kein", "nicht", "sin"))


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeGuess:
    """One word of the rescue's and what it may mean.

    Attributes
    ----------
    theirs : str
        The word as it is most often written; cells that differ by case or spaces are counted with it.
    count : int
        Cells that hold it.
    ours : str
        Our code (or name); "" where nothing is likely, and where ``nothing`` is set.
    score : float
        1 where the reader knows the word without being told; below 1 a suggestion; 0 where nothing is likely.
    reason : str
        Why, as a phrase.
    nothing : bool
        The word probably says that there is nothing to read in this row.
    """

    theirs: str
    count: int
    ours: str = ""
    score: float = 0.0
    reason: str = ""
    nothing: bool = False

    @property
    def sure(self) -> bool:
        """Whether the reader knows the word without being told."""
        return self.score >= SURE

    @property
    def question(self) -> str:
        """The suggestion as a question: '"Rainbow bridge", 4 rows: died?'; people's details taken out."""
        rows = "1 row" if self.count == 1 else f"{self.count} rows"
        meant = "nothing to read here?" if self.nothing else f"{self.ours}?" if self.ours else "not known"
        return f'"{masked(self.theirs)[0][:60]}", {rows}: {meant}'


def code_lists(table: str, column: str, text: pd.Series, vocabulary: Vocabulary) -> tuple[CodeGuess, ...]:
    """Return every distinct word of a column of codes, the commonest first.

    Parameters
    ----------
    table, column : str
        Where it goes; the column has codes, or is a column of yes and no.
    text : Series of str, shape (rows,)
    vocabulary : Vocabulary

    Notes
    -----
    In this order: a word that is sure; a word for nothing; a word that is guessed; the same with a sign ("F?"); a
    known word inside the phrase, the longest, a sure one first, if there is no negation; the known word nearest by
    its letters. Where two codes are as likely, none is suggested. Cells of several words are parted where the column
    is a list.
    """
    ours = TABLES[table].column(column)
    known = vocabulary.codes_of(table, column)
    guessed = vocabulary.guesses_of(table, column)
    counted = _counted(text, ours)
    found = [_guess(word, count, ours, known, guessed) for word, count in counted]
    return tuple(sorted(found, key=lambda g: (-g.count, g.theirs)))


def species_words(
    text: pd.Series, reference: pd.DataFrame, own: Mapping[str, str] | None = None
) -> tuple[CodeGuess, ...]:
    """Return the species that neither reference nor ``own`` words know, with the nearest, the commonest first."""
    known = lookup(reference) | dict(own or {})
    turned = {_any_order(word): word for word in known}
    out = []
    named = text.astype(object).map({word: without_count(str(word)) for word in text.unique()}).astype(object)
    for word, count in _written(named):
        plain = folded(word)
        if plain not in known:
            found = turned.get(_any_order(plain), "")
            inside = found or _inside(plain, known)
            found = inside if isinstance(inside, str) else ""
            score, reason = (INSIDE, f'it holds "{found}"') if found else (0.0, "no species is near")
            if not found:
                found, score, reason = _part_or_like(plain, known)
            out.append(CodeGuess(theirs=word, count=count, ours=known.get(found, ""), score=score, reason=reason))
    return tuple(sorted(out, key=lambda g: (-g.count, g.theirs)))


def parted(text: pd.Series, vocabulary: Vocabulary) -> dict[str, tuple[str, str]]:
    """Return text -> (condition, severity) for a column such as "mites, severe"; empty where few cells are so.

    Notes
    -----
    The last word, after a comma or in brackets, must be one for a severity in at least a third of the cells.
    """
    known = vocabulary.codes_of("conditions", "severity")
    counts = text.astype(object).str.strip().value_counts()
    found = {}
    for word in counts.index:
        match = _WITH_SEVERITY.fullmatch(str(word))
        if match and folded(match[2]) in known:
            found[str(word)] = (match[1], known[folded(match[2])])
    return found if sum(counts[list(found)]) >= _PARTED * counts.drop("", errors="ignore").sum() > 0 else {}


def _any_order(name: str) -> str:
    """Return the words of a name in one order: "toad (common)" is "common toad"."""
    return " ".join(sorted(_AND.sub(" ", name).split()))


def spellings(text: pd.Series, declared: Iterable[str] = ()) -> tuple[CodeGuess, ...]:
    """Return words that are probably a misspelling of a commoner one of the same column, such as of a condition.

    Notes
    -----
    By ``misspelling.near_words``, so that connect says what ``check`` would say.
    """
    counts = dict(_written(text))
    return tuple(
        CodeGuess(
            theirs=near.word,
            count=near.times,
            ours=near.common,
            score=fuzz.ratio(folded(near.word), folded(near.common)) / 100 * MEANT,
            reason=f'it is nearly "{near.common}" ({near.common_times} rows)',
        )
        for near in near_words(counts, declared)
    )


def _written(text: pd.Series) -> list[tuple[str, int]]:
    """Return (word as most often typed, count) by folded word."""
    typed: dict[str, Counter[str]] = {}
    for word, count in text.str.strip().value_counts(sort=False).items():
        if str(word):
            typed.setdefault(folded(str(word)), Counter())[str(word)] += int(count)
    return [(min(by, key=lambda w: (-by[w], w)), by.total()) for by in typed.values()]


def _counted(text: pd.Series, column: Column) -> list[tuple[str, int]]:
    whole = _written(text)
    if column.kind != "list":
        return whole
    parts: Counter[str] = Counter()
    for word, count in whole:
        for part in [word] if nothing_written(folded(word)) else split_list(word):
            parts[part] += count
    return list(parts.items())


def _guess(word: str, count: int, column: Column, known: Mapping[str, str], guessed: Mapping[str, str]) -> CodeGuess:
    plain = folded(word)
    ours, score, reason = _meaning(plain, column, known, guessed)
    nothing = not ours and score > 0
    return CodeGuess(theirs=word, count=count, ours=ours, score=score, reason=reason, nothing=nothing)


def _meaning(
    plain: str, column: Column, known: Mapping[str, str], guessed: Mapping[str, str]
) -> tuple[str, float, str]:
    """Return code, score and reason; a code "" with a score is nothing to read here."""
    if plain in known:
        return known[plain], SURE, "known"
    if column.kind == "yes_no":
        value = parse_yes_no(pd.Series([plain], dtype=object), {}).found[0]
        if value is not None:
            return YES_NO[0] if value else YES_NO[1], SURE, "known"
    sexes = counted_sexes(plain) if column.name == "sex" else ""
    if sexes:
        return sexes, SURE, "males.females.unsexed"
    if nothing_written(plain):
        return "", SURE, "read as an empty cell" + (", which this column must not be" if column.required else "")
    if plain in guessed:
        return guessed[plain], MEANT, "often means this"
    for find in (_signed, _held):
        for words in (known, guessed):
            found = find(plain, words)
            if found is not None:
                return found
    sure = _like(plain, known)
    return sure if sure[1] else _like(plain, guessed)


def _signed(plain: str, known: Mapping[str, str]) -> tuple[str, float, str] | None:
    bare = plain.strip("?!.*+ ")
    return (known[bare], INSIDE, f'it is "{bare}" and a sign') if bare in known else None


def _held(plain: str, known: Mapping[str, str]) -> tuple[str, float, str] | None:
    inside = _inside(plain, known)
    if isinstance(inside, str):
        return known[inside], INSIDE, f'it holds "{inside}"'
    return ("", 0.0, "it could be " + " or ".join(inside)) if inside else None


def _like(plain: str, known: Mapping[str, str]) -> tuple[str, float, str]:
    if len(plain) < _SHORTEST:
        return "", 0.0, "not known"
    long = [word for word in known if len(word) >= _SHORTEST]
    near = process.extract(plain, long, scorer=fuzz.ratio, score_cutoff=_LIKE, limit=5)
    best = [(known[word], word, score) for word, score, _ in near if score >= near[0][1] - 1]
    if len({code for code, _, _ in best}) != 1 or _negated(plain) != _negated(best[0][1]):
        return "", 0.0, "not known"
    code, word, score = best[0]
    return code, score / 100 * MEANT, f'it is nearly "{word}"'


def _inside(plain: str, known: Mapping[str, str]) -> str | tuple[str, ...]:
    """Return the longest known word inside a phrase, or the meanings where two are as long, or ()."""
    words = _AND.sub(" ", plain).replace("/", " ").split()
    if len(words) < 2 or _negated(plain):
        return ()
    best: list[str] = []
    for size in range(len(words), 0, -1):
        parts = [" ".join(words[i : i + size]) for i in range(len(words) - size + 1)]
        best = [part for part in parts if part in known and (len(part) > 2 or size > 1)]
        if best:
            break
    meanings = tuple(dict.fromkeys(known[word] or "nothing to read" for word in best))
    return best[0] if len(meanings) == 1 else meanings


def _negated(plain: str) -> bool:
    return bool(_NEGATIONS.intersection(plain.split())) or "n't" in plain


def _part_or_like(plain: str, known: Mapping[str, str]) -> tuple[str, float, str]:
    """Return the known name of which the word is a part, or that it is nearest to by its letters."""
    whole = [name for name in known if len(plain) >= _SHORTEST and f" {plain} " in f" {name} "]
    several = tuple(dict.fromkeys(known[name] for name in whole))
    if len(several) == 1:
        return whole[0], INSIDE, f'it is a part of "{whole[0]}"'
    if several:
        more = f" and {len(several) - 3} more" if len(several) > 3 else ""
        return "", 0.0, f"it could be {', '.join(several[:3])}{more}"
    name, score, reason = "", 0.0, "no species is near"
    near = process.extractOne(plain, [n for n in known if len(n) >= _SHORTEST], scorer=fuzz.token_sort_ratio)
    if near is not None and near[1] >= _LIKE and len(plain) >= _SHORTEST:
        name, score, reason = near[0], near[1] / 100 * MEANT, f'it is nearly "{near[0]}"'
    return name, score, reason
