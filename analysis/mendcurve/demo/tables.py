"""From the true stays to the tables a rescue would have written by the as-of date."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.demo import care, growth, housing, money, truth
from mendcurve.demo.arrivals import Stay
from mendcurve.demo.housing import day
from mendcurve.records.schemas import TABLES

NEVER = 10**5
REQUESTS_A_WEEK = 0.9


def name_all(stays: list[Stay]) -> None:
    """Give stays and episodes their ids, in order of arrival."""
    number = 0
    width = max(4, len(str(len(stays))))
    for n, stay in enumerate(stays, start=1):
        stay.id = f"S-{n:0{width}d}"
        for e in sorted(stay.episodes, key=lambda e: (e.found, not e.main)):
            number += 1
            e.id = f"E-{number:0{width}d}"


def _dates(days: list[int] | np.ndarray | pd.Series) -> pd.Series:
    t = pd.Series(days, dtype="float64").reset_index(drop=True)
    t = t.where((t <= truth.LAST_DAY) & t.notna())
    return (pd.Timestamp(truth.RECORDS_START) + pd.to_timedelta(t, unit="D")).astype("datetime64[s]")


def _known(days: pd.Series) -> pd.Series:
    return days.where(days <= truth.LAST_DAY)


def intakes(rng: np.random.Generator, stays: list[Stay]) -> pd.DataFrame:
    """Return the intakes table."""
    ids = {s.key: s.id for s in stays}
    width = len(stays[0].id) - 2
    animals = {a: f"A-{n:0{width}d}" for n, a in enumerate(dict.fromkeys(s.animal for s in stays if s.animal >= 0), 1)}
    arrivals = {a: f"V-{n:0{width}d}" for n, a in enumerate(dict.fromkeys(s.arrival for s in stays), 1)}
    young = np.array([s.stage in ("hatchling", "juvenile") for s in stays])
    age = np.where([s.how == "born in care" for s in stays], 0, rng.integers(30, 400, len(stays)))
    told = young & ((age == 0) | (rng.random(len(stays)) < 0.4))
    out = pd.DataFrame(
        {
            "stay_id": [s.id for s in stays],
            "animal_id": [animals.get(s.animal) for s in stays],
            "species": [s.species.name for s in stays],
            "sex": [s.sex for s in stays],
            "life_stage": [s.stage for s in stays],
            "hatched_on": _dates(np.where(told, np.array([s.day for s in stays]) - age, np.nan)),
            "hatched_on_kind": np.where(told, np.where(age == 0, "known", "estimated"), None),
            "intake_date": _dates([s.day for s in stays]),
            "intake_type": [s.how for s in stays],
            "arrival_id": [arrivals[s.arrival] for s in stays],
            "group_size": pd.array([s.size for s in stays], dtype="Int64"),
            "split_from": [ids.get(s.split_from) for s in stays],
            "dead_on_arrival": [s.dead_on_arrival for s in stays],
            "housing_kind": [s.species.housing for s in stays],
            "story_ok": rng.random(len(stays)) < 0.06,
            "note": [s.note or None for s in stays],
        }
    )
    return out


def outcomes(stays: list[Stay]) -> pd.DataFrame:
    """Return the outcomes table up to the as-of date."""
    rows = [
        (s.id, at, what, n if s.size > 1 else None) for s in stays for at, what, n in s.ends if at <= truth.LAST_DAY
    ]
    rows.sort(key=lambda r: (r[1], r[0]))
    out = pd.DataFrame(rows, columns=["stay_id", "outcome_date", "outcome_type", "animals"])
    return out.assign(outcome_date=_dates(out["outcome_date"]), animals=out["animals"].astype("Int64"))


def conditions(stays: list[Stay]) -> pd.DataFrame:
    """Return the conditions table up to the as-of date."""
    rows = []
    for s in stays:
        for e in s.episodes:
            if e.found <= truth.LAST_DAY:
                ended = e.end is not None and e.end <= truth.LAST_DAY
                rows.append(
                    (
                        e.id,
                        s.id,
                        e.condition,
                        truth.SEVERITIES[e.severity],
                        e.main,
                        e.found,
                        e.vet,
                        e.end if ended else None,
                        e.how if ended else None,
                        e.animals,
                    )
                )
    rows.sort(key=lambda r: r[0])
    out = pd.DataFrame(rows, columns=list(TABLES["conditions"].names))
    for name in ("found_on", "vet_seen_on", "ended_on"):
        out[name] = _dates(out[name])
    return out.assign(animals=out["animals"].astype("Int64"))


def treatment(rng: np.random.Generator, stays: list[Stay], paths: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Return checks, courses, doses."""
    start = paths.set_index("key")["start"]
    checks, courses, doses = [], [], []
    for s in stays:
        for e in s.episodes:
            if e.found > truth.LAST_DAY:
                continue
            checks += care.checks(rng, s, e)
            plan = care.course(rng, s, e, float(start[s.key]))
            if plan is None:
                continue
            rows, stopped = care.doses(rng, plan)
            name = "C-" + e.id[2:]
            late = stopped is not None and 1440 * plan["until"] <= 1440 * truth.LAST_DAY
            courses.append(
                (
                    name,
                    *(plan[k] for k in ("episode_id", "kind", "medicine", "route", "interval_hours", "doses_planned")),
                    care.stamp(plan["first"]),
                    plan["weight_used_g"],
                    care.stamp(1440 * plan["until"] + 12 * 60) if late else None,
                    plan["why"] if late else None,
                )
            )
            doses += [(name, care.stamp(g), care.stamp(d), r) for g, d, r in rows if g < 1440 * (truth.LAST_DAY + 1)]
    checked = pd.DataFrame(checks, columns=list(TABLES["checks"].names))
    given = pd.DataFrame(doses, columns=list(TABLES["doses"].names))
    course = pd.DataFrame(courses, columns=list(TABLES["courses"].names))
    for frame, names in ((given, ("given_at", "due_at")), (course, ("first_dose_at", "stopped_at"))):
        for name in names:
            frame[name] = pd.to_datetime(frame[name]).astype("datetime64[s]")
    course["doses_planned"] = course["doses_planned"].astype("Int64")
    checked = checked.assign(checked_on=_dates(checked["checked_on"])).sort_values(["checked_on", "episode_id"])
    return {"checks": checked, "courses": course, "doses": given.sort_values(["given_at", "course_id"], kind="stable")}


