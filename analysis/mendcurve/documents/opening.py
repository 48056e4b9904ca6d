"""Open the rescue's records for a notebook or a report, once for as long as the files stay as they are."""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

import pandas as pd

from mendcurve import records
from mendcurve.errors import InputError
from mendcurve.records import Records

# Set by "mendcurve lab RECORDS".
CHOSEN = "MENDCURVE_RECORDS"


def chosen(otherwise: str) -> str:
    """Return the records chosen with ``mendcurve lab RECORDS``, or else those at ``otherwise``."""
    return os.environ.get(CHOSEN, otherwise)


def load(path: str | Path, *, settings: str | Path | None = None, as_of: str | None = None) -> Records:
    """Read and validate the records at ``path``.

    Parameters
    ----------
    path : str or Path
        A folder of CSV files or workbooks, or one workbook.
    settings : str or Path, optional
        A records.toml that lies elsewhere.
    as_of : str, optional
        Last day to use, such as "2026-10-31"; left out: as the settings say.

    Raises
    ------
    InputError
        If there is nothing there to read, or it cannot be read.
    """
    place = Path(path).expanduser()
    if not place.exists():
        raise InputError(
            "The records must be a folder or a workbook that exists.",
            [f"there is nothing at {path}"],
            "Give the folder (or the workbook) that holds the records.",
        )
    extra = Path(settings).expanduser() if settings is not None else None
    if extra is not None and not extra.is_file():
        raise InputError("The settings must be a file that exists.", [f"there is nothing at {settings}"], "Correct it.")
    return _load(place, _stamp(place, extra), extra, None if as_of is None else day("as_of", as_of))


def day(name: str, text: str) -> pd.Timestamp:
    """Return a day written as 2026-10-31.

    Raises
    ------
    InputError
        If it is written otherwise.
    """
    try:
        return pd.to_datetime(text, format="%Y-%m-%d").as_unit("s")
    except ValueError:
        raise InputError(
            f'"{name}" must be a day written year-month-day.',
            [f'"{text}" was given'],
            "Write it like 2026-10-31.",
        ) from None


def _stamp(place: Path, extra: Path | None) -> tuple[tuple[str, int, int], ...]:
    """Return what tells whether a file has changed since it was read: name, size and time of change."""
    files = sorted(place.rglob("*")) if place.is_dir() else [place, *place.parent.glob("*.toml")]
    files += [extra] if extra is not None else []
    return tuple((str(f), f.stat().st_size, f.stat().st_mtime_ns) for f in files if f.is_file())


@lru_cache(maxsize=2)
def _load(place: Path, stamp: object, settings: Path | None, as_of: pd.Timestamp | None) -> Records:
    return records.load(place, settings=settings, as_of=as_of)
