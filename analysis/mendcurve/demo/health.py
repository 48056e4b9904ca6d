"""The tables of illness, treatment and weight."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.demo import care, growth, truth
from mendcurve.demo.arrivals import Stay
from mendcurve.demo.dating import dates, plain_dates, stamp
from mendcurve.records.schemas import TABLES

SHELL_DENSITY = 0.19  # grams over the cube of carapace centimetres, about what a tortoise has


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
        out[name] = dates(out[name])
    return out.assign(animals=out["animals"].astype("Int64"))


def treatment(rng: np.random.Generator, stays: list[Stay], paths: list[growth.Growth]) -> dict[str, pd.DataFrame]:
    """Return checks, courses, doses."""
    checks, courses, doses = [], [], []
    for s, g in zip(stays, paths, strict=True):
        for e in s.episodes:
            if e.found > truth.LAST_DAY:
                continue
            checks += care.checks(rng, s, e)
            plan = care.course(rng, s, e, g.start)
            if plan is None:
                continue
            rows, stopped = care.doses(rng, plan)
            name = "C-" + e.id[2:]
            late = stopped is not None and 1440 * plan["until"] <= 1440 * truth.LAST_DAY
            courses.append(
                (
                    name,
                    *(plan[k] for k in ("episode_id", "kind", "medicine", "route", "interval_hours", "doses_planned")),
                    stamp(plan["first"]),
                    plan["weight_used_g"],
                    stamp(1440 * plan["until"] + 12 * 60) if late else None,
                    plan["why"] if late else None,
                )
            )
            doses += [(name, stamp(at), stamp(d), r) for at, d, r in rows if at < 1440 * (truth.LAST_DAY + 1)]
    checked = pd.DataFrame(checks, columns=list(TABLES["checks"].names))
    given = pd.DataFrame(doses, columns=list(TABLES["doses"].names))
    course = pd.DataFrame(courses, columns=list(TABLES["courses"].names))
    for frame, names in ((given, ("given_at", "due_at")), (course, ("first_dose_at", "stopped_at"))):
        for name in names:
            frame[name] = pd.to_datetime(frame[name]).astype("datetime64[s]")
    course["doses_planned"] = course["doses_planned"].astype("Int64")
    checked = checked.assign(checked_on=dates(checked["checked_on"])).sort_values(["checked_on", "episode_id"])
    return {"checks": checked, "courses": course, "doses": given.sort_values(["given_at", "course_id"], kind="stable")}


def weights(
    rng: np.random.Generator, stays: list[Stay], paths: list[growth.Growth], lasting: dict[str, dict]
) -> dict[str, pd.DataFrame]:
    """Return weighings and targets."""
    ids = {s.key: s.id for s in stays}
    parts, aims = [], []
    for s, g in zip(stays, paths, strict=True):
        if s.dead_on_arrival:
            continue
        rows = growth.weigh(rng, s, g, lasting)
        rows["is_group_weight"] = s.size > 1
        if s.size > 1:
            left = np.array([s.left_on(t) for t in rows["weighed_on"]])
            rows["weight"] = np.round(rows["weight"] * left)
            rows = rows[left > 0]
        parts.append(rows)
        step = int(rows["step"].iloc[0]) if len(rows) else 7
        if g.has_target and s.size == 1:
            tail = round(g.target, 0 if g.target >= 50 else 1)
            by = s.day + 90 if rng.random() < 0.15 else None
            aims.append((s.id, tail, min(s.day + int(rng.integers(0, 5)), s.out), by, step))
    out = pd.concat(parts, ignore_index=True)
    shelled = {s.key for s in stays if s.taxon in ("tortoise", "turtle") and s.size == 1}
    measured = out["key"].isin(shelled) & ~out["key"].duplicated()
    score = np.where(rng.random(len(out)) < 0.06, rng.integers(2, 5, len(out)), np.nan)
    out = pd.DataFrame(
        {
            "stay_id": out["key"].map(ids),
            "weighed_on": dates(out["weighed_on"]),
            "weight": out["weight"],
            "unit": "g",
            "circumstance": out["circumstance"],
            "is_group_weight": out["is_group_weight"],
            "length_mm": np.round(10 * np.cbrt(out["weight"] / SHELL_DENSITY)).where(measured),
            "length_kind": measured.map({True: "carapace", False: None}),
            "condition_score": score,
            "score_scale": ["1-5" if known else None for known in ~np.isnan(score)],
        }
    ).sort_values(["weighed_on", "stay_id"], kind="stable")
    goal = pd.DataFrame(aims, columns=list(TABLES["targets"].names))
    goal = goal[goal["set_on"] <= truth.LAST_DAY].reset_index(drop=True)
    goal = goal.assign(
        set_on=dates(goal["set_on"]),
        weigh_every_days=goal["weigh_every_days"].astype("Int64"),
        by_date=plain_dates(goal["by_date"]),
    )
    return {"weighings": out, "targets": goal}
