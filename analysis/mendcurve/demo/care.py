"""Re-checks, treatment courses and their doses."""

from __future__ import annotations

import numpy as np

from mendcurve.demo import truth
from mendcurve.demo.arrivals import NEVER, Episode, Stay
from mendcurve.records.schemas import DEATHS

# condition: (chance of a course, kind, medicine, route, hours between doses, doses planned)
COURSES = {
    "mouth infection": (0.92, "medicine", "medicine A", "injection", 72, 7),
    "noisy breathing": (0.92, "medicine", "medicine A", "injection", 72, 7),
    "thermal burn": (0.85, "medicine", "medicine B", "injection", 72, 7),
    "wound": (0.60, "procedure", None, None, 48, 6),
    "eye infection": (0.90, "medicine", "medicine C", "eye", 24, 10),
    "intestinal parasites": (0.88, "medicine", "medicine D", "by mouth", 24, 21),
    "mites": (0.75, "medicine", "medicine E", "on the skin", 168, 3),
    "soft bones": (0.70, "medicine", "medicine F", "by mouth", 24, 21),
    "stuck shed": (0.35, "procedure", None, None, 48, 5),
}
AT_HOURS = (8, 9, 9, 10, 17)
DUE_WRITTEN = 0.6  # share of courses on whose sheet the due time is written


def checks(rng: np.random.Generator, stay: Stay, episode: Episode) -> list[tuple]:
    """Return re-checks every one to two weeks; the day of clearance is one of them."""
    last = min(stay.out, truth.LAST_DAY, NEVER if episode.end is None else episode.end)
    rows, at = [], episode.found + int(rng.integers(6, 15))
    while at < last:
        well = rng.random() < (0.25 if episode.ends - at < 7 else 0.03)
        rows.append((episode.id, at, "well" if well else ("unclear" if rng.random() < 0.08 else "still ill")))
        at += int(rng.integers(6, 15))
    if episode.end is not None and episode.end <= truth.LAST_DAY and episode.how == "cleared":
        rows.append((episode.id, episode.end, "well"))
    return rows


def course(rng: np.random.Generator, stay: Stay, episode: Episode, weight: float) -> dict | None:
    """Return the course of one episode, if it has one; it starts on the day the vet saw it, or the next."""
    plan = COURSES.get(episode.condition)
    if plan is None or episode.vet is None or stay.size > 1 or rng.random() > plan[0]:
        return None
    first = episode.vet + int(rng.random() < 0.35)
    until = min(stay.out, NEVER if episode.end is None else episode.end)
    if first >= until or first > truth.LAST_DAY:
        return None
    minutes = 60 * int(rng.choice(AT_HOURS)) + 15 * int(rng.integers(4))
    used = round(weight, 0 if weight >= 50 else 1) if rng.random() < 0.85 else None
    return {
        "episode_id": episode.id,
        "kind": plan[1],
        "medicine": plan[2],
        "route": plan[3],
        "interval_hours": plan[4],
        "doses_planned": plan[5],
        "first": 1440 * first + minutes,
        "until": until,
        "weight_used_g": used,
        "why": _why(stay, episode, until),
    }


def _why(stay: Stay, episode: Episode, until: int) -> str:
    if episode.end == until:
        return "vet ended it: recovered" if episode.how == "cleared" else "vet changed the plan"
    return "left our care" if stay.ends[-1][1] not in DEATHS else "died"


def _by_day(minutes: int) -> int:
    """Return the nearest time of day at which somebody is there, from seven to nine in the evening."""
    of_day = minutes % 1440
    return minutes - of_day + min(max(of_day, 7 * 60), 21 * 60 - 5)


def doses(rng: np.random.Generator, plan: dict) -> tuple[list[tuple], int | None]:
    """Return (given at, due at, result) of each dose in minutes, and when the course was stopped early, if so.

    A dose is due its interval after the last one given; a dose missed or refused moves the due time by one interval.
    """
    step, due = 60 * plan["interval_hours"], plan["first"]
    written = rng.random() < DUE_WRITTEN
    rows: list[tuple] = []
    for _ in range(plan["doses_planned"]):
        if due >= 1440 * plan["until"]:
            return rows, due
        fate = rng.random()
        given = due
        if fate < truth.DOSE_MISSED:
            result = "missed"
        elif fate < truth.DOSE_MISSED + truth.DOSE_REFUSED:
            result = "refused"
        else:
            result = "given"
            late = rng.random() < truth.DOSE_LATE
            wait = rng.uniform(0.30, 0.80) if late else rng.uniform(-0.02, 0.06)
            given = _by_day(due + 5 * int(wait * step / 5))
        if given >= 1440 * plan["until"]:
            return rows, due
        rows.append((given, due if written else None, result))
        due = (given if result == "given" else due) + step
    return rows, None
