"""Damage to single cells of text: spaces, case, dashes, ids, codes, words for nothing, people's details."""

from __future__ import annotations

from datetime import date
from typing import Any

from mendcurve.records.schemas import TABLES
from records.damage.drafts import Draft, Line, text_of
from records.damage.judging import ASIDE, DETECTED, REPAIRED, Hit
from records.damage.kinds import CSV, any_of, change, kind, place_in

ID_LINKS = (("outcomes", "stay_id"), ("weighings", "stay_id"), ("conditions", "stay_id"), ("moves", "stay_id"))
CODES = (
    ("intakes", "intake_type"),
    ("outcomes", "outcome_type"),
    ("conditions", "severity"),
    ("checks", "result"),
    ("followups", "status"),
    ("requests", "answer"),
    ("weighings", "length_kind"),
    ("periods", "what"),
)
NEEDED_CODES = tuple(pair for pair in CODES if TABLES[pair[0]].column(pair[1]).required)


@kind("spaces around ids, codes, dates and numbers, plain and no-break", REPAIRED)
def spaces_around(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (*ID_LINKS, *CODES, ("weighings", "weight"), ("intakes", "intake_date")))
    before, after = any_of(draft, ((" ", "  "), ("", "\u00a0"), ("\u00a0", " "), ("", "\t"), ("", " \u2009")))
    return change(draft, table, column, lambda v: f"{before}{text_of(v)}{after}", times=2)


@kind("codes in capitals, words doubled in their spaces", REPAIRED)
def code_case(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (*CODES, ("conditions", "condition"), ("intakes", "species")))
    how = any_of(draft, (str.upper, str.title, str.capitalize))
    return change(draft, table, column, lambda v: how(v).replace(" ", any_of(draft, (" ", "  ", "\u00a0"))), times=2)


@kind("typographic dashes and quotation marks in words", REPAIRED)
def dashes_in_words(draft: Draft) -> list[Hit]:
    if any_of(draft, (True, False)):
        dash = any_of(draft, ("–", "‑", "—", "−"))
        return change(draft, "weighings", "length_kind", lambda v: v.replace("-", dash), fits=_has("length_kind", "-"))
    return change(draft, "intakes", "species", lambda v: v.replace("'", "’"), fits=_has("species", "'"))


@kind("invisible characters in codes, dates and numbers", REPAIRED)
def invisible(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (*CODES, ("weighings", "weight"), ("conditions", "found_on")))
    sign = any_of(draft, ("\u200b", "\ufeff", "\u00ad", "\u200e", "\u2060"))
    return change(draft, table, column, lambda v: text_of(v)[:2] + sign + text_of(v)[2:])


@kind("invisible characters in ids", REPAIRED)
def invisible_in_id(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, ID_LINKS)
    sign = any_of(draft, ("\u200b", "\ufeff", "\u00ad", "\u200e"))
    return change(draft, table, column, lambda v: v + sign)


def _has(column: str, part: str) -> Any:
    return lambda line: part in str(line.truth[column])


@kind("typographic dashes in ids", REPAIRED, ASIDE)
def dashes_in_ids(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (("checks", "episode_id"), ("courses", "episode_id"), ("receipts", "grant_id")))
    dash = any_of(draft, ("–", "‑", "—"))
    return change(draft, table, column, lambda v: v.replace("-", dash))


@kind("letters of an id in the other case", REPAIRED, ASIDE)
def id_case(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (("checks", "episode_id"), ("courses", "episode_id"), ("receipts", "grant_id")))
    return change(draft, table, column, str.lower)


@kind("a space or no dash in an id", REPAIRED, ASIDE)
def id_dash_lost(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (("checks", "episode_id"), ("courses", "episode_id"), ("receipts", "grant_id")))
    return change(draft, table, column, lambda v: v.replace("-", any_of(draft, ("", " ", "_"))))


@kind("leading zeros of an animal's id lost", REPAIRED, DETECTED)
def id_zeros_lost(draft: Draft) -> list[Hit]:
    return change(draft, "intakes", "animal_id", lambda v: v.lstrip("0"))


@kind("leading zeros lost of the id a row hangs on", REPAIRED, ASIDE, DETECTED)
def link_zeros_lost(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, ID_LINKS)
    return change(draft, table, column, lambda v: v.lstrip("0"), fits=lambda line: line.truth["stay_id"][0] == "0")


