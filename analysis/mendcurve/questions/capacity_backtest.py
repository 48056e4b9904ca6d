"""How good past forecasts would have been, against what anyone could have said without a model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mendcurve.methods.occupancy_house import laws
from mendcurve.methods.scores import covered, crps_ensemble, crps_law, randomised_pit
from mendcurve.questions.answer import Answer
from mendcurve.questions.capacity_census import daily, titled
from mendcurve.questions.capacity_forecast import LEVELS, shown
from mendcurve.questions.capacity_house import TOTAL, Setup, setup
from mendcurve.questions.outcomes_counts import told_of
from mendcurve.questions.wording import count, day, without_outcomes
from mendcurve.records.records import Records
from mendcurve.timelines.places import spells, zone_order

DAYS_AHEAD = (7, 28, 56, 91)
# Past weeks a forecast needs before it is worth testing, and past errors a simple rule needs to know its spread.
FIRST_AFTER_WEEKS = 39
# The newest origins tell most of how the forecast does now; years of older ones take minutes.
MOST_ORIGINS = 26
FEWEST_ERRORS = 8
BACKTEST_DRAWS = 30
RULES = ("last_value", "same_time_last_year", "littles_law")
RULE_WORDS = {
    "last_value": "last value",
    "same_time_last_year": "same time last year",
    "littles_law": "Little's law",
}
YEAR = 364


@dataclass(frozen=True, kw_only=True, eq=False)
class Backtest(Answer):
    """Scores of past forecasts.

    Attributes
    ----------
    frame : DataFrame
        One row an origin, zone and days ahead: what came, mean, scores (CRPS) of ours and of three simple rules, PIT.
    summary : DataFrame
        One row a zone and days ahead: number, mean scores, coverage at 50, 80 and 95 %.
    """

    frame: pd.DataFrame
    summary: pd.DataFrame
    origins: int
    remarks: tuple[str, ...]
    outcomes: bool = True

    def to_frame(self) -> pd.DataFrame:
        """Return one row an origin, zone and days ahead."""
        return self.frame

    def summary_frame(self) -> pd.DataFrame:
        """Return one row a zone and days ahead."""
        return self.summary

    def sentence(self) -> str:
        """Return how often the 80 % band held what came, and how the score compares with the best simple rule."""
        if not self.outcomes:
            return without_outcomes("what a forecast should have held")
        if self.frame.empty:
            return "The records are too short to test a forecast on the past."
        main = self.frame[self.frame["zone"] == self.frame["zone"].iloc[-1]]
        far = int(main["days_ahead"].max())
        last = main[main["days_ahead"] == far]
        held = [int(covered(last["pit"], level).sum()) for level in (0.8, 0.95)]
        text = (
            f"At {far} days ahead, the furthest tested, the 80 % band of {main['zone'].iloc[0]} held what came in "
            f"{held[0]} of {count(len(last), 'past forecast')} and the 95 % band in {held[1]}"
        )
        fair = last.dropna(subset=list(RULES), how="all")
        best = min((r for r in RULES if fair[r].notna().any()), key=lambda r: fair[r].mean(), default=None)
        if best is None:
            return f"{text}."
        both = fair.dropna(subset=[best])
        return (
            f"{text}; its mean error there was {both['score'].mean():.1f} places, that of the nearest simple rule "
            f"({RULE_WORDS[best]}) {both[best].mean():.1f}. Forecasts a few weeks apart share most of what came: too "
            "few to call one better."
        )

    def notes(self) -> tuple[str, ...]:
        """Return how it was done."""
        return self.remarks if self.outcomes else ()


def backtest(
    records: Records,
    every_weeks: int = 4,
    *,
    most_origins: int = MOST_ORIGINS,
    days_ahead: tuple[int, ...] = DAYS_AHEAD,
    draws: int = BACKTEST_DRAWS,
    seed: int = 20_260,
) -> Backtest:
    """Forecast from the past as it was known, and score what came.

    Parameters
    ----------
    every_weeks : int
        Weeks between origins; 1 gives weekly origins.
    most_origins : int
        The newest so many are scored.
    days_ahead : tuple of int
        Distances scored.

    Notes
    -----
    At each origin the records are cut (``Records.cut``): every later fact is removed. Score: CRPS, in places. Rules:
    the last value; the value 52 weeks before; rate x mean stay of the year before (Little's law); each given the
    spread of its own errors before the origin, as a fair ensemble. Coverage by the randomised PIT.
    """
    truth = spells(records)
    first = max(records.start_of("intakes"), records.start_of("outcomes"))
    total_days = (records.as_of - first).days
    origins = [total_days - d for d in range(min(days_ahead), total_days - 7 * FIRST_AFTER_WEEKS + 1, 7 * every_weeks)]
    origins = origins[:most_origins]
    rng = np.random.default_rng(seed)
    rows = [row for o in origins[::-1] for row in _one(records, truth, first, o, total_days, days_ahead, draws, rng)]
    frame = pd.DataFrame(rows, columns=["origin", "zone", "days_ahead", "seen", "mean", "score", "pit", *RULES])
    frame = titled(
        frame,
        "Past forecasts, scored",
        days_ahead="days",
        seen="places",
        mean="places",
        score="places",
        **dict.fromkeys(RULES, "places"),
    )
    return Backtest(
        outcomes=records.has("outcomes"),
        frame=told_of(records, frame),
        summary=told_of(records, _summary(frame)),
        origins=len(origins),
        remarks=(
            f"Origins every {count(every_weeks, 'week')}"
            + (f", the first on {day(first + pd.Timedelta(days=origins[-1]))}" if origins else "")
            + "; at each, all later facts were removed.",
            "Score: continuous ranked probability score in places; smaller is better. Simple rules carry the spread of "
            "their own past errors.",
            "Forecasts from origins a few weeks apart share most of what came: they are not independent tests.",
            "Changes made to old records since then are in the past as it is cut.",
        ),
    )


def _one(
    records: Records,
    truth: pd.DataFrame,
    first: pd.Timestamp,
    origin: int,
    total_days: int,
    days_ahead: tuple[int, ...],
    draws: int,
    rng: np.random.Generator,
) -> list[dict[str, object]]:
    ahead = [d for d in days_ahead if origin + d <= total_days]
    made = setup(records.cut(first + pd.Timedelta(days=origin)), weeks=-(-max(ahead) // 7), draws=draws)
    found = laws(made.house, max(ahead), days=ahead)
    zones = zone_order(records, truth["zone"])
    seen = daily(truth, zones, first, total_days + 1)
    rows = []
    for i, zone in shown(made):
        past = _Past(made, i, first, origin)
        row = len(zones) if zone == TOTAL or len(zones) == 1 else zones.index(zone) if zone in zones else None
        for k, d in enumerate(ahead):
            came = int(seen[row, origin + d]) if row is not None else 0
            law = np.concatenate([np.zeros(made.fixed[i]), found.law[i][k]])
            rows.append(
                {
                    "origin": made.as_of,
                    "zone": zone,
                    "days_ahead": d,
                    "seen": came,
                    "mean": float(law @ np.arange(law.size)),
                    "score": float(crps_law(law, came)),
                    "pit": float(randomised_pit(law, came, rng)),
                    **past.scores(d, came),
                }
            )
    return rows


class _Past:
    """The census of one zone up to the origin, and what simple rules would have said then and before."""

    def __init__(self, made: Setup, zone: int, first: pd.Timestamp, origin: int):
        self.origin = origin
        self.census = daily(made.spells, made.zones, first, origin + 1)[zone]
        own = made.spells if zone == len(made.zones) else made.spells[made.spells["zone"] == made.zones[zone]]
        if zone == len(made.zones):
            own = own.groupby(["stay_id", "part"]).agg(
                from_date=("from_date", "min"),
                to_date=("to_date", lambda s: s.max(skipna=False)),
                places=("places", "first"),
            )
        came = (own["from_date"] - first).dt.days
        left = (own["to_date"] - first).dt.days
        inside = came.between(0, origin)
        entered = np.bincount(came[inside].astype("int64"), own.loc[inside, "places"], minlength=origin + 1).cumsum()
        ended = left.between(0, origin)
        out = left[ended].astype("int64")
        number = np.bincount(out, minlength=origin + 1).cumsum()
        length = np.bincount(out, (left - came)[ended], minlength=origin + 1).cumsum()
        t = np.arange(origin + 1)
        window = np.minimum(t + 1, YEAR)
        rate = (entered - np.where(t >= YEAR, entered[np.maximum(t - YEAR, 0)], 0)) / window
        self.little = rate * np.divide(length, number, out=np.zeros(origin + 1), where=number > 0)

    def scores(self, ahead: int, came: int) -> dict[str, float]:
        """Return the CRPS of each simple rule, nan where it has too few past errors."""
        o, c = self.origin, self.census
        t = np.arange(o - ahead, 55, -7)[::-1]
        year = t[t + ahead - YEAR >= 0]
        rules = {
            "last_value": (c[o], c[t + ahead] - c[t]),
            "same_time_last_year": (
                c[o + ahead - YEAR] if o + ahead >= YEAR else np.nan,
                c[year + ahead] - c[year + ahead - YEAR],
            ),
            "littles_law": (self.little[o], c[t + ahead] - self.little[t]),
        }
        return {name: self._score(centre, errors, came) for name, (centre, errors) in rules.items()}

    @staticmethod
    def _score(centre: float, errors: np.ndarray, came: int) -> float:
        if errors.size < FEWEST_ERRORS or np.isnan(centre):
            return float("nan")
        return float(crps_ensemble(np.maximum(centre + errors, 0), came, fair=True))


def _summary(frame: pd.DataFrame) -> pd.DataFrame:
    by = frame.groupby(["zone", "days_ahead"], sort=False)
    out = by.agg(forecasts=("score", "size"), score=("score", "mean"), **{r: (r, "mean") for r in RULES})
    for level in LEVELS:
        held = pd.Series(covered(frame["pit"], level).astype(float), index=frame.index)
        out[f"held_{100 * level:.0f}"] = held.groupby([frame["zone"], frame["days_ahead"]], sort=False).mean()
    return titled(
        out.reset_index(),
        "Scores and coverage of past forecasts",
        days_ahead="days",
        score="places",
        **dict.fromkeys(RULES, "places"),
        **{f"held_{100 * level:.0f}": "share of forecasts" for level in LEVELS},
    )
