"""Money: running costs, vet bills tied to episodes, three grants and their receipts."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd

from mendcurve.demo import truth

# grant, funder, amount, awarded, starts, ends (days), restricted to, opening balance, goal, goal in animals
GRANTS = (
    ("G-1", "Invented Fund for Small Animals", 5200, -30, 0, 545, "medical", 850, "treat sick reptiles", 90),
    ("G-2", "Made-Up Trust for Reptile Health", 7400, 500, 549, 913, "medical", 0, "exotics vet for 80 animals", 80),
    ("G-3", "Pretend Neighbourhood Lottery", 9000, 380, 400, 913, None, 0, "keep the doors open", None),
)
OVERSPENT = "G-2"  # by a few percent: what is over falls on unrestricted money
TAGGED = {"G-1": 0.22, "G-2": 0.60, "G-3": 0.16}  # chance that a bill of the right kind is charged to it
VISIT, COURSE, CHECK = 38.0, 20.0, 15.0  # medians of log-normal amounts


def cents(amount: float) -> Decimal:
    """Return ``amount`` rounded to cents, exactly."""
    return Decimal(round(amount * 100)) / 100


def bills(rng: np.random.Generator, visits: pd.DataFrame) -> list[dict]:
    """Return medical spending tied to stays and episodes. ``visits``: key, episode_id, day, what."""
    middle = {"visit": VISIT, "course": COURSE, "check": CHECK}
    rows = []
    for visit in visits.itertuples(index=False):
        amount = middle[str(visit.what)] * np.exp(0.7 * rng.standard_normal())
        if visit.what == "check" and rng.random() < 0.75:
            continue
        rows.append(
            {
                "day": int(visit.day),
                "amount": cents(amount),
                "category": "medical",
                "key": visit.key,
                "episode_id": visit.episode_id if rng.random() < 0.93 else None,
                "in_kind": bool(rng.random() < 0.02),
            }
        )
    return rows


def running(rng: np.random.Generator, scale: float) -> list[dict]:
    """Return what is spent each month and belongs to no animal."""
    rows = []
    for first in pd.date_range(truth.RECORDS_START, truth.AS_OF, freq="MS"):
        t = (first - pd.Timestamp(truth.RECORDS_START)).days
        cold = 1 + 0.35 * np.cos(2 * np.pi * (first.month - 1) / 12)
        for offset, category, amount, spread in (
            (2, "running", 680, 0.0),
            (9, "running", 390 * cold, 0.08),
            (14, "running", 310, 0.15),
            (20, "running", 120, 0.30),
            (17, "medical", 95, 0.45),
            (24, "other", 60, 0.50),
        ):
            value = scale * amount * (1 + 0.05 * t / 365.25) * np.exp(spread * rng.standard_normal())
            if t + offset <= truth.LAST_DAY:
                rows.append(
                    {
                        "day": t + offset,
                        "amount": cents(value),
                        "category": category,
                        "key": None,
                        "episode_id": None,
                        "in_kind": False,
                    }
                )
    return rows


def charge(rng: np.random.Generator, spending: pd.DataFrame) -> pd.DataFrame:
    """Charge bills to grants within their dates and purpose until each is used up."""
    left = {g[0]: Decimal(g[2] + g[7]) for g in GRANTS}
    charged: list[str | None] = []
    for row in spending.itertuples(index=False):
        name = None
        for grant, _, amount, _, starts, ends, purpose, _, _, _ in GRANTS:
            fits = starts <= row.day <= ends and (purpose is None or purpose == row.category) and not row.in_kind
            if name is None and fits and rng.random() < TAGGED[grant]:
                floor = Decimal(-amount) / 40 if grant == OVERSPENT else row.amount
                if left[grant] > floor:
                    left[grant] -= row.amount
                    name = grant
        charged.append(name)
    return spending.assign(grant_id=charged)


def grants() -> pd.DataFrame:
    """Return the grants table; dates as days since records start."""
    names = [
        "grant_id",
        "funder",
        "amount",
        "awarded_on",
        "starts_on",
        "ends_on",
        "restricted_to",
        "opening_balance",
        "goal",
        "goal_animals",
    ]
    out = pd.DataFrame(list(GRANTS), columns=names)
    out["amount"] = [Decimal(v) for v in out["amount"]]
    out["opening_balance"] = [Decimal(v) for v in out["opening_balance"]]
    out["goal_animals"] = pd.array(out["goal_animals"], dtype="Int64")
    return out


def receipts() -> pd.DataFrame:
    """Return the money received: two halves of each grant, the first at its start."""
    rows = [(g[0], at, Decimal(g[2]) / 2) for g in GRANTS for at in (g[4] + 9, g[4] + 190)]
    return pd.DataFrame(rows, columns=["grant_id", "received_on", "amount"])
