"""Layer 4: the director's questions, one module each; every function takes ``Records`` and returns an ``Answer``.

outcomes, recovery, stay, weights, capacity, treatment, costs, watchlist, casefile; summary and quality put several
together for the reports. A module named ``recovery_by`` is a part of ``recovery``, which lists what is public.
"""
