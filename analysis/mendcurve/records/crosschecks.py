"""All checks between rows and tables, in their order, and the balance that must hold."""

from __future__ import annotations

import pandas as pd
from pandera.errors import SchemaErrors

from mendcurve.records.chronology import check_inside_stay, check_order_in_row, check_outcomes, check_overlaps
from mendcurve.records.course_ends import check_doses
from mendcurve.records.crowding import check_zones
from mendcurve.records.defaults import check_defaults
from mendcurve.records.findings import SET_ASIDE
from mendcurve.records.identities import check_identities
from mendcurve.records.intake_dates import check_intake_dates
from mendcurve.records.links import check_keys, check_links, check_repeats
from mendcurve.records.lost_zeros import check_lost_zeros, check_zeros_apart
from mendcurve.records.mixed_orders import check_mixed_orders
from mendcurve.records.patterns import check_forgotten, check_species
from mendcurve.records.records import Records
from mendcurve.records.review import Review
from mendcurve.records.row_order import check_order_of_rows
from mendcurve.records.runs import check_runs
from mendcurve.records.schemas import TABLES, schema
from mendcurve.records.sorted_alone import check_sorted_alone
from mendcurve.records.spending_dates import check_spending
from mendcurve.records.weight_checks import check_weights


def check_rows(review: Review) -> None:
    """Hold each table against its schema, then rows against each other; what cannot be used is set aside."""
    for name in TABLES:
        check_schema(review, name)
    check_order_in_row(review)
    check_keys(review)
    check_repeats(review)
    check_links(review)
    check_outcomes(review)
    # A row set aside can leave others without what they name.
    check_links(review)


def check_doubts(
    review: Review, known: pd.DataFrame, recorded: frozenset[tuple[str, str]], as_of: pd.Timestamp
) -> None:
    """Point out what is doubtful in the rows that are kept."""
    check_inside_stay(review, as_of)
    check_spending(review, as_of)
    check_intake_dates(review)
    check_order_of_rows(review)
    check_overlaps(review)
    check_identities(review)
    check_lost_zeros(review)
    check_zeros_apart(review)
    check_doses(review)
    check_zones(review, as_of)
    check_runs(review)
    check_sorted_alone(review)
    check_weights(review)
    check_defaults(review, recorded)
    check_species(review, known)
    check_forgotten(review, as_of)
    check_mixed_orders(review)


def check_schema(review: Review, name: str) -> None:
    """Set aside rows that break the schema: one finding a row, however many columns break it.

    Notes
    -----
    The parsers let none through that the schema refuses; this is the second look, by other code. Keys that repeat are
    told of by ``check_keys``, which names both rows.
    """
    frame = review.tables[name]
    if not len(frame):
        return
    try:
        key = list(TABLES[name].key)
        schema(name).validate(frame.drop_duplicates(key) if key else frame, lazy=True)
    except SchemaErrors as errors:
        cases = errors.failure_cases
        whole = cases[cases["index"].isna()]
        if len(whole):
            raise
        for column, part in cases.groupby("column", sort=False):
            mask = pd.Series(frame.index.isin(part["index"].astype(int)), index=frame.index)
            rules = part.drop_duplicates("index").set_index(part.drop_duplicates("index")["index"].astype(int))["check"]
            rule = frame.index.to_series().map(rules).map(lambda c, column=column: f"{column}: {c}", na_action="ignore")
            review.report(name, mask, str(column), rule, "Correct the value.", SET_ASIDE)
        bad = pd.Series(frame.index.isin(cases["index"].astype(int)), index=frame.index)
        review.drop(name, bad)


def balance_gap(records: Records, start: pd.Timestamp, end: pd.Timestamp) -> pd.DataFrame:
    """Return, by species, start + in = out + end for the days ``start`` to ``end``, in animals, and the gap.

    Returns
    -------
    DataFrame
        Index species. ``start`` (in care as the first day begins), ``came``, ``left`` (both within the period),
        ``end`` (in care as the last day ends, counted stay by stay and not from the other three), and
        ``gap`` = start + came - left - end: 0 unless more animals left than there were.

    Notes
    -----
    Stays split off a group are no intakes: their animals came with the group.
    """
    stays = records["intakes"].drop_duplicates("stay_id").set_index("stay_id")
    stays = stays[stays["intake_date"] <= records.as_of]
    split = stays[stays["split_from"].notna()]
    size = stays["group_size"].astype("float64")
    own = size - split.groupby("split_from")["group_size"].sum().reindex(stays.index).fillna(0)
    out = records["outcomes"].sort_values(["outcome_date", "source_row"], kind="stable")
    cap = out["stay_id"].map(own)
    asked = out["animals"].astype("float64").fillna(cap)
    before = asked.groupby(out["stay_id"]).cumsum() - asked
    gone = pd.Series(asked.clip(upper=(cap - before).clip(lower=0)).to_numpy(), index=out.index)
    day, species = out["outcome_date"], out["stay_id"].map(stays["species"])
    came = stays["intake_date"]

    def here_at(last: pd.Timestamp) -> pd.Series:
        left = gone[day <= last].groupby(out.loc[day <= last, "stay_id"]).sum().reindex(stays.index).fillna(0)
        return (own - left)[came <= last].groupby(stays.loc[came <= last, "species"]).sum()

    def within(amounts: pd.Series, days: pd.Series, kinds: pd.Series) -> pd.Series:
        inside = (days >= start) & (days <= end)
        return amounts[inside].groupby(kinds[inside]).sum()

    table = (
        pd.DataFrame(
            {
                "start": here_at(start - pd.Timedelta(days=1)),
                "came": within(own, came, stays["species"]),
                "left": within(gone, day, species),
                "end": here_at(end),
            }
        )
        .fillna(0)
        .astype("int64")
    )
    return table.assign(gap=table["start"] + table["came"] - table["left"] - table["end"]).rename_axis("species")
