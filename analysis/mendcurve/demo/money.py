"""Money: running costs, vet bills tied to episodes, three grants and their receipts."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from decimal import Decimal

import numpy as np
import pandas as pd

from mendcurve.demo import truth


@dataclass(frozen=True, slots=True)
class Grant:
    """One invented grant; days are counted from records start."""

    grant_id: str
    funder: str
    amount: Decimal
    awarded_on: int
    starts_on: int
    ends_on: int
    restricted_to: str | None
    opening_balance: Decimal
    goal: str
    goal_animals: int | None
    tagged: float  # chance that a bill of the right kind is charged to it
    overspent: Decimal  # by how much at most: what is over falls on unrestricted money

    def pays(self, bill: dict) -> bool:
        """Whether the grant may pay for this bill."""
        kind = self.restricted_to in (None, bill["category"])
        return kind and self.starts_on <= bill["day"] <= self.ends_on and not bill["in_kind"]


GRANTS = (
    Grant(
        "G-1",
        "Invented Fund for Small Animals",
        Decimal(5200),
        -30,
        0,
        545,
        "medical",
        Decimal(850),
        "treat sick reptiles",
        90,
        0.22,
        Decimal(0),
    ),
    Grant(
        "G-2",
        "Made-Up Trust for Reptile Health",
        Decimal(7400),
        500,
        549,
        913,
        "medical",
        Decimal(0),
        "exotics vet for 80 animals",
        80,
        0.60,
        Decimal(185),
    ),
    Grant(
        "G-3",
        "Pretend Neighbourhood Lottery",
        Decimal(9000),
        380,
        400,
        913,
        None,
        Decimal(0),
        "keep the doors open",
        None,
        0.16,
        Decimal(0),
    ),
)
VISIT, COURSE, CHECK = 38.0, 20.0, 15.0  # medians of log-normal amounts


def cents(amount: float) -> Decimal:
    """Return ``amount`` rounded to cents, exactly."""
    return Decimal(round(amount * 100)) / 100


def bills(rng: np.random.Generator, visits: pd.DataFrame) -> list[dict]:
    """Return medical spending tied to stays and episodes. ``visits``: stay_id, episode_id, day, what."""
    middle = {"visit": VISIT, "course": COURSE, "check": CHECK}
    rows = []
    for stay, episode, day, what in zip(
        *(visits[c].tolist() for c in ("stay_id", "episode_id", "day", "what")), strict=True
    ):
        amount = middle[what] * np.exp(0.7 * rng.standard_normal())
        if what == "check" and rng.random() < 0.75:
            continue
        told = episode if rng.random() < 0.93 else None
        rows.append(_bill(day, amount, "medical", stay, told, bool(rng.random() < 0.02)))
    return rows


def _bill(
    day: int, amount: float, category: str, stay: str | None = None, episode: str | None = None, in_kind: bool = False
) -> dict:
    return {
        "day": day,
        "amount": cents(amount),
        "category": category,
        "stay_id": stay,
        "episode_id": episode,
        "in_kind": in_kind,
    }


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
                rows.append(_bill(t + offset, value, category))
    return rows


def charge(rng: np.random.Generator, rows: list[dict]) -> list[dict]:
    """Charge bills, in order, to the first grant that may pay and is not used up."""
    left = {g.grant_id: g.amount + g.opening_balance for g in GRANTS}
    charged = []
    for bill in rows:
        name = None
        for grant in GRANTS:
            if name is None and grant.pays(bill) and rng.random() < grant.tagged:
                after = left[grant.grant_id] - bill["amount"]
                if after >= -grant.overspent:
                    left[grant.grant_id], name = after, grant.grant_id
        charged.append({**bill, "grant_id": name})
    return charged


def grants() -> pd.DataFrame:
    """Return the grants table; dates as days since records start."""
    out = pd.DataFrame([asdict(g) for g in GRANTS]).drop(columns=["tagged", "overspent"])
    return out.assign(goal_animals=pd.array([g.goal_animals for g in GRANTS], dtype="Int64"))


def receipts() -> pd.DataFrame:
    """Return the money received: two halves of each grant, the first at its start."""
    rows = [(g.grant_id, g.starts_on + wait, g.amount / 2) for g in GRANTS for wait in (9, 190)]
    return pd.DataFrame(rows, columns=["grant_id", "received_on", "amount"])
