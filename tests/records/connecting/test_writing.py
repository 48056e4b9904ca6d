"""The text of a proposal: valid TOML, sealed, and never over an edited file."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mendcurve.errors import InputError
from mendcurve.records.connecting.writing import Line, Section, sealed, text_of, toml, untouched, write

VALUES = st.recursive(
    st.text(max_size=20) | st.booleans() | st.integers(-1000, 1000),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(VALUES.filter(lambda v: True))
def test_any_value_reads_back(value):
    def same(v):
        return "".join(c for c in v if not 0xD800 <= ord(c) <= 0xDFFF) == v

    text = f"a = {toml(value)}"
    if same(text):
        assert tomllib.loads(text)["a"] == value


def test_reasons_and_questions_are_comments():
    body = text_of(
        [
            Section(
                title="[tables.intakes.codes.sex]",
                lines=(
                    Line(key="F?", value="female", reasons=("3 rows",)),
                    Line(key="Rainbow bridge", value="died", reasons=("4 rows",), question=True),
                    Line(key="species", doubts=("no heading\nsays it",)),
                ),
            )
        ]
    )
    assert tomllib.loads(body)["tables"]["intakes"]["codes"]["sex"] == {"F?": "female"}
    assert '# ? "Rainbow bridge" = "died"  # 4 rows' in body
    assert "# ? species: no heading says it" in body
    answered = body.replace('# ? "Rainbow', '"Rainbow')
    assert tomllib.loads(answered)["tables"]["intakes"]["codes"]["sex"]["Rainbow bridge"] == "died"


def test_the_seal_shows_an_edit():
    text = sealed("[rescue]\n")
    assert untouched(text)
    assert untouched(text.replace("\n", "\r\n").replace("\r\n", "\n"))
    assert not untouched(text.replace("[rescue]", '[rescue]\nname = "Ours"'))
    assert not untouched('[rescue]\nname = "Ours"\n')


def test_an_edited_file_is_never_overwritten(tmp_path):
    wanted = tmp_path / "records.toml"
    assert write("[rescue]\n", wanted) == (wanted, "")
    assert write("[files]\n", wanted) == (wanted, "")  # untouched: replaced
    mine = wanted.read_text() + "# mine\n"
    wanted.write_text(mine)
    path, said = write("[rescue]\n", wanted)
    assert path.name == "records.proposed.toml"
    assert "stays as it is" in said
    assert wanted.read_text() == mine
    path.write_text(path.read_text() + "# mine too\n")
    with pytest.raises(InputError, match="connect overwrites neither"):
        write("[rescue]\n", wanted)


def test_a_file_that_is_not_text_is_not_ours(tmp_path):
    wanted = tmp_path / "records.toml"
    wanted.write_bytes(b"\xff\xfe\x00")
    assert write("[rescue]\n", wanted)[0].name == "records.proposed.toml"
