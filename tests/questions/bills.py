"""A rescue with bills, for the tests of costs."""

from __future__ import annotations

import pandas as pd

from mendcurve.records import from_frames


def rescue(spending=None, *, n=4, as_of="2025-12-31", **tables):
    ids = [f"S-{i}" for i in range(1, n + 1)]
    base = {
        "intakes": pd.DataFrame(
            {"stay_id": ids, "species": "corn snake", "intake_date": "2025-02-01", "intake_type": "stray"}
        ),
        "conditions": pd.DataFrame(
            {
                "episode_id": [f"E-{i}" for i in range(1, n + 1)],
                "stay_id": ids,
                "condition": "burn",
                "found_on": "2025-02-01",
            }
        ),
    }
    if spending is not None:
        base["spending"] = pd.DataFrame(spending)
    return from_frames(as_of=as_of, records_start="2025-01-01", **base | tables)


def bill(on, amount, category="medical", **more):
    return {"spent_on": on, "amount": str(amount), "category": category, **more}