def weights(
    rng: np.random.Generator, stays: list[Stay], paths: pd.DataFrame, lasting: dict[str, dict]
) -> dict[str, pd.DataFrame]:
    """Return weighings and targets."""
    by_key = paths.set_index("key")
    ids = {s.key: s.id for s in stays}
    parts, aims = [], []
    for s in stays:
        p = by_key.loc[s.key]
        if s.dead_on_arrival:
            continue
        rows = growth.weigh(rng, s, p, lasting)
        rows["is_group_weight"] = s.size > 1
        if s.size > 1:
            left = s.size - np.array([sum(n for d, _, n in s.ends if d <= t) for t in rows["weighed_on"]])
            rows["weight"] = np.round(rows["weight"] * left)
            rows = rows[left > 0]
        parts.append(rows)
        step = int(rows["step"].iloc[0]) if len(rows) else 7
        if p["has_target"] and s.size == 1:
            tail = round(float(p["target"]), 0 if p["target"] >= 50 else 1)
            by = s.day + 90 if rng.random() < 0.15 else None
            aims.append((s.id, tail, min(s.day + int(rng.integers(0, 5)), s.out), by, step))
    out = pd.concat(parts, ignore_index=True)
    score = np.where(rng.random(len(out)) < 0.06, rng.integers(2, 5, len(out)), np.nan)
    out = pd.DataFrame(
        {
            "stay_id": out["key"].map(ids),
            "weighed_on": _dates(out["weighed_on"]),
            "weight": out["weight"],
            "unit": "g",
            "circumstance": out["circumstance"],
            "is_group_weight": out["is_group_weight"],
            "length_mm": np.nan,
            "length_kind": None,
            "condition_score": score,
            "score_scale": np.where(np.isnan(score), None, "1-5"),
        }
    ).sort_values(["weighed_on", "stay_id"], kind="stable")
    goal = pd.DataFrame(aims, columns=list(TABLES["targets"].names))
    goal = goal[goal["set_on"] <= truth.LAST_DAY].reset_index(drop=True)
    by_date = goal["by_date"].astype("float64")
    goal = goal.assign(
        set_on=_dates(goal["set_on"]),
        weigh_every_days=goal["weigh_every_days"].astype("Int64"),
        by_date=(pd.Timestamp(truth.RECORDS_START) + pd.to_timedelta(by_date, unit="D")).astype("datetime64[s]"),
    )
    return {"weighings": out, "targets": goal}


