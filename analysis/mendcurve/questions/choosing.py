"""Which grant and which animal a report is about when nobody says."""

from __future__ import annotations

from decimal import Decimal

from mendcurve.errors import InputError, nearest
from mendcurve.questions.spans import span
from mendcurve.records.records import Records
from mendcurve.timelines.period import Period


def check(records: Records, *, grant: str | None = None, animal: str | None = None) -> None:
    """Refuse a grant or an animal that is not in the records, before anything is made of it.

    Raises
    ------
    InputError
        The nearest known is named.
    """
    grants = sorted(records["grants"]["grant_id"].unique())
    if grant is not None and grant not in grants:
        found = [f"grants: {', '.join(grants)}"] if grants else ["grants are not recorded"]
        what = f"Choose one of them.{nearest(grant, grants)}" if grants else "Leave --grant out."
        raise InputError(f'There is no grant "{grant}" in the records.', found, what)
    table = records["intakes"]
    ids = [*table["stay_id"].unique(), *table["animal_id"].dropna().unique()]
    if animal is not None and animal not in ids:
        raise InputError(
            f'No stay and no animal is called "{animal}".',
            remedy=f"Give the id of one, or leave --animal out.{nearest(animal, ids)}",
        )


def grant(records: Records, asked: str | None = None, period: Period | None = None) -> str:
    """Return the grant asked for, or the one most was charged to in the period; empty where no grant is recorded."""
    if asked is not None:
        return asked
    period = span(records, period)
    spending = records["spending"]
    inside = spending[period.contains(spending["spent_on"]) & spending["grant_id"].notna()]
    charged = {name: sum(rows, Decimal(0)) for name, rows in inside.groupby("grant_id")["amount"]}
    known = sorted(records["grants"]["grant_id"])
    return max(known, key=lambda name: charged.get(name, Decimal(0)), default="")


def story(records: Records, asked: str | None = None, period: Period | None = None) -> str:
    """Return the stay asked for, or the one whose path has most to show.

    Notes
    -----
    Chosen among stays whose story may be told (``story_ok``) and that ended in a live outcome in the period: the one
    with the most weighings, conditions and doses. Empty where there is none.
    """
    if asked is not None:
        return asked
    period = span(records, period)
    stays, outcomes, conditions = records["intakes"], records["outcomes"], records["conditions"]
    gone = outcomes[period.contains(outcomes["outcome_date"]) & (outcomes["outcome_type"] == "adopted")]
    able = stays[stays["story_ok"] & (stays["group_size"] == 1) & stays["stay_id"].isin(gone["stay_id"])]
    courses = records["courses"].merge(conditions[["episode_id", "stay_id"]], on="episode_id")
    doses = records["doses"].merge(courses[["course_id", "stay_id"]], on="course_id")
    shown = [rows["stay_id"].value_counts() for rows in (records["weighings"], conditions, doses)]
    wealth = {stay: sum(int(counts.get(stay, 0)) for counts in shown) for stay in sorted(able["stay_id"])}
    return max(wealth, key=lambda stay: wealth[stay], default="")
