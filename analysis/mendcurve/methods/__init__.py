"""Numbers in, numbers out: estimators on tallies and rows, no word of the rescue.

The next layer takes from ``tally`` (what is counted), ``survival`` (curves, quantiles, means, time still to come),
``intervals`` and ``clusters`` (shares, rates, rows that belong together), ``comparing`` and ``differences`` (groups),
``pooling`` (small groups), ``mixed`` and ``trend`` (weights), ``occupancy``, ``queues`` and ``scores`` (census and
forecast), ``money`` (cost). ``arrays``, ``limits`` and ``curves`` are what these are made of.
"""
