"""Headings that say little: the sign of a currency, a bare number, "How", "Medical"; told by their cells."""

from __future__ import annotations

from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.splitting import split_heading
from mendcurve.records.connecting.writing import write

INTAKES = """Ref,Date in,Species,No.,Reason in,Medical
S1,13/03/2024,corn snake,1,stray,mites
S2,14/03/2024,axolotl,3,stray,
S3,15/03/2024,axolotl,1,seized,burn
S4,16/03/2024,axolotl,1,stray,
S5,17/03/2024,axolotl,2,stray,
S6,18/03/2024,axolotl,1,seized,
"""
LEFT = """Ref,Date out,Ending word,No.
S1,13/05/2024,died,1
S2,14/05/2024,homed,2
S3,15/05/2024,PTS,1
S5,15/05/2024,to a kind farm,2
S6,15/05/2024,homed,1
"""
SPENT = "Day,On what,\u00a3\n14/03/2024,vet,88.50\n20/03/2024,vet,12.00\n"


def test_bare_headings_are_told_by_their_cells(tmp_path):
    for name, text in (("Arrivals", INTAKES), ("Leavers", LEFT), ("Money spent", SPENT)):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    proposal = propose(tmp_path)
    written = proposal.body.replace('# ? "to a kind farm" = "..."', '"to a kind farm" = "adopted"')
    write(written, tmp_path / "records.toml")
    records = load(tmp_path)
    assert not len(records.set_aside)
    assert records["intakes"]["group_size"].tolist() == [1, 3, 1, 1, 2, 1]
    assert records["conditions"]["condition"].tolist() == ["mites", "burn"]
    assert records["outcomes"]["outcome_type"].tolist() == ["died", "adopted", "euthanised", "adopted", "adopted"]
    assert records["outcomes"]["animals"].tolist() == [1, 2, 1, 2, 1]
    assert len(records["spending"]) == 2


def test_a_sign_alone_is_an_amount():
    parts = split_heading("\u00a3")
    assert (parts.plain, parts.unit) == ("amount", "\u00a3")
