"""What each animal has, how it would end, and when the stay ends."""

from __future__ import annotations

import numpy as np

from mendcurve.demo import recovering, truth
from mendcurve.demo.arrivals import NEVER, Episode, Stay, choose


def _conditions(rng: np.random.Generator, amphibian: bool) -> tuple[str, list[str]]:
    main = choose(rng, {c.name: c.amphibian if amphibian else c.reptile for c in truth.CONDITIONS})
    chances = recovering.extra_chances(main, amphibian)
    while True:
        others = [name for name, p in chances.items() if rng.random() < p]
        if len(others) < truth.MOST_CONDITIONS:
            return main, others


def draw_episode(rng: np.random.Generator, condition: str, found: int, main: bool) -> Episode:
    """Draw severity, the end it would come to, and the death it may bring."""
    c = truth.CONDITION[condition]
    severity = int(rng.choice(3, p=c.severities))
    ends = int(rng.choice(recovering.DAYS, p=recovering.end_chances(condition, severity)))
    how = choose(rng, {"cleared": 1 - c.managed - c.misdiagnosed, "managed": c.managed, "misdiagnosed": c.misdiagnosed})
    deadly = rng.random(ends + 1) < recovering.death_hazard(condition, severity)[: ends + 1]
    kills = int(np.argmax(deadly)) if deadly.any() else None
    return Episode(condition, severity, found, found + ends, how, NEVER if kills is None else found + kills, main)


def fall_ill(rng: np.random.Generator, stay: Stay) -> None:
    """Give the stay its episodes, relapses included."""
    if stay.dead_on_arrival or rng.random() < truth.HEALTHY:
        return
    main, others = _conditions(rng, stay.taxon in ("frog", "salamander"))
    stay.episodes.append(draw_episode(rng, main, stay.day, True))
    for other in others:
        found = stay.day + choose(rng, truth.FOUND_AFTER)
        stay.episodes.append(draw_episode(rng, other, found, False))
    for first in list(stay.episodes):
        if first.how == "cleared" and rng.random() < truth.RELAPSE:
            again = draw_episode(rng, first.condition, first.ends + 3 + int(rng.integers(12)), False)
            again.relapse, again.kills, again.severity = True, NEVER, 0
            stay.episodes.append(again)


def end_stay(rng: np.random.Generator, stay: Stay) -> None:
    """Decide zones and outcome of a single animal, then close its episodes.

    On one day death comes first, then the end of an episode, then leaving for another reason, then adoption.
    """
    wait = {what: stay.day + int(rng.geometric(p)) for what, p in truth.BACKGROUND.items()}
    illness = min((e.kills for e in stay.episodes), default=NEVER)
    quarantined = stay.day + truth.QUARANTINE_DAYS[stay.taxon] + int(rng.geometric(1 / truth.QUARANTINE_LAG)) - 1
    lag, shown = int(rng.geometric(1 / truth.TREATMENT_LAG)), int(rng.geometric(1 / truth.ADOPTION_DAYS[stay.taxon]))
    well = max((e.ends + lag for e in stay.episodes), default=stay.day)
    ready = max(quarantined, well)
    if any(e.how == "managed" for e in stay.episodes):
        shown *= 2
    adopted = _after_winter(stay, ready + shown)
    died = min(wait["died"], illness)
    day = min(died, wait["left"], wait["missing"], adopted)
    if died == day:
        what = "died" if rng.random() > truth.EUTHANASIA_SHARE or illness > died else "euthanised"
    elif wait["left"] == day:
        what = choose(rng, {"returned to owner": 0.75 if stay.how == "stray" else 0.1, "transferred out": 0.6})
    elif wait["missing"] == day:
        what = "missing"
    elif stay.species.name == "fire salamander" and stay.how == "stray":
        what = "released"
    else:
        what = "adopted" if rng.random() < 0.94 else "transferred out"
    _close(stay, day, what, [(stay.day, "quarantine"), (quarantined, "treatment"), (ready, "adoption")])


def sleeps(stay: Stay) -> bool:
    """Whether the animal brumates in winter."""
    return stay.species.name in truth.BRUMATES and stay.stage != "juvenile"


def _after_winter(stay: Stay, adopted: int) -> int:
    for fall, spring in truth.WINTERS if sleeps(stay) else ():
        first, last = ((d - truth.RECORDS_START).days for d in (fall, spring))
        if first <= adopted <= last:
            return last + 4 + (adopted - first) // 5
    return adopted


def _close(stay: Stay, day: int, what: str, zones: list[tuple[int, str]]) -> None:
    stay.ends = [(day, what, 1)]
    stay.zones = []
    for k, (since, zone) in enumerate(zones):
        until = zones[k + 1][0] if k + 1 < len(zones) else day
        if since < day and (until > since or k == 0):
            stay.zones.append((since, zone))
    dead = what in ("died", "euthanised")
    stay.episodes = [e for e in stay.episodes if (e.found < day if dead else e.found <= day)]
    for e in stay.episodes:
        e.end = e.ends if (e.ends < day if dead else e.ends <= day) else None


def see_vet(rng: np.random.Generator, stay: Stay) -> None:
    """Set the day a vet first saw each episode, unless it ended before."""
    visits: list[int] = []
    for e in sorted(stay.episodes, key=lambda e: e.found):
        seen = e.found + int(rng.geometric(1 / truth.VET_MEAN_DAYS)) - (1 if e.severity == 2 else 0)
        later = [v for v in visits if e.found <= v <= seen]
        seen = later[0] if later else seen
        last = min(e.ends, stay.out)
        if rng.random() < truth.VET_SEEN and seen <= last:
            e.vet = seen
            visits.append(seen)
