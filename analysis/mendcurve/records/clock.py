"""As-of date and records start: declared by the rescue, else proposed by rule, with a finding to accept."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from mendcurve.errors import InputError
from mendcurve.records.findings import Ledger

# Dates on which something happened; plans (a due dose, a grant's end) lie in the future and say nothing.
EVENTS = {
    "intakes": "intake_date",
    "outcomes": "outcome_date",
    "conditions": "found_on",
    "checks": "checked_on",
    "doses": "given_at",
    "weighings": "weighed_on",
    "moves": "moved_on",
    "followups": "seen_on",
    "spending": "spent_on",
    "receipts": "received_on",
    "requests": "asked_on",
}
# A last date this long after all others is a slip of the year, not the end of the records.
_LONE_DAYS = 180
_LONE_ROWS = 3
_LONE_SHARE = 0.02


def propose_as_of(tables: Mapping[str, pd.DataFrame], ledger: Ledger) -> pd.Timestamp:
    """Return the latest day on which anything happened, a few lone later dates not counted.

    Raises
    ------
    InputError
        If there is no date at all.
    """
    days = pd.concat([tables[t][c].dropna().dt.floor("D") for t, c in EVENTS.items()], ignore_index=True)
    if not len(days):
        raise InputError(
            "The records hold no date, so the as-of date must be given.",
            remedy="In records.toml, under [dates], write as_of = 2026-10-31 (the last complete day).",
        )
    counts = days.value_counts().sort_index(ascending=False)
    later, lone = 0, 0
    for place in range(len(counts) - 1):
        later += int(counts.iloc[place])
        if later > max(_LONE_ROWS, _LONE_SHARE * len(days)):
            break
        if (counts.index[place] - counts.index[place + 1]).days > _LONE_DAYS:
            lone = place + 1
    as_of = pd.Timestamp(counts.index[lone])
    ledger.note(
        "",
        "",
        column="dates.as_of",
        value=f"{as_of:%Y-%m-%d}",
        rule="the as-of date is not declared; the latest date in any table is taken",
        what_to_do=f"If the records are complete up to then, write as_of = {as_of:%Y-%m-%d} under [dates].",
    )
    return as_of


def propose_start(tables: Mapping[str, pd.DataFrame], as_of: pd.Timestamp, ledger: Ledger) -> pd.Timestamp:
    """Return the first day of the first month from which every month has an intake and an outcome.

    Notes
    -----
    The as-of month need not have either: it may be young. Where that leaves less than half of the time since the
    first intake (a small rescue has empty months), the first intake is taken.
    """
    came = tables["intakes"]["intake_date"]
    came = came[came <= as_of]
    left = tables["outcomes"]["outcome_date"]
    left = left[left <= as_of]
    if not len(came):
        return as_of
    first, last = came.min().to_period("M"), as_of.to_period("M")
    months = pd.period_range(first, last, freq="M")
    both = months.isin(came.dt.to_period("M").unique()) & months.isin(left.dt.to_period("M").unique())
    gaps = [month for month, full in zip(months[:-1], both[:-1], strict=True) if not full]
    start = ((gaps[-1] + 1) if gaps else first).start_time
    rule = "the first month from which every month has an intake and an outcome is taken"
    if (as_of - start) < (as_of - came.min()) / 2:
        start, rule = came.min(), "months without intake or outcome are too many to tell, so the first intake is taken"
    start = max(pd.Timestamp(start), pd.Timestamp(came.min())) if gaps == [] else pd.Timestamp(start)
    ledger.note(
        "",
        "",
        column="dates.records_start",
        value=f"{start:%Y-%m-%d}",
        rule=f"the records start is not declared; {rule}",
        what_to_do=f"If the records are complete from then, write records_start = {start:%Y-%m-%d} under [dates].",
    )
    return start.normalize()
