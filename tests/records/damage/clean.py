"""Clean records of an invented rescue, small, made from a seed: the truth the reader is asked to give back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np

from mendcurve.records.schemas import LIVE_OUTCOMES, TABLES

Row = dict[str, Any]
# Species of the reference table, with the grams these invented animals weigh.
SPECIES = {
    "bearded dragon": (180.0, 460.0),
    "leopard gecko": (30.0, 75.0),
    "corn snake": (150.0, 700.0),
    "ball python": (400.0, 1600.0),
    "hermann's tortoise": (350.0, 1300.0),
    "crested gecko": (22.0, 48.0),
    "blue-tongued skink": (280.0, 560.0),
}
CONDITIONS = ("stuck shed", "mouth infection", "noisy breathing", "burn", "soft bones", "mites")
ZONES = ("quarantine", "treatment", "adoption")
STYLES = ("S-{:04d}", "{:04d}", "{:d}")
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Clean:
    """One clean rescue.

    Attributes
    ----------
    rows : mapping of table -> list of rows
        Values as Python holds them (str, int, float, Decimal, bool, date, datetime); None is an empty cell. A row also
        has "_who": its animal, grant or the like; rows of one "_who" hang together.
    as_of : date
    """

    rows: dict[str, list[Row]]
    as_of: date


@dataclass(slots=True)
class _Maker:
    """Draws one rescue, stay by stay."""

    draw: np.random.Generator
    rows: dict[str, list[Row]] = field(default_factory=lambda: {name: [] for name in TABLES})
    episodes: int = 0
    courses: int = 0

    def add(self, table: str, who: str, **values: Any) -> Row:
        row = {**dict.fromkeys(TABLES[table].names), **values, "_who": who}
        self.rows[table].append(row)
        return row

    def pick(self, words: Any) -> Any:
        return words[int(self.draw.integers(len(words)))]

    def days(self, low: int, high: int) -> timedelta:
        return timedelta(days=int(self.draw.integers(low, high + 1)))

    def chance(self, share: float) -> bool:
        return bool(self.draw.random() < share)


def clean(seed: int, stays: int = 60) -> Clean:
    """Return the rescue of ``seed``: day books in order of date, every column of every table used somewhere."""
    make = _Maker(np.random.default_rng(seed))
    style = make.pick(STYLES)
    day = date(2023, 1, 9) + make.days(0, 300)
    for number in range(1, stays + 1):
        day += make.days(2, 6)
        _stay(make, number, style, day)
    as_of = day + timedelta(days=110)
    _house(make, as_of)
    _money(make, as_of)
    for table, rows in make.rows.items():
        when = next(c.name for c in TABLES[table].columns if c.kind in ("date", "datetime") and c.required)
        rows.sort(key=lambda row, when=when: str(row[when]))
    return Clean(make.rows, as_of)


def _stay(make: _Maker, number: int, style: str, came: date) -> None:
    species = make.pick(tuple(SPECIES))
    who, stay = f"animal {number}", style.format(number)
    dead = number % 29 == 0
    size = int(make.draw.integers(2, 6)) if make.chance(0.08) and not dead else 1
    hatched = came - make.days(200, 2500) if make.chance(0.4) else None
    make.add(
        "intakes",
        who,
        stay_id=stay,
        animal_id=f"{700 + number:05d}" if size == 1 else None,
        species=species,
        sex=make.pick(("female", "male", "unknown")) if size == 1 else "mixed",
        life_stage=make.pick(("juvenile", "subadult", "adult")),
        hatched_on=hatched,
        hatched_on_kind=make.pick(("known", "estimated")) if hatched else None,
        intake_date=came,
        intake_type=make.pick(("surrendered", "stray", "transferred in", "confiscated")),
        arrival_id=f"{number % 11 + 1}-{number % 23 + 2}",
        group_size=size if size > 1 or make.chance(0.5) else None,
        dead_on_arrival=dead,
        housing_kind=make.pick(("arid", "tropical")),
        story_ok=make.chance(0.3),
        note=make.pick((None, "quiet, eats well", "came in a box", "très maigre", "tail short; old scar")),
    )
    if size > 2:
        # One of the group is taken out of it, into a stay of its own.
        apart = style.format(9000 + number)
        day = came + timedelta(days=3)
        make.add(
            "intakes",
            who,
            stay_id=apart,
            species=species,
            sex="unknown",
            intake_date=day,
            intake_type="transferred in",
            split_from=stay,
            group_size=1,
        )
    left = came if dead else came + make.days(35, 80)
    if dead or make.chance(0.85):
        how = "died" if dead or make.chance(0.15) else make.pick(LIVE_OUTCOMES)
        parts = [None] if size < 4 else [1, None]
        for nth, animals in enumerate(parts):
            make.add(
                "outcomes",
                who,
                stay_id=stay,
                outcome_date=left - timedelta(days=7 * (len(parts) - 1 - nth)),
                outcome_type=how,
                animals=animals,
            )
        if how == "adopted":
            for nth in (1, 2):
                seen = left + timedelta(days=14 * nth)
                make.add("followups", who, stay_id=stay, seen_on=seen, status=make.pick(("well", "well", "ill")))
    if not dead:
        _care(make, who, stay, came, min(left, came + timedelta(days=80)), size, SPECIES[species])


def _care(make: _Maker, who: str, stay: str, came: date, left: date, size: int, bounds: tuple[float, float]) -> None:
    end = left - timedelta(days=8)
    _weighings(make, who, stay, came, end, size, bounds)
    for nth, zone in enumerate(ZONES[: int(make.draw.integers(1, 4))]):
        make.add(
            "moves",
            who,
            stay_id=stay,
            moved_on=came + timedelta(days=9 * nth),
            zone=zone,
            room=f"room {nth + 1}",
            place=f"{int(make.draw.integers(1, 40))}",
            animals=size if make.chance(0.2) else None,
        )
    if make.chance(0.4):
        first = came + make.days(4, 12)
        what = make.pick(("foster", "hold", "gravid", "ready for a home"))
        make.add("periods", who, stay_id=stay, what=what, from_date=first, to_date=first + make.days(3, 14))
    if make.chance(0.6):
        make.add(
            "targets",
            who,
            stay_id=stay,
            target_g=round(bounds[1] * 0.8),
            set_on=came + make.days(1, 3),
            by_date=end if make.chance(0.5) else None,
            weigh_every_days=7,
        )
    for condition in _some(make, CONDITIONS, 2):
        _episode(make, who, stay, came, end, condition, size)


def _weighings(
    make: _Maker, who: str, stay: str, came: date, end: date, size: int, bounds: tuple[float, float]
) -> None:
    grams = make.draw.uniform(*bounds)
    growth = make.draw.uniform(0.004, 0.02)
    gap = timedelta(days=int(make.pick((6, 7))))
    day = came
    while day <= end:
        weight = round(grams * float(np.exp(make.draw.normal(0, 0.004))), 1)
        long = make.chance(0.2)
        scored = make.chance(0.2)
        make.add(
            "weighings",
            who,
            stay_id=stay,
            weighed_on=day,
            weight=weight,
            unit="g" if make.chance(0.5) else None,
            circumstance=make.pick((None, None, "fed", "shed", "fed; shed")),
            is_group_weight=size > 1,
            length_mm=float(make.draw.integers(90, 400)) if long else None,
            length_kind=make.pick(("snout-vent", "total")) if long else None,
            condition_score=float(make.draw.integers(1, 6)) if scored else None,
            score_scale="1-5" if scored else None,
        )
        grams *= 1 + growth
        day += gap


def _episode(make: _Maker, who: str, stay: str, came: date, end: date, condition: str, size: int) -> None:
    make.episodes += 1
    episode = f"E-{make.episodes:04d}"
    found = came + make.days(0, 4)
    ended = min(found + make.days(12, 30), end) if make.chance(0.7) else None
    make.add(
        "conditions",
        who,
        episode_id=episode,
        stay_id=stay,
        condition=condition,
        severity=make.pick(("mild", "moderate", "severe")),
        primary=make.chance(0.5),
        found_on=found,
        vet_seen_on=found + make.days(0, 3) if make.chance(0.8) else None,
        ended_on=ended,
        ended_as=make.pick(("cleared", "cleared", "misdiagnosed")) if ended else None,
        animals=1 if size > 1 else None,
    )
    last = ended or end
    for day in _every(found + 6 * DAY, last, 6):
        make.add("checks", who, episode_id=episode, checked_on=day, result=make.pick(("still ill", "well", "unclear")))
    if make.chance(0.5):
        _course(make, who, episode, found)


def _course(make: _Maker, who: str, episode: str, found: date) -> None:
    make.courses += 1
    course, planned = f"{1000 + make.courses}", int(make.draw.integers(3, 7))
    first = datetime.combine(found + 2 * DAY, datetime.min.time()) + timedelta(hours=9)
    early = make.chance(0.3)
    make.add(
        "courses",
        who,
        course_id=course,
        episode_id=episode,
        kind="medicine",
        medicine=make.pick(("medicine A", "medicine B")),
        route=make.pick(("by mouth", "on the skin")),
        interval_hours=24.0,
        doses_planned=planned,
        first_dose_at=first,
        weight_used_g=float(make.draw.integers(40, 900)),
        stopped_at=first + planned * DAY if early else None,
        stop_reason="vet ended it" if early else None,
    )
    for nth in range(planned):
        given = first + timedelta(days=nth, minutes=int(make.draw.integers(-50, 50)))
        result = make.pick(("given", "given", "given", "refused", None))
        make.add("doses", who, course_id=course, given_at=given, due_at=first + nth * DAY, result=result)


def _house(make: _Maker, as_of: date) -> None:
    for nth, zone in enumerate(ZONES, start=1):
        make.add(
            "housing",
            f"zone {zone}",
            zone=zone,
            housing_kind=make.pick(("arid", "tropical")),
            room=f"room {nth}",
            rule="open" if nth > 1 else None,
            places=200,
            from_date=date(2022, 12, 1),
            minutes_per_animal_day=float(make.draw.integers(5, 20)),
        )
    day = min(row["intake_date"] for row in make.rows["intakes"])
    for nth in range(30):
        day += make.days(2, 7)
        if day > as_of - 3 * DAY:
            break
        make.add(
            "requests",
            f"asking {nth}",
            asked_on=day,
            species=make.pick(tuple(SPECIES)),
            animals=int(make.draw.integers(1, 4)),
            housing_kind="arid",
            answer=make.pick(("taken in", "no room", "declined")),
            answered_on=day + make.days(0, 3),
        )


def _money(make: _Maker, as_of: date) -> None:
    first = min(row["intake_date"] for row in make.rows["intakes"])
    for nth in (1, 2):
        starts = first + timedelta(days=30 * nth)
        make.add(
            "grants",
            f"grant {nth}",
            grant_id=f"G-{nth}",
            funder=f"Invented Fund {'ABC'[nth]}",
            amount=_amount(make, 2000, 9000),
            awarded_on=first + timedelta(days=20 * nth),
            starts_on=starts,
            ends_on=starts + timedelta(days=365),
            restricted_to=make.pick(("medical", "running", None)),
            opening_balance=_amount(make, 100, 900),
            goal="treat sick reptiles",
            goal_animals=int(make.draw.integers(20, 90)),
        )
        for part in (1, 2):
            day = starts + timedelta(days=20 * part)
            make.add(
                "receipts",
                f"grant {nth}",
                grant_id=f"G-{nth}",
                received_on=min(day, as_of),
                amount=_amount(make, 90, 990),
            )
    episodes = {row["stay_id"]: row for row in make.rows["conditions"]}
    for stay in make.rows["intakes"][:40]:
        episode = episodes.get(stay["stay_id"])
        make.add(
            "spending",
            stay["_who"],
            spent_on=min(stay["intake_date"] + make.days(1, 20), as_of),
            amount=_amount(make, 8, 420),
            category=make.pick(("medical", "running", "other")),
            stay_id=stay["stay_id"],
            episode_id=episode["episode_id"] if episode else None,
            grant_id=None,
            in_kind=make.chance(0.1),
        )
    make.add(
        "spending", "grant 1", spent_on=as_of, amount=_amount(make, 1000, 1900), category="medical", grant_id="G-1"
    )


def _amount(make: _Maker, low: int, high: int) -> Decimal:
    return Decimal(int(make.draw.integers(low * 100, high * 100))) / 100


def _some(make: _Maker, words: tuple[str, ...], most: int) -> list[str]:
    order = make.draw.permutation(len(words))
    return [words[i] for i in order[: int(make.draw.integers(0, most + 1))]]


def _every(first: date, last: date, days: int) -> Iterator[date]:
    while first <= last:
        yield first
        first += timedelta(days=days)
