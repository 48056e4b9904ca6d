"""The records.toml of the invented rescue: its decisions, as its director would have written them."""

from __future__ import annotations

from mendcurve.demo import truth


def _list(values: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{v}"' for v in values) + "]"


def records_toml() -> str:
    """Return the text of records.toml."""
    families = "\n".join(f'"{name}" = {_list(members)}' for name, members in truth.FAMILIES.items())
    days = ", ".join(f"{taxon} = {n}" for taxon, n in truth.QUARANTINE_DAYS.items())
    return f"""\
# Decisions of an invented rescue. Every animal, person, place and fund in these records is made up.

[rescue]
name = "{truth.RESCUE}"
currency = "EUR"
paper = "A4"
date_order = "dmy"  # one person writes the day first

[dates]
as_of = {truth.AS_OF}
records_start = {truth.RECORDS_START}

[weights]
unit = "g"
scale_step_g = 1.0

[conditions]
lifelong = {_list(truth.LIFELONG)}

[conditions.families]
{families}

[zones]
quarantine = "quarantine"
treatment = "treatment"
adoption = "adoption"
quarantine_days = {{ {days} }}

[doses]
misses_recorded = true

[watch]
false_alarms_per_week = 1.0

[capacity]
large_event = 15

[public]
smallest_cell = 5

# Snakes are weighed before feeding where possible; a weighing within these days of a meal is not used.
[[species]]
name = "corn snake"
scientific = "Pantherophis guttatus"
aliases = ["red rat snake", "elaphe guttata"]
taxon = "snake"
low_g = 1.5
high_g = 3500
gut_days = 4

[[species]]
name = "ball python"
scientific = "Python regius"
aliases = ["royal python"]
taxon = "snake"
low_g = 12
high_g = 9000
gut_days = 6
"""
