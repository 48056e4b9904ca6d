"""Mendcurve: what becomes of the animals of a reptile and amphibian rescue, from the records it keeps.

``load`` reads and validates the records, ``period`` makes a period, ``questions`` answers, ``figures`` draws an answer,
``documents`` writes the reports; ``build`` does all of it in one call.

The words, one for one thing
----------------------------
animal
    One individual. Its ``animal_id`` stays the same for life, however often it comes back.
intake, outcome
    The day the rescue takes charge of an animal, and how its time there ends for good. A foster home, a visit to a
    clinic and a move between rooms are neither.
stay
    One animal's time from one intake to its outcome. An animal that is returned begins a second stay.
length of stay
    Days from intake to outcome; in and out on one day is 0. Care-days are lengths of stay added up.
in care
    Taken in, and without an outcome by the as-of date.
as-of date
    The last day the records are known to be complete. What came later is unknown, not absent.
records start
    The first day the records are complete. A stay already open on it is seen only from that day on.
condition, episode
    A named health problem; and one such problem in one stay, from the day it was found until it ended.
cleared
    The vet, or whoever the rescue has named, ended the episode as recovered. An episode that is ``managed`` is for
    life and is never called recovering.
course, dose
    A treatment repeated at a set interval; and one administration of it, planned or given.
weighing
    One weight of one animal on one day, with what was going on: fed, shed, laid eggs, gravid, brumating, tail lost.
zone
    A kind of housing with a number of places of its own, by the rescue's own name for it.
place
    Room for one animal, or for one group that is kept together.
census
    How many animals, or places taken, a zone holds on a day.
live outcome
    Adopted, returned to the owner, transferred out, or released.
tally
    Counts by day of who came under observation, whose time ended and how. Tallies add; curves are computed from them.
finding
    Something in the records that is wrong or doubtful: where it stands, what it is, how to mend it.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from mendcurve.documents import (  # type: ignore[no-redef]
        build,
        cautions,
        chosen,
        load,
        note,
        provenance,
        public_sentence,
        public_table,
        reporting_period,
        table,
    )
    from mendcurve.errors import InputError
    from mendcurve.records import Records
    from mendcurve.timelines.period import Period, period

__all__ = [
    "InputError",
    "Period",
    "Records",
    "build",
    "cautions",
    "chosen",
    "load",
    "note",
    "period",
    "provenance",
    "public_sentence",
    "public_table",
    "reporting_period",
    "table",
]

_HOME = {
    "InputError": "errors",
    "Period": "timelines.period",
    "Records": "records",
    "period": "timelines.period",
}


def __getattr__(name: str) -> Any:
    """Find a public name where it lives, so that a layer below does not load the layers above it."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME.get(name, 'documents')}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
