"""What lies beside the records and is not read: other kinds of files, subfolders, misspelt names, copies."""

from __future__ import annotations

import hashlib
import os
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path

from mendcurve.records.findings import DOUBTFUL, Ledger
from mendcurve.records.folding import heading as plain
from mendcurve.records.privacy import safe_name
from mendcurve.records.schemas import TABLES
from mendcurve.records.sources import Source

SETTINGS_FILE = "records.toml"
# What Mendcurve writes beside the records, or reads beside the tables; and the sheets that hold no records.
OWN_FILES = frozenset(
    f"{name}{suffix}"
    for name in ("findings", "set_aside", "accounts", "corrections", "dictionary", "synonyms", "words")
    for suffix in (".csv", ".xlsx")
)
OWN_SHEETS = frozenset(("how to", "meanings", "lists", "dictionary"))
# Kinds of files that may well hold records; the rest are documents, pictures and the like.
UNREAD_RECORDS = frozenset(
    (".ods", ".fods", ".xls", ".xlsb", ".xlt", ".numbers", ".gsheet", ".dbf", ".mdb", ".accdb", ".odb", ".json")
)
_SAVE = "Open it in a spreadsheet and save it as .xlsx or CSV, or name it in records.toml under [files] ignore."
_MANY = 5
_WALKED = 5000
# "Copy of intakes", "intakes - Copy", "intakes (1)", "intakes_copy2".
_COPY = re.compile(r"^copy (?:\(\d+\) )?of\s+|[\s_-]*\bcopy\s*\(?\d*\)?$|[\s_-]*\(\d+\)$", re.I)
_CUTOFF = 0.75


def skipped(name: str) -> bool:
    """Whether a file is no one's records: hidden, a lock of an open file, or Mendcurve's own."""
    return name.startswith(("~$", ".")) or name.lower() in OWN_FILES or name == SETTINGS_FILE


def near_table(name: str) -> str:
    """Return the table whose name a file or sheet nearly has ("Weighngs 2025" gives weighings), or an empty text."""
    words = " ".join(re.sub(r"[^a-z ]", " ", plain(_original(name))).split())
    close = get_close_matches(words, TABLES, n=1, cutoff=_CUTOFF)
    return close[0] if close else ""


def tell_other_files(folder: Path, read: Iterable[str], ignored: Iterable[str], ledger: Ledger) -> None:
    """Note each file of a kind that is not read, and each subfolder that holds tables."""
    known = {*read, *ignored}
    by_kind = defaultdict(list)
    for path in sorted(folder.iterdir()):
        if path.is_dir():
            _tell_subfolder(path, known, ledger)
        elif path.name not in known and not skipped(path.name):
            by_kind[path.suffix.lower()].append(path.name)
    for kind, names in by_kind.items():
        if kind in UNREAD_RECORDS or len(names) <= _MANY:
            for name in names:
                ledger.note(safe_name(name), "", rule=_rule(kind), what_to_do=_remedy(kind, name))
        else:
            shown = f"{', '.join(map(safe_name, names[:3]))} and {len(names) - 3} more"
            ledger.note(
                "",
                "",
                rule=f"{len(names)} files ending in {kind or 'nothing'} are not read ({shown})",
                what_to_do="Nothing, if they hold no records.",
            )


def _rule(kind: str) -> str:
    if kind in UNREAD_RECORDS:
        return f"files ending in {kind} are not read, so nothing of this file is in the records"
    return "this is no file of records, and is not read"


def _remedy(kind: str, name: str) -> str:
    table = near_table(Path(name).stem)
    like = f' Its name is like that of the table "{table}".' if table else ""
    return (_SAVE if kind in UNREAD_RECORDS or table else "Nothing, if it holds no records.") + like


def _tell_subfolder(path: Path, known: set[str], ledger: Ledger) -> None:
    if path.name in known or path.name.startswith((".", "__")):
        return
    held = list(_tables_in(path))
    if held:
        shown = ", ".join(map(safe_name, held[:3])) + (f" and {len(held) - 3} more" if len(held) > 3 else "")
        ledger.note(
            safe_name(path.name) + "/",
            "",
            rule=f"a subfolder is not read; this one holds {len(held)} file{'s' if len(held) > 1 else ''} that may be "
            f"records ({shown})",
            what_to_do="Move the files that count into the folder itself, or name the subfolder in records.toml under "
            "[files] ignore.",
        )


