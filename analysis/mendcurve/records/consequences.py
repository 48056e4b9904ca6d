"""What a finding changes in the reports, in words, and how many animals it touches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import Formatter

import numpy as np
import pandas as pd

from mendcurve.records.chronology import stay_of
from mendcurve.records.findings import CHANGED, CORRECTED, DOUBTFUL, NOTE, SET_ASIDE
from mendcurve.records.locating import Part, texts
from mendcurve.records.numbers import parse_counts
from mendcurve.records.review import among, by_id, looked_up
from mendcurve.records.schemas import MOST, TABLES
from mendcurve.records.species import translate
from mendcurve.records.wide import plain_rows

_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)
_PATH = {"checks": ("conditions",), "courses": ("conditions",), "doses": ("courses", "conditions")}
_LINK = {"checks": "episode_id", "courses": "episode_id", "doses": "course_id"}
_OF_STAYS = frozenset((*_PATH, *(n for n, table in TABLES.items() if "stay_id" in table.names and n != "spending")))


@dataclass(frozen=True, slots=True)
class Rule:
    """What one kind of finding changes.

    Attributes
    ----------
    table, column, effect : str
        "" stands for any.
    when : str
        "" for always, or a fact of ``_facts`` that must hold: whole (it is about no single row), repeats (the row
        stands twice), taken_out (the rescue says it should not be), stayless (its stay is not known), unused (its stay
        is in no figure), other (another row says it), nothing (no weight of the stay is left), emptied (read as empty).
    says : str
        ``{who}``: "S-0042 (4 corn snakes)"; ``{stay}``: "S-0042"; ``{animals}``: "4 corn snakes"; ``{weights}``: "the
        last 3 of 9 weights"; ``{rows}``: ", with 12 rows of other tables" or ""; ``{column}``.
    """

    table: str
    column: str
    effect: str
    when: str
    says: str


# The first that fits a finding speaks; a test asks that each table and effect has one.
RULES: tuple[Rule, ...] = (
    Rule("", "", SET_ASIDE, "repeats", "nothing: the row that it repeats is used"),
    Rule("intakes", "", SET_ASIDE, "other", "this row is in no figure; another row of {stay} is"),
    Rule("intakes", "", SET_ASIDE, "", "the stay of {who} is missing from every figure{rows}"),
    Rule("", "", SET_ASIDE, "stayless", "not used, as its stay is not known"),
    Rule("", "", SET_ASIDE, "unused", "not used, as its stay ({stay}) is in no figure"),
    Rule("outcomes", "", SET_ASIDE, "other", "this outcome of {who} is not counted; another one is"),
    Rule("outcomes", "", SET_ASIDE, "", "{who} counted as still in care"),
    Rule("conditions", "", SET_ASIDE, "", "an episode of {who} is missing from the figures of recovery and treatment"),
    Rule("checks", "", SET_ASIDE, "", "a re-check of {who} does not help to say when it was well"),
    Rule("courses", "", SET_ASIDE, "", "a course of {who} is missing from the figures of treatment, and its doses"),
    Rule("doses", "", SET_ASIDE, "", "a dose of {who} is not counted, neither as given nor as missed"),
    Rule("weighings", "", SET_ASIDE, "nothing", "no weight of {stay} is left: {animals} in no weight curve"),
    Rule("weighings", "", SET_ASIDE, "", "{weights} of {stay} not used"),
    Rule("targets", "", SET_ASIDE, "", "{who} has no target: days to target are not told"),
    Rule("periods", "", SET_ASIDE, "", "the phases of {who} are counted without this period"),
    Rule("moves", "", SET_ASIDE, "", "{who} not counted in this zone from that day on"),
    Rule("housing", "", SET_ASIDE, "", "its places are missing from the planning of places"),
    Rule("requests", "", SET_ASIDE, "", "one asking fewer among those taken in and turned away"),
    Rule("followups", "", SET_ASIDE, "", "news of {who} after it left is not counted"),
    Rule("spending", "", SET_ASIDE, "", "the amount is in no sum of money spent"),
    Rule("grants", "", SET_ASIDE, "", "the grant is in no report, and money spent from it has no grant"),
    Rule("receipts", "", SET_ASIDE, "", "the amount is missing from the grant's income"),
    Rule("", "", DOUBTFUL, "whole", "used as written"),
    Rule("intakes", "intake_date", DOUBTFUL, "", "{who}: days in care and the census count from the day as written"),
    Rule("intakes", "stay_id", DOUBTFUL, "", "{who} counted as a stay of its own, in care while it has no outcome"),
    Rule("intakes", "animal_id", DOUBTFUL, "", "{who}: returns and earlier stays may be another animal's"),
    Rule("intakes", "species", DOUBTFUL, "", "{animals} counted under the species as written"),
    Rule("intakes", "group_size", DOUBTFUL, "", "{stay} counted as {animals} in every figure"),
    Rule("intakes", "split_from", DOUBTFUL, "", "{who} counted as new arrivals, not as part of a group"),
    Rule("intakes", "", DOUBTFUL, "", "{who} counted as written"),
    Rule("outcomes", "outcome_date", DOUBTFUL, "", "{who}: length of stay and the census end on the day as written"),
    Rule("outcomes", "outcome_type", DOUBTFUL, "", "{who} counted in the outcomes as written"),
    Rule("outcomes", "animals", DOUBTFUL, "", "of {who}, the number counted as having left may be wrong"),
    Rule("outcomes", "", DOUBTFUL, "", "{who} counted as having left, as written"),
    Rule("conditions", "vet_seen_on", DOUBTFUL, "", "{who}: the wait for the vet counts to the day as written"),
    Rule("conditions", "", DOUBTFUL, "", "an episode of {who} counts in the recovery figures as written"),
    Rule("checks", "", DOUBTFUL, "", "a re-check of {who} is used as written"),
    Rule("courses", "", DOUBTFUL, "", "a course of {who} counts in the figures of treatment as written"),
    Rule("doses", "", DOUBTFUL, "", "a dose of {who} is counted as written"),
    Rule("weighings", "weight", DOUBTFUL, "unused", "not used, as its stay ({stay}) is in no figure"),
    Rule("weighings", "weight", DOUBTFUL, "nothing", "no sure weight of {stay}: {animals} in no weight curve"),
    Rule("weighings", "weight", DOUBTFUL, "", "{weights} of {stay} left out of the weight curve"),
    Rule("weighings", "weighed_on", DOUBTFUL, "", "a weight of {who} is used only if it lies inside the stay"),
    Rule("weighings", "", DOUBTFUL, "", "a weight of {who} is used as written"),
    Rule("targets", "", DOUBTFUL, "", "days to target of {who} use it as written"),
    Rule("periods", "", DOUBTFUL, "", "the phases of {who} count it as written"),
    Rule("moves", "", DOUBTFUL, "", "the census of the zone counts {who} as written"),
    Rule("housing", "", DOUBTFUL, "", "the planning of places uses it as written"),
    Rule("requests", "", DOUBTFUL, "", "the asking is counted as written"),
    Rule("followups", "", DOUBTFUL, "", "news of {who} is counted as written"),
    Rule("spending", "amount", DOUBTFUL, "", "the amount is in the sums of money spent as written, perhaps twice"),
    Rule("spending", "stay_id", DOUBTFUL, "", "the amount is in the sums, but in the cost of no stay"),
    Rule("spending", "episode_id", DOUBTFUL, "", "the amount is in the sums, but in the cost of no episode"),
    Rule("spending", "grant_id", DOUBTFUL, "", "the amount is in the sums, but charged to no grant"),
    Rule("spending", "spent_on", DOUBTFUL, "", "the amount is in the sums, but in no cost of an episode if outside it"),
    Rule("spending", "", DOUBTFUL, "", "the amount is counted as written"),
    Rule("grants", "", DOUBTFUL, "", "the grant is reported as written"),
    Rule("receipts", "", DOUBTFUL, "", "the amount is in the grant's income as written, perhaps twice"),
    Rule("corrections", "", DOUBTFUL, "", "the cell is used as it stands in the file"),
    Rule("", "", DOUBTFUL, "", "used as written"),
    Rule("intakes", "group_size", CHANGED, "", "{stay} counted as {animals} in every figure"),
    Rule("intakes", "hatched_on", CHANGED, "emptied", "the age of {who} is not known"),
    Rule("intakes", "animal_id", CHANGED, "emptied", "{who}: a return of the same animal is not seen"),
    Rule("outcomes", "animals", CHANGED, "emptied", "all of {who} counted as having left"),
    Rule("conditions", "ended_on", CHANGED, "emptied", "an episode of {who} counts as not ended"),
    Rule("conditions", "ended_as", CHANGED, "emptied", "how an episode of {who} ended is not known"),
    Rule("courses", "stopped_at", CHANGED, "emptied", "a course of {who} counts as not stopped early"),
    Rule("periods", "to_date", CHANGED, "emptied", "{who}: the period counts as still lasting"),
    Rule("housing", "places", CHANGED, "emptied", "the zone counts as taking no place"),
    Rule("spending", "grant_id", CHANGED, "emptied", "the amount is charged to no grant"),
    Rule("", "", CHANGED, "emptied", "for {who} this is not known: {column}; the rest of the row is used"),
    Rule("", "note", CHANGED, "", "nothing: no figure uses this text"),
    Rule("", "", CHANGED, "", "the record counts, with this cell as told above"),
    Rule("", "", CORRECTED, "taken_out", "this row is in no figure"),
    Rule("", "", CORRECTED, "", "used as corrected"),
    Rule("", "", NOTE, "", ""),
)


def told(
    lines: pd.DataFrame,
    parts: Sequence[Part],
    *,
    before: Mapping[str, pd.DataFrame],
    after: Mapping[str, pd.DataFrame],
    species: pd.DataFrame,
) -> pd.DataFrame:
    """Return ``lines`` with ``changes`` (words) and ``animals`` (Int64: those of the row's stay; missing: of none,
    or a note).

    Parameters
    ----------
    lines : DataFrame
        Findings (``findings.SAID``), ``column`` ours.
    before, after : mapping of str to DataFrame
        Tables as they were read, and without the rows set aside.
    species : DataFrame
        Reference table; only names in it are printed.

    Notes
    -----
    An animal of a group counts, a row does not: thirty hatchlings in one row are thirty animals. Rows that are out only
    because their stay is touch none: the finding of the stay has counted its animals.
    """
    if not len(lines):
        return lines.assign(changes=lines["rule"], animals=lines["row"])
    facts = _facts(lines, parts, before, after, species)
    says = pd.Series("", index=lines.index, dtype=object)
    todo = pd.Series(True, index=lines.index)
    for rule in RULES:
        fits = todo & (lines["effect"] == rule.effect)
        if rule.table:
            fits &= lines["table"] == rule.table
        if rule.column:
            fits &= lines["column"] == rule.column
        if rule.when:
            fits &= facts[rule.when]
        if fits.any():
            says.loc[fits] = np.array(_said(rule.says, facts.loc[fits]), dtype=object)
            todo &= ~fits
    # What a row changes by itself: nothing where it stands twice, or where its stay's own finding counts the animals.
    known = facts["unused"] & facts["animals_n"].notna()
    animals = facts["animals_n"].mask((facts["repeats"] | known) & (lines["effect"] == SET_ASIDE), 0)
    animals = animals.where(lines["effect"] != NOTE)
    return lines.assign(changes=says.astype(_TEXT), animals=animals.astype("Int64"))


def _said(pattern: str, facts: pd.DataFrame) -> list[str]:
    names = [name for _, name, _, _ in Formatter().parse(pattern) if name]
    if not names:
        return [pattern] * len(facts)
    return [pattern.format_map(dict(zip(names, row, strict=True))) for row in facts[names].itertuples(index=False)]


def _facts(
    lines: pd.DataFrame,
    parts: Sequence[Part],
    before: Mapping[str, pd.DataFrame],
    after: Mapping[str, pd.DataFrame],
    species: pd.DataFrame,
) -> pd.DataFrame:
    """Return, for each line, what the rules ask and what they print."""
    stay = _stays(lines, parts, before)
    size, kind = _animals(lines, stay, parts, before, species)
    named = stay.mask(stay == "", "a stay without an id")
    animals = _words(size, kind)
    own = lines["table"].isin(_OF_STAYS)
    kept = among(stay.astype(_TEXT), after["intakes"]["stay_id"])
    weights, nothing = _weights(lines, stay, after)
    left = among(stay.astype(_TEXT), after["outcomes"]["stay_id"])
    rows = stay.map(stay[(lines["effect"] == SET_ASIDE) & own & (lines["table"] != "intakes")].value_counts())
    return pd.DataFrame(
        {
            "animals_n": size.where(own),
            "stay": named,
            "animals": animals,
            "who": named.where(size.isna(), named + " (" + animals + ")").where(own, "this row"),
            "weights": weights,
            "rows": rows.fillna(0).map(lambda n: f", with {n:.0f} row{'s' * (n > 1)} of other tables" if n else ""),
            "column": lines["column"].str.replace("_", " "),
            "repeats": _repeats(lines, parts),
            "whole": lines["row"].isna(),
            "taken_out": _taken_out(lines, parts),
            "stayless": own & (stay == "") & (lines["table"] != "intakes"),
            "unused": own & ~kept & (lines["table"] != "intakes"),
            "other": kept.where(lines["table"] == "intakes", left),
            "nothing": nothing,
            "emptied": _emptied(lines, after),
        }
    )


def _stays(lines: pd.DataFrame, parts: Sequence[Part], before: Mapping[str, pd.DataFrame]) -> pd.Series:
    """Return the stay_id each line belongs to, through its episode or course where it names none; "" if unknown."""
    stay = lines["stay_id"].astype(object).where(lines["stay_id"].notna(), "").map(str.strip)
    for table, column in _LINK.items():
        lost = (lines["table"] == table) & (stay == "") & lines["row"].notna()
        if lost.any():
            ids = texts(lines[lost], parts, column).map(str.strip)
            found = stay_of(dict(before), pd.DataFrame({column: ids}), _PATH[table])
            stay.loc[lost] = found.astype(object).where(found.notna(), "").to_numpy()
    return stay


def _animals(
    lines: pd.DataFrame,
    stay: pd.Series,
    parts: Sequence[Part],
    before: Mapping[str, pd.DataFrame],
    species: pd.DataFrame,
) -> tuple[pd.Series, pd.Series]:
    """Return how many animals the stay of each line is, and their species ("animal" where it is not known)."""
    stays = by_id(before["intakes"], "stay_id")
    ids = stay.astype(_TEXT)
    size = looked_up(ids, stays["group_size"]).astype("float64")
    kind = looked_up(ids, stays["species"]).astype(object)
    # A row of intakes speaks for itself: it may not have been read, or name another row's id.
    own = (lines["table"] == "intakes") & lines["row"].notna()
    if own.any():
        written = parse_counts(texts(lines[own], parts, "group_size"), low=1, high=MOST, unit="animals").found
        size.loc[own] = np.array([1.0 if n is None else float(n) for n in written])
        kind.loc[own] = translate(texts(lines[own], parts, "species"), species).to_numpy(dtype=object)
        # Rows of a stay that could not be read have its animals all the same.
        first = own & ~stay.where(own, "").duplicated() & ~among(ids, stays.index.to_series()) & (stay != "")
        lost = ~own & stay.isin(set(stay[first]))
        size.loc[lost] = stay[lost].map(dict(zip(stay[first], size[first], strict=True))).to_numpy(dtype="float64")
        kind.loc[lost] = stay[lost].map(dict(zip(stay[first], kind[first], strict=True))).to_numpy(dtype=object)
    return size, kind.where(kind.isin(set(species.loc[species["taxon"] != "unknown", "name"])), "animal")


def _words(size: pd.Series, kind: pd.Series) -> pd.Series:
    number = size.fillna(1).astype("int64")
    many = kind + np.where(kind.str.endswith(("s", "x", "ch", "sh")), "es", "s")
    return number.map("{:,}".format).astype(object) + " " + kind.where(number == 1, many).astype(object)


def _weights(lines: pd.DataFrame, stay: pd.Series, after: Mapping[str, pd.DataFrame]) -> tuple[pd.Series, pd.Series]:
    """Return "the last 3 of 9 weights" for each line of weighings, and whether none of the stay's is left."""
    mine = (lines["table"] == "weighings") & lines["row"].notna()
    doubted = lines["effect"] == DOUBTFUL
    lost = lines[mine & ((lines["effect"] == SET_ASIDE) | (doubted & (lines["column"] == "weight")))]
    lost = lost.assign(stay=stay).drop_duplicates(["file", "sheet", "row", "effect"])
    kept = after["weighings"]
    kept = kept[among(kept["stay_id"], stay[mine].unique())]
    total = kept["stay_id"].value_counts()
    aside = lost.loc[lost["effect"] == SET_ASIDE, "stay"].value_counts()
    doubtful = lost.loc[lost["effect"] == DOUBTFUL, "stay"].value_counts()
    every = stay.map(total).fillna(0) + stay.map(aside).fillna(0)
    n = stay.map(aside).where(~doubted, stay.map(doubtful)).fillna(0)
    last = stay.map(lost.groupby("stay")["row"].min()) > stay.map(kept.groupby("stay_id")["source_row"].max())
    last = last.fillna(False).astype(bool) & ~doubted & (every > n)
    said = [
        f"{'the last ' if at_end else ''}{k:.0f} of {of:.0f} weight{'s' * (of != 1)}"
        for k, of, at_end in zip(n, every, last, strict=True)
    ]
    nothing = (stay.map(total).fillna(0) == 0).where(~doubted, n >= stay.map(total).fillna(0))
    return pd.Series(said, index=lines.index, dtype=object), nothing & mine


