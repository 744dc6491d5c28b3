"""Uncertainty of lengths and of differences, beside Monte Carlo and finite differences."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given

from reels.domain import winding
from reels.domain.winding import Drum
from reels.errors import ImpossibleValue, OffTheDrum
from tests.reels.domain.drums import drum, drums_with_turns

SEED = 20_240_517
N_DRAWS = 4000
# The standard deviation of n normal draws is itself uncertain by 1/sqrt(2 n) = 1.1 %; four of those.
SPREAD_TOLERANCE = 0.045

KINDS_OF_DRUM = [
    pytest.param(drum(diameter_u_mm=0.05), id="nested"),
    pytest.param(drum(diameter_u_mm=0.05, layer_rise_u_mm=0.03), id="nested, rise in doubt"),
    pytest.param(drum(diameter_u_mm=0.2, layer_rise_mm=5.6, layer_rise_u_mm=0.02, pitch_mm=6.3), id="measured"),
]


def with_dimensions(some_drum: Drum, core_mm: float, cable_mm: float, rise_off_mm: float) -> Drum:
    """The drum as it would be with other dimensions; a nested rise follows the cable."""
    nested = some_drum.layer_rise_mm is None
    rise_mm = (winding.nested_rise_mm(cable_mm) if nested else some_drum.rise_mm) + rise_off_mm
    return replace(some_drum, core_diameter_mm=core_mm, cable_diameter_mm=cable_mm, layer_rise_mm=rise_mm)


def drawn_drums(some_drum: Drum, rng: np.random.Generator) -> list[Drum]:
    """The drum with dimensions drawn within their uncertainties."""
    d, c = some_drum.cable_diameter_mm, some_drum.core_diameter_mm
    off = rng.standard_normal((N_DRAWS, 3)) * winding.dimension_u_mm(some_drum)
    return [with_dimensions(some_drum, c + off_c, d + off_d, off_h) for off_c, off_d, off_h in off]


# One length ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("some_drum", KINDS_OF_DRUM)
def test_the_systematic_part_is_what_monte_carlo_finds(some_drum: Drum) -> None:
    drawn = [float(winding.length_m(20, 13, each)) for each in drawn_drums(some_drum, np.random.default_rng(SEED))]
    ours = winding.length_with_uncertainty(20, 13, some_drum)
    assert float(ours.systematic_u_m) == pytest.approx(np.std(drawn), rel=SPREAD_TOLERANCE)
    # the mean of n draws is uncertain by s/sqrt(n); four of those, so that curvature would show
    assert float(ours.value_m) == pytest.approx(np.mean(drawn), abs=4 * np.std(drawn) / np.sqrt(N_DRAWS))


@pytest.mark.parametrize("some_drum", KINDS_OF_DRUM)
def test_both_parts_together_are_what_monte_carlo_finds(some_drum: Drum) -> None:
    rng = np.random.default_rng(SEED)
    counted = 13 + 0.3 * rng.standard_normal(N_DRAWS)
    each = zip(counted, drawn_drums(some_drum, rng), strict=True)
    drawn = [float(winding.length_m(20, wraps, drawn_drum)) for wraps, drawn_drum in each]
    ours = winding.length_with_uncertainty(20, 13, some_drum, count_u_wraps=0.3)
    assert float(ours.combined_u_m) == pytest.approx(np.std(drawn), rel=SPREAD_TOLERANCE)


def test_the_random_part_is_that_share_of_a_wrap_of_the_part_layer() -> None:
    ours = winding.length_with_uncertainty([0, 12, 40], [3, 10, 0], drum(), count_u_wraps=0.25)
    wraps_m = winding.wrap_lengths_mm(drum())[[0, 12, 39]] / 1000  # a full drum: the wrap that comes off next
    np.testing.assert_allclose(ours.random_u_m, 0.25 * wraps_m, rtol=1e-14)


def test_a_whole_number_is_uncertain_by_a_rectangle_of_one_wrap() -> None:
    # GUM 4.3.7: half-width a gives a/sqrt(3); from memory
    assert pytest.approx(0.5 / np.sqrt(3), abs=0.02) == winding.COUNT_U_WRAPS


def test_exact_dimensions_leave_the_count_alone_uncertain() -> None:
    ours = winding.length_with_uncertainty(12, 10, drum())
    assert ours.systematic_u_m == 0
    assert ours.combined_u_m == ours.random_u_m > 0


@given(drums_with_turns(4))
def test_sensitivities_are_the_slopes_of_the_length(case: tuple[Drum, list[float]]) -> None:
    any_drum, turns = case
    layers, wraps = winding.count_of_turns(turns, any_drum)
    c, d = any_drum.core_diameter_mm, any_drum.cable_diameter_mm
    # a core as thin as its cable and a rise at its limit leave no room to move both ways
    any_drum = replace(any_drum, core_diameter_mm=c + 1.0, layer_rise_mm=_inside(any_drum), pitch_mm=None)
    step_mm = 1e-4
    slopes = [
        (
            winding.length_m(layers, wraps, with_dimensions(any_drum, *(np.array([c + 1.0, d, 0.0]) + move)))
            - winding.length_m(layers, wraps, with_dimensions(any_drum, *(np.array([c + 1.0, d, 0.0]) - move)))
        )
        / (2 * step_mm)
        for move in np.eye(3) * step_mm
    ]
    # central differences of step 1e-4 mm: roundings of 1e-16 times a length of up to 1e5 m over 2e-4
    ours = winding.sensitivities_m_per_mm(layers, wraps, any_drum)
    np.testing.assert_allclose(ours, slopes, rtol=1e-5, atol=1e-6)


def _inside(any_drum: Drum) -> float | None:
    d = any_drum.cable_diameter_mm
    return None if any_drum.layer_rise_mm is None else min(max(any_drum.layer_rise_mm, 0.6 * d), 1.1 * d)


# Differences --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("some_drum", KINDS_OF_DRUM)
def test_a_difference_is_as_uncertain_as_monte_carlo_finds(some_drum: Drum) -> None:
    rng = np.random.default_rng(SEED)
    before, after = 13 + 0.3 * rng.standard_normal(N_DRAWS), 8 + 0.3 * rng.standard_normal(N_DRAWS)
    drawn = [
        float(winding.length_m(17, last, each) - winding.length_m(20, first, each))
        for first, last, each in zip(before, after, drawn_drums(some_drum, rng), strict=True)
    ]
    ours = winding.difference_with_uncertainty((20, 13), (17, 8), some_drum, count_u_wraps=0.3)
    assert float(ours.combined_u_m) == pytest.approx(np.std(drawn), rel=SPREAD_TOLERANCE)
    assert float(ours.value_m) == pytest.approx(np.mean(drawn), abs=4 * np.std(drawn) / np.sqrt(N_DRAWS))


def test_most_of_the_systematic_part_cancels_in_a_difference() -> None:
    some_drum = drum(diameter_u_mm=0.05)
    single = winding.length_with_uncertainty(20, 13, some_drum)
    difference = winding.difference_with_uncertainty((20, 13), (20, 3), some_drum)
    assert difference.systematic_u_m < single.systematic_u_m / 20
    wrap_m = winding.wrap_lengths_mm(some_drum)[20] / 1000
    assert float(difference.random_u_m) == pytest.approx(0.3 * np.sqrt(2) * wrap_m, rel=1e-12)


def test_what_remains_grows_with_the_difference() -> None:
    layers = np.arange(20, -1, -1)
    apart = winding.difference_with_uncertainty((20, 0), (layers, 0), drum(diameter_u_mm=0.05))
    assert apart.systematic_u_m[0] == 0
    assert (np.diff(apart.systematic_u_m) > 0).all()


@given(drums_with_turns(2))
def test_a_difference_is_the_later_length_less_the_earlier(case: tuple[Drum, list[float]]) -> None:
    any_drum, turns = case
    earlier, later = (winding.count_of_turns(each, any_drum) for each in turns)
    there = winding.difference_with_uncertainty(earlier, later, any_drum)
    back = winding.difference_with_uncertainty(later, earlier, any_drum)
    assert there.value_m == winding.length_m(*later, any_drum) - winding.length_m(*earlier, any_drum)
    assert (there.value_m, there.systematic_u_m) == (-back.value_m, back.systematic_u_m)
    assert float(there.random_u_m) == pytest.approx(float(back.random_u_m), rel=1e-12)


# Bad input ----------------------------------------------------------------------------------------------------------


def test_a_count_less_than_certain_is_refused() -> None:
    with pytest.raises(ImpossibleValue, match=r"standard uncertainty was -0\.3"):
        winding.length_with_uncertainty(12, 10, drum(), count_u_wraps=-0.3)


def test_a_difference_from_a_count_off_the_drum_is_refused() -> None:
    with pytest.raises(OffTheDrum, match=r"wraps was 30\.0 \(place 0\); this drum allows 0 to 28"):
        winding.difference_with_uncertainty((12, 10), (12, 30), drum())