def _tables_in(path: Path) -> Iterator[str]:
    walked = 0
    for _, folders, names in os.walk(path):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            walked += 1
            if walked > _WALKED:
                return
            kind = Path(name).suffix.lower()
            if not skipped(name) and kind in (*UNREAD_RECORDS, ".csv", ".tsv", ".parquet", ".xlsx", ".xlsm"):
                yield name


def tell_unused(
    places: Mapping[str, list[str]], sources: list[Source], files: Mapping[str, Path], ledger: Ledger
) -> None:
    """Note each file or sheet that could be read and feeds no table, with the table its name is nearest to."""
    used = {(source.file, source.sheet) for source in sources}
    more = [m for source in sources for m in source.more_from]
    used |= {(m.file, m.sheet or places.get(m.file, [""])[0]) for m in more}
    fed = {source.table for source in sources}
    for file, sheets in places.items():
        twin = _original_of(file, files) if not any(name == file for name, _ in used) else ""
        if twin:
            _tell_copy(file, twin, files, ledger)
            continue
        for sheet in sheets:
            if (file, sheet) in used or plain(sheet) in OWN_SHEETS:
                continue
            table = near_table(sheet or Path(file).stem)
            why = ""
            if table:
                why = f', though its name is like that of the table "{table}"'
                why += "" if table in fed else ", which nothing else holds"
            ledger.note(
                safe_name(file),
                safe_name(sheet),
                rule=f"no table is read from this {'sheet' if sheet else 'file'}{why}",
                what_to_do=(f'If it holds {table}, rename it "{table}". ' if table else "")
                + "Say what it is in records.toml under [tables.NAME] (mendcurve connect proposes it), or name it in "
                "[files] ignore.",
                effect=DOUBTFUL if table and table not in fed else "note",
            )


def _original(name: str) -> str:
    return _COPY.sub("", name.strip())


def _original_of(file: str, files: Mapping[str, Path]) -> str:
    """Return the file of which ``file`` is a copy, by its name; or an empty text."""
    stem, kind = Path(file).stem, Path(file).suffix
    original = _original(stem)
    if original == stem:
        return ""
    wanted = plain(original)
    return next((n for n in files if n != file and plain(Path(n).stem) == wanted and Path(n).suffix == kind), "")


def _tell_copy(file: str, original: str, files: Mapping[str, Path], ledger: Ledger) -> None:
    same = _hash(files[file]) == _hash(files[original])
    ledger.note(
        safe_name(file),
        "",
        rule=f'by its name this is a copy of "{safe_name(original)}", and is not read; '
        + ("the two are the same" if same else "but the two differ"),
        what_to_do="Delete it, or move it elsewhere."
        if same
        else f'Keep the one that is right under the name "{safe_name(original)}", and move the other elsewhere.',
        effect="note" if same else DOUBTFUL,
    )


def tell_twice(sources: list[Source], declared: Iterable[str], files: Mapping[str, Path], ledger: Ledger) -> None:
    """Note a table read from several places that records.toml does not name, and files that are the same twice."""
    by_table = defaultdict(list)
    for source in sources:
        by_table[source.table].append(source)
    for table, several in by_table.items():
        if len(several) > 1 and table not in declared:
            shown = ", ".join(safe_name(f'{s.file}, sheet "{s.sheet}"' if s.sheet else s.file) for s in several)
            ledger.note(
                safe_name(several[-1].file),
                safe_name(several[-1].sheet),
                rule=f"{table} is read from {len(several)} places, and the rows of all are used: {shown}",
                what_to_do="Nothing, if each holds rows of its own. If one is an older copy, move it elsewhere.",
                effect=DOUBTFUL,
            )
    first: dict[str, str] = {}
    for name in sorted({source.file for source in sources}):
        original = first.setdefault(_hash(files[name]), name)
        if original != name:
            ledger.note(
                safe_name(name),
                "",
                rule=f'this file is the same as "{safe_name(original)}", and both are read',
                what_to_do="Move one of them elsewhere.",
                effect=DOUBTFUL,
            )


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
