"""The mixed model beside statsmodels and lme4: random intercept and slope, REML, 20 weighings an animal; prints ratios.

Run by hand: python tests/bench/mixed_million.py [animals ...]. Peers that are not installed (Rscript with lme4) are
left out. Ours is timed from plain arrays, ids as text, moments included. A criterion below 0: ours fits better.
Seconds are the processor's, so that a busy machine tells the same. Not a timed test; ratios of one run tell.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path
from shutil import which

import numpy as np
import pandas as pd

from mendcurve.methods.mixed import fit
from mendcurve.methods.mixed_moments import moments

ANIMALS = (150, 1_500, 15_000, 150_000)
WEIGHINGS = 20
# statsmodels needs minutes beyond this.
MOST_STATSMODELS = 1_500
IN_R = """
suppressMessages(library(lme4)); rows <- {rows}
x <- matrix(readBin('{file}', 'double', 3 * rows), rows)
d <- data.frame(id = factor(x[, 1]), day = x[, 2], y = x[, 3])
took <- Inf
for (k in seq_len({repeat_})) took <- min(took, sum(system.time(
  m <- suppressWarnings(lmer(y ~ day + (day | id), d, REML = TRUE)))[c('user.self', 'sys.self')]))
cat(took, formatC(REMLcrit(m), digits = 15), length(m@optinfo$conv$lme4$messages))
"""


def herd(animals: int) -> pd.DataFrame:
    """Log weights by id and day, weighed about weekly; levels, slopes and noise as in a rescue."""
    rng = np.random.default_rng(animals)
    ids = np.repeat(np.arange(animals), WEIGHINGS)
    day = np.tile(7.0 * np.arange(WEIGHINGS), animals) + rng.integers(-1, 2, len(ids))
    level, slope = 5 + 0.6 * rng.standard_normal(animals), 0.002 + 0.001 * rng.standard_normal(animals)
    y = level[ids] + slope[ids] * day + 0.03 * rng.standard_normal(len(ids))
    return pd.DataFrame({"id": ids, "stay": pd.Series(ids).map("S-{:06d}".format), "day": day, "y": y})


def ours(data: pd.DataFrame, repeat: int) -> tuple[float, float]:
    """Seconds, and the REML criterion."""
    best, criterion = np.inf, np.nan
    for _ in range(repeat):
        start = time.process_time()
        x = np.column_stack([np.ones(len(data)), data["day"]])
        names = ("level", "day")
        model = fit(moments(data["stay"], data["y"], x, x, names=names, random_names=names))
        best, criterion = min(best, time.process_time() - start), -2 * model.log_likelihood
    return best, criterion


def statsmodels(data: pd.DataFrame) -> tuple[float, float, str]:
    """Seconds, the criterion, and whether it says that it converged."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    x = np.column_stack([np.ones(len(data)), data["day"]])
    start = time.process_time()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            done = MixedLM(data["y"].to_numpy(), x, data["id"].to_numpy(), x).fit(reml=True)
    except np.linalg.LinAlgError:
        return time.process_time() - start, np.nan, "stopped by a singular matrix"
    said = "converged" if done.converged else "not converged"
    return time.process_time() - start, -2 * float(done.llf), said


def lme4(data: pd.DataFrame, repeat: int) -> tuple[float, float, str] | None:
    """Seconds in R (reading not counted), the criterion, and how many complaints; None without R and lme4."""
    if which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "rows.bin"
        data[["id", "day", "y"]].to_numpy("float64").T.tofile(file)
        script = IN_R.format(rows=len(data), file=file, repeat_=repeat)
        done = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=False)
    if done.returncode:
        return None
    seconds, criterion, complaints = done.stdout.split()[-3:]
    return float(seconds), float(criterion), f"{complaints} complaints"


def main(sizes: tuple[int, ...]) -> None:
    """Print one block a size."""
    for animals in sizes:
        data = herd(animals)
        repeat = 3 if animals <= 15_000 else 1
        seconds, criterion = ours(data, repeat)
        print(f"{animals:,} animals x {WEIGHINGS}: ours {seconds:.3f} s, criterion {criterion:.4f}", flush=True)
        peers = {"lme4": lme4(data, repeat)}
        peers["statsmodels"] = statsmodels(data) if animals <= MOST_STATSMODELS else None
        for name, peer in peers.items():
            if peer is None:
                print(f"  {name}: not run", flush=True)
                continue
            print(
                f"  {name}: {peer[0]:.2f} s, {peer[0] / seconds:.1f} times ours; our criterion less its "
                f"{criterion - peer[1]:+.2e}; {peer[2]}",
                flush=True,
            )


if __name__ == "__main__":
    main(tuple(int(word) for word in sys.argv[1:]) or ANIMALS)
