"""The rules of the watch list: each a small function, each returning the same columns, each ending in a question."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from mendcurve.questions.rows import each
from mendcurve.questions.stay_longest import longest
from mendcurve.questions.treatment_wait import vet_wait
from mendcurve.questions.watchlist_sources import Sources, ago
from mendcurve.questions.weights_screen import Screen
from mendcurve.questions.wording import NOT_RECORDED, cell, count, day, pace, percent

Rule = Callable[[Sources, Screen], pd.DataFrame]


def losing(seen: Sources, screen: Screen) -> pd.DataFrame:
    """Weight is going down (``watch.false_alarms_per_week`` decides)."""
    return _weight(seen, screen, "losing", "losing weight")


def stalled(seen: Sources, screen: Screen) -> pd.DataFrame:
    """Weight is flat where it should rise (``watch.false_alarms_per_week`` decides)."""
    return _weight(seen, screen, "stalled", "weight flat")


def overdue(seen: Sources, screen: Screen) -> pd.DataFrame:
    """No weighing for ``watch.overdue_factor`` times the days between weighings."""
    rows = screen.to_frame()
    # Where no weighing is recorded at all, that is said once, not of each animal.
    rows = rows[(rows["state"] == "overdue") & seen.records.has("weighings")]
    out = []
    for row in each(rows):
        if pd.isna(row.last_weighed_on):
            began = seen.here.loc[row.stay_id, "intake_date"]
            said = f"not weighed since it came on {day(began)}"
        else:
            began = row.last_weighed_on
            said = f"not weighed for {ago((screen.as_of - began).days)} (last on {day(began)}: {cell(row.weight_g)} g)"
        out.append((row.stay_id, began, said, "when can it be weighed?"))
    return seen.lines("no weighing for too long", out)


def dose_missed(seen: Sources, screen: Screen) -> pd.DataFrame:
    """A dose of the last ``watch.missed_dose_days`` days was missed."""
    since = seen.records.as_of - pd.Timedelta(days=int(seen.records.settings["watch.missed_dose_days"]))
    rows = seen.doses
    rows = rows[(rows["state"] == "missed") & (rows["due_at"].dt.floor("D") > since)]
    planned = seen.courses.set_index("course_id")["planned"]
    out = []
    for stay, part in rows.groupby("stay_id"):
        first = part.sort_values("due_at").iloc[0]
        of = "" if pd.isna(planned.get(first["course_id"])) else f" of {planned[first['course_id']]}"
        more = f", and {count(len(part) - 1, 'more dose')} since" if len(part) > 1 else ""
        dose = f"dose {first['number']}{of} for {first['condition']}"
        said = f"{dose} was due {_when(first)} and is not recorded as given{more}"
        out.append((stay, first["due_at"].floor("D"), said, "was it given, and what does the vet say?"))
    return seen.lines("dose missed", out)


def waits_for_vet(seen: Sources, screen: Screen) -> pd.DataFrame:
    """An open episode has waited over ``watch.vet_wait_days`` days for the vet, where visits are recorded at all."""
    limit = int(seen.records.settings["watch.vet_wait_days"])
    rows = seen.episodes
    waited = (seen.records.as_of - rows["found_on"]).dt.days
    rows = rows[(rows["end"] == "open") & rows["vet_seen_on"].isna() & (waited > limit)]
    if not len(rows):
        return seen.lines("waiting for the vet", [])
    wait = vet_wait(seen.records).to_frame()
    blind = set(wait.loc[wait["answer"] == NOT_RECORDED, "condition"])
    half = wait["median_days"].iloc[0]
    usual = f"; half wait {half:.0f} days or less" if pd.notna(half) else ""
    out = []
    for row in each(rows[~rows["condition"].isin(blind)].drop_duplicates(["stay_id", "condition"])):
        days = (seen.records.as_of - row.found_on).days
        said = f"{row.condition}, found {day(row.found_on)}, has waited {ago(days)} for the vet{usual}"
        out.append((row.stay_id, row.found_on + pd.Timedelta(days=limit), said, "when will a vet see it?"))
    return seen.lines("waiting for the vet", out)


def not_rechecked(seen: Sources, screen: Screen) -> pd.DataFrame:
    """All courses of an open episode ended ``watch.recheck_days`` days ago or more, without a re-check since."""
    limit = int(seen.records.settings["watch.recheck_days"])
    if not seen.records.has("checks"):
        return seen.lines("course finished, not re-checked", [])
    by = seen.courses.assign(run=seen.courses["status"].eq("running")).groupby("episode_id")
    done = pd.DataFrame({"last": by["last_given_at"].max().dt.floor("D"), "running": by["run"].any()})
    rows = seen.episodes[seen.episodes["end"] == "open"].merge(done.reset_index(), on="episode_id")
    checked = seen.records["checks"].groupby("episode_id")["checked_on"].max()
    checked = rows["episode_id"].map(checked.to_dict()).astype("datetime64[s]")
    rows = rows[~rows["running"].astype(bool) & rows["last"].notna() & ~(checked >= rows["last"])]
    rows = rows[(seen.records.as_of - rows["last"]).dt.days >= limit]
    out = []
    for row in each(rows.drop_duplicates(["stay_id", "condition"])):
        days = (seen.records.as_of - row.last).days
        said = f"last dose for {row.condition} on {day(row.last)}, {ago(days)} ago; no re-check is recorded since"
        out.append((row.stay_id, row.last + pd.Timedelta(days=limit), said, "has anyone looked at it again?"))
    return seen.lines("course finished, not re-checked", out)


def ready_not_moved(seen: Sources, screen: Screen) -> pd.DataFrame:
    """Cleared and at target weight for ``watch.ready_days`` days, and in no zone for adoption."""
    now, limit = seen.records.as_of, int(seen.records.settings["watch.ready_days"])
    at_target, cleared = _at_target_since(seen), _cleared_since(seen)
    rows = pd.DataFrame({"at": at_target, "clear": cleared}).dropna().join(seen.zones, how="inner")
    rows = rows[~seen.here["permanent"].reindex(rows.index) & ~rows.index.isin(_kept(seen))]
    began = rows[["at", "clear"]].max(axis=1)
    fits = (rows["zone"] != str(seen.records.settings["zones.adoption"])) & ((now - began).dt.days >= limit)
    fits &= ~((rows["zone"] == str(seen.records.settings["zones.quarantine"])) & _in_quarantine(seen, rows.index))
    out = []
    for stay, row in rows[fits].iterrows():
        days = (now - began[stay]).days
        cleared_on, heavy_on = day(row["clear"]), day(row["at"])
        said = f"cleared {cleared_on} and at its target weight since {heavy_on}, {ago(days)}; still in {row['zone']}"
        out.append((stay, began[stay] + pd.Timedelta(days=limit), said, "what keeps it from moving on?"))
    return seen.lines("ready, not moved", out)


def long_stay(seen: Sources, screen: Screen) -> pd.DataFrame:
    """In care longer than ``watch.long_stay_share`` of the stays of its taxon group."""
    rows = longest(seen.records).to_frame()
    rows = rows[rows["unusual"] & ~rows["lost_track_of"]].drop_duplicates("stay_id")
    out = []
    for row in each(rows):
        like = f"{percent(row.shorter)} of {row.like_it:,} like it ({row.compared_with})"
        said = f"in care for {ago(row.days)}, longer than {like}"
        out.append((row.stay_id, row.intake_date, said, "what is it waiting for?"))
    return seen.lines("longer than most", out)


def contradicts(seen: Sources, screen: Screen) -> pd.DataFrame:
    """A record of an animal in care is doubtful or was set aside (from the findings)."""
    found = seen.records.findings
    found = found[found["stay_id"].isin(seen.here.index) & found["effect"].isin(["kept, doubtful", "set aside"])]
    out = []
    for stay, part in found.groupby("stay_id"):
        row = part.iloc[0]
        more = f", and {count(len(part) - 1, 'more finding')}" if len(part) > 1 else ""
        said = f"{row['file']}, row {row['row']}, {cell(row['column'])}: {row['rule']}{more}"
        out.append((stay, pd.NaT, said, "which is right?"))
    return seen.lines("record contradicts itself", out)


# In order of how soon someone should look.
RULES: tuple[Rule, ...] = (losing, dose_missed, stalled, waits_for_vet, not_rechecked, overdue, contradicts,
                           ready_not_moved, long_stay)  # fmt: skip


def _weight(seen: Sources, screen: Screen, state: str, words: str) -> pd.DataFrame:
    rows = screen.to_frame()
    rows = rows[rows["state"] == state]
    out = []
    for row in each(rows):
        since = row.since if pd.notna(row.since) else row.last_weighed_on
        lasting = f"{words} for {ago((screen.as_of - since).days)}"
        known, (middle, low, high) = pd.notna(row.slope_percent_week), pace(row.slope_percent_week, row.low, row.high)
        slope = f"{middle} % a week" if known else "slope not known"
        if pd.notna(row.low):
            slope += f", 95 % interval {low} to {high}"
        target = f", target {cell(row.target_g)} g" if pd.notna(row.target_g) else ""
        going_on = f"; {row.circumstances}" if pd.notna(row.circumstances) and row.circumstances else ""
        weight = f"{cell(row.weight_g)} g on {day(row.last_weighed_on)}{target}"
        said = f"{lasting} ({weight}; {slope}; {row.weighings} weighings{going_on})"
        out.append((row.stay_id, since, said, "what could explain it?"))
    return seen.lines({"losing": "losing weight", "stalled": "weight stalled"}[state], out)


def _when(dose: pd.Series) -> str:
    return day(dose["due_at"]) if dose["by_day"] else f"{day(dose['due_at'])} at {dose['due_at']:%H:%M}"


def _at_target_since(seen: Sources) -> pd.Series:
    """First day of the last unbroken run of weighings at or above the target, by stay; missing where below it now."""
    target = seen.records["targets"].sort_values("set_on", kind="stable").drop_duplicates("stay_id", keep="last")
    rows = seen.records["weighings"]
    rows = rows[~rows["is_group_weight"] & ~rows["doubtful"] & (rows["weight_g"] > 0)]
    rows = rows.merge(target[["stay_id", "target_g"]], on="stay_id").sort_values(
        ["stay_id", "weighed_on"], kind="stable"
    )
    below = rows["weight_g"] < rows["target_g"]
    last_below = rows["weighed_on"].where(below).groupby(rows["stay_id"]).transform("max")
    run = rows[~below & ~(rows["weighed_on"] <= last_below)]
    return run.groupby("stay_id")["weighed_on"].min()


def _cleared_since(seen: Sources) -> pd.Series:
    """Day the last episode ended, by stay; missing while one is open, or where there was none."""
    rows = seen.episodes
    still_open = set(rows.loc[rows["end"] == "open", "stay_id"])
    return rows[~rows["stay_id"].isin(still_open)].groupby("stay_id")["end_date"].max()


def _kept(seen: Sources) -> set[str]:
    """Stays with a reason in the records to stay where they are."""
    rows = seen.records["periods"]
    now = rows["to_date"].isna() | (rows["to_date"] >= seen.records.as_of)
    why = rows["what"].isin(["hold", "foster", "brumating", "gravid", "permanent resident"])
    return set(rows.loc[now & why & (rows["from_date"] <= seen.records.as_of), "stay_id"])


def _in_quarantine(seen: Sources, index: pd.Index) -> pd.Series:
    days = seen.here["taxon"].reindex(index).map(seen.records.settings["zones.quarantine_days"])
    days = days.astype("float64").fillna(float(seen.records.settings["zones.default_quarantine_days"]))
    return (seen.records.as_of - seen.here["intake_date"].reindex(index)).dt.days < days