@kind('an id turned into a number with decimals, "12.0"', REPAIRED, ASIDE, DETECTED)
def id_float(draft: Draft) -> list[Hit]:
    return change(draft, any_of(draft, ("doses", "courses")), "course_id", lambda v: f"{v}.0", times=2)


@kind('an id turned into a number with an exponent, "1.001E+03"', REPAIRED, ASIDE, DETECTED)
def id_exponent(draft: Draft) -> list[Hit]:
    return change(draft, any_of(draft, ("doses", "courses")), "course_id", lambda v: f"{float(v):.3E}")


@kind("an id turned into a date", REPAIRED, ASIDE, DETECTED)
def id_date(draft: Draft) -> list[Hit]:
    months = [date(2024, month, 1).strftime("%b") for month in range(1, 13)]

    def turned(value: str) -> str:
        month, day = map(int, value.split("-"))
        return any_of(
            draft, (f"{day:02d}-{months[month - 1]}", f"2024-{month:02d}-{day:02d} 00:00:00", f"{day}/{month}/2024")
        )

    return change(draft, "intakes", "arrival_id", turned)


@kind("the id a row hangs on is nobody's", ASIDE)
def unknown_parent(draft: Draft) -> list[Hit]:
    table, column = place_in(
        draft, (*ID_LINKS, ("checks", "episode_id"), ("doses", "course_id"), ("receipts", "grant_id"))
    )
    return change(draft, table, column, lambda v: "Q-8888")


@kind("digits too many in the id a row hangs on", ASIDE, DETECTED)
def id_typo(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, ID_LINKS)
    return change(draft, table, column, lambda v: v + "997")


@kind(
    "the stay of another animal on a weighing",
    DETECTED,
    ASIDE,
    floor=0.8,
    missed="another animal of about its weight that day",
)
def other_stay(draft: Draft) -> list[Hit]:
    lines = draft.free("weighings")
    if not lines:
        return []
    line = lines[0]
    for other in lines:
        if other.who != line.who and not 0.6 < other.truth["weight"] / line.truth["weight"] < 1.6:  # type: ignore[index]
            line.cells["stay_id"] = other.truth["stay_id"]  # type: ignore[index]
            draft.busy |= {line.who, other.who}
            return [Hit("", "weighings", line, "stay_id")]
    return []


@kind("an id that must be there is missing", ASIDE)
def id_blank(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (*ID_LINKS, ("intakes", "stay_id"), ("doses", "course_id")))
    return change(draft, table, column, lambda v: None)


@kind("a code, date or weight that must be there is missing", ASIDE, DETECTED)
def needed_blank(draft: Draft) -> list[Hit]:
    table, column = place_in(
        draft, (*NEEDED_CODES, ("weighings", "weight"), ("intakes", "intake_date"), ("intakes", "species"))
    )
    return change(draft, table, column, lambda v: None)


@kind('a word for nothing in an empty cell: "n/a", "-", "?"', REPAIRED)
def word_for_nothing(draft: Draft) -> list[Hit]:
    table, column = place_in(
        draft,
        (
            ("conditions", "ended_on"),
            ("conditions", "ended_as"),
            ("weighings", "length_mm"),
            ("weighings", "circumstance"),
            ("intakes", "hatched_on"),
            ("intakes", "group_size"),
            ("courses", "stopped_at"),
            ("outcomes", "animals"),
            ("doses", "result"),
        ),
    )
    word = any_of(draft, ("n/a", "N/A", "NA", "-", "--", "?", "none", "null", "unknown", "not known", "—", "."))
    return change(
        draft, table, column, lambda v: word, blank=True, fits=lambda line: line.truth[column] is None, times=2
    )


@kind('a word for nothing where a value must be: "?", "unknown"', ASIDE, DETECTED)
def nothing_where_needed(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, (("weighings", "weight"), ("intakes", "intake_date"), ("outcomes", "outcome_date")))
    return change(draft, table, column, lambda v: any_of(draft, ("?", "n/a", "-", "unknown")))


@kind("a code misspelt", REPAIRED, ASIDE, DETECTED)
def code_misspelt(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, CODES)
    return change(draft, table, column, lambda v: _misspelt(draft, v))


@kind("a code nobody knows", ASIDE, DETECTED)
def code_unknown(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, CODES)
    return change(draft, table, column, lambda v: any_of(draft, ("zorp", "see card", "as before")))


