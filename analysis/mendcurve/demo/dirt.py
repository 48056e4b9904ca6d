"""The dirty rows real spreadsheets have, planted one by one, so that tests know what must be found."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pandas as pd

Texts = dict[str, pd.DataFrame]


@dataclass(frozen=True, slots=True)
class Plant:
    """One planted fault.

    Attributes
    ----------
    table, column : str
        Where it stands; an empty column means the row as a whole.
    what : str
        What is wrong, in a few words.
    then : str
        What a reader should do: "read" (understood as it was meant), "set aside" (with its text), "doubt" (kept, with
        a finding), "left out" (after the as-of date), "nothing" (a heading, total or blank row: counted and passed
        over), "drop" (a column about people).
    put : callable
        From the texts of all tables, the planted text of this one.
    """

    table: str
    column: str
    what: str
    then: str
    put: Callable[[Texts], pd.DataFrame]


def _where(frame: pd.DataFrame, mask: pd.Series, nth: int = 0) -> int:
    return int(mask.to_numpy().nonzero()[0][nth])


def _change(frame: pd.DataFrame, row: int, column: str, text: str) -> pd.DataFrame:
    values = frame[column].tolist()
    values[row] = text
    return frame.assign(**{column: pd.Series(values, index=frame.index, dtype="object")})


def _add(frame: pd.DataFrame, row: Mapping, at: int | None = None) -> pd.DataFrame:
    new = pd.DataFrame([{name: row.get(name, "") for name in frame.columns}], dtype="object")
    at = len(frame) if at is None else at
    return pd.concat([frame.iloc[:at], new, frame.iloc[at:]], ignore_index=True)


def _present(t: Texts) -> list[str]:
    """Ids of stays of single animals in care at the as-of date."""
    closed = set(t["outcomes"]["stay_id"])
    alone = t["intakes"]["group_size"] == "1"
    return [s for s in t["intakes"].loc[alone, "stay_id"] if s not in closed]


def _grams(t: Texts, low: float, high: float, nth: int) -> int:
    weight = pd.to_numeric(t["weighings"]["weight"], errors="coerce")
    plain = (weight >= low) & (weight < high) & (t["weighings"]["circumstance"] == "")
    return _where(t["weighings"], plain, nth)


def _duplicate_row(t: Texts) -> pd.DataFrame:
    return _add(t["intakes"], t["intakes"].iloc[40].to_dict(), 41)


def _duplicate_id(t: Texts) -> pd.DataFrame:
    row = {**t["intakes"].iloc[57].to_dict(), "animal_id": "", "species": "fire salamander", "arrival_id": ""}
    return _add(t["intakes"], row, 90)


def _species(old: str, new: str, nth: int) -> Callable[[Texts], pd.DataFrame]:
    def put(t: Texts) -> pd.DataFrame:
        frame = t["intakes"]
        return _change(frame, _where(frame, frame["species"] == old, nth), "species", new)

    return put


def _untidy_code(t: Texts) -> pd.DataFrame:
    frame = t["intakes"]
    row = _where(frame, frame["intake_type"] == "surrendered", 12)
    return _change(_change(frame, row, "intake_type", "  Surrendered "), row, "sex", frame["sex"].iloc[row].upper())


def _note(text: str, row: int) -> Callable[[Texts], pd.DataFrame]:
    return lambda t: _change(t["intakes"], row, "note", text)


def _people(t: Texts) -> pd.DataFrame:
    frame = t["intakes"]
    told = pd.Series([k % 5 == 0 for k in range(len(frame))], index=frame.index)
    person = [f"Person {'ABCDEFGH'[k % 8]}" if here else "" for k, here in enumerate(told)]
    phone = ["000-0000" if here else "" for here in told]
    return frame.assign(
        **{"surrendered by": pd.Series(person, dtype="object"), "surrenderer phone": pd.Series(phone, dtype="object")}
    )


def _overlap(t: Texts) -> pd.DataFrame:
    frame = t["intakes"]
    left = dict(zip(t["outcomes"]["stay_id"], t["outcomes"]["outcome_date"], strict=True))
    for row in (frame["intake_type"] == "returned").to_numpy().nonzero()[0]:
        before = frame.iloc[:row]
        earlier = before.loc[before["animal_id"] == frame["animal_id"].iloc[row], "stay_id"]
        if len(earlier) and earlier.iloc[-1] in left:
            day = pd.Timestamp(left[earlier.iloc[-1]]) - pd.Timedelta(days=4)
            return _change(frame, int(row), "intake_date", f"{day:%Y-%m-%d}")
    raise LookupError("no returned animal in these records")


def _early_outcome(t: Texts) -> pd.DataFrame:
    stay = _present(t)[20]
    came = t["intakes"].loc[t["intakes"]["stay_id"] == stay, "intake_date"].iloc[0]
    day = pd.Timestamp(came) - pd.Timedelta(days=3)
    return _add(t["outcomes"], {"stay_id": stay, "outcome_date": f"{day:%Y-%m-%d}", "outcome_type": "adopted"})


def _holiday(t: Texts) -> pd.DataFrame:
    row = {"stay_id": t["periods"]["stay_id"].iloc[20], "what": "on holiday", "from_date": "2024-09-02"}
    return _add(t["periods"], row, 21)


def _no_date(t: Texts) -> pd.DataFrame:
    return _add(t["conditions"], {"episode_id": "E-9001", "stay_id": _present(t)[4], "condition": "mites"}, 200)


def _not_available(t: Texts) -> pd.DataFrame:
    frame = t["conditions"]
    return _change(frame, _where(frame, frame["vet_seen_on"] == "", 5), "vet_seen_on", "n/a")


def _slipped_unit(low: float, high: float, divide: float, nth: int, digits: int) -> Callable[[Texts], pd.DataFrame]:
    def put(t: Texts) -> pd.DataFrame:
        row = _grams(t, low, high, nth)
        slipped = round(float(t["weighings"]["weight"].iloc[row]) / divide, digits)
        return _change(t["weighings"], row, "weight", f"{slipped:.10g}")

    return put


def _comma(t: Texts) -> pd.DataFrame:
    frame = t["weighings"]
    row = _where(frame, frame["weight"].str.fullmatch(r"4\d\.\d"), 2)
    return _change(frame, row, "weight", frame["weight"].iloc[row].replace(".", ","))


def _with_unit(t: Texts) -> pd.DataFrame:
    row = _grams(t, 300, 400, 30)
    return _change(t["weighings"], row, "weight", t["weighings"]["weight"].iloc[row] + "g")


def _weighing(weight: str, day: str, at: int, stay: Callable[[Texts], str]) -> Callable[[Texts], pd.DataFrame]:
    return lambda t: _add(t["weighings"], {"stay_id": stay(t), "weighed_on": day, "weight": weight, "unit": "g"}, at)


def _after_death(t: Texts) -> pd.DataFrame:
    dead = t["outcomes"][t["outcomes"]["outcome_type"] == "died"].iloc[6]
    day = pd.Timestamp(dead["outcome_date"]) + pd.Timedelta(days=40)
    row = {"stay_id": dead["stay_id"], "weighed_on": f"{day:%Y-%m-%d}", "weight": "212", "unit": "g"}
    return _add(t["weighings"], row, 2400)


def _heading(t: Texts) -> pd.DataFrame:
    return _add(t["weighings"], {name: name for name in t["weighings"].columns}, 3000)


def _year_slip(t: Texts) -> pd.DataFrame:
    row = {"episode_id": t["checks"]["episode_id"].iloc[900], "checked_on": "2052-06-14", "result": "still ill"}
    return _add(t["checks"], row, 901)


def _stray_dose(t: Texts) -> pd.DataFrame:
    return _add(t["doses"], {"course_id": "C-9999", "given_at": "2025-07-02 09:00", "result": "given"}, 1500)


def _day_first(t: Texts) -> pd.DataFrame:
    frame = t["followups"]
    return frame.assign(seen_on=pd.to_datetime(frame["seen_on"]).dt.strftime("%d/%m/%Y").astype("object"))


def _total(t: Texts) -> pd.DataFrame:
    from decimal import Decimal

    return _add(t["spending"], {"spent_on": "Total", "amount": str(sum(map(Decimal, t["spending"]["amount"])))})


def _blank(t: Texts) -> pd.DataFrame:
    return _add(t["moves"], {}, 400)


def _open_stay(nth: int) -> Callable[[Texts], str]:
    return lambda t: _present(t)[nth]


PLANTED: tuple[Plant, ...] = (
    Plant("intakes", "", "two columns about the people who surrendered", "drop", _people),
    Plant("intakes", "intake_date", "a second stay that begins before the first has ended", "doubt", _overlap),
    Plant("intakes", "species", 'an alias, "beardie"', "read", _species("bearded dragon", "beardie", 7)),
    Plant(
        "intakes",
        "species",
        "capitals, two spaces, a no-break space",
        "read",
        _species("bearded dragon", "Bearded  Dragon\u00a0", 11),
    ),
    Plant("intakes", "species", 'a slip of the keyboard, "corn snek"', "doubt", _species("corn snake", "corn snek", 9)),
    Plant("intakes", "intake_type", "a code with spaces and a capital", "read", _untidy_code),
    Plant("intakes", "note", "an e-mail address in a note", "doubt", _note("write to nobody@example.invalid", 101)),
    Plant("intakes", "note", "text that looks like a formula", "read", _note("=1+1", 140)),
    Plant("intakes", "", "the same row twice", "set aside", _duplicate_row),
    Plant("intakes", "stay_id", "the same stay id with other content", "set aside", _duplicate_id),
    Plant("conditions", "vet_seen_on", '"n/a" for a blank', "read", _not_available),
    Plant("conditions", "found_on", "no day found", "set aside", _no_date),
    Plant("periods", "what", "a code nobody knows", "set aside", _holiday),
    Plant("weighings", "weight", "kilograms in a column of grams", "doubt", _slipped_unit(900, 1500, 1000, 40, 3)),
    Plant("weighings", "weight", "ounces in a column of grams", "doubt", _slipped_unit(280, 420, 28.349523125, 55, 1)),
    Plant("weighings", "weight", 'a decimal comma, "43,5"', "read", _comma),
    Plant("weighings", "weight", 'a unit behind the number, "385g"', "read", _with_unit),
    Plant(
        "weighings",
        "weighed_on",
        "a day after the as-of date",
        "left out",
        _weighing("88", "2027-03-01", 2000, _open_stay(1)),
    ),
    Plant(
        "weighings", "weight", "a weight below zero", "set aside", _weighing("-61", "2026-10-20", 2200, _open_stay(2))
    ),
    Plant("weighings", "weighed_on", "weighed after it had died", "doubt", _after_death),
    Plant(
        "weighings",
        "stay_id",
        "a stay nobody knows",
        "set aside",
        _weighing("140", "2025-08-08", 2600, lambda t: "S-9999"),
    ),
    Plant("weighings", "", "the headings once more, in the middle", "nothing", _heading),
    Plant("outcomes", "outcome_date", "an outcome before the intake", "set aside", _early_outcome),
    Plant("checks", "checked_on", "a slipped year, 2052", "left out", _year_slip),
    Plant("doses", "course_id", "a course nobody knows", "set aside", _stray_dose),
    Plant("followups", "seen_on", "day first, in one column", "read", _day_first),
    Plant("moves", "", "a blank row", "nothing", _blank),
    Plant("spending", "", "a total at the end", "nothing", _total),
)


def dirtied(texts: Texts) -> Texts:
    """Return the texts with every fault of :data:`PLANTED` in them."""
    out = dict(texts)
    for plant in PLANTED:
        # What is planted is chosen from the clean tables, apart from the table it goes to.
        out[plant.table] = plant.put({**texts, plant.table: out[plant.table]})
    return out
