"""The invented rescue: records with known truth, for trying Mendcurve and for proving its numbers.

``write(folder)`` writes the demo records, ``generate(seed, scale)`` returns them as clean frames, ``truth`` holds every
true parameter.
"""

from mendcurve.demo import truth
from mendcurve.demo.generating import SEED, generate, generate_known
from mendcurve.demo.writing import write

__all__ = ["SEED", "generate", "generate_known", "truth", "write"]
