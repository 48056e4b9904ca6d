"""The look of every figure: the same bytes each time, and colours that hold for every reader."""

from __future__ import annotations

import hashlib
import subprocess
import sys

import numpy as np
import pytest

from mendcurve.figures import style

DRAW = """
import hashlib
from mendcurve.figures import style
figure, (left, right) = style.new(1, 2)
left.fill_between([0, 1, 2], [0, 0.4, 0.6], [0.1, 0.6, 0.8], color=style.WASH)
left.plot([0, 1, 2], [0, 0.5, 0.7])
left.set_xlim(0.2, 1.5)
left.set_xlabel("days since found")
left.set_ylabel("share (%)")
style.label_line(left, 1.5, 0.6, "mouth rot")
right.barh(["a condition with a long name", "burn"], [1, 2])
right.set_xlabel("animals")
style.names_on(right, "y")
picture = style.finish(figure, name="x", title="Title", subtitle="Subtitle", alt="Alt")
"""


def _picture() -> style.Picture:
    names: dict[str, object] = {}
    exec(DRAW, names)
    return names["picture"]  # type: ignore[return-value]


def test_a_picture_saved_twice_has_the_same_bytes_whatever_was_saved_between():
    picture = _picture()
    svg, png = picture.svg(), picture.png()
    assert picture.svg() == svg
    assert picture.png() == png


@pytest.mark.parametrize("seed", ["1", "2"])
def test_another_process_writes_the_same_bytes(seed):
    script = DRAW + "print(hashlib.sha256(picture.svg().encode() + picture.png()).hexdigest())"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, env={"PYTHONHASHSEED": seed}
    )
    here = _picture()
    assert done.stdout.strip() == hashlib.sha256(here.svg().encode() + here.png()).hexdigest()


def test_svg_names_no_date_and_no_program():
    svg = _picture().svg()
    assert "dc:date" not in svg
    assert "Matplotlib" not in svg


def test_a_label_past_the_axes_is_inside_the_saved_picture():
    figure, axes = style.new()
    axes.plot([0, 1], [0, 1])
    axes.set_xlabel("days")
    axes.set_ylabel("share (%)")
    style.label_line(axes, 1, 1, "a name that reaches far past the right edge of the axes")
    picture = style.finish(figure, name="x", title="Title", subtitle="Subtitle", alt="Alt")
    label = axes.texts[-1].get_window_extent().x1 / figure.dpi
    assert style._frame(picture.figure).x1 >= label


def test_text_added_late_is_in_the_house_size_when_the_function_is_a_drawing():
    @style.drawing
    def draw() -> style.Picture:
        figure, axes = style.new()
        axes.set_xlabel("days")
        axes.set_ylabel("share (%)")
        axes.text(0.5, 0.5, "late")
        return style.finish(figure, name="x", title="Title", subtitle="Subtitle", alt="Alt")

    assert draw().figure.axes[0].texts[0].get_fontsize() == 9


def test_an_axis_without_a_label_is_refused():
    figure, axes = style.new()
    axes.set_xlabel("days")
    with pytest.raises(ValueError, match="axis without a label"):
        style.finish(figure, name="x", title="Title", subtitle="Subtitle", alt="Alt")


# Relative luminance and contrast as the Web Content Accessibility Guidelines 2.1 define them; from memory.
def _linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def _luminance(linear: np.ndarray) -> float:
    return float(linear @ [0.2126, 0.7152, 0.0722])


def _contrast(a: str, b: str) -> float:
    light, dark = sorted((_luminance(_linear(a)), _luminance(_linear(b))), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_black_on_white_is_twenty_one():
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("colour", [style.INK, style.ACCENT, style.CONTRAST, style.QUIET])
def test_text_colours_are_readable_on_paper(colour):
    assert _contrast(colour, style.PAPER) >= 4.5


@pytest.mark.parametrize("wash", [style.WASH, style.WASH_CONTRAST])
@pytest.mark.parametrize("colour", [style.INK, style.ACCENT, style.QUIET])
def test_ink_accent_and_quiet_text_are_readable_on_a_band(colour, wash):
    assert _contrast(colour, wash) >= 4.5


# Severity 1 matrices on linear RGB, Machado, Oliveira & Fernandes (2009), IEEE TVCG 15:1291-1298; from memory (each
# row sums to 1, so that greys stay grey, which the test below checks).
VISION = {
    "usual": np.eye(3),
    "without long cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "without medium cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "without short cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
    "grey": np.tile([0.2126, 0.7152, 0.0722], (3, 1)),
}


def _lab(linear: np.ndarray) -> np.ndarray:
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear
    f = np.cbrt(np.clip(xyz / [0.9505, 1.0, 1.089], 0, None))
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("vision", VISION)
def test_the_two_colours_are_told_apart_by_every_eye(vision):
    matrix = VISION[vision]
    assert matrix.sum(axis=1) == pytest.approx(1, abs=1e-5)
    seen = [_lab(np.clip(matrix @ _linear(colour), 0, 1)) for colour in (style.ACCENT, style.CONTRAST)]
    assert np.linalg.norm(seen[0] - seen[1]) > 12  # CIE76; 2.3 is just noticeable (from memory)
