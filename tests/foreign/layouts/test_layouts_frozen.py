"""The foreign layouts stay as they were made: whoever changes the reader does not change what it is tried on."""

import hashlib
import tomllib
from pathlib import Path

import pytest

HERE = Path(__file__).parent
LISTED = dict(line.split("  ", 1)[::-1] for line in (HERE / "SHA256SUMS").read_text("utf-8").splitlines())
FOLDERS = sorted({name.split("/")[0] for name in LISTED})


@pytest.mark.parametrize("folder", FOLDERS)
def test_no_file_was_changed_added_or_taken_away(folder: str) -> None:
    found = {
        path.relative_to(HERE).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in (HERE / folder).rglob("*")
        if path.is_file()
    }
    assert found == {name: digest for name, digest in LISTED.items() if name.startswith(folder + "/")}


def test_there_are_six_folders_each_small_and_with_a_dozen_faults() -> None:
    assert len(FOLDERS) == 6
    for folder in FOLDERS:
        facts = tomllib.loads((HERE / folder / "truth" / "facts.toml").read_text("utf-8"))
        assert 60 <= facts["stays"] <= 150
        assert len(facts["fault"]) >= 12
        assert sum(path.stat().st_size for path in (HERE / folder).rglob("*") if path.is_file()) < 300_000
