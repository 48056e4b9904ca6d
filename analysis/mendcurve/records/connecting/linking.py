"""Ids: which heading names a stay, which an animal, how other rows find theirs, and ids made where there is none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from mendcurve.records.connecting.assigning import Feed, Seen
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.splitting import plain_heading, split_heading
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.schemas import TABLES
from mendcurve.records.sources import ANIMAL_AND_DATE
from mendcurve.records.stay_finding import DAYS

# Share of ids that must be known elsewhere to believe a link, and share from which nothing needs to be said.
_LINKED, _WELL = 0.3, 0.8
# Share of repeated ids with another day of arrival from which a heading is an animal's and not a stay's.
_RETURNS = 0.5
_SLIPS = 0.05
# Numbers in several sheets that are looked at, and share of other species among them from which they begin anew.
_FEWEST_SHARED, _OTHERS = 3, 0.4
_MAY_BE_THE_ANIMALS = ("name", "names", "called", "nickname")
_NUMBER = Decision(value=True, reasons=("every table of the sheet must number repeats alike",))


def link(feeds: Sequence[Feed], vocabulary: Vocabulary) -> list[Feed]:
    """Settle the ids of all feeds; return the feeds that can be read.

    A feed whose rows nothing links to what they belong to is left out, with the doubt on its main decision.
    """
    intakes = _without_spare([f for f in feeds if f.table == "intakes"])
    _own_ids(intakes, vocabulary)
    _copies(intakes)
    beside = {id(f.seen): f for f in intakes}
    kept = list(intakes)
    for feed in feeds:
        if feed.table == "intakes":
            if feed not in intakes:
                feed.why = Decision(value="outcomes", reasons=("its stays stand in another sheet of intakes",))
            continue
        main = beside.get(id(feed.seen))
        if main is not None:
            _as_main(feed, main)
        elif "stay_id" in TABLES[feed.table].names and not _to_stay(feed, intakes, vocabulary):
            continue
        kept.append(feed)
    _own_keys([f for f in kept if f.table in ("conditions", "grants")])
    kept = [f for f in kept if _to_parent(f, kept, "conditions", "episode_id", ("checks", "courses", "spending"))]
    _own_keys([f for f in kept if f.table == "courses"])
    kept = [f for f in kept if _to_parent(f, kept, "courses", "course_id", ("doses",))]
    return [f for f in kept if _to_parent(f, kept, "grants", "grant_id", ("receipts", "spending"))]


def _without_spare(intakes: list[Feed]) -> list[Feed]:
    """Return the sheets of intakes without those named for outcomes whose stays stand in the others too."""
    others = [f for f in intakes if not f.spare]
    known: set[str] = set()
    for feed in others:
        for column in ("stay_id", "animal_id"):
            if column in feed.headings:
                known |= set(_cells(feed.seen, feed.headings[column]).unique()) - {""}
    kept = [f for f in intakes if not f.spare or _best_link(f.seen, known)[1] < _WELL]
    return kept if kept else intakes


def _cells(one: Seen, heading: str) -> pd.Series:
    return one.sheet.cells[heading].str.strip()


def _own_ids(intakes: list[Feed], vocabulary: Vocabulary) -> None:
    """Give each sheet of intakes its stay_id and animal_id."""
    for feed in intakes:
        stay, animal = feed.headings.get("stay_id", ""), feed.headings.get("animal_id", "")
        day = feed.headings.get("intake_date", "")
        # A few repeats of a stay's own number are slips, and are listed as such.
        if stay and animal and _repeated(feed, stay) <= _SLIPS * len(feed.seen.sheet.row):
            continue
        one = stay or animal
        if not one:
            _no_id(feed, day)
            continue
        again = _repeated(feed, one)
        restarts = _restarts(intakes, one)
        returns = _returns([feed] if restarts else intakes, one, day)
        if restarts and day:
            _counted_anew(feed, one, day, restarts)
        elif returns and day:
            _by_day(feed, one, day, returns)
        else:
            _one_id(feed, one, stay_like=_stay_like(feed, one, vocabulary), again=again)


def _repeated(feed: Feed, heading: str) -> int:
    text = _cells(feed.seen, heading)
    return int(text[text != ""].duplicated().sum())


def _stay_like(feed: Feed, heading: str, vocabulary: Vocabulary) -> bool:
    plain = split_heading(feed.seen.labels[heading]).plain
    return plain not in vocabulary.headings["intakes"]["animal_id"] and "animal" not in plain.split()


def _returns(intakes: Iterable[Feed], heading: str, day: str) -> str:
    """Return in words how often ids stand again with another day of arrival, over all sheets; "" where they do not."""
    parts = []
    for feed in intakes:
        own_day = feed.headings.get("intake_date", "")
        if heading in feed.seen.sheet.cells.columns and own_day:
            text, when = _cells(feed.seen, heading), _cells(feed.seen, own_day)
            parts.append(pd.DataFrame({"id": text, "day": when})[text != ""])
    if not parts or not day:
        return ""
    both = pd.concat(parts, ignore_index=True)
    again = both["id"].duplicated(keep=False)
    if not again.any():
        return ""
    days = both[again].groupby("id")["day"].nunique()
    other = int((days > 1).sum())
    if other < max(1, _RETURNS * len(days)):
        return ""
    return f'{other} of {both["id"].nunique()} stand in several rows with different days of "{day}"'


def _restarts(intakes: Iterable[Feed], heading: str) -> str:
    """Return in words that numbers begin anew in each sheet, for other animals; "" where they do not."""
    parts = [
        pd.DataFrame(
            {
                "sheet": at,
                "id": _cells(feed.seen, heading),
                "species": _cells(feed.seen, feed.headings["species"]).str.casefold(),
            }
        ).drop_duplicates("id")
        for at, feed in enumerate(intakes)
        if heading in feed.seen.sheet.cells.columns and "species" in feed.headings
    ]
    if len(parts) < 2:
        return ""
    both = pd.concat(parts, ignore_index=True)
    both = both[both["id"] != ""]
    shared = both[both["id"].duplicated(keep=False)].groupby("id")["species"].nunique()
    other = int((shared > 1).sum())
    if len(shared) < _FEWEST_SHARED or other < _OTHERS * len(shared):
        return ""
    return f'{other} of {len(shared)} numbers of "{heading}" stand in several sheets for animals of different species'


def _counted_anew(feed: Feed, heading: str, day: str, restarts: str) -> None:
    feed.columns.pop("stay_id", None)
    feed.columns.pop("animal_id", None)
    feed.id_from["stay_id"] = Decision(
        value=[heading, day], reasons=(f"{restarts}: numbers begin anew, so number and day make one stay",)
    )


def _one_id(feed: Feed, heading: str, *, stay_like: bool, again: int) -> None:
    reason = "each row has its own" if not again else f"{again} repeat an earlier one and will be listed"
    feed.columns["stay_id"] = Decision(value=heading, reasons=(f"{reason}: one row is one stay",))
    if not stay_like:
        feed.columns["animal_id"] = Decision(value=heading, reasons=("the same number names the animal",))
    elif feed.headings.get("animal_id") == heading:
        del feed.columns["animal_id"]


def _by_day(feed: Feed, heading: str, day: str, returns: str) -> None:
    parts = [heading, day]
    feed.columns.pop("stay_id", None)
    feed.columns["animal_id"] = Decision(value=heading, reasons=(f"it names the animal: {returns}",))
    feed.id_from["stay_id"] = Decision(value=parts, reasons=("an animal and its day of arrival make one stay",))
    pair = _cells(feed.seen, heading) + "\n" + _cells(feed.seen, day)
    if pair[_cells(feed.seen, heading) != ""].duplicated().any():
        feed.settings["number_repeats"] = Decision(value=True, reasons=("some animals came twice on one day",))


def _no_id(feed: Feed, day: str) -> None:
    parts = [h for h in (feed.headings.get("species", ""), day) if h]
    feed.columns.pop("stay_id", None)
    feed.id_from["stay_id"] = Decision(
        value=parts,
        reasons=(f"no heading holds a number of the stay or animal; {' and '.join(parts)} make one",),
        doubts=(
            f"a column with a number for each stay would be safer: rows that move change such ids{_name_hint(feed)}",
        ),
    )
    feed.settings["number_repeats"] = Decision(value=True, reasons=("several may share the same parts",))


def _as_main(feed: Feed, main: Feed) -> None:
    """Give a table that stands in the rows of a register the ids of that register."""
    if "stay_id" in main.id_from:
        feed.id_from["stay_id"] = Decision(value=main.id_from["stay_id"].value)
        if "number_repeats" in main.settings:
            feed.settings["number_repeats"] = _NUMBER
    elif main.headings.get("stay_id"):
        feed.columns["stay_id"] = Decision(value=main.headings["stay_id"], reasons=("as in intakes",))
    if feed.table == "conditions":
        stay = main.id_from["stay_id"].value if "stay_id" in main.id_from else [main.headings.get("stay_id", "")]
        feed.id_from["episode_id"] = Decision(
            value=stay, reasons=("one condition a row: the stay's own number serves",)
        )


def _copies(intakes: list[Feed]) -> None:
    """Doubt a sheet of intakes of which nearly all stays stand in another one too: it may be an older copy."""
    stays = []
    for feed in intakes:
        parts = feed.id_from["stay_id"].value if "stay_id" in feed.id_from else [feed.headings.get("stay_id", "")]
        parts = [*parts, feed.headings.get("intake_date", "")]
        texts = [_cells(feed.seen, h) for h in parts if h]
        stays.append(set(zip(*texts, strict=True)) if len(texts) > 1 else set())
    for at, feed in enumerate(intakes):
        for other_at, other in enumerate(intakes):
            both = len(stays[at] & stays[other_at])
            smaller = (len(stays[at]), at) < (len(stays[other_at]), other_at)
            if other_at != at and smaller and both >= _WELL * len(stays[at]) > 0:
                doubt = (
                    f"{both} of its {len(stays[at])} stays stand in {other.seen.where} too: if it is an older copy, "
                    "delete this section and move the file elsewhere; until then one row of each is set aside"
                )
                feed.why = Decision(value=feed.why.value, reasons=feed.why.reasons, doubts=(*feed.why.doubts, doubt))
                break


def _known_ids(intakes: Iterable[Feed]) -> tuple[set[str], set[str]]:
    """Return the ids of stays that stand under a heading, and the ids of animals."""
    stays: set[str] = set()
    animals: set[str] = set()
    for feed in intakes:
        if feed.headings.get("stay_id"):
            stays |= set(_cells(feed.seen, feed.headings["stay_id"]).unique())
        if feed.headings.get("animal_id"):
            animals |= set(_cells(feed.seen, feed.headings["animal_id"]).unique())
    return stays - {""}, animals - {""}


def _overlap(one: Seen, heading: str, known: set[str]) -> float:
    words = set(_cells(one, heading).unique()) - {""}
    return len(words & known) / len(words) if words and known else 0.0


def _best_link(one: Seen, known: set[str], skip: Iterable[str] = ()) -> tuple[str, float]:
    """Return the heading of which most texts are known, and the share."""
    tried = [
        (round(_overlap(one, h, known), 3), -at, h)
        for at, (h, p) in enumerate(one.profiles.items())
        if p.filled and h not in set(skip)
    ]
    share, _, heading = max(tried, default=(0.0, 0, ""))
    return heading, share


def _to_stay(feed: Feed, intakes: list[Feed], vocabulary: Vocabulary) -> bool:
    """Find how the rows of a sheet name their stay; return whether they can be read."""
    stays, animals = _known_ids(intakes)
    optional = not TABLES[feed.table].column("stay_id").required
    by_stay, by_animal = _best_link(feed.seen, stays), _best_link(feed.seen, animals)
    named = feed.headings.get("stay_id", "")
    taken = {h for c, h in feed.headings.items() if c != "stay_id"}
    heading, share = max(by_stay, by_animal, key=lambda pair: pair[1])
    if share < _LINKED:
        if optional or not named:
            feed.columns.pop("stay_id", None)
            return optional or _unlinked(feed, "no column holds ids that stand in intakes")
        feed.columns["stay_id"] = Decision(
            value=named,
            reasons=("a usual word for it",),
            doubts=(f"only {share:.0%} of its ids stand in intakes; the others will be set aside",),
        )
        return True
    for column in [c for c, h in feed.headings.items() if h == heading and c != "stay_id" and h in taken]:
        del feed.columns[column]
    doubts = () if share >= _WELL else (f"only {share:.0%} of its ids stand in intakes; the others will be listed",)
    direct = by_stay[1] >= by_animal[1]
    reason = f"{share:.0%} of its ids are {'stays' if direct else 'animals'} of intakes"
    feed.columns["stay_id"] = Decision(value=heading, reasons=(reason,), doubts=doubts)
    if not direct:
        _by_animal(feed, intakes)
    return True


def _by_animal(feed: Feed, intakes: list[Feed]) -> None:
    if feed.table in DAYS:
        feed.settings["stay_by"] = Decision(
            value=ANIMAL_AND_DATE,
            reasons=("it names the animal, and some animals came several times: the stay is the one on that date",),
        )


def _name_hint(feed: Feed) -> str:
    """Return what to do where the animal's name, which may link rows, was dropped as a person's."""
    dropped = [h for h in feed.seen.sheet.people if plain_heading(h) in _MAY_BE_THE_ANIMALS]
    if not dropped:
        return ""
    return (
        f". The column {dropped[0]} was dropped, since it may name people. If it names the animals, rename the heading "
        "to Animal name in every sheet and run connect again"
    )


def _unlinked(feed: Feed, why: str) -> bool:
    """Leave a feed out, and say so where its sheet is told of."""
    why += _name_hint(feed)
    feed.why = Decision(
        value="",
        reasons=feed.why.reasons,
        doubts=(f"its rows are {feed.table}, but cannot be read, since {why}",),
    )
    return False


def _own_keys(feeds: list[Feed]) -> None:
    """Give conditions, courses and grants their own id: a heading with a number for each row, or one made."""
    made = {
        "conditions": ("stay_id", "condition", "found_on"),
        "courses": ("episode_id", "medicine", "first_dose_at"),
        "grants": ("funder", "awarded_on"),
    }
    for feed in feeds:
        key = TABLES[feed.table].key[0]
        if key in feed.id_from:
            continue
        heading = feed.headings.get(key, "")
        link_to = {h for c, h in feed.headings.items() if c != key}
        if heading and heading not in link_to and not _repeated(feed, heading):
            continue
        feed.columns.pop(key, None)
        parts = [feed.headings[c] for c in made[feed.table] if feed.headings.get(c)]
        feed.id_from[key] = Decision(value=parts, reasons=(f"no heading numbers them: {' and '.join(parts)} make one",))


def _to_parent(feed: Feed, feeds: list[Feed], parent: str, key: str, children: tuple[str, ...]) -> bool:
    """Check the link of a child to its parent by the ids both hold; return whether the child can be read."""
    if feed.table not in children:
        return True
    known: set[str] = set()
    for other in feeds:
        if other.table == parent and other.headings.get(key):
            known |= set(_cells(other.seen, other.headings[key]).unique()) - {""}
    skip = [h for c, h in feed.headings.items() if c == "stay_id"]
    heading, share = _best_link(feed.seen, known, skip)
    required = TABLES[feed.table].column(key).required
    if share >= _LINKED:
        doubts = () if share >= _WELL else (f"only {share:.0%} of its ids stand in {parent}",)
        feed.columns[key] = Decision(value=heading, reasons=(f"{share:.0%} of its ids are {parent}",), doubts=doubts)
        return True
    feed.columns.pop(key, None)
    return not required or _unlinked(feed, f"no column holds ids that stand in {parent}")


def headings_used(feeds: Iterable[Feed]) -> Mapping[int, set[str]]:
    """Return, by ``id`` of the Look of a sheet, the headings that some feed reads."""
    out: dict[int, set[str]] = {}
    for feed in feeds:
        used = out.setdefault(id(feed.seen.look), set())
        used |= set(feed.headings.values())
        used |= {h for d in feed.id_from.values() for h in d.value}
        used |= set(feed.settings["only_where"].value) if "only_where" in feed.settings else set()
        used |= set(feed.wide.columns) if feed.wide else set()
    return out
