"""The pictures draw the numbers of the answer, name their units and fit the page."""

from __future__ import annotations

import numpy as np
import pytest

from mendcurve.figures.outcomes_flow import outcomes_flow
from mendcurve.figures.phases import phases
from mendcurve.figures.rates import rates
from mendcurve.figures.recovery_curves import recovery_curves
from mendcurve.figures.returns_curve import returns_curve
from mendcurve.figures.stay_curves import stay_curves
from mendcurve.figures.style import WIDTH_INCHES
from mendcurve.questions import outcomes, recovery, stay
from mendcurve.records import from_frames
from mendcurve.timelines.period import period

YEAR = period("2025-11-01", "2026-10-31")
PICTURES = {
    recovery_curves: lambda r, p: recovery.curves(r),
    rates: lambda r, p: outcomes.rates(r, p),
    outcomes_flow: lambda r, p: outcomes.by_group(r, p),
    returns_curve: lambda r, p: outcomes.returns(r),
    stay_curves: lambda r, p: stay.length(r),
    phases: lambda r, p: stay.phases(r),
}


def texts(figure):
    return [t.get_text() for axis in figure.axes for t in axis.texts]


@pytest.mark.parametrize("draw", PICTURES)
def test_a_picture_of_the_demo_has_its_words_and_fits(draw, demo):
    picture = draw(PICTURES[draw](demo, YEAR))
    assert picture.figure.get_figwidth() == WIDTH_INCHES
    words = f"{picture.title} {picture.subtitle} {picture.alt} {' '.join(texts(picture.figure))}"
    assert "nan" not in words
    assert "inf" not in words.replace("infection", "")
    assert picture.svg() == draw(PICTURES[draw](demo, YEAR)).svg()


@pytest.mark.parametrize("draw", PICTURES)
def test_nothing_to_draw_is_said(draw):
    picture = draw(PICTURES[draw](from_frames(as_of="2026-10-31"), None))
    assert picture.alt.startswith("No picture: ")


def test_the_recovery_curve_is_drawn_as_estimated_and_dashed_where_few_are_left(demo):
    answer = recovery.curves(demo)
    picture = recovery_curves(answer)
    first = answer.groups.iloc[0]["condition"]
    axis = picture.figure.axes[0]
    rows = answer.steps[(answer.steps["condition"] == first) & (answer.steps["end"] == "cleared")]
    solid = rows[~rows["dashed"]]
    line = axis.lines[0]
    np.testing.assert_allclose(line.get_xdata(), solid["day"])
    np.testing.assert_allclose(line.get_ydata(), solid["share"])
    styles = {line.get_linestyle() for axis in picture.figure.axes for line in axis.lines}
    assert len(styles) > 1
    assert picture.figure.get_supxlabel().startswith("days since found")
    label = next(t for t in axis.texts if t.get_text() == "cleared")
    assert label.xy == pytest.approx((rows["day"].iloc[-1], rows["share"].iloc[-1]))
    risk = answer.risk[answer.risk["condition"] == first]["at_risk"].map("{:,}".format).tolist()
    assert [t for t in texts(picture.figure)[: len(risk) + 4] if t in risk][-1] == risk[-1]


def test_every_rate_has_its_interval_and_its_denominator(demo):
    answer = outcomes.rates(demo, YEAR)
    axis = rates(answer).figure.axes[0]
    drawn = [line for line in axis.lines if len(line.get_xdata()) == 2 and line.get_linestyle() == "-"]
    known = answer.to_frame().iloc[::-1]
    np.testing.assert_allclose([line.get_xdata() for line in drawn], known[["low", "high"]])
    assert all(f"{r.numerator:,} of {r.denominator:,}" in " ".join(t.get_text() for t in axis.texts)
               for r in known.itertuples())  # fmt: skip
    assert "percent of the denominator" in axis.get_xlabel()


def test_every_outcome_is_a_bar_with_its_count(demo):
    answer = outcomes.by_group(demo, YEAR)
    axis = outcomes_flow(answer).figure.axes[0]
    counts = answer.to_frame().set_index("outcome")["all"].drop("all")
    assert sorted(int(b.get_width()) for b in axis.patches) == sorted(counts[counts > 0])


def test_animal_days_are_the_lengths_of_the_bars(demo):
    answer = stay.phases(demo)
    axis = phases(answer).figure.axes[0]
    assert sorted(b.get_width() for b in axis.patches) == sorted(answer.to_frame()["animal_days"])
    assert axis.get_xlabel() == "animal-days since the records start"


def test_the_stay_curve_starts_with_everybody_and_marks_the_median(demo):
    answer = stay.length(demo)
    picture = stay_curves(answer)
    axis = picture.figure.axes[0]
    assert axis.lines[0].get_ydata()[0] == pytest.approx(1, abs=0.02)
    row = answer.to_frame().iloc[0]
    points = [line for line in axis.lines if line.get_marker() == "o"]
    assert points[0].get_xdata()[0] == row["median"]


def test_the_returns_curve_ends_at_the_printed_share(demo):
    answer = outcomes.returns(demo)
    axis = returns_curve(answer).figure.axes[0]
    known = answer.to_frame().dropna(subset=["share"])
    last = max(line.get_ydata()[-1] for line in axis.lines)
    assert last == pytest.approx(known["share"].iloc[-1])
    assert axis.get_ylabel() == "share of adopted animals"
