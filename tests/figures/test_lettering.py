"""Outlines of letters, against matplotlib's own shaping and drawing of the same text."""

import shutil

import matplotlib
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.font_manager import FontProperties, findfont

from trialkit.figures.lettering import FAMILY, Face, Renderer, line_of

DPI = 180
TEXTS = [
    "Fine-mesh netting to first bloom",
    "AVATAR, Toy, Wave: 95\u00a0% interval",
    "difference from the check, \u221242\u00a0% (left is better)",
    "office, waffle, ffl, fjord, flow, \u00e9\u00fc\u0142\u00df \u03b1\u03a9 m\u00b2 \u2014 \u2020",
]
SHAPED = ["\u0645\u0631\u062d\u0628\u0627", "e\u0301", "soft\u00adhyphen", "\U0001f331"]
LETTERS = [*map(chr, range(32, 127)), *"\u00e4\u00e9\u00f8\u0142\u2212\u20ac"]


def font(weight: str = "normal") -> FontProperties:
    return FontProperties(family=FAMILY, size=10, weight=weight)


def measured(renderer: RendererAgg, text: str, weight: str) -> np.ndarray:
    return np.array(renderer.get_text_width_height_descent(text, font(weight), False))


def drawn(kind: type[RendererAgg], text: str, angle: float = 0) -> np.ndarray:
    renderer = kind(1200, 80, DPI)
    with matplotlib.rc_context({"text.hinting": "none"}):
        renderer.draw_text(renderer.new_gc(), 20.3, 50.6, text, font(), angle)
    return np.asarray(renderer.buffer_rgba())[..., 3].astype(int)


@given(st.text(st.sampled_from(LETTERS)), st.sampled_from(["normal", "bold"]))
def test_lines_are_as_wide_and_high_as_shaped_ones(text, weight):
    with matplotlib.rc_context({"text.hinting": "none"}):
        shaped = measured(RendererAgg(1, 1, DPI), text, weight)
    assert abs(measured(Renderer(1, 1, DPI), text, weight) - shaped).max() < 0.2  # pixels


@pytest.mark.parametrize("text", TEXTS)
def test_lines_look_as_shaped_ones(text):
    assert line_of(text, font(), DPI) is not None
    shaped, outlined = drawn(RendererAgg, text), drawn(Renderer, text)
    assert abs(shaped - outlined).max() < 50  # of 255, a fifth of a pixel on an edge
    assert abs(shaped - outlined).sum() < 0.1 * shaped.sum() > 0


@pytest.mark.parametrize("text", SHAPED)
def test_what_needs_shaping_is_left_to_the_renderer(text):
    assert line_of(text, font(), DPI) is None


def test_another_font_is_left_to_the_renderer():
    assert line_of("text", FontProperties(family="serif", size=10), DPI) is None
    assert line_of("text", FontProperties(family=FAMILY, style="italic"), DPI) is None


def test_turned_text_is_left_to_the_renderer():
    assert (drawn(RendererAgg, "x", 90) == drawn(Renderer, "x", 90)).all()


def test_a_face_asks_nothing_of_its_file_later_which_forked_processes_would_read_at_once(tmp_path):
    file = findfont(font())
    copy = tmp_path / "letters.ttf"
    shutil.copy(file, copy)
    face = Face(str(copy), 10, DPI)
    copy.write_bytes(b"")
    found, expected = face.line("Wave"), Face(file, 10, DPI).line("Wave")
    np.testing.assert_array_equal(found.outline.vertices, expected.outline.vertices)
