"""Checks of time: out not before in, facts inside their stay, one animal in one place at a time."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mendcurve.records.likely import likely_day
from mendcurve.records.review import Review, by_id, looked_up, positions, worded
from mendcurve.records.schemas import DEATHS, LIVE_OUTCOMES

# Facts that happen during a stay: table, date, and the tables to go through to reach the stay.
DURING = (
    ("conditions", "found_on", ()),
    ("conditions", "ended_on", ()),
    ("weighings", "weighed_on", ()),
    ("targets", "set_on", ()),
    ("periods", "from_date", ()),
    ("moves", "moved_on", ()),
    ("checks", "checked_on", ("conditions",)),
    ("courses", "first_dose_at", ("conditions",)),
    ("doses", "given_at", ("courses", "conditions")),
)
_LINK = {"conditions": ("episode_id", "stay_id"), "courses": ("course_id", "episode_id")}
# Earlier, later, table: a row that breaks it cannot be used.
_IN_ORDER = (("conditions", "found_on", "ended_on"), ("periods", "from_date", "to_date"))
_LIKELY = (
    ("conditions", "found_on", "vet_seen_on"),
    ("courses", "first_dose_at", "stopped_at"),
    ("targets", "set_on", "by_date"),
    ("grants", "starts_on", "ends_on"),
    ("requests", "asked_on", "answered_on"),
)

# The longest stay that is looked for behind an outcome before its intake.
LONGEST_DAYS = 3653
# A birth dated this long after the intake is more than an estimate that was a little late.
ESTIMATE_DAYS = 62
# A stay that begins this long after the one before is most likely a return whose date slipped.
RETURN_DAYS = 92


def check_order_in_row(review: Review) -> None:
    """Set aside rows that end before they begin; doubt other dates out of order; empty impossible hatching days."""
    for table, first, last in _IN_ORDER:
        frame = review.tables[table]
        bad = frame[last] < frame[first]
        rule = worded(f"{last} must be on or after {first}, which is {{first}}", bad, first=frame[first])
        review.set_aside(table, bad, last, rule, "Correct the dates.", likely_day(frame[last], bad, frame[first]))
    for table, first, last in _LIKELY:
        frame = review.tables[table]
        bad = frame[last].dt.floor("D") < frame[first].dt.floor("D")
        rule = worded(f"{last} should be on or after {first}, which is {{first}}", bad, first=frame[first])
        likely = likely_day(frame[last], bad, frame[first].dt.floor("D"))
        review.doubt(table, bad, last, rule, "Correct the dates.", likely)
    frame = review.tables["intakes"]
    bad = frame["hatched_on"] > frame["intake_date"]
    rule = worded(
        "hatched_on must be on or before intake_date, which is {came}; it is read as empty",
        bad,
        came=frame["intake_date"],
    )
    # A few days late is an estimate, not a slip; further back than two years any slip would fit.
    slip = bad & (frame["hatched_on"] > frame["intake_date"] + pd.Timedelta(days=ESTIMATE_DAYS))
    oldest = frame["intake_date"] - pd.Timedelta(days=731)
    likely = likely_day(frame["hatched_on"], slip, oldest, frame["intake_date"])
    review.blank("intakes", bad, "hatched_on", rule, "Correct the date, or leave it empty.", likely)


def check_outcomes(review: Review) -> None:
    """Set aside outcomes before their intake and outcomes when none are left; doubt those of more than are left."""
    stays = review.tables["intakes"].set_index("stay_id")
    frame = review.tables["outcomes"]
    came = looked_up(frame["stay_id"], stays["intake_date"])
    early = frame["outcome_date"] < came
    rule = worded(
        "outcome_date must be on or after intake_date, which is {came} (intakes, row {row})",
        early,
        came=came,
        row=looked_up(frame["stay_id"], stays["source_row"]),
    )
    review.set_aside(
        "outcomes",
        early,
        "outcome_date",
        rule,
        "Correct the dates. Until then the outcome is not used, and the animal counts as in care.",
        _either(frame, early, came),
    )
    frame = with_left(review.tables["outcomes"], stays["group_size"])
    none = frame["left_before"] <= 0
    rule = worded(
        "a stay ends once for each of its animals; none of {size} was left when this row says some left",
        none,
        size=frame["size"],
    )
    review.set_aside("outcomes", none, "outcome_date", rule, "Delete the wrong one of the outcomes of this stay.")
    frame = frame[~none].reset_index(drop=True)
    many = (frame["animals"] > frame["left_before"]).fillna(False).astype(bool)
    rule = worded(
        "no more animals can leave than are left, and {left} of {size} were left",
        many,
        left=frame["left_before"],
        size=frame["size"],
    )
    review.doubt("outcomes", many, "animals", rule, "Correct the number that left, or the group's size.")
    doa = looked_up(frame["stay_id"], stays["dead_on_arrival"]).fillna(False).astype(bool)
    review.doubt(
        "outcomes",
        doa & frame["outcome_type"].isin(LIVE_OUTCOMES),
        "outcome_type",
        "an animal that was dead on arrival cannot leave alive",
        "Correct the outcome, or the intake.",
    )


def _either(outcomes: pd.DataFrame, early: pd.Series, came: pd.Series) -> pd.Series:
    """Return what was meant by outcomes before their intake: the outcome's date, else the intake's."""
    own = likely_day(outcomes["outcome_date"], early, came)
    before = outcomes["outcome_date"] - pd.Timedelta(days=LONGEST_DAYS)
    intake = likely_day(came, early, before, outcomes["outcome_date"])
    return own.mask((own == "") & (intake != ""), "the intake on " + intake)


def with_left(outcomes: pd.DataFrame, sizes: pd.Series) -> pd.DataFrame:
    """Return ``outcomes`` with ``size`` of the group and ``left_before`` each row (in order of date and row)."""
    order = outcomes.sort_values(["outcome_date", "source_row"], kind="stable").index
    size = looked_up(outcomes["stay_id"], sizes).astype("float64")
    # A blank number takes all that are left: counting the whole size leaves none, whatever went before.
    taken = outcomes["animals"].astype("float64").fillna(size).loc[order]
    before = taken.groupby(outcomes["stay_id"].loc[order]).cumsum() - taken
    return outcomes.assign(size=size, left_before=size - before.reindex(outcomes.index))


def ends(intakes: pd.DataFrame, outcomes: pd.DataFrame) -> pd.DataFrame:
    """Return, by stay_id, intake_date, end (day the last left; missing: some are in care), outcome, and their rows."""
    stays = by_id(intakes, "stay_id")
    of_stay = stays.index.to_series()
    size = stays["group_size"].to_numpy(dtype="float64")
    out = outcomes.sort_values(["outcome_date", "source_row"], kind="stable")
    at = positions(out["stay_id"], of_stay)
    out, at = out[at >= 0], at[at >= 0]
    left = out["animals"].astype("float64").to_numpy()
    gone = np.bincount(at, np.where(np.isnan(left), size[at], left), len(stays))
    split = intakes.loc[intakes["split_from"].notna()]
    group = positions(split["split_from"], of_stay)
    gone += np.bincount(group[group >= 0], split["group_size"].to_numpy(dtype="float64")[group >= 0], len(stays))
    # Written in order of days, the last outcome of a stay is the one that is left.
    last = np.full(len(stays), -1)
    last[at] = np.arange(len(out))
    last = np.where(gone >= size, last, -1)
    told = out[["outcome_date", "outcome_type", "source_row"]].astype({"source_row": "Int64"})
    day, how, row = (pd.api.extensions.take(told[c].array, last, allow_fill=True) for c in told)
    return pd.DataFrame(
        {"intake_date": stays["intake_date"], "end": day, "outcome": how, "row": stays["source_row"], "end_row": row},
        index=stays.index,
    )


def check_inside_stay(review: Review, as_of: pd.Timestamp) -> None:
    """Doubt facts dated before their stay began or after it ended."""
    intakes = review.tables["intakes"]
    span = ends(intakes, review.tables["outcomes"])
    animal = by_id(intakes, "stay_id")["animal_id"]
    for table, column, path in DURING:
        frame = review.tables[table]
        stay = stay_of(review.tables, frame, path)
        day = frame[column].dt.floor("D")
        came, left = looked_up(stay, span["intake_date"]), looked_up(stay, span["end"])
        early, late = day < came, day > left
        if not (early | late).any():
            continue
        likely = likely_day(day, early | late, came, left.fillna(as_of))
        other = _other_stay(looked_up(stay[early | late], animal), day[early | late], span, animal)
        likely.loc[other.index] = likely.loc[other.index].mask(other != "", other)
        rule = worded(
            f"{column} should be on or after the intake of {{stay}}, {{came}} (intakes, row {{row}})",
            early,
            stay=stay,
            came=came,
            row=looked_up(stay[early], span["row"]),
        )
        review.doubt(table, early, column, rule, "Correct the date, or the intake's.", likely)
        how = looked_up(stay[late], span["outcome"]).reindex(stay.index)
        dead = how.isin(DEATHS)
        rule = worded(
            f"{column} should be no later than the day {{stay}} left, {{left}} ({{how}}; outcomes, row {{row}})",
            late,
            stay=stay,
            left=left,
            how=how,
            row=looked_up(stay[late], span["end_row"]),
        )
        review.doubt(
            table, late & ~dead, column, rule, "Correct the date, or the outcome's; or the stay it belongs to.", likely
        )
        review.doubt(
            table,
            late & dead,
            column,
            rule,
            "An animal that died cannot be treated or weighed: correct the date, the outcome, or the stay.",
            likely,
        )
    _check_news(review, as_of)


def _check_news(review: Review, as_of: pd.Timestamp) -> None:
    """Doubt news of animals before the first of their stay had left."""
    frame = review.tables["followups"]
    # A group leaves in parts: there is news of the first while others are still there.
    first = review.tables["outcomes"].sort_values("outcome_date", kind="stable").drop_duplicates("stay_id")
    left, row = (looked_up(frame["stay_id"], first.set_index("stay_id")[n]) for n in ("outcome_date", "source_row"))
    early = frame["seen_on"] < left
    rule = worded(
        "news after leaving should be no earlier than the day it left, {left} (outcomes, row {row})",
        early,
        left=left,
        row=row.astype("Int64"),
    )
    likely = likely_day(frame["seen_on"], early, left, as_of)
    review.doubt("followups", early, "seen_on", rule, "Correct the date.", likely)


def _other_stay(animal: pd.Series, day: pd.Series, span: pd.DataFrame, animals: pd.Series) -> pd.Series:
    """Return which other stay of its animal each day lies in, in words; empty for none."""
    out = pd.Series("", index=day.index, dtype=object)
    some = pd.DataFrame({"at": day.index, "animal": animal, "day": day})[animal.notna()]
    if not len(some):
        return out
    stays = span.assign(animal=animals.reindex(span.index)).dropna(subset="animal").reset_index()
    both = some.merge(stays, on="animal")
    both = both[(both["day"] >= both["intake_date"]) & ~(both["day"] > both["end"])].drop_duplicates("at")
    said = [
        "it belongs to " + str(s) + f" (intakes, row {r})" for s, r in zip(both["stay_id"], both["row"], strict=True)
    ]
    out.loc[both["at"]] = pd.Series(said, index=pd.Index(both["at"]), dtype=object)
    return out


def stay_of(tables: dict[str, pd.DataFrame], frame: pd.DataFrame, path: tuple[str, ...]) -> pd.Series:
    """Return the stay_id of each row of ``frame``, through the tables of ``path``."""
    if not path:
        return frame["stay_id"]
    ids = frame[_LINK[path[0]][0]]
    for table in path:
        key, up = _LINK[table]
        ids = looked_up(ids, by_id(tables[table], key)[up])
    return ids


def check_overlaps(review: Review) -> None:
    """Doubt a stay that begins while an earlier stay of the same animal goes on."""
    frame = review.tables["intakes"]
    end = looked_up(frame["stay_id"], ends(frame, review.tables["outcomes"])["end"])
    use = frame[frame["animal_id"].notna() & frame["split_from"].isna()].assign(end=end)
    use = use.sort_values(["animal_id", "intake_date", "end", "source_row"], kind="stable", na_position="last")
    far = pd.Timestamp("2200-01-01")
    until = use["end"].fillna(far).groupby(use["animal_id"]).cummax()
    before = until.groupby(use["animal_id"]).shift()
    earlier = use.groupby("animal_id")[["stay_id", "source_row", "intake_date", "end"]].shift()
    over = (use["intake_date"] < before).reindex(frame.index, fill_value=False)
    rule = worded(
        "one animal cannot have two stays at once; {stay} (row {row}) of {animal} was still going on",
        over,
        stay=earlier["stay_id"].reindex(frame.index),
        row=earlier["source_row"].reindex(frame.index).astype("Int64"),
        animal=frame["animal_id"],
    )
    open_ = earlier["end"].isna().reindex(frame.index, fill_value=False) & over
    end = earlier["end"].reindex(frame.index)
    likely = likely_day(frame["intake_date"], over & ~open_, end, end + pd.Timedelta(days=RETURN_DAYS))
    likely = likely.mask(open_, "the outcome of the earlier stay was not written down")
    same = (earlier["intake_date"].reindex(frame.index) == frame["intake_date"]) & over
    likely = likely.mask(same, "one stay written twice, or two animals with one animal_id")
    do = "Give the earlier stay its outcome, or correct the animal_id."
    review.doubt("intakes", over, "intake_date", rule, do, likely)
