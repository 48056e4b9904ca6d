"""From a name and a folder of records to a finished report: made aside, put in place when it is whole."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from mendcurve.documents import notebooks, page, parameters
from mendcurve.documents.exporting import write_parts
from mendcurve.documents.opening import day, load
from mendcurve.documents.periods import reporting_period
from mendcurve.documents.running import Failed, Run, run
from mendcurve.questions import choosing, wording
from mendcurve.questions.spans import begins_with_records
from mendcurve.records import Records
from mendcurve.timelines.period import Period


@dataclass(frozen=True, slots=True, eq=False)
class Built:
    """A report that was written.

    Attributes
    ----------
    name : str
    folder : Path
        Holds report.html, figures/ and tables/.
    failures : tuple of Failed
        Parts that could not be made; none in a whole report.
    """

    name: str
    folder: Path
    failures: tuple[Failed, ...]


def build(
    name: str,
    records_path: str | Path,
    *,
    out: str | Path,
    settings: str | Path | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
    **given: Any,
) -> Built:
    """Write the report called ``name`` into ``out``, as ``<name>-<period>/report.html`` with pictures and tables.

    Parameters
    ----------
    name : str
        "funder", "planning" or any notebook's name.
    records_path : str or Path
        A folder of CSV files or workbooks, or one workbook.
    out : str or Path
        The folder to write into; made if it is not there.
    settings : str or Path, optional
        A records.toml that lies elsewhere.
    progress : callable
        Called with the cells done and the cells there are.
    **given
        Parameters of the notebook: start, end, as_of, grant, animal, public, since_days. None: not given.

    Raises
    ------
    InputError
        If the name or a parameter is unknown, the grant, the animal or the period is not in the records, or these
        cannot be read: before anything is written.

    Notes
    -----
    A report with a part that failed is written beside, as ``<name>-<period>-incomplete``; a whole report of an
    earlier run stays as it was. Without ``start`` and ``end`` a report over a period takes the last 12 whole months
    up to the as-of date. A period that begins before the records is cut to their first day, and the page says so.
    """
    notebook = notebooks.read(name)
    asked = {key: value for key, value in given.items() if value is not None}
    values = parameters.check(notebook, asked)
    records = load(records_path, settings=settings, as_of=values.get("as_of"))
    asked |= {"source": str(records_path), "settings": None if settings is None else str(settings)}
    choosing.check(records, grant=values.get("grant"), animal=values.get("animal"))
    over = reporting_period(records, values["start"], values["end"]) if "start" in values else None
    if over is not None:
        asked |= {"start": f"{over.start:%Y-%m-%d}", "end": f"{over.end:%Y-%m-%d}"}
    done = run(notebook, asked, progress=progress)
    html = page.render(done.blocks, _head(records, over, values))
    stem = f"{notebook.name.replace('_', '-')}-{_span(over, records.as_of)}"
    folder = Path(out) / (f"{stem}-incomplete" if done.failures else stem)
    _publish(done, html, folder)
    return Built(notebook.name, folder, done.failures)


def _head(records: Records, over: Period | None, values: Mapping[str, Any]) -> page.Head:
    facts = [("As of", wording.day(records.as_of))]
    if over is not None:
        facts.insert(0, ("Period", f"{wording.day(over.start)} to {wording.day(over.end)}"))
        before = begins_with_records(records, over)
        if before:
            asked = values["start"]
            facts.insert(
                1, ("Records", before if asked is None else f"{before} {_asked(day('from', asked), over)}".strip())
            )
    if "public" in values:
        facts.append(("Written for", "readers outside the rescue" if values["public"] else "the rescue itself"))
    return page.Head(rescue=records.settings["rescue.name"], paper=records.settings["rescue.paper"], facts=tuple(facts))


def _asked(first: pd.Timestamp, over: Period) -> str:
    return f"The period was asked for from {wording.day(first)} on." if first < over.start else ""


def _span(over: Period | None, as_of: pd.Timestamp) -> str:
    """Return '2025-11-to-2026-10' for whole months, days for other periods, the as-of date without one."""
    if over is None:
        return f"{as_of:%Y-%m-%d}"
    whole = over.start.day == 1 and over.end.is_month_end
    form = "%Y-%m" if whole else "%Y-%m-%d"
    return f"{over.start.strftime(form)}-to-{over.end.strftime(form)}"


def _publish(done: Run, html: str, folder: Path) -> None:
    """Write everything into a new folder beside, then put it in place of the old one."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".making-") as scratch:
        fresh = Path(scratch) / "fresh"
        fresh.mkdir()
        (fresh / "report.html").write_text(html, encoding="utf-8", newline="\n")
        write_parts(done, fresh)
        if folder.exists():
            folder.rename(Path(scratch) / "old")
        fresh.rename(folder)
