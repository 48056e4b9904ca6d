"""Write the six invented rescues' folders again, exactly as they stand here.

Run ``python make_layouts.py`` in an environment with numpy, pandas and openpyxl; give a folder to write there instead.
Workbooks saved through LibreOffice are only re-made where ``soffice`` is installed, and only with ``--office``: their
cells come out the same, their bytes may not.
"""

from __future__ import annotations

import importlib
import shutil
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "making"))

LAYOUTS = {
    "1_one_big_register": "register",
    "2_charity_exports": "charity",
    "3_a_sheet_a_year": "yearly",
    "4_other_words": "german",
    "5_event_log": "daybook",
    "6_side_by_side": "ledge",
}


def main(arguments: list[str]) -> None:
    """Write every layout, or those whose number is named, below this folder or the one named."""
    truth = importlib.import_module("truth")
    office = "--office" in arguments
    rest = [argument for argument in arguments if argument != "--office"]
    only = [argument for argument in rest if argument in list("123456")]
    out = next((Path(argument) for argument in rest if argument not in only), HERE)
    for name, module in LAYOUTS.items():
        if only and name[0] not in only:
            continue
        folder = out / name
        (folder / "rescue").mkdir(parents=True, exist_ok=True)
        maker = importlib.import_module(module)
        layout = maker.build(folder)
        truth.write_truth(layout, folder / "truth")
        (folder / "rescue" / "README.txt").write_text(maker.README, encoding="utf-8")
        for path in sorted((folder / "rescue").glob("*.xlsx")):
            if office and path.name in getattr(maker, "OFFICE", ()):
                importlib.import_module("office").save_again(path, shutil.which("soffice"))
            truth.settle(path)


if __name__ == "__main__":
    main(sys.argv[1:])
