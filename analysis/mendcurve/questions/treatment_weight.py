"""Did weight go another way after treatment than during it? Each animal against itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.clusters import bootstrap
from mendcurve.questions.answer import Answer
from mendcurve.questions.wording import count, were
from mendcurve.records.records import Records
from mendcurve.timelines import courses as timeline
from mendcurve.timelines.stays import stays
from mendcurve.timelines.weights import weights

AFTER_DAYS = 42
FEWEST, SPAN = 3, 14
COLUMNS = ("stay_id", "cluster", "species", "weighings_during", "weighings_after", "during", "after", "difference")


@dataclass(frozen=True, kw_only=True, eq=False)
class WeightAfter(Answer):
    """Weight change a week during treatment and in the six weeks after it, paired within the stay."""

    frame: pd.DataFrame
    treated: int
    median: float
    low: float
    high: float
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row a stay: weighings and change a week during and after, and the difference."""
        return self.frame

    def sentence(self) -> str:
        """Return the median difference within the animal with its interval, or that there are too few."""
        if not self.recorded:
            return "Treatment courses or weighings are not recorded."
        n = len(self.frame)
        if np.isnan(self.low):
            return (
                f"{count(n, 'stay')} of {self.treated:,} with a finished treatment {were(n)} weighed often enough both "
                "during and after it: too few to say how weight went."
            )
        during, after = self.frame["during"].median(), self.frame["after"].median()
        return (
            f"In {count(n, 'stay')} of {self.treated:,} with a finished treatment, weight changed by a median of "
            f"{during:+.1f} % a week during treatment and {after:+.1f} % in the {AFTER_DAYS} days after; within the "
            f"animal the median difference was {self.median:+.1f} (95 % interval {self.low:+.1f} to {self.high:+.1f})."
        )

    def notes(self) -> tuple[str, ...]:
        """Return what is needed of a stay, and what the difference does not show."""
        return (
            f"Needed: {FEWEST} usable weighings over {SPAN} days or more, both during and after. Others are left out.",
            "Animals are treated when they are ill: a difference does not show what the treatment did.",
        )


def weight_after(records: Records, *, seed: int = 0) -> WeightAfter:
    """Set the weight change after the last course of a stay against that during its courses.

    Parameters
    ----------
    records : Records
    seed : int
        Of the bootstrap of animals.

    Returns
    -------
    WeightAfter

    Notes
    -----
    During: usable weighings while a course ran (``weights``: ``in_course``). After: usable weighings of the 42 days
    after the last dose of a stay without a running course, outside every course. Slope: least squares of log grams
    within each segment, so that a step (eggs laid, tail lost) is no change; printed as 100 (exp(7 b) - 1) % a week.
    Limits of the median by bootstrap of animals; too few to say below ``counts.animals`` animals.
    """
    frame = stays(records)
    courses = timeline.courses(records, frame)
    by = courses.assign(run=courses["status"].eq("running")).groupby("stay_id")
    done = by["last_given_at"].max().dt.floor("D")[~by["run"].any()].dropna()
    rows = weights(records)
    rows = rows[rows["usable"] & rows["stay_id"].isin(done.index)]
    last = rows["stay_id"].map(done.to_dict()).astype("datetime64[s]")
    after = ~rows["in_course"] & (rows["weighed_on"] > last)
    after &= (rows["weighed_on"] - last).dt.days <= AFTER_DAYS
    during, later = _slopes(rows[rows["in_course"]]), _slopes(rows[after])
    paired = during.add_suffix("_during").join(later.add_suffix("_after"), how="inner")
    one = frame.drop_duplicates("stay_id").set_index("stay_id")[["cluster", "species"]]
    table = paired.join(one, how="left").rename_axis("stay_id").reset_index()
    table = table.rename(columns={"slope_during": "during", "slope_after": "after"})
    table = table.assign(difference=table["after"] - table["during"]).reindex(columns=list(COLUMNS))
    weekly = dict.fromkeys(("during", "after", "difference"), "% a week")
    table.attrs.update(title="Weight during and after treatment", units={
        "weighings_during": "weighings", "weighings_after": "weighings", **weekly})  # fmt: skip
    middle, low, high = _median(table, int(records.settings["counts.animals"]), seed)
    recorded = bool(len(records["courses"]) and len(records["weighings"]))
    return WeightAfter(frame=table, treated=len(done), median=middle, low=low, high=high, recorded=recorded)


def _slopes(rows: pd.DataFrame) -> pd.DataFrame:
    """Return by stay: weighings, and the slope in % a week; only stays weighed often and long enough."""
    level = rows.groupby(["stay_id", "segment"])
    x = rows["day"] - level["day"].transform("mean")
    y = rows["log_g"] - level["log_g"].transform("mean")
    sums = pd.DataFrame({"stay_id": rows["stay_id"], "xy": x * y, "xx": x * x}).groupby("stay_id").sum()
    by = rows.groupby("stay_id")["day"]
    n, span = by.size(), by.max() - by.min()
    enough = (n >= FEWEST) & (span >= SPAN) & (sums["xx"] > 0)
    slope = 100 * np.expm1(7 * sums["xy"] / sums["xx"].where(sums["xx"] > 0))
    return pd.DataFrame({"weighings": n, "slope": slope})[enough]


def _median(table: pd.DataFrame, least: int, seed: int) -> tuple[float, float, float]:
    values = table["difference"].to_numpy("float64")
    if not len(values):
        return np.nan, np.nan, np.nan
    if table["cluster"].nunique() < least:
        return float(np.median(values)), np.nan, np.nan
    got = bootstrap(lambda w: np.median(np.repeat(values, w.astype(int))), table["cluster"].to_numpy(object), seed=seed)
    return float(got.estimate), float(got.low), float(got.high)