@kind("two codes in one cell", ASIDE, DETECTED)
def two_codes(draft: Draft) -> list[Hit]:
    table, column = place_in(draft, CODES)
    codes = TABLES[table].column(column).codes
    return change(draft, table, column, lambda v: f"{v} / {any_of(draft, [c for c in codes if c != v])}")


@kind("a species misspelt", REPAIRED, DETECTED)
def species_misspelt(draft: Draft) -> list[Hit]:
    return change(draft, any_of(draft, ("intakes", "requests")), "species", lambda v: _misspelt(draft, v))


@kind("a condition misspelt", REPAIRED, DETECTED)
def condition_misspelt(draft: Draft) -> list[Hit]:
    return change(
        draft, "conditions", "condition", lambda v: _misspelt(draft, v), fits=lambda x: len(x.truth["condition"]) > 4
    )


@kind("a zone misspelt", REPAIRED, DETECTED)
def zone_misspelt(draft: Draft) -> list[Hit]:
    return change(draft, "moves", "zone", lambda v: _misspelt(draft, v))


def _misspelt(draft: Draft, word: str) -> str:
    at = int(draft.draw.integers(1, len(word) - 1))
    if any_of(draft, (True, False)):
        return word[:at] + word[at + 1 :]
    return word[:at] + "x" + word[at + 1 :]


@kind("a telephone number, e-mail or address in a note", DETECTED)
def person_in_note(draft: Draft) -> list[Hit]:
    secret, around = any_of(
        draft,
        (
            ("01632 960983", "call {}"),
            ("+44 7700 900123", "{} evenings"),
            ("zyx.qvarn@example.org", "finder: {}"),
            ("17 Invented Lane", "from {}"),
            ("(555) 010-0199", "ring {} first"),
        ),
    )
    draft.secrets.append(secret)
    return change(draft, "intakes", "note", lambda v: "quiet; " + around.format(secret), blank=True)


@kind("a telephone number in a cell of codes, dates or numbers", ASIDE, DETECTED)
def person_in_code(draft: Draft) -> list[Hit]:
    secret = any_of(draft, ("01632 960771", "zyx.q2@example.org"))
    draft.secrets.append(secret)
    table, column = place_in(draft, (("outcomes", "outcome_type"), ("weighings", "weight"), ("conditions", "found_on")))
    return change(draft, table, column, lambda v: f"{text_of(v)} {secret}")


@kind('text that looks like a formula, "=1+1"', REPAIRED)
def formula_text(draft: Draft) -> list[Hit]:
    text = any_of(draft, ("=1+1", '=HYPERLINK("x";"y")', "+cmd|' /C calc'!A0", "@SUM(A1:A9)", "-2+3"))
    return change(draft, "intakes", "note", lambda v: text, blank=True, meant=lambda v: {"note": text})


@kind("text that looks like a formula where a number must be", ASIDE, forms=(CSV,))
def formula_number(draft: Draft) -> list[Hit]:
    return change(draft, "weighings", "weight", lambda v: f"={v}+1")


@kind("markup in a note", REPAIRED)
def markup(draft: Draft) -> list[Hit]:
    text = "<script>alert(1)</script> <b>quiet</b> & eats"
    return change(draft, "intakes", "note", lambda v: text, blank=True, meant=lambda v: {"note": text})


@kind("a row moved right by one column", ASIDE, DETECTED)
def shifted_right(draft: Draft) -> list[Hit]:
    return _shifted(draft, lambda cells: [None, *cells[:-1]])


@kind("a row moved left by one column", ASIDE, DETECTED)
def shifted_left(draft: Draft) -> list[Hit]:
    return _shifted(draft, lambda cells: [*cells[1:], None])


@kind("a row moved right by one column from its middle on", ASIDE, DETECTED)
def shifted_middle(draft: Draft) -> list[Hit]:
    return _shifted(draft, lambda cells: [*cells[:2], None, *cells[2:-1]])


def _shifted(draft: Draft, how: Any) -> list[Hit]:
    table = any_of(draft, ("intakes", "outcomes", "conditions", "weighings", "moves"))
    lines = draft.free(table)
    if not lines:
        return []
    line: Line = lines[0]
    line.written = how(draft.sheets[table].values(line))
    draft.busy.add(line.who)
    return [Hit("", table, line)]
