#!/usr/bin/env python3
"""Run every check, as CI does: python3 tests/run.py [quick | oldest].

quick   without the slow proofs
oldest  the tests alone, without the slow proofs, on the oldest packages supported
"""

import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "reports"))
from build import environment, run, say  # noqa: E402


def main(arguments):
    """Make the environment, look the code over, run the tests; return the exit code."""
    kind = arguments[0] if arguments else "all"
    if len(arguments) > 1 or kind not in ("all", "quick", "oldest"):
        say(__doc__.strip())
        return 0 if kind in ("-h", "--help") else 2
    oldest = kind == "oldest"
    lock = ROOT / ".constraints" / ("oldest.txt" if oldest else "test.txt")
    python = environment(".venv-oldest" if oldest else ".venv-tests", lock)
    # One thread a process: the tests run side by side, and sums keep one order.
    env = dict(os.environ, OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", PYTHONHASHSEED="0")
    failed = []
    if not oldest:
        checks = {
            "ruff": ("-m", "ruff", "check"),
            "layers": ("-c", "from importlinter.cli import lint_imports_command; lint_imports_command(['--no-cache'])"),
            "mypy": ("-m", "mypy"),
        }
        for name, command in checks.items():
            say(f"{name}:")
            if run(python, *command, env=env):
                failed.append(name)
    say("tests:")
    marks = ("-m", "not slow") if kind in ("quick", "oldest") else ()
    if run(python, "-m", "pytest", "-n", "auto", *marks, env=env):
        failed.append("tests")
    say(f"Failed: {', '.join(failed)}." if failed else "All checks passed.")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
