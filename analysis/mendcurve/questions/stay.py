"""How long do animals stay, and where do the days go?"""

from __future__ import annotations

from mendcurve.questions.stay_fate import Fate, fate
from mendcurve.questions.stay_length import Length, length
from mendcurve.questions.stay_longest import Longest, longest
from mendcurve.questions.stay_phases import Phases, phases
from mendcurve.questions.stay_zones import Zones, zones

__all__ = ["Fate", "Length", "Longest", "Phases", "Zones", "fate", "length", "longest", "phases", "zones"]
