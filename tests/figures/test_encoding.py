"""Palette and file of drawn pixels."""

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from trialkit.figures.encoding import compact


def decoded(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


def opaque(rgb: np.ndarray) -> np.ndarray:
    return np.dstack([rgb, np.full(rgb.shape[:2], 255)]).astype(np.uint8)


@given(st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=100))
def test_flat_areas_keep_their_exact_colours(colours):
    areas = np.repeat(np.array(colours)[:, None], 20, axis=1)
    assert (decoded(compact(opaque(areas))) == areas).all()


def test_edges_are_off_by_less_than_can_be_seen():
    shares = np.linspace(0, 1, 200)[:, None] * np.array([[255, 255, 255]])
    edges = np.stack([shares, shares * [0, 0.45, 0.7], shares * [0.8, 0.5, 0]])
    edges = edges.astype(int)
    assert abs(decoded(compact(opaque(edges))) - edges).max() <= 8


@pytest.mark.parametrize("areas", [0, 40, 400])
def test_more_colours_than_a_palette_holds_are_rounded_further(areas):
    rng = np.random.default_rng(1)
    noise = rng.integers(0, 256, (200, 300, 3))
    flat = np.repeat(rng.integers(0, 256, (areas, 1, 3)), 300, axis=1)
    seen = decoded(compact(opaque(np.concatenate([noise, flat]))))
    assert abs(seen[:200] - noise).max() <= 128
    assert abs(seen[:200] - noise).mean() < 30


def test_the_same_pixels_give_the_same_bytes():
    pixels = opaque(np.random.default_rng(2).integers(0, 256, (30, 40, 3)))
    assert compact(pixels) == compact(pixels.copy())
