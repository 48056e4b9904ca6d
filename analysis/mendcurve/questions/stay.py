"""How long do animals stay, and where do the days go?"""

from __future__ import annotations

from mendcurve.questions.stay_fate import Fate, fate
from mendcurve.questions.stay_length import Length, length
from mendcurve.questions.stay_longest import Longest, longest
from mendcurve.questions.stay_phases import Phases, phases

__all__ = ["Fate", "Length", "Longest", "Phases", "fate", "length", "longest", "phases"]
