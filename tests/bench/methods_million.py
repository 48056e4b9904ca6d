"""Each estimator beside its peers, from arrays of stays to curves with limits, in one process; prints ratios.

Run by hand: python tests/bench/methods_million.py [rows] [--small]. Needs lifelines, scikit-survival and statsmodels
(not in the package's locks: some hold pandas back), and Rscript with survival and cmprsk where R is to be compared.
Not a timed test; machines differ, ratios of one run tell.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from shutil import which
from typing import Any

import numpy as np

from mendcurve.methods.comparing import log_rank
from mendcurve.methods.resampling import resampled_curves
from mendcurve.methods.survival import cumulative_incidence, kaplan_meier
from mendcurve.methods.tally import Tally

GROUPS = np.array([f"condition {i:02d}" for i in range(20)])
CAUSES = ("cleared", "died", "left")


def rows(n: int, *, delayed: bool = True) -> dict[str, np.ndarray]:
    """n stays in 20 conditions, whole days to a year, a tenth seen only from a later day on."""
    rng = np.random.default_rng(1)
    length = 1 + rng.integers(0, 365, n)
    late = (rng.random(n) < 0.1) & delayed
    entry = np.where(late, np.minimum(rng.integers(0, 200, n), length - 1), -1)
    return {"entry": entry, "exit": length, "cause": rng.integers(0, 4, n), "group": GROUPS[rng.integers(0, 20, n)]}


def timed(work: Callable[[], Any], *, repeat: int = 1) -> float:
    """Least seconds of ``repeat`` runs."""
    best = np.inf
    for _ in range(repeat):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return float(best)


def line(what: str, ours: float, peers: dict[str, float]) -> None:
    """Print one line: our seconds, and each peer's as a multiple of ours."""
    shown = ", ".join(f"{name} {seconds / ours:,.1f} x ({seconds:,.2f} s)" for name, seconds in peers.items())
    print(f"{what:<46} ours {ours:8.3f} s   {shown}", flush=True)


def bincount_pass(data: dict[str, np.ndarray]) -> float:
    """One plain counting of the same arrays: codes of the groups, then entries and exits by day and cause."""

    def work() -> None:
        code = np.searchsorted(GROUPS, data["group"])
        np.bincount(code * 400 + data["entry"] + 1, minlength=8000)
        np.bincount((code * 4 + data["cause"]) * 400 + data["exit"], minlength=32000)

    return timed(work, repeat=3)


def kaplan_meiers(data: dict[str, np.ndarray]) -> None:
    """Kaplan-Meier of every condition with limits: lifelines one fit a condition, R one survfit."""
    import lifelines

    def ours() -> None:
        kaplan_meier(Tally.from_arrays(data["entry"], data["exit"], data["cause"] > 0, group=data["group"]))

    def lifelines_loop() -> None:
        for name in GROUPS:
            here = data["group"] == name
            lifelines.KaplanMeierFitter().fit(data["exit"][here], data["cause"][here] > 0, entry=data["entry"][here])

    peers = {"lifelines": timed(lifelines_loop), "one bincount pass": bincount_pass(data)}
    r = in_r(data, "survfit(Surv(entry, exit, cause > 0) ~ group, conf.type = 'log-log')")
    line("Kaplan-Meier with limits", timed(ours, repeat=3), peers | r)


def incidences(data: dict[str, np.ndarray]) -> None:
    """Cumulative incidence of three causes with variance and limits, nobody delayed (two peers cannot)."""
    from sksurv.nonparametric import cumulative_incidence_competing_risks

    def ours() -> None:
        cumulative_incidence(Tally.from_arrays(None, data["exit"], data["cause"], group=data["group"], causes=CAUSES))

    def scikit() -> None:
        for name in GROUPS:
            here = data["group"] == name
            cumulative_incidence_competing_risks(data["cause"][here], data["exit"][here], conf_type="log-log")

    peers = {"scikit-survival": timed(scikit), "one bincount pass": bincount_pass(data)}
    peers |= comprisk(data)
    r = in_r(data, "cmprsk::cuminc(exit, cause, group)", most=100_000)
    line("cumulative incidence with limits", timed(ours, repeat=3), peers | r)


