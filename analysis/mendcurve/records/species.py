"""The reference table of species, and how a rescue's own names are matched to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.folding import folded

COLUMNS = ("name", "scientific", "aliases", "taxon", "low_g", "high_g", "gut_days")
_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)


@cache
def _shipped() -> pd.DataFrame:
    with resources.files("mendcurve.records").joinpath("species.csv").open(encoding="utf-8") as file:
        return _typed(pd.read_csv(file, dtype=str, keep_default_na=False, comment="#"))


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    out: dict[str, pd.Series[Any]] = {name: frame[name].astype(_TEXT) for name in COLUMNS[:4]}
    out |= {
        name: pd.to_numeric(frame[name].where(frame[name] != "").astype(object)).astype("float64")
        for name in COLUMNS[4:]
    }
    return pd.DataFrame(out)


def reference(added: Iterable[Mapping[str, Any]] = ()) -> pd.DataFrame:
    """Return the species known, shipped and added; a name or alias that is added replaces the shipped species.

    Parameters
    ----------
    added : iterable of mapping
        ``[[species]]`` entries of records.toml: name, taxon, and optionally scientific, aliases (list), low_g,
        high_g (grams), gut_days (days).

    Returns
    -------
    DataFrame
        ``name``, ``scientific``, ``aliases`` (";"-separated), ``taxon``, ``low_g``, ``high_g`` (grams: bounds that
        catch unit slips and nothing else), ``gut_days`` (days food stays in the gut; missing where not known).
    """
    shipped = _shipped()
    rows = []
    for entry in added:
        bad = set(entry) - set(COLUMNS)
        if bad or not entry.get("name") or not entry.get("taxon"):
            raise InputError(
                f"records.toml: a [[species]] entry needs name and taxon and knows only "
                f"{', '.join(COLUMNS)}, but it is {dict(entry)!r}.",
                remedy="Correct the entry.",
            )
        aliases = entry.get("aliases", [])
        joined = aliases if isinstance(aliases, str) else ";".join(map(str, aliases))
        rows.append({**dict.fromkeys(COLUMNS, ""), **entry, "aliases": joined})
    if not rows:
        return shipped.copy()
    own = _typed(pd.DataFrame(rows, columns=list(COLUMNS)).astype(str))
    # A shipped name that the rescue calls another name of its own species is that species.
    theirs = {folded(word) for row in rows for word in (str(row["name"]), *str(row["aliases"]).split(";"))}
    kept = shipped[~shipped["name"].map(folded).isin(theirs)]
    return pd.concat([kept, own], ignore_index=True)


def lookup(known: pd.DataFrame) -> dict[str, str]:
    """Return folded name, scientific name or alias -> reference name; a rescue's own entries win over shipped ones."""
    words: dict[str, str] = {}
    for name, scientific, aliases in zip(known["name"], known["scientific"], known["aliases"], strict=True):
        spare = [] if pd.isna(aliases) else str(aliases).split(";")
        for word in (scientific, *spare):
            if not pd.isna(word) and str(word).strip():
                words[folded(str(word))] = name
    words |= {folded(str(name)): name for name in known["name"]}
    return words


def translate(names: pd.Series, known: pd.DataFrame) -> pd.Series:
    """Return reference names for ``names``; one that is not known is kept, trimmed."""
    words = lookup(known)
    found = {name: words.get(folded(name)) or name.strip() for name in names.dropna().unique()}
    return names.map(found).astype(_TEXT)


def with_unknown(known: pd.DataFrame, names: pd.Series) -> pd.DataFrame:
    """Return ``known`` with a row of taxon "unknown" for every name not in it."""
    missing = sorted(set(names.dropna().unique()) - set(known["name"]))
    if not missing:
        return known
    rows = pd.DataFrame([{**dict.fromkeys(COLUMNS, ""), "name": name, "taxon": "unknown"} for name in missing])
    return pd.concat([known, _typed(rows)], ignore_index=True)
