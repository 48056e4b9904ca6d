"""Curves and tests beside lifelines, scikit-survival and statsmodels on random rows: the largest difference of each.

Run by hand: python tests/bench/peers_agree.py [trials]. The peers are not in the package's locks.
Where a peer is known to be wrong (tests/reference/LIBRARY_TRAPS.md) it is asked only for what it gets right.
"""

from __future__ import annotations

import sys
import warnings

import lifelines
import numpy as np
import pandas as pd
from lifelines.statistics import multivariate_logrank_test
from sksurv.nonparametric import cumulative_incidence_competing_risks
from statsmodels.duration.survfunc import survdiff

from mendcurve.methods.comparing import log_rank
from mendcurve.methods.cox import cox
from mendcurve.methods.cox_risk import Cohort
from mendcurve.methods.survival import cumulative_incidence, kaplan_meier
from mendcurve.methods.tally import Tally


def rows(rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Few rows with many ties, some delayed, one group perhaps without an event."""
    n = int(rng.integers(6, 80))
    length = rng.integers(1, 12, n)
    entry = np.where(rng.random(n) < 0.3, np.minimum(rng.integers(0, 6, n), length - 1), 0)
    return {
        "entry": entry, "exit": length, "cause": rng.integers(0, 3, n),
        "group": rng.choice(np.array(["a", "b", "c"]), n), "x": rng.normal(size=n),
    }  # fmt: skip


def main(trials: int) -> None:
    """Print the largest difference of each estimator over all trials."""
    warnings.filterwarnings("ignore")
    worst = dict.fromkeys(("Kaplan-Meier, late entry", "cumulative incidence", "log-rank p", "Cox"), 0.0)
    asked = dict.fromkeys(worst, 0)
    for seed in range(trials):
        data = rows(np.random.default_rng(seed))
        for name, gap in _gaps(data).items():
            worst[name], asked[name] = max(worst[name], gap), asked[name] + 1
    for name, gap in worst.items():
        print(f"{name:<28} largest difference {gap:.2e} in {asked[name]} trials")


def _gaps(data: dict[str, np.ndarray]) -> dict[str, float]:
    event = data["cause"] > 0
    days = np.arange(1, data["exit"].max() + 1)
    out = {}
    late = Tally.from_arrays(data["entry"], data["exit"], event)
    # a risk set that empties early sends the curve to 0 for ever; the peer refuses or differs there
    if (kaplan_meier(late, limits="log").share[0][late.at_risk()[0] > 0] > 0).all():
        peer = lifelines.KaplanMeierFitter().fit(data["exit"], event, entry=data["entry"])
        mine = kaplan_meier(late, limits="log").at(days).share[0]
        out["Kaplan-Meier, late entry"] = float(np.abs(peer.predict(days).to_numpy() - mine).max())
    tally = Tally.from_arrays(None, data["exit"], data["cause"], causes=("a", "b"))
    if set(data["cause"]) >= {1, 2}:
        times, share = cumulative_incidence_competing_risks(data["cause"], data["exit"])
        mine = cumulative_incidence(tally, limits="log").at(times).share[0]
        out["cumulative incidence"] = float(np.abs(share[1:] - mine).max())
    groups = Tally.from_arrays(None, data["exit"], event, group=data["group"])
    # the peers fail where a group has no event
    if len(groups.groups) > 1 and (groups.events.sum(axis=(1, 2)) > 0).all():
        mine = log_rank(groups).p
        peers = (
            multivariate_logrank_test(data["exit"], data["group"], event).p_value,
            survdiff(data["exit"], event.astype(int), data["group"])[1],
        )
        if np.isfinite(mine):
            out["log-rank p"] = float(max(abs(mine - p) for p in peers))
    if event.sum() > 5:
        frame = {"e": event, "t": data["exit"], "b": data["entry"], "x": data["x"]}
        peer = lifelines.CoxPHFitter().fit(pd.DataFrame(frame), "t", "e", entry_col="b")
        fit = cox(Cohort.of(data["entry"], data["exit"], event, data["x"]), ("x",))
        if fit.finite:
            out["Cox"] = float(abs(peer.params_.iloc[0] - fit.coefficient[0]))
    return out


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