def places(stays: list[Stay], lasting: dict[str, dict]) -> dict[str, pd.DataFrame]:
    """Return moves, periods and housing."""
    ids = {s.key: s.id for s in stays}
    moved = housing.moves(stays)
    moved = moved[moved["moved_on"] <= truth.LAST_DAY].sort_values(["moved_on", "key"], kind="stable")
    moved = pd.DataFrame(
        {
            "stay_id": moved["key"].map(ids).to_numpy(),
            "moved_on": _dates(moved["moved_on"]),
            "zone": moved["zone"].to_numpy(),
            "room": moved["room"].to_numpy(),
        }
    )
    moved = moved.assign(place=None, animals=pd.array([pd.NA] * len(moved), dtype="Int64"))
    lasts = housing.periods(stays, lasting)
    lasts = lasts[lasts["from_date"] <= truth.LAST_DAY].sort_values(["from_date", "key", "what"], kind="stable")
    lasts = pd.DataFrame(
        {
            "stay_id": lasts["key"].map(ids).to_numpy(),
            "what": lasts["what"].to_numpy(),
            "from_date": _dates(lasts["from_date"]),
            "to_date": _dates(lasts["to_date"]),
        }
    )
    built = housing.housing()
    built["places"] = built["places"].astype("Int64")
    return {
        "moves": moved,
        "periods": lasts,
        "housing": built.assign(from_date=built["from_date"].astype("datetime64[s]")),
    }


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
    return out.assign(seen_on=_dates(out["seen_on"]))


def requests(rng: np.random.Generator, stays: list[Stay], scale: float) -> pd.DataFrame:
    """Return requests: those taken in match surrenders; when quarantine was full others heard "no room"."""
    rows = []
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
        asked_on=_dates(out["asked_on"]), answered_on=_dates(out["answered_on"]), animals=out["animals"].astype("Int64")
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
    visits["key"] = visits["episode_id"].map(owner)
    visits = visits[visits["day"].between(0, truth.LAST_DAY)]
    rows = pd.DataFrame(money.bills(rng, visits) + money.running(rng, scale))
    rows = rows.sort_values(["day", "key", "episode_id", "amount"], kind="stable").reset_index(drop=True)
    rows = money.charge(rng, rows.astype({"key": object, "episode_id": object}))
    spent = pd.DataFrame(
        {
            "spent_on": _dates(rows["day"]),
            "amount": rows["amount"],
            "category": rows["category"],
            "stay_id": rows["key"],
            "episode_id": rows["episode_id"],
            "grant_id": rows["grant_id"],
            "in_kind": rows["in_kind"],
        }
    )
    given, got = money.grants(), money.receipts()
    for name in ("awarded_on", "starts_on", "ends_on"):
        given[name] = [day(t) for t in given[name]]
        given[name] = given[name].astype("datetime64[s]")
    return {"spending": spent, "grants": given, "receipts": got.assign(received_on=_dates(got["received_on"]))}
