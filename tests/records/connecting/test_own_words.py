"""A file of synonyms may translate free words too: species, conditions, zones, medicines."""

from __future__ import annotations

from mendcurve.records import load
from mendcurve.records.connecting.proposing import propose
from mendcurve.records.connecting.writing import write

SYNONYMS = """kind,table,column,ours,theirs
heading,intakes,stay_id,,Numero
heading,intakes,species,,Espece
heading,intakes,intake_date,,Arrivee
heading,intakes,intake_type,,Motif
table,intakes,,,Entrees
word,intakes,intake_type,stray,trouve
word,intakes,species,corn snake,serpent des bles
word,intakes,species,our own newt,triton maison
heading,*,stay_id,,Numero
heading,conditions,condition,,Souci
heading,conditions,found_on,,Vu le
table,conditions,,,Soucis
word,conditions,condition,mites,acariens
"""


def test_species_and_conditions_are_written_as_codes_and_read_so(tmp_path):
    (tmp_path / "synonyms.csv").write_text(SYNONYMS)
    rows = ["Serpent des bles", "serpent des bles", "Triton maison", "Serpent des blees"]
    lines = [f"N{i},{kind},{13 + i}/03/2024,trouve" for i, kind in enumerate(rows, start=1)]
    (tmp_path / "Entrees.csv").write_text("\n".join(["Numero,Espece,Arrivee,Motif", *lines]))
    (tmp_path / "Soucis.csv").write_text("Numero,Souci,Vu le\nN1,acariens,15/03/2024\nN2,burn,16/03/2024\n")
    proposal = propose(tmp_path)
    assert '# ? "Serpent des blees" = "corn snake"' in proposal.body
    assert proposal.questions == 1
    write(proposal.body.replace("# ? ", ""), tmp_path / "records.toml")
    records = load(tmp_path)
    assert records["intakes"]["species"].tolist() == ["corn snake", "corn snake", "our own newt", "corn snake"]
    assert records["conditions"]["condition"].tolist() == ["mites", "burn"]
    assert not len(records.set_aside)
