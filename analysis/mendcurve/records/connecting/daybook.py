"""Day books: one line for each thing that happened, where a column of few words says what the line is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd
from rapidfuzz import fuzz, process

from mendcurve.records.connecting.assigning import Feed, Seen
from mendcurve.records.connecting.codes_evidence import code_lists, parted
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.joining import Join, best_join
from mendcurve.records.connecting.profiling import Profile, profile_of
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.folding import folded

# A column of events has few words, of which the known stand in at least this share of rows.
_MOST_WORDS, _KNOWN = 40, 0.3
# Lines an animal has on average in a day book.
_LINES = 1.5
# Letters and likeness (of 100) from which an event is a misspelt one: two letters of a word of seven exchanged.
_SHORTEST, _ALIKE = 5, 84
# Share of cells that must be weights, or words for how an animal came.
_WEIGHTS, _REASONS = 0.5, 0.3
_MONEY = r"[$€£¥]"
_TO_DO = (
    "Make a sheet for each kind of event, with its lines copied into it (mendcurve template writes sheets with the "
    "headings that are needed), and run connect again"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DayBook:
    """A sheet read as a day book: its feeds, what it was taken for, and the sheet that names its animals."""

    feeds: list[Feed]
    taken: Decision
    join: Join | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Log:
    seen: Seen
    event: str
    animal: str
    day: str
    words: Mapping[str, list[str]]  # table -> words as typed
    others: Mapping[str, int]  # words no table is known for -> lines


def day_book(one: Seen, sheets: Sequence[Seen], vocabulary: Vocabulary, species: Mapping[str, str]) -> DayBook | None:
    """Return what a day book feeds, or None where the sheet is none.

    Parameters
    ----------
    sheets : sequence of Seen
        All sheets; one of them may hold the species of the animals.
    """
    log = _log(one, vocabulary)
    if log is None:
        return None
    why = f'a day book: "{log.event}" says what each line is'
    if "intakes" not in log.words:
        return DayBook(feeds=[], taken=Decision(value="", reasons=(why,), doubts=(_no_arrivals(log),)))
    amount = _amount(log, species)
    detail = _detail(log, amount, vocabulary, species)
    intakes, join = _intakes(log, amount, detail, [s for s in sheets if s is not one], vocabulary, species)
    feeds = [intakes]
    if "outcomes" in log.words:
        feeds.append(_feed(log, "outcomes", {"outcome_date": log.day, "outcome_type": log.event}, species))
    if "conditions" in log.words and detail:
        ill = _feed(log, "conditions", {"found_on": log.day, "condition": detail}, species)
        if parted(ill.seen.sheet.cells[detail], vocabulary):
            ill.columns["severity"] = Decision(value=detail, reasons=("it stands behind the condition",))
        feeds.append(ill)
    if amount:
        feeds.append(_weighings(log, amount, species))
    taken = Decision(value="intakes", reasons=(why,), doubts=_unread(log, detail))
    intakes.why = taken
    return DayBook(feeds=feeds, taken=taken, join=join)


def _log(one: Seen, vocabulary: Vocabulary) -> _Log | None:
    days = [h for h, p in one.profiles.items() if p.date >= 0.5 and p.filled >= 0.9 * p.rows]
    animal = _named(one, vocabulary)
    if len(days) != 1 or not animal or len(one.sheet.row) < _LINES * one.profiles[animal].distinct:
        return None
    best: _Log | None = None
    for heading, profile in one.profiles.items():
        if heading in (animal, *days) or not _few_words(profile):
            continue
        log = _sorted_words(one, heading, animal, days[0], vocabulary)
        if log is not None and (best is None or len(log.words) > len(best.words)):
            best = log
    return best


def _few_words(profile: Profile) -> bool:
    return (
        2 <= profile.distinct <= _MOST_WORDS
        and profile.filled >= 0.9 * profile.rows
        and profile.number < 0.5
        and profile.date < 0.5
    )


def _sorted_words(one: Seen, event: str, animal: str, day: str, vocabulary: Vocabulary) -> _Log | None:
    """Return the words of a column by table, or None where it is no column of events."""
    words: dict[str, list[str]] = {}
    others: dict[str, int] = {}
    known = 0
    for word, times in one.sheet.cells[event].astype(object).str.strip().value_counts().items():
        table = _table(str(word), vocabulary)
        if table:
            words.setdefault(table, []).append(str(word))
            known += int(times)
        elif str(word):
            others[str(word)] = int(times)
    if len(words) < 2 or known < _KNOWN * len(one.sheet.row):
        return None
    return _Log(seen=one, event=event, animal=animal, day=day, words=words, others=others)


def _table(word: str, vocabulary: Vocabulary) -> str:
    """Return the table of an event, also of one that is misspelt or has a sign ("adoptd!"); "" where none is known."""
    plain = folded(word).strip("?!.*+ ")
    if plain in vocabulary.events or len(plain) < _SHORTEST:
        return vocabulary.events.get(plain, "")
    near = process.extractOne(plain, vocabulary.events.keys(), scorer=fuzz.ratio, score_cutoff=_ALIKE)
    return vocabulary.events[near[0]] if near else ""


def _named(one: Seen, vocabulary: Vocabulary) -> str:
    """Return the heading that names the animal (or the stay), or ""."""
    known = (*vocabulary.headings["intakes"]["animal_id"], *vocabulary.headings["intakes"]["stay_id"])
    fit = {h: known.index(p) for h, label in one.labels.items() if (p := split_heading(label).plain) in known}
    fit = {h: at for h, at in fit.items() if one.profiles[h].filled >= 0.9 * one.profiles[h].rows}
    return min(fit, key=lambda h: fit[h]) if fit else ""


def _lines(one: Seen, event: str, words: Sequence[str], species: Mapping[str, str]) -> Seen:
    """Return the sheet with the lines of these events alone."""
    sheet = one.sheet
    rows = sheet.cells[event].astype(object).str.strip().isin(list(words)).to_numpy(dtype=bool)
    cells = sheet.cells[rows].reset_index(drop=True)
    kept = replace(sheet, cells=cells, row=sheet.row[rows], twin=sheet.twin[rows], longer=sheet.longer[rows])
    return replace(one, sheet=kept, profiles={h: profile_of(cells[h], species) for h in cells.columns})


def _amount(log: _Log, species: Mapping[str, str]) -> str:
    """Return the heading under which the weights of weighings stand, or ""."""
    if "weighings" not in log.words:
        return ""
    weighed = _lines(log.seen, log.event, log.words["weighings"], species)
    share = {h: p.number for h, p in weighed.profiles.items() if h != log.animal and p.filled >= 0.5 * p.rows}
    best = max(share, key=lambda h: share[h], default="")
    return best if best and share[best] >= _WEIGHTS else ""


def _detail(log: _Log, amount: str, vocabulary: Vocabulary, species: Mapping[str, str]) -> str:
    """Return the heading whose words say how animals came, or that is named as one for details, or ""."""
    came = _lines(log.seen, log.event, log.words["intakes"], species)
    free = [h for h, p in came.profiles.items() if h not in (log.event, log.animal, log.day, amount) and p.filled]
    shares = {h: _understood(came.sheet.cells[h], vocabulary) for h in free}
    best = max(shares, key=lambda h: shares[h], default="")
    if best and shares[best] >= _REASONS:
        return best
    notes = vocabulary.headings["intakes"]["note"]
    return next((h for h in free if split_heading(log.seen.labels[h]).plain in notes), "")


def _understood(text: pd.Series, vocabulary: Vocabulary) -> float:
    guesses = code_lists("intakes", "intake_type", text, vocabulary)
    return sum(g.count for g in guesses if g.ours) / max(sum(g.count for g in guesses), 1)


def _feed(
    log: _Log,
    table: str,
    columns: Mapping[str, str],
    species: Mapping[str, str],
    words: Sequence[str] = (),
) -> Feed:
    wanted = list(words) or log.words[table]
    one = _lines(log.seen, log.event, wanted, species)
    why = Decision(value=table, reasons=(f'{len(one.sheet.row)} lines of "{log.event}" are {table}',))
    feed = Feed(table=table, seen=one, why=why)
    feed.columns = {column: Decision(value=heading, reasons=()) for column, heading in columns.items()}
    feed.settings["only_where"] = Decision(value={log.event: wanted}, reasons=("what these lines say happened",))
    return feed


def _intakes(
    log: _Log,
    amount: str,
    detail: str,
    sheets: Sequence[Seen],
    vocabulary: Vocabulary,
    species: Mapping[str, str],
) -> tuple[Feed, Join | None]:
    feed = _feed(log, "intakes", {"animal_id": log.animal, "intake_date": log.day}, species)
    if detail and _understood(feed.seen.sheet.cells[detail], vocabulary) >= _REASONS:
        reason = "the words there say how it came"
        feed.columns["intake_type"] = Decision(value=detail, reasons=(reason,))
    else:
        ask = 'no heading says how it came; write constant = { intake_type = "..." } if all came the same way'
        feed.columns["intake_type"] = Decision(value="", doubts=(ask,))
    join = best_join(feed.seen, sheets, species)
    if join is not None:
        feed.seen = join.seen
        feed.settings["more_from"] = Decision(value=join.spec, reasons=(join.reason,))
    taken = {log.event, log.animal, log.day, detail, amount}
    for column in ("species", "sex", "life_stage"):
        found = _column(feed.seen, column, taken, vocabulary)
        if found:
            feed.columns[column] = Decision(value=found, reasons=("a usual word for it",))
    if "species" not in feed.columns:
        ask = "no heading says the species, on this sheet or another that names each animal once"
        feed.columns["species"] = Decision(value="", doubts=(ask,))
    return feed, join


def _column(one: Seen, column: str, taken: set[str], vocabulary: Vocabulary) -> str:
    words = vocabulary.headings["intakes"][column]
    free = {h: p for h, p in one.profiles.items() if h not in taken and p.filled}
    named = [h for h in free if split_heading(one.labels[h]).plain in words]
    if column == "species" and not named:
        named = [h for h, p in free.items() if p.species >= 0.5]
    return named[0] if named else ""


def _weighings(log: _Log, amount: str, species: Mapping[str, str]) -> Feed:
    """Return the weighings, with the weights that stand in lines of other events."""
    words = list(log.words["weighings"])
    for table in ("intakes", "outcomes"):
        for word in log.words.get(table, ()):
            lines = _lines(log.seen, log.event, [word], species)
            profile = lines.profiles[amount]
            fee = lines.sheet.cells[amount].astype(object).str.contains(_MONEY).any()
            if profile.number >= _WEIGHTS and profile.filled >= _WEIGHTS * profile.rows and not fee:
                words.append(word)
    return _feed(log, "weighings", {"weighed_on": log.day, "weight": amount}, species, words)


def _unread(log: _Log, detail: str) -> tuple[str, ...]:
    others = dict(log.others)
    if not detail:
        others |= dict.fromkeys(log.words.get("conditions", ()), 0)
    if not others:
        return ()
    shown = ", ".join(f'"{word}" ({times})' if times else f'"{word}"' for word, times in others.items())
    return (
        f"lines of these events are not read, since no table is known for them, or what they say is prose: {shown}. If "
        "one of them is an arrival, a weighing, an illness found or a leaving, add it to only_where of that table; "
        "else take this line out",
    )


def _no_arrivals(log: _Log) -> str:
    known = ", ".join(f'"{w}"' for words in log.words.values() for w in words)
    rest = ", ".join(f'"{word}" ({times})' for word, times in log.others.items())
    return (
        f'it cannot be read as it stands, since no word of "{log.event}" is known to be an arrival (known: {known}; '
        f"not known: {rest}). Write the word for an arrival as Intake, or add a line such as "
        f"event,intakes,,,{_first(log)} to synonyms.csv in this folder. Or: {_TO_DO[0].lower()}{_TO_DO[1:]}"
    )


def _first(log: _Log) -> str:
    return next(iter(log.others), "Arrived")
