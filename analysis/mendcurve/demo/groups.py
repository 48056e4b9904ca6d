"""The few stays written by hand: groups and clutches, permanent residents, odd endings."""

from __future__ import annotations

from mendcurve.demo import truth
from mendcurve.demo.arrivals import NEVER, Episode, Stay

# species, day, how, stage, sex, animals, ends (days after intake, outcome, animals), condition and its end, note
GROUPS = (
    (
        "bearded dragon",
        152,
        "surrendered",
        "hatchling",
        "unknown",
        12,
        ((9, "died", 2), (21, "died", 1), (82, "adopted", 4), (97, "adopted", 3), (121, "adopted", 2)),
        ("underweight", 61),
        "clutch of 12",
    ),
    (
        "leopard gecko",
        411,
        "surrendered",
        "adult",
        "mixed",
        6,
        ((74, "adopted", 3), (102, "adopted", 2)),
        ("mites", 24),
        "1.2.3 group",
    ),
    (
        "corn snake",
        505,
        "born in care",
        "hatchling",
        "unknown",
        8,
        ((6, "died", 1), (88, "adopted", 4), (110, "transferred out", 3)),
        None,
        "hatched from eggs laid here",
    ),
    ("axolotl", 838, "surrendered", "juvenile", "unknown", 5, ((12, "died", 1),), ("wound", 38), "one tank of five"),
)
# species, day, how, stage, sex, ends, special
SINGLES = (
    ("crested gecko", 96, "born in care", "hatchling", "unknown", (90, "adopted"), ""),
    ("crested gecko", 96, "born in care", "hatchling", "unknown", (118, "adopted"), ""),
    ("leopard gecko", 742, "born in care", "hatchling", "unknown", (101, "adopted"), ""),
    ("sulcata tortoise", -90, "stray", "adult", "male", None, "resident"),
    ("red-eared slider", 60, "stray", "adult", "female", None, "resident"),
    ("green iguana", 233, "stray", "adult", "unknown", (0, "died"), "dead on arrival"),
    ("corn snake", 577, "transferred in", "adult", "unknown", (0, "died"), "dead on arrival"),
    ("White's tree frog", 768, "confiscated", "adult", "unknown", (0, "died"), "dead on arrival"),
    ("bearded dragon", 318, "surrendered", "adult", "female", (2, "euthanised at owner's request"), "owner"),
    ("ball python", 701, "surrendered", "adult", "male", (1, "euthanised at owner's request"), "owner"),
    ("corn snake", 489, "surrendered", "adult", "male", (77, "missing"), ""),
)


def by_hand(first_key: int) -> list[Stay]:
    """Return the stays written by hand, with keys from ``first_key`` on."""
    stays: list[Stay] = []
    for name, day, how, stage, sex, size, ends, ill, note in GROUPS:
        stay = Stay(truth.BY_NAME[name], day, how, stage, sex, 10**8 + day, first_key + len(stays), -1, size=size)
        stay.note, stay.ends = note, [(day + d, what, n) for d, what, n in ends]
        stay.zones = [(day, "quarantine"), (day + truth.QUARANTINE_DAYS[stay.taxon], "adoption")]
        if ill is not None:
            stay.episodes = [
                Episode(ill[0], 1, day, day + ill[1], "cleared", NEVER, True, day + ill[1], day + 4, animals=size)
            ]
        stays.append(stay)
    stays.append(_split_off(stays[1], first_key + len(stays)))
    for name, day, how, stage, sex, end, special in SINGLES:
        key = first_key + len(stays)
        arrival = 10**8 + day + (0 if how == "born in care" else key)
        stays.append(_single(Stay(truth.BY_NAME[name], day, how, stage, sex, arrival, key, key, special=special), end))
    return stays


def _split_off(group: Stay, key: int) -> Stay:
    day = group.day + 30
    group.taken.append((day, 1))
    stay = Stay(group.species, day, group.how, group.stage, "female", group.arrival, key, key, split_from=group.key)
    stay.note, stay.ends = "taken out of the group to be treated alone", [(day + 68, "adopted", 1)]
    stay.zones = [(day, "treatment"), (day + 41, "adoption")]
    stay.episodes = [Episode("mouth infection", 1, day, day + 37, "cleared", NEVER, True, day + 37, day + 2)]
    return stay


def _single(stay: Stay, end: tuple[int, str] | None) -> Stay:
    if end is not None:
        stay.ends = [(stay.day + end[0], end[1], 1)]
    stay.dead_on_arrival = stay.special == "dead on arrival"
    if stay.special == "owner":
        stay.episodes = [Episode("soft bones", 2, stay.day, NEVER, "cleared", NEVER, True, None, stay.day)]
    if stay.special == "resident":
        stay.zones = [(stay.day, "quarantine"), (stay.day + 60, "residents")]
    elif not stay.dead_on_arrival:
        stay.zones = [(stay.day, "quarantine")]
        if end is not None and end[0] > 35:
            stay.zones.append((stay.day + 30 if stay.taxon == "lizard" else stay.day + 60, "adoption"))
    return stay
