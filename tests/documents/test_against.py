"""What check says of an older snapshot: few lines, in words, with counts and both values."""

from __future__ import annotations

import pandas as pd
import pytest

from mendcurve.documents.against import against_lines, differences
from mendcurve.records import from_frames
from mendcurve.records.comparing import compare

OUTCOMES = {
    "stay_id": ["S-1", "S-2"],
    "outcome_date": ["2026-02-01", "2026-02-02"],
    "outcome_type": ["adopted", "died"],
}


def stays(n, species="corn snake"):
    return pd.DataFrame(
        {
            "stay_id": [f"S-{i}" for i in range(1, n + 1)],
            "species": species,
            "intake_date": "2026-01-07",
            "intake_type": "stray",
        }
    )


def snapshot(intakes, as_of="2026-03-01", **tables):
    return from_frames(as_of=as_of, records_start="2026-01-01", intakes=intakes, **tables)


def said(new, old):
    return "\n".join(against_lines(compare(new, old)))


def test_nothing_is_said_in_words_too():
    assert "Everything they say is said still." in said(snapshot(stays(3)), snapshot(stays(3)))


@pytest.mark.parametrize(("n", "counted"), [(1, "1 stay"), (400, "400 stays")])
def test_the_lines_stay_few_however_much_differs(n, counted):
    lines = list(against_lines(compare(snapshot(stays(n, "ball python")), snapshot(stays(n)))))
    assert len(lines) == 3
    assert f"Species says otherwise in {counted}: S-1 (corn snake; now ball python)" in lines[-1]
    assert ("and 397 more" in lines[-1]) == (n == 400)


def test_each_kind_is_a_sentence_with_its_count():
    outcomes = pd.DataFrame(OUTCOMES)
    late = pd.DataFrame({"stay_id": ["S-3"], "outcome_date": ["2026-01-20"], "outcome_type": ["adopted"]})
    since = pd.DataFrame({"stay_id": ["S-4"], "outcome_date": ["2026-02-20"], "outcome_type": ["adopted"]})
    new = snapshot(stays(5), outcomes=pd.concat([outcomes.head(1), late, since]))
    text = said(new, snapshot(stays(6), outcomes=outcomes))
    assert "which reach to 2 February 2026:" in text
    assert "1 stay of the older records is gone: S-6 (corn snake, 2026-01-07, stray)." in text
    assert "1 outcome of the older records is gone: S-2 (2026-02-02, died)." in text
    assert "1 stay that had ended is open again: S-2 (2026-02-02, died; now in care)." in text
    assert "Written in afterwards, dated before 2 February 2026: 1 outcome." in text
    assert "News since: 1 outcome." in text


def test_the_table_to_write_has_a_title_and_no_marks_of_the_program():
    frame = differences(compare(snapshot(stays(2)), snapshot(stays(3))))
    assert frame.attrs["title"] == "differences"
    assert "<NA>" not in frame.to_string()
    assert frame["record"].tolist() == ["S-3"]
