"""The drum that is drawn beside the form of a type, read off again shape by shape."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reels.domain.drawing import Bar, Look, Words
from reels.domain.drum_figure import HEIGHT, WIDTH, drum_picture, layers_of
from reels.domain.winding import Drum, length_m

DRUM = Drum(
    core_diameter_mm=180.0, cable_diameter_mm=8.0, wraps_odd_layer=28, wraps_even_layer=27, max_layers=12, pitch_mm=0.0
)


def drums():
    return st.builds(
        Drum,
        core_diameter_mm=st.floats(100, 900),
        cable_diameter_mm=st.floats(2, 60),
        wraps_odd_layer=st.integers(2, 200),
        wraps_even_layer=st.integers(2, 200),
        max_layers=st.integers(1, 60),
    )


def test_the_first_layer_is_its_circle_and_each_rises_as_the_type_says():
    layers = layers_of(DRUM)
    assert (len(layers), layers[0].wraps, layers[1].wraps) == (12, 28, 27)
    assert layers[0].wrap_m == pytest.approx(math.pi * 0.188)  # core and cable, through the cable's middle
    rise = (layers[1].wrap_m - layers[0].wrap_m) / (2 * math.pi)
    assert rise == pytest.approx(0.008 * math.sqrt(3) / 2)


@given(drum=drums())
def test_all_layers_together_are_what_the_winding_model_says_of_a_full_drum(drum):
    layers = layers_of(drum)
    assert layers[-1].up_to_m == pytest.approx(float(length_m(drum.max_layers, 0, drum)))
    assert all(below.up_to_m < above.up_to_m for below, above in pairwise(layers))


@given(drum=drums())
def test_everything_is_on_the_paper_and_no_two_numbers_of_layers_touch(drum):
    picture = drum_picture(drum)
    assert picture.width == WIDTH
    assert picture.height <= HEIGHT + 1e-6
    bars = [shape for shape in picture.shapes if isinstance(shape, Bar)]
    assert sum(bar.look is Look.WRAP for bar in bars) == drum.max_layers
    assert all(bar.x >= 0 and bar.x + bar.width <= picture.width for bar in bars)
    assert all(bar.y + bar.height <= picture.height for bar in bars)
    named = sorted(each.y for each in picture.shapes if isinstance(each, Words) and each.text.startswith("layer "))
    assert named
    assert all(above - below >= picture.text_size for below, above in pairwise(named))
