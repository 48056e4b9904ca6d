"""Kinds within a zone: who is taken apart, what decides, and who borrows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.questions import capacity_kinds
from mendcurve.questions.capacity_house import setup
from mendcurve.questions.capacity_kinds import REST, kinds
from mendcurve.records import from_frames
from mendcurve.timelines.places import spells, zone_order

DAY = pd.Timestamp("2024-01-01")


def records_of(species: list[str], conditions: pd.DataFrame | None = None, *, quarantine=30, treatment=20):
    n = len(species)
    came = DAY + pd.to_timedelta(np.arange(n) % 100, unit="D")
    ids = [f"S{i}" for i in range(n)]
    ends = [came + pd.to_timedelta(x, unit="D") for x in (quarantine, np.add(quarantine, treatment))]
    intakes = pd.DataFrame({"stay_id": ids, "species": species, "intake_date": came, "intake_type": "stray"})
    moves = [
        pd.DataFrame({"stay_id": ids, "moved_on": d, "zone": z})
        for d, z in ((came, "quarantine"), (ends[0], "treatment"))
    ]
    outcomes = pd.DataFrame({"stay_id": ids, "outcome_date": ends[1], "outcome_type": "adopted"})
    more = {} if conditions is None else {"conditions": conditions}
    return from_frames(
        as_of="2025-06-30", records_start=DAY, intakes=intakes, moves=pd.concat(moves), outcomes=outcomes, **more
    )


def kinds_of(records):
    moved = spells(records)
    return kinds(records, moved, zone_order(records, moved["zone"]), DAY), moved


def test_a_taxon_with_enough_ended_spells_is_taken_apart_and_the_rest_borrows():
    found, _ = kinds_of(
        records_of(["corn snake"] * capacity_kinds.ENOUGH + ["bearded dragon"] * (capacity_kinds.ENOUGH - 1))
    )
    assert found.names == (("quarantine", REST), ("quarantine", "snake"), ("treatment", REST))
    assert found.borrows == {0}
    assert found.belongs(("quarantine", "treatment")).tolist() == [0, 0, 1]


def test_two_large_taxa_are_both_apart_and_each_has_its_own_days():
    n = capacity_kinds.ENOUGH
    days = np.repeat([60, 30], n)
    made = setup(records_of(["corn snake"] * n + ["bearded dragon"] * n, quarantine=days), weeks=2, draws=5)
    hazard = made.house.kernel.hazard.mean(axis=0).sum(axis=-1)
    lizard, snake = (hazard[i] for i in (0, 1))
    assert lizard[30] == pytest.approx(1) and snake[30] == 0 and snake[60] == pytest.approx(1)
    assert any("snake in quarantine" in note for note in made.notes)


def test_in_treatment_the_longest_lasting_condition_open_on_the_first_day_decides():
    n = 2 * capacity_kinds.ENOUGH
    came = DAY + pd.to_timedelta(np.arange(n) % 100, unit="D")

    def ill(name, ids, found, ended):
        at = came[ids]
        return pd.DataFrame(
            {
                "episode_id": [f"{name}{i}" for i in ids],
                "stay_id": [f"S{i}" for i in ids],
                "condition": name,
                "found_on": at + pd.Timedelta(days=found),
                "ended_on": at + pd.Timedelta(days=ended),
            }
        )

    every, half = np.arange(n), np.arange(capacity_kinds.ENOUGH)
    conditions = pd.concat(
        [
            ill("mites", every, 0, 40),
            ill("burn", half, 0, 50),
            ill("over before", every, 0, 30),
            ill("found later", every, 31, 50),
        ]
    )
    found, moved = kinds_of(records_of(["corn snake"] * n, conditions))
    treated = moved[moved["zone"] == "treatment"]
    named = treated["stay_id"].map(
        dict(zip(treated["stay_id"], (found.names[c][1] for c in found.code[treated.index]), strict=True))
    )
    assert set(named[treated["stay_id"].isin([f"S{i}" for i in half])]) == {"burn"}
    assert set(named[~treated["stay_id"].isin([f"S{i}" for i in half])]) == {"mites"}


def test_a_small_rescue_has_no_kinds():
    found, _ = kinds_of(records_of(["corn snake"] * 12))
    assert found.names == (("quarantine", REST), ("treatment", REST)) and not found.borrows
