"""Animals with several conditions: how long until they are clear of all, and whether one holds up the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.cox import cox
from mendcurve.methods.cox_risk import Cohort as AtRisk
from mendcurve.questions.answer import Answer
from mendcurve.questions.incidence import told
from mendcurve.questions.recovery_adjusted import EVENTS_A_RATIO
from mendcurve.questions.recovery_by import DAYS, NO_CLEARING
from mendcurve.questions.recovery_compare import NOT_AT_RANDOM
from mendcurve.questions.wording import count, day
from mendcurve.records.records import Records
from mendcurve.timelines.episodes import CAUSE_OF, clearing_recorded, different_animals, episodes
from mendcurve.timelines.together import ENDS, split_by_others, until_clear

HOW_MANY = ("one condition", "two conditions", "three or more")
COUNTS = ("animals", *(end.replace(" ", "_") for end in ENDS), "open", "found_more")
MEDIAN = ("median", "median_low", "median_high")
SHARES = {by: tuple(f"clear_by_{by}{limit}" for limit in ("", "_low", "_high")) for by in DAYS}


@dataclass(frozen=True, kw_only=True, eq=False)
class Several(Answer):
    """Time until an animal is clear of all its conditions, and the pace of clearing one while another is open.

    Attributes
    ----------
    frame : DataFrame
        conditions (open on the day the first was found), animals; animals by end and still open; found_more (animals in
        which another was found before they were clear); median with limits (days since the first was found);
        clear_by_30, _60, _90 with limits (proportion). An animal that came again counts for each stay.
    pace : tuple of float
        Ratio of the pace of clearing a condition while another is open over while none is, with 95 % limits; nan where
        there are too few.
    cleared_beside : int
        Animals cleared of a condition while another was open, each once.
    """

    frame: pd.DataFrame
    pace: tuple[float, float, float]
    cleared_beside: int
    as_of: pd.Timestamp
    recorded: bool
    clearing: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row for animals with one, two, and three or more conditions on the day the first was found."""
        return self.frame

    def sentence(self) -> str:
        """Return the time to be clear of all by conditions on the first day, and whether another goes along."""
        if not self.recorded:
            return "Conditions are not recorded, so nothing can be said of animals with several."
        if not self.clearing:
            return NO_CLEARING
        rows = self.frame.dropna(subset=["median"])
        parts = [
            f"day {r['median']:.0f} with {r['conditions']} ({count(r['animals'], 'animal')})"
            for _, r in rows.iterrows()
        ]
        text = (
            f"Up to {day(self.as_of)}, by the number of conditions open on the day the first was found, half were "
            f"clear of all they had by {', '.join(parts)}."
        )
        text = text if parts else ""
        return f"{text} {self._pace()}".strip()

    def _pace(self) -> str:
        ratio, low, high = self.pace
        if not np.isfinite(ratio):
            return "Too few animals were cleared of a condition while another was open to say whether that goes slower."
        text = (
            f"While another was open, a condition was cleared {ratio:.2f} times as fast as when it was the only one "
            f"(95 % interval {low:.2f} to {high:.2f})"
        )
        return f"{text}." if high < 1 or low > 1 else f"{text}: no difference can be told."

    def notes(self) -> tuple[str, ...]:
        """Return how the days and the ratio are counted."""
        return (
            "Clear of all: the first day since the first condition was found on which none was open and each had been "
            "cleared; one found meanwhile is waited for, too, a lifelong one is not. Dying, leaving uncleared and "
            "going missing compete, and so does a condition that ended as managed for life or as misdiagnosed. An "
            "animal that came again is counted for each stay.",
            "Animals are told apart by the conditions that can be cleared and were open on the day the first was "
            "found, as known on that day. What is found later, even within a week, does not change an animal's group: "
            "one that is longer ill has more time to be found with something else, so such groups would differ by the "
            "counting alone.",
            "The ratio takes each day by what was open on it, each condition within itself, limits by animal. So it is "
            "free of time, not of severity: an animal with another condition open may be the sicker one.",
            NOT_AT_RANDOM,
        )


def several(records: Records) -> Several:
    """Return the time to be clear of all conditions, and the pace of clearing one while another is open."""
    clearing = clearing_recorded(records)
    rows = until_clear(records) if clearing else pd.DataFrame(columns=["used", "conditions", "at_first", "animals"])
    rows = rows[rows["used"].astype(bool)]
    rows = rows.assign(group=[HOW_MANY[min(int(n), 3) - 1] for n in rows["at_first"]])
    more = rows.loc[rows["conditions"] > rows["at_first"]].groupby("group")["animals"].sum()
    lines = []
    for one in told(rows, "group", ENDS, records.settings):
        line: dict[str, object] = {"conditions": one.group, "animals": one.animals}
        line |= {name.replace(" ", "_"): n for name, n in one.counts.items()}
        line["found_more"] = int(more.get(one.group, 0))
        line |= dict(zip(MEDIAN, one.median(ENDS[0]), strict=True))
        for by, names in SHARES.items():
            line |= dict(zip(names, one.by(by, ENDS[0]), strict=True))
        lines.append(line)
    shares = [name for names in SHARES.values() for name in names]
    frame = pd.DataFrame(lines, columns=["conditions", *COUNTS, *MEDIAN, *shares])
    frame = frame.iloc[np.argsort([HOW_MANY.index(name) for name in frame["conditions"]], kind="stable")]
    frame = frame.reset_index(drop=True)
    frame.attrs.update(title="Days until an animal is clear of all it had",
                       units={**dict.fromkeys(COUNTS, "animals"), **dict.fromkeys(MEDIAN, "days since found"),
                              **dict.fromkeys(shares, "proportion")})  # fmt: skip
    pace, beside = _pace(records) if clearing else ((float("nan"),) * 3, 0)
    return Several(frame=frame, pace=pace, cleared_beside=beside, as_of=records.as_of,
                   recorded=records.has("conditions"), clearing=clearing)  # fmt: skip


def _pace(records: Records) -> tuple[tuple[float, float, float], int]:
    pieces = split_by_others(episodes(records))
    cleared = (pieces["cause"] == CAUSE_OF["cleared"]).to_numpy()
    other = pieces["other_open"].to_numpy()
    beside = different_animals(pieces[cleared & other])
    if min((cleared & other).sum(), (cleared & ~other).sum()) < EVENTS_A_RATIO:
        return (float("nan"),) * 3, beside
    at_risk = AtRisk.of(
        pieces["entry"], pieces["exit"], cleared, other, weight=pieces["animals"],
        stratum=pieces["condition"].to_numpy(dtype=object),
    )  # fmt: skip
    fit = cox(at_risk, ("another open",), cluster=pieces["cluster"].to_numpy(dtype=object))
    return (float(fit.ratio[0]), float(fit.low[0]), float(fit.high[0])), beside
