#!/usr/bin/env python3
"""Make both reports from a folder of records: python3 reports/build.py [FOLDER].

Without a folder it uses the demo records. Needs Python 3.11 or later and nothing else; safe to run again.
"""

import hashlib
import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "data_demo" / "csv"


def say(text):
    """Print one line of progress at once."""
    print(text, flush=True)


def run(*command, env=None):
    """Run a command from the top folder and return its exit code."""
    return subprocess.run([str(part) for part in command], cwd=ROOT, env=env, check=False).returncode


def environment(name, lock):
    """Return the Python of the virtual environment ``name``, made from ``lock`` if it is new or out of date."""
    if sys.version_info < (3, 11):
        sys.exit("Mendcurve needs Python 3.11 or later; this is an older one. Install a newer Python and run again.")
    folder = ROOT / name
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    wanted = f"{sys.version.split()[0]} {ROOT} " + "".join(
        hashlib.sha256(path.read_bytes()).hexdigest() for path in (lock, ROOT / "pyproject.toml")
    )
    stamp = folder / "made-from.txt"
    if python.exists() and stamp.exists() and stamp.read_text(encoding="utf-8") == wanted:
        return python
    say(f"Setting up {name}: about 100 packages, once; this takes a minute or two.")
    shutil.rmtree(folder, ignore_errors=True)
    try:
        venv.create(folder, with_pip=True)
    except subprocess.CalledProcessError:
        sys.exit("Python could not make a virtual environment. On Debian or Ubuntu: sudo apt install python3-venv, "
                 "then run again.")
    pip = (python, "-m", "pip", "--disable-pip-version-check", "install", "--quiet")
    if run(*pip, "--require-hashes", "-r", lock) or run(*pip, "--no-deps", "--no-build-isolation", "-e", ROOT):
        sys.exit("The packages could not be installed (see above). Check the internet connection and run again.")
    stamp.write_text(wanted, encoding="utf-8")
    return python


def main(arguments):
    """Check the records, then write the funder and the planning report; return the exit code."""
    if len(arguments) > 1 or (arguments and arguments[0].startswith("-")):
        say(__doc__.strip())
        return 0 if arguments in (["-h"], ["--help"]) else 2
    records = Path(arguments[0]).expanduser().resolve() if arguments else DEMO
    if not records.exists():
        say(f"{records} does not exist. Give the folder (or workbook) that holds the records.")
        return 2
    python = environment(".venv-reports", ROOT / ".constraints" / "run.txt")
    out = ROOT / "reports"
    say(f"Checking {records.name}")
    checked = run(python, "-m", "mendcurve", "check", records, "--out", out / "check")
    if checked > 1:
        return checked
    say("Writing the reports")
    return run(python, "-m", "mendcurve", "report", "all", records, "--out", out)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
