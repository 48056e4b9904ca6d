"""Dates, units, decimal signs, words for nothing and code lists of each feed, decided from the cells."""

from __future__ import annotations

from collections.abc import Sequence

from mendcurve.records.connecting.assigning import Feed
from mendcurve.records.connecting.dates_evidence import date_order
from mendcurve.records.connecting.decision import Decision
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.connecting.vocabulary import Vocabulary
from mendcurve.records.schemas import TABLES


def settle(feeds: Sequence[Feed], vocabulary: Vocabulary) -> None:
    """Fill in the settings and codes of all feeds, in place."""
    _dates(feeds)
    for feed in feeds:
        _unit(feed)


def _dates(feeds: Sequence[Feed]) -> None:
    """Decide the order of day and month of each sheet; what others prove helps where one proves nothing."""
    sheets: dict[int, list[Feed]] = {}
    for feed in feeds:
        sheets.setdefault(id(feed.seen), []).append(feed)
    decided = {key: _order(group, {}) for key, group in sheets.items()}
    proved = {sheets[key][0].seen.where: d.value for key, d in decided.items() if d.value}
    for key, group in sheets.items():
        one = decided[key]
        if not one.value and one.doubts and proved:
            one = _order(group, proved)
        for feed in group:
            if one.value or one.doubts:
                feed.settings["date_order"] = one
                one = Decision(value=one.value)


def _order(group: Sequence[Feed], elsewhere: dict[str, str]) -> Decision:
    seen = group[0].seen
    dated: dict[str, None] = {}
    pairs = []
    for feed in group:
        dated |= {
            h: None for c, h in feed.headings.items() if TABLES[feed.table].column(c).kind in ("date", "datetime")
        }
        dated |= dict.fromkeys(feed.wide.spec.get("pairs", {}).values() if feed.wide else ())
    came = next((f.headings["intake_date"] for f in group if "intake_date" in f.headings), "")
    left = next((f.headings["outcome_date"] for f in group if "outcome_date" in f.headings), "")
    if came and left:
        pairs.append((came, left))
    cells = seen.sheet.cells
    wide = next((f.wide for f in group if f.wide is not None and f.wide.order), None)
    if wide is not None and not dated:
        return Decision(value=wide.order)
    return date_order(
        {h: cells[h] for h in dated},
        {h: cells[h] for h in cells.columns if h not in dated},
        seen.sheet.row,
        pairs=pairs,
        sheet=seen.look.name or seen.look.file,
        elsewhere=elsewhere,
    )


def _unit(feed: Feed) -> None:
    if feed.table != "weighings":
        return
    headings = list(feed.wide.spec.get("pairs", {})) if feed.wide else []
    headings += [feed.headings["weight"]] if "weight" in feed.headings else []
    units = {split_heading(feed.seen.labels[h]).unit for h in headings} - {""}
    if len(units) == 1:
        feed.settings["unit"] = Decision(value=units.pop(), reasons=("the heading says so",))
