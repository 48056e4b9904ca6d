"""Layer 2: tables -> who was at risk, from when, until what.

Each module has one function of its own name, from ``Records`` to a frame with one row for each thing at risk; their
columns ``entry``, ``exit`` and ``cause`` are what ``methods.tally`` counts.
"""

__all__ = ["courses", "episodes", "period", "places", "stays", "weights"]
