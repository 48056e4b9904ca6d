"""Time and memory of reading records, beside plain pandas (and openpyxl) doing the same by hand, in the same run.

Run by hand, from the top folder:

    python tests/bench/records_million.py                       # 1,000,000 stays, 10,000,000 weighings, CSV and Parquet
    python tests/bench/records_million.py --stays 100000 --weighings 1000000
    python tests/bench/records_million.py --kinds csv --profile   # where the time of load goes
    python tests/bench/records_million.py --kinds workbook --rows 50000

Each contestant runs in a process of its own, one after the other, and says its time by the clock (imports not
counted), the time it had the processor (what to look at where other programs run beside it), and its highest memory
(``resource.getrusage``). Not a timed test: machines differ, and only the ratios mean something.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
ALLOWED = {"csv": (1.5, 2.0), "parquet": (1.5, 2.0), "workbook": (2.0, 2.0)}


def by_load(path: Path) -> dict[str, int]:
    """Read with mendcurve."""
    from mendcurve.records import load

    start = time.perf_counter(), time.process_time()
    records = load(path)
    return _said(start, {name: len(records[name]) for name in TABLES}, len(records.findings))


def by_hand(path: Path) -> dict[str, int]:
    """Read with plain pandas."""
    import records_by_hand

    start = time.perf_counter(), time.process_time()
    tables, failing = records_by_hand.check(path)
    return _said(start, {name: len(frame) for name, frame in tables.items()}, len(failing))


def by_openpyxl(path: Path) -> dict[str, int]:
    """Read every cell of the workbook with openpyxl, and no more."""
    from openpyxl import load_workbook

    start = time.perf_counter(), time.process_time()
    book = load_workbook(path, data_only=True)
    rows = {sheet.title: [[cell.value for cell in row] for row in sheet.iter_rows()] for sheet in book.worksheets}
    return _said(start, {name: len(found) - 1 for name, found in rows.items()}, 0)


KEYS = ("seconds", "processor", "megabytes")
TABLES = ("intakes", "outcomes", "weighings")
CONTESTANTS = {"load": by_load, "hand": by_hand, "openpyxl": by_openpyxl}


def _said(start: tuple[float, float], rows: dict[str, int], findings: int) -> dict[str, object]:
    seconds = time.perf_counter() - start[0]
    used = resource.getrusage(resource.RUSAGE_SELF)
    # Kilobytes on Linux, bytes on macOS.
    peak = used.ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2)
    processor = used.ru_utime + used.ru_stime - start[1]
    return {"seconds": seconds, "processor": processor, "megabytes": peak, "rows": rows, "findings": findings}


def run(name: str, path: Path) -> dict[str, object]:
    """Run one contestant in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--contestant", name, "--path", str(path)],
        check=True,
        capture_output=True,
        text=True,
    )
    return json.loads(done.stdout.splitlines()[-1])


def compare(kind: str, path: Path, rounds: int) -> None:
    """Run both contestants by turns and print their ratios."""
    peer = "openpyxl" if kind == "workbook" else "hand"
    runs = {name: [] for name in (peer, "load")}
    for _ in range(rounds):
        for name in runs:
            runs[name].append(run(name, path))
            last = runs[name][-1]
            shown = f"{last['seconds']:8.1f} s ({last['processor']:.1f} s of processor) {last['megabytes']:8.0f} MB"
            print(f"  {name:<9}{shown}  {last['findings']} findings {last['rows']}", flush=True)
    best = {name: {key: min(r[key] for r in found) for key in KEYS} for name, found in runs.items()}
    for key, allowed in zip(KEYS, (ALLOWED[kind][0], *ALLOWED[kind]), strict=True):
        ratio = best["load"][key] / best[peer][key]
        print(f"  {kind}: {key} of load / {peer}: {ratio:.2f} (allowed {allowed:g})", flush=True)


def make_workbook(path: Path, rows: int) -> None:
    """Write the records of ``rows`` rows in all as one workbook of three sheets."""
    import pyarrow.csv as pc
    from openpyxl import Workbook
    from records_data import make

    with tempfile.TemporaryDirectory() as folder:
        make(Path(folder), rows // 10, rows - rows // 10 * 2, kind="csv")
        book = Workbook(write_only=True)
        for name in TABLES:
            table = pc.read_csv(Path(folder) / f"{name}.csv")
            sheet = book.create_sheet(name)
            sheet.append(table.column_names)
            for row in zip(*(column.to_pylist() for column in table.columns), strict=True):
                sheet.append(row)
        book.save(path)


def main() -> None:
    """Make the data, run the contestants, print the ratios."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--stays", type=int, default=1_000_000)
    ask.add_argument("--weighings", type=int, default=10_000_000)
    ask.add_argument("--rows", type=int, default=50_000, help="rows of the workbook")
    ask.add_argument("--kinds", nargs="+", default=list(ALLOWED), choices=list(ALLOWED))
    ask.add_argument("--rounds", type=int, default=1)
    ask.add_argument("--profile", action="store_true", help="say where the time of load goes instead")
    ask.add_argument("--keep", type=Path, help="make (or find) the data in this folder and leave it there")
    ask.add_argument("--contestant", choices=list(CONTESTANTS))
    ask.add_argument("--path", type=Path)
    given = ask.parse_args()
    if given.contestant:
        print(json.dumps(CONTESTANTS[given.contestant](given.path)))
        return
    with tempfile.TemporaryDirectory() as made:
        for kind in given.kinds:
            path = _data(given, given.keep or Path(made), kind)
            if given.profile:
                _profile(path)
            else:
                compare(kind, path, given.rounds)


def _data(given: argparse.Namespace, folder: Path, kind: str) -> Path:
    from records_data import make

    path = folder / f"{kind}-{given.rows if kind == 'workbook' else f'{given.stays}-{given.weighings}'}"
    if not path.exists():
        path.mkdir(parents=True)
        if kind == "workbook":
            make_workbook(path / "records.xlsx", given.rows)
        else:
            make(path, given.stays, given.weighings, kind=kind)
    size = sum(f.stat().st_size for f in path.iterdir()) / 2**20
    print(f"{kind}: {size:.0f} MB", flush=True)
    return path / "records.xlsx" if kind == "workbook" else path


def _profile(path: Path) -> None:
    from mendcurve.records import load

    profile = cProfile.Profile()
    profile.runcall(load, path)
    stats = pstats.Stats(profile).sort_stats("cumulative")
    stats.print_stats("mendcurve", 45)


if __name__ == "__main__":
    main()