def comprisk(data: dict[str, np.ndarray]) -> dict[str, float]:
    """The Aalen-Johansen estimator of comprisk, where it is installed."""
    try:
        from comprisk import CumulativeIncidence
    except ImportError:
        return {}

    def work() -> None:
        for name in GROUPS:
            here = data["group"] == name
            CumulativeIncidence().fit(data["exit"][here].astype(float), data["cause"][here])

    return {"comprisk": timed(work)}


def log_ranks(data: dict[str, np.ndarray]) -> None:
    """Log-rank over twenty conditions, nobody delayed."""
    from lifelines.statistics import multivariate_logrank_test
    from statsmodels.duration.survfunc import survdiff

    def ours() -> None:
        log_rank(Tally.from_arrays(None, data["exit"], data["cause"] > 0, group=data["group"]))

    event = (data["cause"] > 0).astype(int)
    peers = {
        "statsmodels": timed(lambda: survdiff(data["exit"], event, data["group"])),
        "lifelines": timed(lambda: multivariate_logrank_test(data["exit"], data["group"], event)),
    }
    r = in_r(data, "survdiff(Surv(exit, cause > 0) ~ group)")
    line("log-rank", timed(ours, repeat=3), peers | r)


def resampling(n: int = 1000, draws: int = 2000) -> None:
    """Median and mean to day 180 of 2,000 resamples of 1,000 stays, beside a loop of lifelines (50 of them)."""
    import lifelines
    from lifelines.utils import restricted_mean_survival_time

    data = rows(n, delayed=False)
    event = data["cause"] > 0

    def loop() -> None:
        rng = np.random.default_rng(3)
        for _ in range(50):
            take = rng.integers(0, n, n)
            fit = lifelines.KaplanMeierFitter().fit(data["exit"][take], event[take])
            _ = fit.median_survival_time_
            restricted_mean_survival_time(fit, t=180)

    ours = timed(lambda: resampled_curves(None, data["exit"], event, draws=draws, horizon=180, seed=3), repeat=3)
    line(f"{draws:,} resamples of {n:,} stays", ours, {"lifelines": timed(loop) * draws / 50})


def small() -> None:
    """One curve of 1,000 stays beside statsmodels."""
    from statsmodels.duration.survfunc import SurvfuncRight

    data = rows(1000, delayed=False)
    event = (data["cause"] > 0).astype(int)
    ours = timed(lambda: kaplan_meier(Tally.from_arrays(None, data["exit"], event)), repeat=20)
    line("Kaplan-Meier of 1,000 stays", ours, {
        "statsmodels": timed(lambda: SurvfuncRight(data["exit"], event), repeat=20)})  # fmt: skip


def in_r(data: dict[str, np.ndarray], call: str, *, most: int = 10_000_000) -> dict[str, float]:
    """Time one call in R on the same rows (at most ``most`` of them, then scaled up by their number)."""
    if which("Rscript") is None:
        return {}
    n = min(len(data["exit"]), most)
    with tempfile.TemporaryDirectory() as folder:
        code = np.searchsorted(GROUPS, data["group"][:n])
        np.stack([data["entry"][:n], data["exit"][:n], data["cause"][:n], code]).astype("int32").tofile(
            Path(folder) / "rows.bin"
        )
        script = (
            f"suppressMessages(library(survival)); x <- matrix(readBin('{folder}/rows.bin', 'integer', {4 * n}), {n});"
            "entry <- x[,1]; exit <- x[,2]; cause <- x[,3]; group <- factor(x[,4]);"
            f"cat(system.time({call})[['elapsed']])"
        )
        done = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=False)
    if done.returncode:
        return {}
    note = "" if n == len(data["exit"]) else f", of {n:,} rows scaled up"
    return {f"R{note}": float(done.stdout.split()[-1]) * len(data["exit"]) / n}


def main(n: int) -> None:
    """Run every comparison on n stays."""
    warnings.filterwarnings("ignore")
    print(f"{n:,} stays in 20 conditions, whole days, 10 % seen late where the peers can")
    kaplan_meiers(rows(n))
    plain = rows(n, delayed=False)
    incidences(plain)
    log_ranks(plain)
    resampling()
    small()
    many = rows(10 * n)
    line(f"Kaplan-Meier of {10 * n:,}", timed(lambda: kaplan_meier(Tally.from_arrays(
        many["entry"], many["exit"], many["cause"] > 0, group=many["group"]))),
        {"one bincount pass": bincount_pass(many)})  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