def _repeats(lines: pd.DataFrame, parts: Sequence[Part]) -> pd.Series:
    """Return which lines are of a row that repeats another cell for cell, and say no more than that."""
    out = pd.Series(False, index=lines.index)
    for part in parts:
        again = part.sheet.row[part.sheet.twin > 0]
        if len(again):
            out |= (lines["file"] == part.sheet.file) & (lines["sheet"] == part.sheet.sheet) & lines["row"].isin(again)
    return (out & (lines["column"] == "")).astype(bool)


def _taken_out(lines: pd.DataFrame, parts: Sequence[Part]) -> pd.Series:
    """Return which lines are of a row that the rescue has taken out."""
    out = pd.Series(False, index=lines.index)
    for part in parts:
        if part.sheet.taken_out:
            rows = plain_rows(lines["row"].fillna(0).astype("int64")).isin(part.sheet.taken_out)
            out |= rows & (lines["file"] == part.sheet.file) & (lines["sheet"] == part.sheet.sheet)
    return out.astype(bool)


def _emptied(lines: pd.DataFrame, after: Mapping[str, pd.DataFrame]) -> pd.Series:
    """Return which lines are of a cell that is empty in the validated tables."""
    out = pd.Series(False, index=lines.index)
    changed = lines[(lines["effect"] == CHANGED) & lines["row"].notna()]
    for key, rows in changed.groupby(["table", "column"]):
        table, column = map(str, key)
        if table not in after or column not in after[table].columns:
            continue
        frame = after[table]
        near = frame["source_row"].isin(rows["row"].astype("int64"))
        empty = frame.loc[near & frame[column].isna(), ["source_file", "source_sheet", "source_row"]]
        at = pd.MultiIndex.from_frame(rows[["file", "sheet", "row"]].astype({"row": "int64"}))
        out.loc[rows.index] = at.isin(pd.MultiIndex.from_frame(empty))
    return out
