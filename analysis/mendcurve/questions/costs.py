"""What did it cost, who paid, and what is left?"""

from __future__ import annotations

from mendcurve.questions.costs_adoption import PerAdoption, per_adoption
from mendcurve.questions.costs_episode import PerEpisode, per_episode
from mendcurve.questions.costs_grant import GrantStatement, grant
from mendcurve.questions.costs_ledger import Ledger, Untied, ledger, untied

__all__ = [
    "GrantStatement",
    "Ledger",
    "PerAdoption",
    "PerEpisode",
    "Untied",
    "grant",
    "ledger",
    "per_adoption",
    "per_episode",
    "untied",
]
