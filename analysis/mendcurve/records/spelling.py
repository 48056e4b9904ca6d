"""One spelling for one word: labels that differ by case, spaces or dashes are one label, across tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from mendcurve.records.findings import Ledger
from mendcurve.records.folding import folded
from mendcurve.records.misspelling import doubt_words
from mendcurve.records.settings import Settings

# Free words that reports group by; a group of columns shares its words.
SHARED: tuple[tuple[tuple[str, str], ...], ...] = (
    (("intakes", "species"), ("requests", "species")),
    (("conditions", "condition"),),
    (("moves", "zone"), ("housing", "zone")),
    (("moves", "room"), ("housing", "room")),
    (("intakes", "housing_kind"), ("housing", "housing_kind"), ("requests", "housing_kind")),
    (("courses", "medicine"),),
    (("courses", "route"),),
    (("grants", "funder"),),
    (("weighings", "score_scale"),),
)
# Species are held against the reference table; the spelling of a medicine is no one's to suggest.
_UNDOUBTED = frozenset(("species", "medicine"))
_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)


def one_spelling(
    tables: Mapping[str, pd.DataFrame],
    settings: Settings,
    species: Iterable[str],
    ledger: Ledger,
    declared: Iterable[str] = (),
) -> dict[str, pd.DataFrame]:
    """Return the tables with one spelling for each word: the settings' (or the reference table's), else the commonest.

    Each word that was written in several ways is one finding; so is a rare word that is nearly a common one, which is
    doubted and counted apart. ``declared`` are words the rescue has given a meaning, never doubted.
    """
    out = dict(tables)
    own = [*_of_settings(settings), *declared]
    fixed = [str(word) for word in (*own, *species)]
    for columns in SHARED:
        counts = Counter[str]()
        for table, column in columns:
            counts.update(out[table][column].dropna().tolist())
        chosen = _chosen(counts, fixed)
        for table, column in columns:
            values = out[table][column]
            words = {word: chosen[folded(word)] for word in values.dropna().unique()}
            changed = {word: to for word, to in words.items() if word != to}
            if changed:
                _tell(out[table], values, table, column, changed, ledger)
                out[table] = out[table].assign(**{column: values.map(words).astype(_TEXT)})
        if not _UNDOUBTED.intersection(column for _, column in columns):
            doubt_words(out, columns, own, ledger)
    return out


def _of_settings(settings: Settings) -> list[str]:
    families = [word for words in settings["conditions.families"].values() for word in words]
    zones = [settings[f"zones.{name}"] for name in ("quarantine", "treatment", "adoption")]
    return [str(word) for word in (*settings["conditions.lifelong"], *families, *zones)]


def _chosen(counts: Counter[str], fixed: Iterable[str]) -> dict[str, str]:
    best: dict[str, str] = {}
    for word, _ in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        best.setdefault(folded(word), " ".join(word.split()))
    return best | {folded(word): word for word in fixed if folded(word) in best}


def _tell(
    frame: pd.DataFrame, values: pd.Series, table: str, column: str, changed: Mapping[str, str], ledger: Ledger
) -> None:
    for word, to in changed.items():
        rows = frame[values == word]
        ledger.note(
            rows["source_file"].iloc[0],
            rows["source_sheet"].iloc[0],
            table=table,
            column=column,
            value=word,
            rule=f'{len(rows)} row{"s write" if len(rows) > 1 else " writes"} "{word}" for "{to}"; read as one word',
            what_to_do="Nothing, or write it in one way.",
        )
