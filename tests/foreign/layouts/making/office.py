"""Save a workbook again through LibreOffice, so that another program's XML is met."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path


def save_again(path: Path, program: str | None) -> None:
    """Open and save a workbook with LibreOffice without a window, in place.

    Raises
    ------
    FileNotFoundError
        LibreOffice is not installed.
    """
    if program is None:
        raise FileNotFoundError("LibreOffice (soffice) is not installed")
    with tempfile.TemporaryDirectory() as scratch:
        command = [program, f"-env:UserInstallation=file://{scratch}/profile", "--headless"]
        command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", f"{scratch}/out", str(path)]
        subprocess.run(command, check=True, capture_output=True, timeout=180)
        shutil.copyfile(Path(scratch) / "out" / path.name, path)
