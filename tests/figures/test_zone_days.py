"""Stacked shares by zone: what is drawn is what the answer says, every area is named once, words do not overlap."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text

from mendcurve.figures.zone_days import OTHERS, stacked, zone_days
from mendcurve.questions import stay
from mendcurve.questions.stay_zones import BY_DAY, COLUMNS, KEPT, LEFT, Zones


def answer_of(shares: dict[str, list[float]], **more) -> Zones:
    """Shares at the end of days 0, 1, ...; days are their sums."""
    horizon = len(next(iter(shares.values()))) - 1
    rows = [(zone, sum(s[:-1]), sum(s[:-1]) * 0.9, sum(s[:-1]) * 1.1, 10, 0) for zone, s in shares.items()]
    days = [(zone, day, x, x, x) for zone, s in shares.items() for day, x in enumerate(s)]
    given = {"recorded": True, "enough": True, **more}
    return Zones(
        frame=pd.DataFrame(rows, columns=list(COLUMNS)), shares=pd.DataFrame(days, columns=list(BY_DAY)),
        horizon=horizon, animals=40, clusters=40, residents=0, lost=0, as_of=pd.Timestamp("2026-10-31"), **given,
    )  # fmt: skip


def falling(first, last, days=121):
    return list(np.linspace(first, last, days))


PLAIN = {"quarantine": falling(0.9, 0.1), "treatment": falling(0.1, 0.2), LEFT: falling(0.0, 0.7)}


def test_an_area_is_as_thick_as_the_share_and_the_last_ends_at_one():
    picture = zone_days(answer_of({"quarantine": [1.0, 0.5, 0.5, 0.5], LEFT: [0.0, 0.5, 0.5, 0.5]}))
    lower, upper = (c.get_paths()[0].vertices for c in picture.figure.axes[0].collections)
    assert lower[:, 1].min() == 0
    assert upper[:, 1].max() == pytest.approx(1)
    on = lower[(lower[:, 0] >= 1) & (lower[:, 0] <= 3), 1]
    assert sorted(set(on.round(9))) == [0.0, 0.5, 1.0]  # the step from 1 is drawn on day 1
    assert picture.figure.axes[0].get_xlim() == (0, 3)
    assert picture.figure.axes[0].get_ylim() == (0, 1)


def test_every_area_is_named_with_its_days():
    picture = zone_days(answer_of(PLAIN))
    said = [t.get_text().replace("\n", " ") for t in picture.figure.axes[0].texts]
    for zone, shares in PLAIN.items():
        days = sum(shares[:-1])
        assert f"{zone} {days:.0f} days ({days * 0.9:.0f} to {days * 1.1:.0f})" in said
    assert len(said) == 3
    inside = sum(PLAIN["quarantine"][:-1]) + sum(PLAIN["treatment"][:-1])
    assert picture.title == f"Of the first 120 days, an animal spends about {inside:.0f} in care"
    assert "40 animals" in picture.subtitle
    assert picture.figure.axes[0].get_xlabel() == "days since intake"
    assert picture.figure.axes[0].get_ylabel() == "share of animals"


def test_zones_too_thin_to_see_are_one_area_and_named_together():
    thin = {"foster": falling(0.0, 0.01), "room 9": falling(0.01, 0.0)}
    shares = {"quarantine": falling(0.99, 0.1), **thin, LEFT: falling(0.0, 0.89)}
    answer = answer_of(shares)
    table = stacked(answer)
    assert table.columns.tolist() == ["quarantine", OTHERS, LEFT]
    np.testing.assert_allclose(table.sum(axis=1), 1)
    texts = [t.get_text() for t in zone_days(answer).figure.axes[0].texts]
    assert "foster and room 9\n1.2 days" in texts


def test_one_thin_zone_keeps_its_name():
    shares = {"quarantine": falling(0.99, 0.1), "foster": falling(0.01, 0.01), LEFT: falling(0.0, 0.89)}
    assert stacked(answer_of(shares)).columns.tolist() == ["quarantine", "foster", LEFT]


def test_residents_and_those_that_left_come_last():
    shares = {KEPT: falling(0.0, 0.1), LEFT: falling(0.0, 0.8), "quarantine": falling(1.0, 0.1)}
    assert stacked(answer_of(shares)).columns.tolist() == ["quarantine", KEPT, LEFT]


def overlaps(picture):
    # of the words alone, without the lines to them
    boxes = [Text.get_window_extent(t) for t in picture.figure.axes[0].texts]
    return sum(a.overlaps(b) for a, b in combinations(boxes, 2))


def test_words_do_not_run_into_each_other(demo):
    picture = zone_days(stay.zones(demo))
    assert not overlaps(picture)
    assert not overlaps(zone_days(answer_of(PLAIN)))
    assert "nan" not in picture.title + picture.subtitle + picture.alt
    answer = stay.zones(demo)
    shares = answer.by_day().pivot(index="day", columns="zone", values="share")
    drawn = [c.get_paths()[0].vertices[:, 1].max() for c in picture.figure.axes[0].collections]
    assert drawn[0] == pytest.approx(shares["quarantine"].max())
    assert picture.alt == answer.sentence()


def test_nothing_to_draw_says_why():
    few = zone_days(answer_of(PLAIN, enough=False))
    assert "too few" in few.subtitle
    none = zone_days(answer_of(PLAIN, recorded=False))
    assert none.subtitle.startswith("Which zone animals were in is not recorded")


def test_the_same_answer_gives_the_same_bytes():
    answer = answer_of(PLAIN)
    assert zone_days(answer).svg() == zone_days(answer).svg()
