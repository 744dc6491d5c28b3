"""The winding model beside published numbers: those that are right, and those that are not."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from reels.domain import winding
from reels.domain.winding import Drum
from tests.reels.domain.drums import drum

MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048

# Trans-Pacific Hardware, "Reel capacity calculation" (read on that page): constants K by rope diameter in inches, in
# L[ft] = (A + D) A B K, A depth of rope space, B width, D drum diameter, inches. The third column is the oversize of
# the rope, in inches, that K holds: solved back from the table (our computation, not stated there). Rows below 1/4 in
# and above 1 1/4 in are left out: no one oversize fits the former, and the page gives the latter to two decimals only.
HANDBOOK_K = [
    (1 / 4, 3.29, 1 / 32),
    (5 / 16, 2.21, 1 / 32),
    (3 / 8, 1.58, 1 / 32),
    (7 / 16, 1.19, 1 / 32),
    (1 / 2, 0.925, 1 / 32),
    (9 / 16, 0.741, 1 / 32),
    (5 / 8, 0.607, 1 / 32),
    (11 / 16, 0.506, 1 / 32),
    (3 / 4, 0.428, 1 / 32),
    (13 / 16, 0.354, 3 / 64),
    (7 / 8, 0.308, 3 / 64),
    (1.0, 0.239, 3 / 64),
    (9 / 8, 0.191, 3 / 64),
    (5 / 4, 0.152, 1 / 16),
]


def handbook_ft(depth_in: float, width_in: float, drum_in: float, constant: float) -> float:
    return (depth_in + drum_in) * depth_in * width_in * constant


def stacked_drum(*, drum_in: float, rope_in: float, wraps: int, layers: int) -> Drum:
    """Square packing, as the handbook formula has it: a rise of one diameter, wraps taken as circles."""
    return Drum(
        core_diameter_mm=drum_in * MM_PER_INCH,
        cable_diameter_mm=rope_in * MM_PER_INCH,
        wraps_odd_layer=wraps,
        wraps_even_layer=wraps,
        max_layers=layers,
        layer_rise_mm=winding.stacked_rise_mm(rope_in * MM_PER_INCH),
        pitch_mm=0.0,
    )


def capacity_ft(some_drum: Drum) -> float:
    return winding.capacity_m(some_drum) / M_PER_FOOT


# Handbook capacity --------------------------------------------------------------------------------------------------


def test_the_handbook_example_lies_between_the_whole_layers_and_wraps_around_it() -> None:
    # Same page, worked example: A 10, B 20, D 18, rope 1/2 in gives 5,180 ft. With the oversize in K the rope is
    # 17/32 in: 37.6 wraps and 18.8 layers, which a drum of whole wraps and layers can only bracket.
    published_ft = 5180.0
    assert handbook_ft(10, 20, 18, 0.925) == pytest.approx(published_ft, rel=1e-12)
    fewer = capacity_ft(stacked_drum(drum_in=18, rope_in=17 / 32, wraps=37, layers=18))
    more = capacity_ft(stacked_drum(drum_in=18, rope_in=17 / 32, wraps=38, layers=19))
    assert fewer < published_ft < more


def test_at_nominal_diameter_the_handbook_drum_holds_an_eighth_more() -> None:
    # Computed: 5864.306 ft, 13.2 % above 5,180. K holds rope oversize, so the two are not the same quantity.
    nominal_ft = capacity_ft(stacked_drum(drum_in=18, rope_in=0.5, wraps=40, layers=20))
    assert nominal_ft == pytest.approx(5864.306286700947, rel=1e-12)
    assert nominal_ft / 5180 - 1 == pytest.approx(0.132, abs=0.0005)


@pytest.mark.parametrize(("rope_in", "constant", "oversize_in"), HANDBOOK_K)
def test_the_handbook_constants_are_stacked_winding_of_an_oversize_rope(
    rope_in: float, constant: float, oversize_in: float
) -> None:
    wound_in = rope_in + oversize_in
    ours_ft = capacity_ft(stacked_drum(drum_in=18, rope_in=wound_in, wraps=30, layers=10))
    # K has three figures (up to 0.3 %) and the oversize is a round 64th of an inch (0.6 % of K at 1/4 in)
    assert ours_ft == pytest.approx(handbook_ft(10 * wound_in, 30 * wound_in, 18, constant), rel=0.007)


@given(
    core_mm=st.floats(30, 1000),
    cable_mm=st.floats(1, 30),
    wraps=st.integers(1, 100),
    layers=st.integers(1, 60),
)
def test_the_stacked_sum_is_the_closed_form(core_mm: float, cable_mm: float, wraps: int, layers: int) -> None:
    # Identity (computed): sum of n layers of B/d wraps = (A + D) A B pi / d^2 with A = n d, B = wraps d.
    stacked = stacked_drum(drum_in=core_mm / MM_PER_INCH, rope_in=cable_mm / MM_PER_INCH, wraps=wraps, layers=layers)
    depth_mm, width_mm = layers * cable_mm, wraps * cable_mm
    closed_m = (depth_mm + core_mm) * depth_mm * width_mm * math.pi / cable_mm**2 / 1000
    assert winding.capacity_m(stacked) == pytest.approx(closed_m, rel=1e-12)


def test_nested_layers_hold_a_little_less_layer_for_layer() -> None:
    # Computed: D 18, B 20, d 0.5 in, 20 layers: 5597.7 ft nested, 4.5 % less than stacked.
    stacked = stacked_drum(drum_in=18, rope_in=0.5, wraps=40, layers=20)
    nested = Drum(
        core_diameter_mm=18 * MM_PER_INCH,
        cable_diameter_mm=0.5 * MM_PER_INCH,
        wraps_odd_layer=40,
        wraps_even_layer=40,
        max_layers=20,
        pitch_mm=0.0,
    )
    assert capacity_ft(nested) == pytest.approx(5597.7, abs=0.05)
    assert capacity_ft(nested) / capacity_ft(stacked) - 1 == pytest.approx(-0.045, abs=0.0005)


# The count of a length ----------------------------------------------------------------------------------------------

# hackmath.net, math problem 8298 (read on that page): rope 6 mm, 20 m, drum 60 mm wide, starting diameter 50 mm. The
# page answers with a final diameter of 138 mm, by volume 133.34 mm. Neither is the outside of a layer; the right
# answer is computed: stacked, 6 full layers and 9.423 wraps on the seventh, outside 134 mm.


def rope_drum(rise_mm: float) -> Drum:
    return Drum(
        core_diameter_mm=50,
        cable_diameter_mm=6,
        wraps_odd_layer=10,
        wraps_even_layer=10,
        max_layers=12,
        layer_rise_mm=rise_mm,
        pitch_mm=0.0,
    )


@pytest.mark.parametrize(
    ("rise_mm", "full_layers", "part_wraps"),
    [(winding.stacked_rise_mm(6), 6, 9.423), (winding.nested_rise_mm(6), 7, 2.049)],
)
def test_twenty_metres_of_rope_make_these_layers_and_wraps(rise_mm: float, full_layers: int, part_wraps: float) -> None:
    some_drum = rope_drum(rise_mm)
    layers, wraps = winding.count_of_turns(winding.turns_of_length(20.0, some_drum), some_drum)
    assert layers == full_layers
    assert wraps == pytest.approx(part_wraps, abs=0.0005)


def test_the_published_final_diameters_are_no_layers_outside() -> None:
    outsides_mm = winding.pitch_diameters_mm(rope_drum(6.0)) + 6.0
    assert outsides_mm[6] == 134.0
    assert not np.isclose(outsides_mm, 138.0, atol=0.5).any()
    assert not np.isclose(outsides_mm, 133.34, atol=0.5).any()


def test_a_wrap_is_measured_at_the_middle_of_the_cable_and_not_at_the_barrel() -> None:
    # ehow.co.uk, how_7464814 (read on that page): barrel 2 in, cable 1/4 in, 20 wraps: 125.6 in, then 157 in. Those are
    # barrel diameters; through the middle of the cable it is 141.37 and 172.79 in (computed).
    small = stacked_drum(drum_in=2, rope_in=0.25, wraps=20, layers=2)
    layers_in = np.diff(winding.length_m([0, 1, 2], 0, small)) * 1000 / MM_PER_INCH
    np.testing.assert_allclose(layers_in, [141.37, 172.79], atol=0.005)
    assert (layers_in > 1.1 * np.array([125.6, 157.0])).all()
    at_the_barrel_in = 20 * math.pi * (winding.pitch_diameters_mm(small) / MM_PER_INCH - 0.25)
    # the page takes pi as 3.14
    np.testing.assert_allclose(at_the_barrel_in, [125.6, 157.0], rtol=0.0006)


# Helix --------------------------------------------------------------------------------------------------------------


def arc_length_mm(diameter_mm: float, pitch_mm: float) -> float:
    """One wrap of a helix, by numerical integration of the speed along it."""

    def speed(angle: float) -> float:
        across = np.array([-math.sin(angle), math.cos(angle)]) * diameter_mm / 2
        return float(np.linalg.norm([*across, pitch_mm / math.tau]))

    return float(integrate.quad(speed, 0.0, math.tau)[0])


@pytest.mark.parametrize("changes", [{}, {"layer_rise_mm": 5.6, "pitch_mm": 6.4}, {"core_diameter_mm": 6.0}])
def test_a_wrap_is_as_long_as_a_helix_integrated_numerically(changes: dict[str, float]) -> None:
    some_drum = drum(max_layers=4, **changes)
    integrated = [arc_length_mm(d, some_drum.advance_mm) for d in winding.pitch_diameters_mm(some_drum)]
    np.testing.assert_allclose(winding.wrap_lengths_mm(some_drum), integrated, rtol=1e-10)
    by_hand_m = (28 * integrated[0] + 27 * integrated[1] + 5.5 * integrated[2]) / 1000
    assert winding.length_m(2, 5.5, some_drum) == pytest.approx(by_hand_m, rel=1e-10)
