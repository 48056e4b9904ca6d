"""The tables that face outwards: news of adopted animals, requests, money."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.demo import housing, money, truth
from mendcurve.demo.arrivals import NEVER, Stay
from mendcurve.demo.dating import dates, plain_dates
from mendcurve.records.schemas import TABLES

REQUESTS_A_WEEK = 0.9


def followups(rng: np.random.Generator, stays: list[Stay]) -> pd.DataFrame:
    """Return news of adopted animals after about 30 and 90 days, unless they came back before."""
    back = {s.animal: s.day for s in stays if s.how == "returned"}
    rows = []
    for s in stays:
        adopted = [at for at, what, _ in s.ends if what == "adopted"]
        for wait in (30, 90) if adopted else ():
            at = adopted[0] + wait + int(rng.integers(-3, 10))
            if rng.random() < 0.6 and at <= min(truth.LAST_DAY, back.get(s.animal, NEVER) - 1):
                status = str(rng.choice(["well", "ill", "died", "not reached"], p=[0.79, 0.04, 0.01, 0.16]))
                rows.append((s.id, at, status))
                if status == "died":
                    break
    out = pd.DataFrame(sorted(rows, key=lambda r: (r[1], r[0])), columns=list(TABLES["followups"].names))
    return out.assign(seen_on=dates(out["seen_on"]))


def requests(rng: np.random.Generator, stays: list[Stay], scale: float) -> pd.DataFrame:
    """Return requests: those taken in match surrenders; when quarantine was full others heard "no room"."""
    rows: list[tuple] = []
    for s in stays:
        if s.how == "surrendered" and s.day >= 0 and rng.random() < 0.8 and s.split_from is None:
            asked = max(0, s.day - int(rng.integers(0, 8)))
            rows.append((asked, s.species.name, s.size, s.species.housing, "taken in", s.day))
    share = np.array([x.share for x in truth.SPECIES]) / sum(x.share for x in truth.SPECIES)
    held = housing.fullness(stays)
    for t in np.sort(rng.integers(0, truth.LAST_DAY + 1, rng.poisson(REQUESTS_A_WEEK * truth.LAST_DAY / 7 * scale))):
        x = truth.SPECIES[int(rng.choice(len(share), p=share))]
        full = held[x.housing][t] >= 0.85
        answer = "no room" if full else str(rng.choice(["declined", "withdrawn", "no room"], p=[0.45, 0.45, 0.10]))
        told = int(t) + int(rng.integers(0, 6))
        waiting = told > truth.LAST_DAY
        rows.append(
            (
                int(t),
                x.name,
                1 + int(rng.random() < 0.15),
                x.housing,
                "waiting" if waiting else answer,
                None if waiting else told,
            )
        )
    rows.sort(key=lambda r: (r[0], r[1], str(r[5])))
    out = pd.DataFrame(rows, columns=list(TABLES["requests"].names))
    return out.assign(
        asked_on=dates(out["asked_on"]), answered_on=dates(out["answered_on"]), animals=out["animals"].astype("Int64")
    )


def ledger(
    rng: np.random.Generator, stays: list[Stay], tables: dict[str, pd.DataFrame], scale: float
) -> dict[str, pd.DataFrame]:
    """Return spending, grants and receipts."""
    owner = {e.id: s.id for s in stays for e in s.episodes}
    seen = tables["conditions"].dropna(subset=["vet_seen_on"])
    visits = pd.concat(
        [
            pd.DataFrame({"episode_id": seen["episode_id"], "day": seen["vet_seen_on"], "what": "visit"}),
            pd.DataFrame(
                {
                    "episode_id": tables["courses"]["episode_id"],
                    "day": tables["courses"]["first_dose_at"].dt.normalize(),
                    "what": "course",
                }
            ),
            pd.DataFrame(
                {"episode_id": tables["checks"]["episode_id"], "day": tables["checks"]["checked_on"], "what": "check"}
            ),
        ],
        ignore_index=True,
    )
    visits["day"] = (visits["day"] - pd.Timestamp(truth.RECORDS_START)).dt.days
    visits["stay_id"] = visits["episode_id"].map(owner)
    visits = visits[visits["day"].between(0, truth.LAST_DAY)]
    rows = money.bills(rng, visits) + money.running(rng, scale)
    rows.sort(key=lambda bill: (bill["day"], bill["stay_id"] or "", bill["episode_id"] or "", bill["amount"]))
    spent = pd.DataFrame(money.charge(rng, rows))
    spent["spent_on"] = dates(spent["day"])
    given, got = money.grants(), money.receipts()
    for name in ("awarded_on", "starts_on", "ends_on"):
        given[name] = plain_dates(given[name])
    return {"spending": spent, "grants": given, "receipts": got.assign(received_on=dates(got["received_on"]))}
